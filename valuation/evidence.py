"""evidence(request): what one more test would tell, and what that would be worth."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from valuation.asks import all_in, newest_ask
from valuation.decision import N_OUTCOMES, Outcomes, decision_value, nothing_learnt, simulated_outcomes
from valuation.draws import LOG2_DRAWS, SEED, Draws
from valuation.evidence_result import Evidence, EvidenceRow, EvidenceToday, EvidenceVerdict, PriceBasis, Status
from valuation.evidence_tests import LABELS, SAFETY, TestTerms, default_tests, settled_terms
from valuation.measurements import Measurement, measurement, untold
from valuation.request import QuoteRequest
from valuation.result import Assumption
from valuation.spread import Floats
from valuation.stages import Valuation, valued
from valuation.stakes import Bargains, Stakes, bargains, stakes_of
from valuation.summary import COVERAGE_FRAC
from valuation.telling import method_version

LEAST_EFFECTIVE_DRAWS = 200
STANDARD_ERRORS = 2.0

_REASONS: dict[Status, str] = {
    "ranked": "",
    "not_priced": "No deal can be valued here, so the test is told in grams only.",
    "too_fine": "Too fine for these draws: hardly any of them fits one outcome, so its worth cannot be told.",
    "nothing_to_learn": "What it measures is entered as known, so it cannot tell anything new.",
    "nothing_weighed": "Nothing was weighed here, so there is no weighing that it could improve.",
}


def evidence(request: QuoteRequest, *, seed: int = SEED, log2_draws: int = LOG2_DRAWS) -> Evidence:
    """What each test that could be made before the deal would tell, what it costs, and what it is worth.

    Parameters
    ----------
    request : QuoteRequest
        What is known; its `tests`, or one of every kind where it names none.
    seed, log2_draws : int
        As for `quote`.

    Returns
    -------
    Evidence
        Tests that can be ranked stand first, by ``gain - cost - damage``.

    Raises
    ------
    ValuationError, RequestRefused
        As `quote` does.

    Notes
    -----
    512 outcomes of each test are simulated from the present draws, which are then reweighted (see
    `valuation.decision`). After each outcome house and seller follow their rules again: ceiling, floor, and the
    middle as the price, or no deal. The gain is the mean over outcomes less what they have today.
    """
    v = valued(request, Draws(seed, log2_draws))
    before = _Before(v)
    rows, assumed = [], []
    host = 1.0 if v.content.host_g_cm3 is None else float(np.nanmedian(v.content.host_g_cm3))
    for i, test in enumerate(request.tests or default_tests()):
        terms = settled_terms(test, request.weighing, v.money_per_g, host, request.spot.currency)
        rows.append(_row(terms, before))
        assumed += [
            Assumption(name=f"{LABELS[test.kind]}: {name}", value=value, source=source, field=f"tests.{i}")
            for name, value, source in terms.assumed
        ]
    rows.sort(key=_rank)
    return Evidence(
        method_version=method_version(),
        draws=v.all_draws.n_all,
        seed=seed,
        outcomes=N_OUTCOMES,
        quoted_at=request.quoted_at,
        currency=request.spot.currency,
        title=request.title,
        verdict=_verdict(rows, before),
        today=before.told(),
        tests=tuple(rows),
        assumptions=tuple(assumed),
    )


@dataclass(frozen=True)
class _Before:
    """How things stand before any test."""

    v: Valuation

    @cached_property
    def outcomes(self) -> Outcomes:
        return nothing_learnt(np.full(self.v.draws.n, 1.0 / self.v.draws.n))

    @cached_property
    def untold(self) -> Floats:
        return untold(self.v)

    @cached_property
    def stakes(self) -> Stakes | None:
        """What the deal rests on; None where no deal can be valued."""
        v = self.v
        return stakes_of(v) if v.seen and v.ceiling is not None and v.floor.amount is not None else None

    @cached_property
    def bargain(self) -> Bargains:
        assert self.stakes is not None
        return bargains(self.stakes, self.outcomes)

    @cached_property
    def price(self) -> tuple[float, PriceBasis] | None:
        """Today's price: the middle, else the ask, else what the seller could get elsewhere."""
        v = self.v
        if v.split is not None:
            return v.split.fair.middle, "middle"
        asked = newest_ask(v.request)
        if asked is not None:
            return all_in(asked, v.request.spot.currency), "ask"
        return None if v.floor.amount is None else (v.floor.amount, "floor")

    @cached_property
    def payoffs(self) -> Floats | None:
        """What buying at today's price brings the house by each way out, and not buying; shape (r + 1, n)."""
        if self.stakes is None or self.price is None:
            return None
        bought = self.stakes.proceeds - self.v.request.buyer.handling_cost - self.price[0]
        return np.vstack([bought, np.zeros(self.v.draws.n)])

    def told(self) -> EvidenceToday:
        v, price, payoffs = self.v, self.price, self.payoffs
        return EvidenceToday(
            fine_gold_g=v.fine,
            width_money=v.fine.width * v.money_per_g,
            deal=None if self.stakes is None else bool(self.bargain.deal[0]),
            ceiling=None if v.ceiling is None else v.ceiling.amount,
            floor=v.floor.amount,
            price=None if payoffs is None or price is None else price[0],
            price_basis=None if payoffs is None or price is None else price[1],
            certainty_value=None if payoffs is None else decision_value(payoffs, self.outcomes).of_certainty,
        )


