"""Working of ceilings, floor, fair range, plans and an asking price: all of it for the house only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal

import numpy as np

from valuation.asks import all_in, newest_ask
from valuation.money import currency_digits, exact, minor_unit, to_coins
from valuation.negotiation import ASSUMED_FLOOR_FRAC, FAIR_SHARE, price_step
from valuation.refiners import takes
from valuation.refining import settled
from valuation.result import RouteResult
from valuation.stages import Valuation
from valuation.summary import quantiles
from valuation.terms import Ask
from valuation.working_sheet import FROM_DRAWS, Draft, Ending, HeadlineWorking, Sheet, ended, enough_digits, origin
from valuation.working_term import Term, least, most, stepped

ROUTES = {"refine": "refining", "intact": "an intact sale"}
NASH = "house assumption, no source; the middle is Nash's equal split (Econometrica 18 (1950) 155)"
PLAN_BUYER, PLAN_SELLER = "The house's plan: where to stop", "The seller's plan: where to stop"


@dataclass(frozen=True)
class _Money:
    """Headlines in money that their lines lead straight to."""

    unit: str
    digits: int

    def working(
        self, key: str, title: str, figure: float, closing: str, write: Callable[[Sheet], Term], finest: int = 0
    ) -> HeadlineWorking:
        ending = Ending(figure, max(self.digits, finest), closing=closing)

        def build(s: Sheet) -> list[Draft]:
            reached = write(s)
            return [Draft(key, title, self.unit, s.taken(), reached)]

        return ended(enough_digits(build, [ending])[0], ending, private=True)

    def step(self, s: Sheet, label: str, term: Term) -> Term:
        return s.step(label, term, self.unit, least_decimals=self.digits)


def offer_workings(v: Valuation) -> list[HeadlineWorking]:
    """Workings of all that the bargain rests on."""
    currency = v.request.spot.currency
    money = _Money(currency, currency_digits(currency))
    found = [w for result in v.results for w in _route_ceilings(v, result, money)]
    if v.ceiling is not None:
        found.append(_buyer_ceiling(v, money))
    if v.floor.amount is not None:
        found.append(_seller_floor(v, money, v.floor.amount))
    if v.split is not None:
        found += _fair(v, money) + _plans(v, money)
    elif v.ceiling is not None and v.floor.amount is not None and v.floor.amount > v.ceiling.amount:
        found.append(_gap(v, money))
    asked = newest_ask(v.request)
    if asked is not None:
        found.append(_ask(asked, money))
    return found


# ---- ceilings


def _route_ceilings(v: Valuation, result: RouteResult, money: _Money) -> list[HeadlineWorking]:
    buyer, way = v.request.buyer, ROUTES[result.route]
    handling_source, margin_source = origin(buyer, "handling_cost"), origin(buyer, "margin_frac")
    at_risk = quantiles(v.routes.present[result.route], buyer.loss_chance_frac)[0]

    def by_margin(s: Sheet) -> Term:
        mean = s.given(result.mean, f"E[V], mean of all draws of {way}", FROM_DRAWS)
        handling = s.given(buyer.handling_cost, "handling", handling_source)
        margin = s.given(buyer.margin_frac, "margin on the outlay", margin_source)
        return money.step(s, "Outlay that leaves the margin on average", (mean - handling) / (1 + margin))

    def by_risk(s: Sheet) -> Term:
        share = f"{100 * buyer.loss_chance_frac:.4g} %"
        lowest = s.given(at_risk, f"Q, under which {share} of all draws of {way} lie", FROM_DRAWS)
        handling = s.given(buyer.handling_cost, "handling", handling_source)
        return money.step(s, f"Outlay that loses money in {share} of all draws", lowest - handling)

    key, start = f"{result.route}_ceiling_by", f"Ceiling of {way}"
    return [
        money.working(
            f"{key}_margin",
            f"{start}, by margin",
            result.ceiling_by_margin,
            "Starts from E[V], the mean of the net proceeds over all draws.",
            by_margin,
        ),
        money.working(
            f"{key}_risk",
            f"{start}, by risk",
            result.ceiling_by_risk,
            "Starts from Q, the net proceeds that are not reached as often as the house accepts a loss.",
            by_risk,
        ),
    ]


def _buyer_ceiling(v: Valuation, money: _Money) -> HeadlineWorking:
    assert v.ceiling is not None

    def write(s: Sheet) -> Term:
        ways = []
        for result in v.results:
            way = ROUTES[result.route]
            limits = [
                s.given(amount, f"ceiling of {way}, by {what}", f"worked out under “Ceiling of {way}, by {what}”")
                for what, amount in (("margin", result.ceiling_by_margin), ("risk", result.ceiling_by_risk))
            ]
            ways.append(money.step(s, f"What {way} allows", most(0, least(*limits))))
        return ways[0] if len(ways) == 1 else money.step(s, "The best of the ways out", most(*ways))

    binding = next(result for result in v.results if result.route == v.ceiling.route)
    limit = "the margin that the house needs" if binding.binds == "margin" else "the chance of loss that it accepts"
    closing = f"Set by {ROUTES[v.ceiling.route]}, and there by {limit}."
    return money.working("buyer_ceiling", "The house's ceiling", v.ceiling.amount, closing, write)


# ---- floor


def _seller_floor(v: Valuation, money: _Money, amount: float) -> HeadlineWorking:
    seller = v.request.seller

    def write(s: Sheet) -> Term:
        if v.floor.basis == "assumed":
            share = s.given(ASSUMED_FLOOR_FRAC, "share of the melt value", "assumption, no source")
            melt = s.given(v.median_melt, "melt value, median of the draws that count", "worked out under “Melt value”")
            return money.step(s, "No alternative of the seller is known", share * melt)
        known = {
            name: s.given(figure, name)
            for figure, name in (
                (seller.minimum, "the seller's stated minimum"),
                (seller.other_bid, "another cash bid"),
                (seller.keep_value, "what keeping it is worth"),
            )
            if figure is not None
        }
        own = _own_refining(v)
        if own is not None:
            mean = s.given(own, "mean of all draws of the seller's own refining, discounted", FROM_DRAWS)
            effort = s.given(seller.effort_cost, "the seller's effort", origin(seller, "effort_cost"))
            own_net = money.step(s, "The seller's own refining", mean - effort)
            if own_net.value > 0:
                known["the seller's own refining"] = own_net
        names, terms = ", ".join(known), tuple(known.values())
        if len(terms) == 1:
            return money.step(s, f"All that is known: {names}", terms[0])
        return money.step(s, f"The best of {names}", most(*terms))

    closing = "An assumption: nothing is known of what the seller could get elsewhere."
    if v.floor.basis != "assumed":
        closing = "The least that the seller can accept without losing by it."
    return money.working("seller_floor", "The seller's floor", amount, closing, write)


def _own_refining(v: Valuation) -> float | None:
    """Mean worth today of refining under the seller's own terms, before effort."""
    terms = v.request.seller.refiner
    if terms is None or not v.seen or not takes(terms, v.lot):
        return None
    rate = v.request.buyer.capital_rate_per_year
    own = settled(v.lot, terms, v.request.spot, rate, v.draws, recovery_column="seller_recovery")
    return float(np.mean(own.present_or_nothing()))


