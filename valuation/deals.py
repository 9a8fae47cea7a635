"""Deals that share the doubt, side by side for both parties."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from valuation.spot import DAYS_PER_YEAR, MONTHS_PER_YEAR
from valuation.spread import Floats
from valuation.stages import Valuation
from valuation.summary import quantiles
from valuation.trade import DealRow, DealTerm, PartyOutcome
from valuation.words import money_words

LOW_FRAC, HIGH_FRAC, FIRST_PERCENTILE = 0.1, 0.9, 0.01


@dataclass(frozen=True)
class Advance:
    """Terms of an advance with settlement [money].

    Parameters
    ----------
    share_frac : float
        k: share of the refiner's net that the buyer passes on.
    threshold : float
        q: net up to which the advance already counts as paid.
    """

    share_frac: float
    threshold: float

    @property
    def today(self) -> float:
        """Paid at once."""
        return self.share_frac * self.threshold

    def later(self, net: Floats) -> Floats:
        """Paid at settlement, for a net of shape (n,)."""
        return self.share_frac * np.maximum(0.0, np.maximum(0.0, net) - self.threshold)


def deals(v: Valuation) -> tuple[DealRow, ...]:
    """Cash at the middle, advance and settle, and consignment, for both parties."""
    return (_cash(v), _advance_and_settle(v), _consign(v))


def _outcome(values: Floats, lost: NDArray[np.bool_], today: float, days: float) -> PartyOutcome:
    values = np.broadcast_to(values, lost.shape)
    first, low, high = quantiles(np.array(values), FIRST_PERCENTILE, LOW_FRAC, HIGH_FRAC)
    return PartyOutcome(
        mean=float(values.mean()),
        low=low,
        high=high,
        first_percentile=first if first < 0 else None,
        loss_chance=float(np.mean(lost)),
        cash_today=today,
        paid_after_days=days,
    )


def _seller(received: Floats, v: Valuation, today: float, days: float) -> PartyOutcome:
    floor = v.floor.amount or 0.0
    received = np.broadcast_to(received, (v.draws.n,))
    return _outcome(received, received < floor - 1e-9 * max(1.0, floor), today, days)


def _refused(deal: str, reason: str) -> DealRow:
    return DealRow(deal=deal, offered=False, reason=reason, terms=(), buyer=None, seller=None)


def _cash(v: Valuation) -> DealRow:
    if v.split is None or v.ceiling is None:
        return _refused("cash", v.no_price_reason)
    price = v.split.fair.middle
    profit = v.routes.present[v.ceiling.route] - v.request.buyer.handling_cost - price
    return DealRow(
        deal="cash",
        offered=True,
        reason="The middle in cash today: the buyer bears all of the doubt about gold and price.",
        terms=(DealTerm(term="price", amount=price),),
        buyer=_outcome(profit, profit < 0, -price, _days_of(v, v.ceiling.route)),
        seller=_seller(np.asarray(price), v, price, 0.0),
    )


def _days_of(v: Valuation, route: str) -> float:
    if route == "refine":
        return 0.0 if v.routes.refine is None else v.routes.refine.refiner.settlement_days
    assert v.request.collector is not None
    return v.request.collector.months_to_sale.centre / MONTHS_PER_YEAR * DAYS_PER_YEAR


def advance_terms(net: Floats, discount: float, v: Valuation) -> Advance | None:
    """Terms under which the buyer advances part of the refiner's net and passes on more at settlement.

    Parameters
    ----------
    net : ndarray, shape (n,)
        Undiscounted net of refining [money].
    discount : float
        ``exp(-r T)``.
    v : Valuation
        The outcome of the stages before.

    Returns
    -------
    Advance or None
        None where no share or no advance is left.

    Notes
    -----
    ``N' = max(0, net)``, ``q = max(0, Q_alpha(N'))``,
    ``k = (D E[N'] - H) / ((1 + m) (q + D E[max(0, N' - q)]))``, at most 1.
    """
    buyer = v.request.buyer
    positive = np.maximum(0.0, net)
    q = max(0.0, quantiles(positive, buyer.loss_chance_frac)[0])
    outlay = q + discount * float(np.mean(np.maximum(0.0, positive - q)))
    if q <= 0.0 or outlay <= 0.0:
        return None
    k = min(1.0, (discount * float(np.mean(positive)) - buyer.handling_cost) / ((1.0 + buyer.margin_frac) * outlay))
    return Advance(k, q) if k > 0.0 else None


def _advance_and_settle(v: Valuation) -> DealRow:
    name = "advance_and_settle"
    chosen = v.routes.refine
    if chosen is None or not v.seen:
        return _refused(name, "Needs a refiner that takes the lot, and gold that was seen.")
    days, currency = chosen.refiner.settlement_days, v.request.spot.currency
    discount = math.exp(-v.request.buyer.capital_rate_per_year * days / DAYS_PER_YEAR)
    net = chosen.settlement.net
    terms = advance_terms(net, discount, v)
    if terms is None:
        return _refused(
            name,
            "The refiner's net is too small or too doubtful: after handling and margin nothing is left to advance.",
        )
    later = terms.later(net)
    profit = discount * net - v.request.buyer.handling_cost - terms.today - discount * later
    return DealRow(
        deal=name,
        offered=True,
        reason=f"{money_words(terms.today, currency)} today; at settlement {terms.share_frac:.0%} of what the refiner "
        f"pays beyond {money_words(terms.threshold, currency)}. The seller bears the doubt about gold and price above "
        "the advance.",
        terms=(
            DealTerm(term="advance", amount=terms.today),
            DealTerm(term="share_frac", amount=terms.share_frac),
            DealTerm(term="threshold", amount=terms.threshold),
        ),
        buyer=_outcome(profit, profit < 0, -terms.today, days),
        seller=_seller(terms.today + discount * later, v, terms.today, days),
    )


def _consign(v: Valuation) -> DealRow:
    collector, intact = v.request.collector, v.routes.intact
    if collector is None:
        return _refused("consign", "Needs a collector's terms: premium or price, chance and time of a sale.")
    if "intact" not in v.request.routes:
        return _refused("consign", "A sale to a collector is not among the ways out that the house named.")
    if intact is None:
        return _refused("consign", "Gold was not seen, so a premium on it prices nothing: needs a price in money.")
    if v.floor.amount is None:
        return _refused("consign", "The seller's floor is not known, so an unsold piece cannot be counted.")
    commission, cost = collector.consignment_commission_frac, collector.selling_cost_frac
    if commission <= cost:
        return _refused(
            "consign", f"The commission of {commission:.0%} does not cover the selling cost of {cost:.0%} of the price."
        )
    rate = v.request.buyer.capital_rate_per_year
    present = intact.price * np.exp(-rate * intact.years)
    earned = np.where(intact.sold, (commission - cost) * present, 0.0) - v.request.buyer.handling_cost
    if float(np.mean(earned)) <= 0:
        return _refused("consign", "On average the commission less selling cost does not pay the house's handling.")
    back = v.floor.amount * math.exp(-rate * collector.months_to_sale.longest / MONTHS_PER_YEAR)
    received = np.where(intact.sold, (1.0 - commission) * present, back)
    return DealRow(
        deal="consign",
        offered=True,
        reason=f"The seller keeps title; the house sells for {commission:.0%} of the price and bears the selling cost. "
        "Unsold, the piece goes back.",
        terms=(DealTerm(term="commission_frac", amount=commission),),
        buyer=_outcome(earned, earned < 0, 0.0, _days_of(v, "intact")),
        seller=_seller(received, v, 0.0, _days_of(v, "intact")),
    )
