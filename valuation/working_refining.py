"""Working of what refining pays, at the likely values and on average."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from valuation.asks import likely_net
from valuation.draws import Draws
from valuation.mass import G_PER_OZT
from valuation.money import currency_digits
from valuation.refiners import RankedRefiner, ranked_refiners
from valuation.refining import statement
from valuation.result import RouteResult
from valuation.spot import DAYS_PER_YEAR, MONTHS_PER_YEAR
from valuation.spread import Spread
from valuation.stages import Valuation
from valuation.terms import Refiner
from valuation.working_gold import TROY, median_fine, median_of_draws, per_ozt, spot_per_ozt
from valuation.working_sheet import (
    FROM_DRAWS,
    Draft,
    Ending,
    HeadlineWorking,
    Sheet,
    carried,
    ended,
    enough_digits,
    money_decimals,
    origin,
)
from valuation.working_term import Term, exp, least, most, stepped


def chosen_refiner(v: Valuation) -> Refiner | None:
    """The refiner whose statement is worked out: that of the way out, else the one that takes an unsold piece."""
    if v.routes.refine is not None:
        return v.routes.refine.refiner
    request = v.request
    if request.refiner is None or v.routes.intact is None or not v.routes.intact.fallback_worth:
        return None
    rate = request.buyer.capital_rate_per_year
    every = ranked_refiners([request.refiner, *request.other_refiners], v.lot, request.spot, rate, v.draws)
    return every[0].refiner


# ---- the settlement at likely values


@dataclass(frozen=True)
class _Likely:
    """Median contents, and the printed total that they bring."""

    fine_g: float
    silver_g: float
    mass_g: float


def _medians(v: Valuation) -> _Likely:
    return _Likely(v.fine.median, median_of_draws(v.lot.silver_g), float(np.median(v.lot.mass_g)))


def settlement_working(v: Valuation, refiner: Refiner) -> HeadlineWorking:
    """Working of the refiner's settlement at the likely values, before any discount for waiting."""
    m = _medians(v)
    rate = v.request.buyer.capital_rate_per_year
    total = statement(m.fine_g, m.silver_g, m.mass_g, refiner, v.request.spot, rate)[-2].amount
    ending = Ending(
        float(total),
        _digits(v),
        closing="The total of the settlement at the likely values, paid "
        f"{refiner.settlement_days:g} days after it is sent in.",
    )

    def build(s: Sheet) -> list[Draft]:
        reached = _settlement(v, s, refiner)
        return [Draft("settlement_total", "What refining pays", v.request.spot.currency, s.taken(), reached)]

    private = v.routes.refine is None  # it then only tells what the house would do with an unsold piece
    return ended(enough_digits(build, [ending])[0], ending, private=private)


def _digits(v: Valuation) -> int:
    return currency_digits(v.request.spot.currency)


def _settlement(v: Valuation, s: Sheet, refiner: Refiner) -> Term:
    paid = _payable(v, s, refiner)
    price = spot_per_ozt(s, v.request)
    unit, digits = v.request.spot.currency, _digits(v)
    total = s.step("Gold", paid * price, unit, digits)
    for label, charge in _charges(v, s, refiner, paid, price):
        total = total - s.step(label, charge, unit, digits)
    if refiner.silver_payable_frac > 0:
        silver = _payable_silver(v, s, refiner)
        assert v.request.spot.silver is not None
        silver_price = per_ozt(s, v.request.spot.silver, v.request.spot, "silver")
        total = total + s.step("Silver", silver * silver_price, unit, digits)
    return s.step("Total", total, unit, digits)


def _payable(v: Valuation, s: Sheet, refiner: Refiner) -> Term:
    source = origin(refiner, "recovery_frac")
    recovery = s.likely(refiner.recovery_frac, "recovery", source, "frac")
    ounce = s.given(G_PER_OZT, "g in a troy ounce", TROY)
    assayed = s.step("Gold that comes out and is assayed", median_fine(v, s) * recovery / ounce, "ozt")
    ozt = v.fine.median * refiner.recovery_frac.centre / G_PER_OZT
    tier = [tier for tier in refiner.payable if ozt >= tier.from_ozt][-1]
    name = f"payable share from {tier.from_ozt:g} ozt on"
    payable = assayed * s.given(tier.frac, name, origin(refiner, "payable"))
    if refiner.minimum_deduction_ozt > 0:
        source = origin(refiner, "minimum_deduction_ozt")
        kept = s.given(refiner.minimum_deduction_ozt, "minimum deduction, ozt", source)
        payable = most(0, least(payable, assayed - kept))
    paid = stepped("rounddown", payable, _step(s, refiner))
    return s.step("Payable, rounded down to the refiner's step", paid, "ozt")


