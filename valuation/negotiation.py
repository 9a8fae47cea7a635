"""Buyer's ceiling, seller's floor, fair range and the plans of both sides."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal

import numpy as np

from valuation.money import exact, minor_unit
from valuation.result import FairRange, FloorBasis, Plan, RouteResult, Side, Verdict
from valuation.spread import Floats
from valuation.summary import COVERAGE_FRAC, quantiles
from valuation.terms import Buyer, Seller

FAIR_SHARE = 0.25
ASSUMED_FLOOR_FRAC = 0.70
_STEPS = (Decimal(5), Decimal(1), Decimal("0.1"), Decimal("0.01"), Decimal("0.001"))


def margin_term(mean: float, buyer: Buyer) -> float:
    """Highest outlay that leaves the margin on average: ``(E[V] - H) / (1 + m)`` [money]."""
    return (mean - buyer.handling_cost) / (1.0 + buyer.margin_frac)


def route_result(route: str, proceeds: Floats, buyer: Buyer) -> RouteResult:
    """Summary of a route's discounted net proceeds, shape (n,), and the ceiling that they allow.

    Notes
    -----
    By margin ``(E[V] - H) / (1 + m)``, by risk ``Q_alpha(V) - H``; the ceiling is the smaller, not below 0.
    """
    tail = (1.0 - COVERAGE_FRAC) / 2.0
    low, median, high, at_risk = quantiles(proceeds, tail, 0.5, 1.0 - tail, buyer.loss_chance_frac)
    mean = float(proceeds.mean())
    by_margin, by_risk = margin_term(mean, buyer), at_risk - buyer.handling_cost
    return RouteResult(
        route=route,
        mean=mean,
        sd=float(proceeds.std()),
        low=low,
        median=median,
        high=high,
        ceiling_by_margin=by_margin,
        ceiling_by_risk=by_risk,
        ceiling=max(0.0, min(by_margin, by_risk)),
        binds="margin" if by_margin <= by_risk else "risk",
    )


@dataclass(frozen=True)
class Ceiling:
    """The buyer's ceiling over all routes [money].

    Parameters
    ----------
    amount : float
        Highest cash price that the house's terms allow.
    route : str
        The way out that allows it.
    cost_of_doubt : float
        What the ceiling loses to doubt: the best margin term over routes, less the ceiling.
    doubt_free_route : str
        The way out that the house would take without doubt.
    """

    amount: float
    route: str
    cost_of_doubt: float
    doubt_free_route: str


def buyer_ceiling(routes: list[RouteResult]) -> Ceiling:
    """The best ceiling of the routes, and what doubt takes from it."""
    best = max(routes, key=lambda r: r.ceiling)
    doubt_free = max(routes, key=lambda r: r.ceiling_by_margin)
    cost = max(0.0, doubt_free.ceiling_by_margin) - best.ceiling
    return Ceiling(best.ceiling, best.route, cost, doubt_free.route)


def unbinding_loss_chance(proceeds: Floats, result: RouteResult, buyer: Buyer) -> float:
    """Accepted chance of loss from which the margin, not the risk, sets the route's ceiling."""
    return float(np.mean(proceeds <= result.ceiling_by_margin + buyer.handling_cost))


@dataclass(frozen=True)
class Floor:
    """The seller's floor [money] and what it rests on; `amount` None if nothing can be said."""

    amount: float | None
    basis: FloorBasis


def seller_floor(seller: Seller, own_refining: float | None, median_melt: float, seen: bool) -> Floor:
    """Best of the seller's known alternatives; 0.70 of median melt value, as an assumption, where none is known.

    Parameters
    ----------
    seller : Seller
        What is known of the seller's side.
    own_refining : float or None
        Expected worth of refining under the seller's own terms, less effort; None if no terms are known [money].
    median_melt : float
        Median melt value [money].
    seen : bool
        Whether gold was seen by weight; if not, there is no melt value to assume a floor from.
    """
    known: list[tuple[float, FloorBasis]] = []
    if seller.minimum is not None:
        known.append((seller.minimum, "minimum"))
    if seller.other_bid is not None:
        known.append((seller.other_bid, "other_bid"))
    if own_refining is not None and own_refining > 0:
        known.append((own_refining, "own_refining"))
    if seller.keep_value is not None:
        known.append((seller.keep_value, "keep_value"))
    if known:
        return Floor(*max(known, key=lambda pair: pair[0]))
    return Floor(ASSUMED_FLOOR_FRAC * median_melt if seen else None, "assumed")


@dataclass(frozen=True)
class Split:
    """A fair range, the plans that go with it, and the step that its figures are rounded to."""

    fair: FairRange
    plan: Plan
    step: Decimal


def price_step(surplus: Decimal, increment: Decimal, unit: Decimal) -> Decimal | None:
    """Step that offers are rounded to, so that at least four steps fit the surplus; None if not even four units do."""
    whole_coins = _to_step(increment, unit, ROUND_CEILING)
    steps = [whole_coins, *(step for step in _STEPS if step >= unit)]
    return next((step for step in steps if surplus >= 4 * step), None)


def _to_step(amount: Decimal, step: Decimal, rounding: str) -> Decimal:
    return (amount / step).to_integral_value(rounding) * step


def fair_split(ceiling: float, floor: float, buyer: Buyer, currency: str) -> Split | None:
    """The range between floor and ceiling in which both sides gain, and the plans.

    Parameters
    ----------
    ceiling, floor : float
        C and L, unrounded [money].
    buyer : Buyer
        Cash increment.
    currency : str
        ISO 4217 code, for the smallest unit.

    Returns
    -------
    Split or None
        None if C < L, or if no whole unit of the currency lies between them.

    Notes
    -----
    Middle ``(L + C) / 2``; range ``[L + s surplus, C - s surplus]``, s = 0.25; low rounded up, high down.

    References
    ----------
    J. F. Nash, The Bargaining Problem, Econometrica 18 (1950) 155-162: equal split of the surplus.
    """
    c, low_end = exact(ceiling), exact(floor)
    surplus = c - low_end
    if surplus < 0:
        return None
    unit = minor_unit(currency)
    step = price_step(surplus, exact(buyer.cash_increment), unit)
    if step is None:
        only = _to_step(low_end, unit, ROUND_CEILING)
        if only > c:
            return None
        low = middle = high = only
        step = unit
    else:
        share = exact(FAIR_SHARE) * surplus
        low = _to_step(low_end + share, step, ROUND_CEILING)
        high = _to_step(c - share, step, ROUND_FLOOR)
        middle = _to_step((low_end + c) / 2, step, ROUND_HALF_EVEN)
    return Split(
        FairRange(low=float(low), middle=float(middle), high=float(high)),
        Plan(
            buyer=Side(open=float(low), aim=float(middle), stop=float(_to_step(c, step, ROUND_FLOOR))),
            seller=Side(open=float(high), aim=float(middle), stop=float(_to_step(low_end, step, ROUND_CEILING))),
            step=float(step),
        ),
        step,
    )


def verdict_of(ceiling: Ceiling | None, floor: Floor, split: Split | None, *, seen: bool) -> Verdict:
    """What a piece or a lot comes to.

    Parameters
    ----------
    ceiling, split
        None where there is none.
    seen : bool
        Whether there is gold to value: seen by weight, or measured elsewhere.
    """
    if ceiling is None or not seen:
        return "not_by_weight"
    if split is not None:
        return "fair_range"
    return "floor_unknown" if floor.basis == "assumed" else "no_fair_price"
