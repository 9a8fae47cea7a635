"""Working of what an intact sale brings."""

from __future__ import annotations

import math
from decimal import Decimal

import numpy as np

from valuation.money import currency_digits
from valuation.result import RouteResult
from valuation.rubric import qualities
from valuation.spot import MONTHS_PER_YEAR
from valuation.stages import Valuation
from valuation.terms import Collector
from valuation.working_refining import (
    capital_rate,
    chosen_refiner,
    discount,
    mean_of,
    moved,
    net_at_means,
    printed_total,
    recoveries,
)
from valuation.working_sheet import Draft, Ending, HeadlineWorking, Sheet, ended, enough_digits, money_decimals, origin
from valuation.working_term import Term, exp, ln

GRADES = "house assumption, no source: table of graded qualities"


def intact_working(v: Valuation, result: RouteResult, settlement: HeadlineWorking | None) -> HeadlineWorking:
    """Working of the mean net of an intact sale, as worth today."""
    unit = v.request.spot.currency
    decimals = money_decimals(result.sd, currency_digits(v.request.spot.currency))

    def build(s: Sheet) -> list[Draft]:
        reached = _intact(v, s, settlement)
        return [Draft("intact_net", "Sold intact, as worth today", unit, s.taken(), reached)]

    reached = float(build(Sheet(40))[0].reached.value)
    at_means, named = _intact_at_means(v)
    parts = ((f"means in place of likely values: {named}", at_means - reached),)
    rest = "waits of unlike length, which discount unevenly, and the finite number of draws that sell or do not"
    ending = Ending(result.mean, decimals, "the mean of all draws", parts, rest)
    return ended(enough_digits(build, [ending])[0], ending, private=True)


def _intact(v: Valuation, s: Sheet, settlement: HeadlineWorking | None) -> Term:
    collector, unit = v.request.collector, v.request.spot.currency
    digits = currency_digits(unit)
    assert collector is not None and v.routes.intact is not None
    price = _collector_price(v, s, collector)
    months = s.likely(collector.months_to_sale, "months to the sale", origin(collector, "months_to_sale"), "months")
    cost = s.given(collector.selling_cost_frac, "selling cost", origin(collector, "selling_cost_frac"))
    later = exp(-(capital_rate(v, s) * months / 12))
    sold = s.step("Sold: less selling cost, discounted to today", price * (1 - cost) * later, unit, None, digits)
    chance = s.likely(collector.sale_chance_frac, "chance of a sale", origin(collector, "sale_chance_frac"), "frac")
    unsold = Term.number(Decimal(0))
    refiner = chosen_refiner(v)
    if v.routes.intact.fallback_worth and refiner is not None and settlement is not None:
        longest = s.given(collector.months_to_sale.longest, "longest wait, months", origin(collector, "months_to_sale"))
        worth = printed_total(settlement) * discount(v, s, refiner, longest)
        unsold = s.step("Unsold: refined after the longest wait, discounted to today", worth, unit, None, digits)
    weighed = chance * sold + (1 - chance) * unsold
    return s.step("Sold and unsold by their chances", weighed, unit, None, digits)


def _collector_price(v: Valuation, s: Sheet, collector: Collector) -> Term:
    unit = v.request.spot.currency
    digits = currency_digits(unit)
    if v.premium is None:
        assert collector.price is not None
        return s.likely(collector.price, "collector's price", "entered", unit)
    times = _one_plus_premium(v, s, collector)
    melt = s.given(v.median_melt, "melt value, median of the draws that count", "worked out under “Melt value”")
    return s.step("Price at the likely premium over melt", melt * times, unit, None, digits)


def _one_plus_premium(v: Valuation, s: Sheet, collector: Collector) -> Term:
    if collector.premium_frac is not None:
        return 1 + s.likely(collector.premium_frac, "premium over melt", "entered", "frac")
    if collector.rubric is not None:
        times = Term.number(Decimal(1))
        for quality, grade in collector.rubric.items():
            row = qualities()[quality]
            name = f"{row.label.lower()}: {row.grades[grade].label}"
            times = times * s.given(row.grades[grade].likely, name, GRADES)
        return s.step("What the graded qualities make of the melt value", times)
    return _by_comparables(v, s)


def _by_comparables(v: Valuation, s: Sheet) -> Term:
    """The middle of the price ratios of like sales, each counted by its likeness."""
    assert v.premium is not None and v.premium.foretold is not None
    sales = v.premium.foretold
    counted = sales.weights > 0
    ratios, weights = sales.ratios[counted], sales.weights[counted]
    order = np.argsort(np.log(ratios), kind="stable")
    ratios, weights = ratios[order], weights[order] / weights.sum()
    middles = np.cumsum(weights) - 0.5 * weights
    place = int(np.searchsorted(middles, 0.5))
    source = "comparable sales, entered"

    def ratio(i: int) -> Term:
        return s.given(float(ratios[i]), "price over melt value of a like sale", source)

    if place in (0, len(ratios)):
        return s.step("Price over melt value of the middle sale", ratio(min(place, len(ratios) - 1)))
    below, above = (
        s.given(float(middles[i]), "share of all likeness up to the middle of that sale", "nearness: house assumption")
        for i in (place - 1, place)
    )
    half = s.given(0.5, "the middle", "mathematics")
    low, high = ln(ratio(place - 1)), ln(ratio(place))
    between = exp(low + (high - low) * (half - below) / (above - below))
    return s.step("Price over melt value between the two middle sales", between)


def _intact_at_means(v: Valuation) -> tuple[float, str]:
    """Net of an intact sale with every input at its mean, and which inputs that moves."""
    collector, sale, draws = v.request.collector, v.routes.intact, v.draws
    assert collector is not None and sale is not None
    chance = mean_of(draws, "sale_chance", collector.sale_chance_frac)
    months = mean_of(draws, "months_to_sale", collector.months_to_sale)
    rows = [
        ("chance of a sale", collector.sale_chance_frac.centre, chance),
        ("months to the sale", collector.months_to_sale.centre, months),
    ]
    if v.premium is not None:
        premium = float(np.mean(v.premium.drawn_frac(draws)))
        fine = float(np.mean(v.lot.fine_g))
        rows += [("premium", v.premium.likely_frac, premium), ("fine gold", v.fine.median, fine)]
        price = fine * v.money_per_g * (1.0 + premium)
    else:
        assert collector.price is not None
        price = mean_of(draws, "collector_price", collector.price)
        rows.append(("collector's price", collector.price.centre, price))
    rate = v.request.buyer.capital_rate_per_year
    sold = price * (1.0 - collector.selling_cost_frac) * math.exp(-rate * months / MONTHS_PER_YEAR)
    refiner, unsold = chosen_refiner(v), 0.0
    if sale.fallback_worth and refiner is not None:
        rows += recoveries(v, refiner)
        unsold = net_at_means(v, refiner) * math.exp(-rate * collector.months_to_sale.longest / MONTHS_PER_YEAR)
    return chance * sold + (1.0 - chance) * unsold, moved(rows)