def _step(s: Sheet, refiner: Refiner) -> Term:
    return s.given(refiner.weight_step_ozt, "weight step, ozt", origin(refiner, "weight_step_ozt"))


def _charges(v: Valuation, s: Sheet, refiner: Refiner, paid: Term, price: Term) -> list[tuple[str, Term]]:
    def term(name: str, what: str) -> Term:
        return s.given(getattr(refiner, name), what, origin(refiner, name))

    mass = s.given(float(np.median(v.lot.mass_g)), "mass, median of the draws that count, g", "worked out under “Mass”")
    every = {
        "price_discount_frac": ("Price discount", paid * price * term("price_discount_frac", "share of the price")),
        "refining_per_ozt": ("Refining charge", paid * term("refining_per_ozt", "refining charge per payable ozt")),
        "treatment_per_kg": ("Treatment charge", mass / 1000 * term("treatment_per_kg", "treatment charge per kg")),
        "assay_fee": ("Assay fee", term("assay_fee", "assay fee")),
        "lot_fee": ("Lot fee", term("lot_fee", "lot fee")),
        "freight": ("Freight", term("freight", "freight")),
        "insurance_frac": ("Insurance", paid * price * term("insurance_frac", "share of the gold")),
    }
    return [row for name, row in every.items() if getattr(refiner, name)]


def _payable_silver(v: Valuation, s: Sheet, refiner: Refiner) -> Term:
    silver = s.given(_medians(v).silver_g, "fine silver, median of the draws that count, g", FROM_DRAWS)
    own = refiner.silver_recovery_frac
    source = origin(refiner, "recovery_frac" if own is None else "silver_recovery_frac")
    recovery = s.likely(own or refiner.recovery_frac, "silver recovery", source, "frac")
    share = s.given(refiner.silver_payable_frac, "payable share of silver", origin(refiner, "silver_payable_frac"))
    ounce = s.given(G_PER_OZT, "g in a troy ounce", TROY)
    ozt = silver * recovery * share / ounce
    return s.step("Payable silver, rounded down to the same step", stepped("rounddown", ozt, _step(s, refiner)), "ozt")


# ---- the way out by refining


def refine_working(v: Valuation, result: RouteResult, settlement: HeadlineWorking | None) -> HeadlineWorking:
    """Working of the mean net of refining, as worth today."""
    if v.routes.refine is None or settlement is None:
        return _refused(v)
    chosen = v.routes.refine
    unit, digits = v.request.spot.currency, _digits(v)
    present = chosen.settlement.present
    decimals = money_decimals(float(present.std()), digits)

    def build(s: Sheet) -> list[Draft]:
        total = printed_total(settlement)
        net = s.step("The total, discounted to today", total * discount(v, s, chosen.refiner, None), unit, digits)
        return [Draft("refine_net", "Refining, as worth today", unit, s.taken(), net)]

    reached = float(build(Sheet(40))[0].reached.value)
    parts, rest = _mean_parts(v, chosen, reached)
    ending = Ending(chosen.mean, decimals, "the mean of all draws", parts, rest)
    found = ended(enough_digits(build, [ending])[0], ending, private=True)
    if chosen.settlement.worth_sending:
        return found
    s = Sheet(40, steps=list(found.steps))
    s.step("Not worth sending in", most(0, Term.number(ending.shown)), unit, digits)
    closing = f"{found.closing} On average the charges eat up what is paid, so this way out is worth nothing."
    return found.model_copy(update={"steps": s.taken(), "figure": result.mean, "closing": closing})


def printed_total(settlement: HeadlineWorking) -> Term:
    """The total of a settlement as it enters another headline."""
    total = Decimal(settlement.steps[-1].result.replace("−", "-"))
    return carried(Term.number(total), "total of the settlement", settlement.title)