def _rank(row: EvidenceRow) -> tuple[float, float]:
    """Tests in money first, the best of them first; then by how far they narrow the range."""
    if row.net is not None:
        return 0.0, -row.net
    return (1.0, row.width_g) if row.width_g is not None else (2.0, 0.0)


def _verdict(rows: list[EvidenceRow], before: _Before) -> EvidenceVerdict:
    if before.stakes is None:
        return "not_priced"
    if any(row.pays for row in rows):
        return "pays"
    return "weigh_first" if before.v.request.by_claim else "none_pays"


def _row(terms: TestTerms, before: _Before) -> EvidenceRow:
    v = before.v
    measured = measurement(terms, v)
    if measured is None:
        return _told(terms, "nothing_weighed")
    if measured.is_known:
        return _told(terms, "nothing_to_learn")
    terms = replace(terms, precision=_against_now(terms, measured))
    outcomes = simulated_outcomes(measured.values, measured.u)
    effective = float(np.quantile(outcomes.effective_draws, 0.1))
    if effective < LEAST_EFFECTIVE_DRAWS:
        return _told(terms, "too_fine", effective_draws=effective)
    if before.untold.size:
        outcomes = outcomes.calibrated(before.untold)
    figures = {"effective_draws": effective, **_narrowed(outcomes, v)}
    if before.stakes is None:
        return _told(terms, "not_priced", **figures)
    figures |= _worth(terms, outcomes, before, before.stakes)
    return _told(terms, "ranked", **figures)


def _against_now(terms: TestTerms, measured: Measurement) -> str:
    """Its precision in words, held against what is known now where that is the better of the two."""
    now = float(np.std(measured.values[0]))
    if not terms.precision or now >= measured.u[0]:
        return terms.precision
    return f"{terms.precision} What is taken for the rock now is narrower already: ± {now:.2g} g/cm³."


def _told(terms: TestTerms, status: Status, **figures: Any) -> EvidenceRow:
    return EvidenceRow(
        kind=terms.kind,
        status=status,
        reason=_REASONS[status],
        u=terms.u,
        unit=terms.unit,
        readings=terms.readings,
        precision=terms.precision,
        minutes=terms.minutes,
        cost=terms.cost,
        premium_lost_frac=terms.premium_lost_frac,
        needs_consent=terms.needs_consent,
        safety=(*SAFETY[terms.kind], *filter(None, [terms.safety])),
        **figures,
    )


def _narrowed(outcomes: Outcomes, v: Valuation) -> dict[str, float]:
    """Ends and width of the range of fine gold to expect."""
    tail = (1.0 - COVERAGE_FRAC) / 2.0
    fine = np.broadcast_to(v.lot.fine_g, (v.draws.n,))
    low, high = (float(end @ outcomes.chance) for end in outcomes.quantiles(fine, tail, 1.0 - tail))
    width = high - low
    return {"fine_low_g": low, "fine_high_g": high, "width_g": width, "width_money": width * v.money_per_g}


def _worth(terms: TestTerms, outcomes: Outcomes, before: _Before, whole: Stakes) -> dict[str, Any]:
    """What the test is worth to both, to each, and to the house alone.

    Notes
    -----
    The standard error is that of the gain beyond keeping today's decision, whose mean is known. Damage is what the
    piece's sale loses on average or what the deal loses, whichever is more; gains are those of the damaged piece.
    """
    damaged = stakes_of(before.v, terms.premium_lost_frac) if terms.premium_lost_frac > 0 else whole
    today = bargains(damaged, before.outcomes) if damaged is not whole else before.bargain
    after = bargains(damaged, outcomes)
    both = after.house + after.seller
    kept = after.means[today.route[0]] - today.means[today.route[0], 0] if today.deal[0] else 0.0
    gain_house = float(after.house @ outcomes.chance - today.house[0])
    gain_seller = float(after.seller @ outcomes.chance - today.seller[0])
    gain = gain_house + gain_seller
    u_gain = float(np.std(both - kept, ddof=1) / np.sqrt(both.size))
    damage = _damage(whole, damaged, before.bargain, today, before.outcomes)
    net = gain - terms.cost - damage
    return {
        "change_chance": float(after.differs_from(today) @ outcomes.chance),
        "deal_chance": float(after.deal @ outcomes.chance),
        "turn_chance": float(after.turns_from(today) @ outcomes.chance),
        "gain_house": _tidy(gain_house),
        "gain_seller": _tidy(gain_seller),
        "gain_both": _tidy(gain),
        "u_gain": _tidy(u_gain),
        "damage": _tidy(damage),
        "net": _tidy(net),
        "pays": net > 0.0 and net >= STANDARD_ERRORS * u_gain,
        "decision_value": None if before.payoffs is None else _tidy(decision_value(before.payoffs, outcomes).of_test),
    }


def _tidy(money: float) -> float:
    """Money without the last digits that only rounding errors fill; no minus zero."""
    return round(money, 6) + 0.0


def _damage(whole: Stakes, damaged: Stakes, bargain: Bargains, after: Bargains, prior: Outcomes) -> float:
    if damaged is whole:
        return 0.0
    piece = float(np.max((whole.proceeds - damaged.proceeds) @ prior.prior))
    deal = float(bargain.house[0] + bargain.seller[0] - after.house[0] - after.seller[0])
    return max(piece, deal)