def _gap(v: Valuation, money: _Money) -> HeadlineWorking:
    assert v.ceiling is not None and v.floor.amount is not None
    closing = "The floor lies above the ceiling: no cash price suits both."

    def write(s: Sheet) -> Term:
        ceiling, floor = _ends(v, s)
        return money.step(s, "Floor less ceiling", floor - ceiling)

    return money.working("gap", "The gap", v.floor.amount - v.ceiling.amount, closing, write)


# ---- fair range and plans


def _ends(v: Valuation, s: Sheet) -> tuple[Term, Term]:
    assert v.ceiling is not None and v.floor.amount is not None
    ceiling = s.given(v.ceiling.amount, "the house's ceiling", "worked out under “The house's ceiling”")
    return ceiling, s.given(v.floor.amount, "the seller's floor", "worked out under “The seller's floor”")


def _step(v: Valuation, s: Sheet) -> Term:
    assert v.split is not None
    buyer = v.request.buyer
    if exact(buyer.cash_increment) == v.split.step:
        return s.given(v.split.step, "cash step", origin(buyer, "cash_increment"))
    return s.given(v.split.step, "cash step", "largest step that goes four times into the surplus; else the coin")


def _finest(step: Decimal) -> int:
    """Decimals that whole multiples of a step can have."""
    exponent = step.normalize().as_tuple().exponent
    assert isinstance(exponent, int)
    return max(0, -exponent)