def capital_rate(v: Valuation, s: Sheet) -> Term:
    """What money that is tied up costs the house."""
    buyer = v.request.buyer
    return s.given(buyer.capital_rate_per_year, "cost of capital a year", origin(buyer, "capital_rate_per_year"))


def discount(v: Valuation, s: Sheet, refiner: Refiner, after: Term | None) -> Term:
    """Worth today of one unit of money at the refiner's settlement, sent in after a wait in months."""
    days = s.given(refiner.settlement_days, "days to settlement", origin(refiner, "settlement_days"))
    years = days / Term.number(Decimal(int(DAYS_PER_YEAR)))
    if after is not None:
        years = after / Term.number(Decimal(int(MONTHS_PER_YEAR))) + years
    return exp(-(capital_rate(v, s) * years))


def _mean_parts(v: Valuation, chosen: RankedRefiner, reached: float) -> tuple[tuple[tuple[str, float], ...], str]:
    m, refiner = _medians(v), chosen.refiner
    at_medians = likely_net(m.fine_g, m.silver_g, m.mass_g, refiner, v.request)
    at_means = net_at_means(v, refiner)
    named = moved([("fine gold", m.fine_g, float(np.mean(v.lot.fine_g))), *recoveries(v, refiner)])
    parts = [
        ("rounding down and to the smallest coin on the settlement", at_medians - reached),
        (f"means in place of likely values: {named}", at_means - at_medians),
    ]
    bent = len(refiner.payable) > 1 or refiner.minimum_deduction_ozt > 0
    rest = "the finite number of draws"
    return tuple(parts), f"tiers and least deduction, which not every draw meets alike, and {rest}" if bent else rest


def recoveries(v: Valuation, refiner: Refiner) -> list[tuple[str, float, float]]:
    """A refiner's recoveries: name, likely value, mean of all draws."""
    found = [("recovery", refiner.recovery_frac.centre, mean_of(v.draws, "recovery", refiner.recovery_frac))]
    own = refiner.silver_recovery_frac
    if own is not None and refiner.silver_payable_frac > 0:
        found.append(("silver recovery", own.centre, mean_of(v.draws, "silver_recovery", own)))
    return found


def mean_of(draws: Draws, column: str, spread: Spread) -> float:
    """Mean of an input over the draws that count."""
    return float(np.mean(draws.of(column, spread)))


def moved(rows: list[tuple[str, float, float]]) -> str:
    """Those whose mean is not their likely value, in words."""
    told = [
        f"{name} {mean:.4g} for {likely:.4g}"
        for name, likely, mean in rows
        if abs(mean - likely) > 1e-6 * abs(mean) and f"{mean:.4g}" != f"{likely:.4g}"
    ]
    return ", ".join(told) or "too near to tell apart in print"


def net_at_means(v: Valuation, refiner: Refiner) -> float:
    """Discounted net of refining with every input at its mean."""
    means: dict[str, Spread | None] = {}
    for name, column in (("recovery_frac", "recovery"), ("silver_recovery_frac", "silver_recovery")):
        spread = getattr(refiner, name)
        means[name] = spread and Spread(value=mean_of(v.draws, column, spread))
    mean_terms = refiner.model_copy(update=means)
    fine, silver, mass = (float(np.mean(x)) for x in (v.lot.fine_g, v.lot.silver_g, v.lot.mass_g))
    return likely_net(fine, silver, mass, mean_terms, v.request)


def _refused(v: Valuation) -> HeadlineWorking:
    """Working where no refiner takes so small a lot."""
    s = Sheet(8)
    for ranked in v.routes.refiners:
        refiner = ranked.refiner
        recovery = s.likely(refiner.recovery_frac, "recovery", origin(refiner, "recovery_frac"), "frac")
        ounce = s.given(G_PER_OZT, "g in a troy ounce", TROY)
        label = f"Assayed gold; {refiner.name} takes no less than {refiner.minimum_lot_ozt:g} ozt"
        s.step(label, median_fine(v, s) * recovery / ounce, "ozt")
    unit, digits = v.request.spot.currency, _digits(v)
    nothing = s.step("Nothing is sent in", Term.number(Decimal(0)), unit, digits)
    draft = Draft("refine_net", "Refining, as worth today", unit, s.taken(), nothing)
    closing = "No refiner takes so small a lot, so this way out is worth nothing."
    return ended(draft, Ending(0.0, digits, closing=closing), private=True)