def _fair(v: Valuation, money: _Money) -> list[HeadlineWorking]:
    assert v.split is not None and v.ceiling is not None and v.floor.amount is not None
    unit = minor_unit(v.request.spot.currency)
    surplus = exact(v.ceiling.amount) - exact(v.floor.amount)
    narrow = price_step(surplus, exact(v.request.buyer.cash_increment), unit) is None

    def only(s: Sheet) -> Term:
        _, floor = _ends(v, s)
        return money.step(s, "Too little to share: the floor, rounded up", stepped("roundup", floor, _step(v, s)))

    def low(s: Sheet) -> Term:
        share, over, _, floor = _shared(v, s, money)
        term = stepped("roundup", floor + share * over, _step(v, s))
        return money.step(s, "Low end: the floor and a share of the surplus, rounded up", term)

    def high(s: Sheet) -> Term:
        share, over, ceiling, _ = _shared(v, s, money)
        term = stepped("rounddown", ceiling - share * over, _step(v, s))
        return money.step(s, "High end: the ceiling less a share of the surplus, rounded down", term)

    def middle(s: Sheet) -> Term:
        ceiling, floor = _ends(v, s)
        term = stepped("round", (floor + ceiling) / 2, _step(v, s))
        return money.step(s, "Middle of floor and ceiling, to the nearest step", term)

    fair, finest = v.split.fair, _finest(v.split.step)
    closing = "Starts from the unrounded floor and ceiling."
    return [
        money.working(f"fair_{name}", f"Fair range: {told}", figure, closing, only if narrow else write, finest)
        for name, told, figure, write in (
            ("low", "low end", fair.low, low),
            ("middle", "middle", fair.middle, middle),
            ("high", "high end", fair.high, high),
        )
    ]


def _shared(v: Valuation, s: Sheet, money: _Money) -> tuple[Term, Term, Term, Term]:
    ceiling, floor = _ends(v, s)
    over = money.step(s, "Surplus", ceiling - floor)
    return s.given(FAIR_SHARE, "share of the surplus", NASH), over, ceiling, floor


def _plans(v: Valuation, money: _Money) -> list[HeadlineWorking]:
    assert v.split is not None
    plan, finest = v.split.plan, _finest(v.split.step)

    def opens_and_aims(s: Sheet, opens: float, which: str) -> None:
        for label, figure, end in (("Opens at", opens, which), ("Aims for", plan.buyer.aim, "middle")):
            source = f"worked out under “Fair range: {end}”"
            money.step(s, f"{label} the fair range's {end}", s.given(figure, f"the fair range's {end}", source))

    def buyer(s: Sheet) -> Term:
        opens_and_aims(s, plan.buyer.open, "low end")
        term = stepped("rounddown", _ends(v, s)[0], _step(v, s))
        return money.step(s, "Stops at the ceiling, rounded down", term)

    def seller(s: Sheet) -> Term:
        opens_and_aims(s, plan.seller.open, "high end")
        term = stepped("roundup", _ends(v, s)[1], _step(v, s))
        return money.step(s, "Stops at the floor, rounded up", term)

    closing = "Opens at the near end of the fair range, aims for its middle, and stops here."
    return [
        money.working("plan_buyer", PLAN_BUYER, plan.buyer.stop, closing, buyer, finest),
        money.working("plan_seller", PLAN_SELLER, plan.seller.stop, closing, seller, finest),
    ]


# ---- an asking price


def _ask(ask: Ask, money: _Money) -> HeadlineWorking:
    def write(s: Sheet) -> Term:
        total = s.given(ask.price, "price asked now")
        if ask.fee_frac:
            total = total * (1 + s.given(ask.fee_frac, "buyer's fee"))
        if ask.shipping:
            total = total + s.given(ask.shipping, "shipping")
        if ask.tax_frac:
            total = total * (1 + s.given(ask.tax_frac, "tax"))
        if ask.exchange_rate is not None:
            total = total * s.given(ask.exchange_rate, f"{money.unit} for one {ask.currency or 'unit'}")
        return s.step("Price asked now, with fee, shipping, tax and exchange", total, money.unit, money.digits)

    figure = float(to_coins(all_in(ask, money.unit), money.unit))
    closing = "What the ask comes to in all, in whole coins."
    return money.working("ask_all_in", "Asking price, all-in", figure, closing, write)
