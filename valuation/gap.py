"""Why there is no fair cash price: what the ceiling would be without each of its causes."""

from __future__ import annotations

from valuation.draws import Draws
from valuation.negotiation import Ceiling, Floor, buyer_ceiling, route_result
from valuation.premium import PremiumModel
from valuation.refining import Lot
from valuation.request import QuoteRequest
from valuation.result import GapCause
from valuation.routes import open_routes
from valuation.spread import FRACTION, PREMIUM, Spread

_NO_CHARGES = {
    "minimum_deduction_ozt": 0.0,
    "price_discount_frac": 0.0,
    "refining_per_ozt": 0.0,
    "treatment_per_kg": 0.0,
    "assay_fee": 0.0,
    "lot_fee": 0.0,
    "freight": 0.0,
    "insurance_frac": 0.0,
}


def gap_causes(
    request: QuoteRequest,
    lot: Lot,
    draws: Draws,
    ceiling: Ceiling | None,
    floor: Floor,
    *,
    seen: bool,
    premium: PremiumModel | None,
) -> list[GapCause]:
    """The ceiling without doubt, charges, margin, and with a sale at the likely premium for certain.

    Returns
    -------
    list of GapCause
        Empty where the ceiling reaches the floor, or one of them is unknown.
    """
    if not seen or ceiling is None or floor.amount is None or ceiling.amount >= floor.amount:
        return []

    def without(changed: QuoteRequest, sure: PremiumModel | None = premium) -> float:
        routes = open_routes(changed, lot, draws, seen=seen, premium=sure)
        return buyer_ceiling([route_result(n, p, changed.buyer) for n, p in routes.present.items()]).amount

    ceilings = {"doubt": ceiling.amount + ceiling.cost_of_doubt}
    ceilings["charges"] = without(_without_charges(request))
    bare = request.buyer.model_copy(update={"margin_frac": 0.0, "handling_cost": 0.0})
    ceilings["margin"] = without(request.model_copy(update={"buyer": bare}))
    if request.collector is not None and "intact" in request.routes:
        ceilings["premium"] = without(_with_certain_sale(request), _certain(premium))
    return [
        GapCause(cause=cause, ceiling_without=amount, closes=amount >= floor.amount)
        for cause, amount in ceilings.items()
    ]


def _without_charges(request: QuoteRequest) -> QuoteRequest:
    refiner = request.refiner and request.refiner.model_copy(update=_NO_CHARGES)
    others = tuple(other.model_copy(update=_NO_CHARGES) for other in request.other_refiners)
    collector = request.collector and request.collector.model_copy(update={"selling_cost_frac": 0.0})
    return request.model_copy(update={"refiner": refiner, "other_refiners": others, "collector": collector})


def _with_certain_sale(request: QuoteRequest) -> QuoteRequest:
    collector = request.collector
    assert collector is not None
    sure = collector.model_copy(update={"sale_chance_frac": Spread(value=1.0).within(FRACTION)})
    return request.model_copy(update={"collector": sure})


def _certain(premium: PremiumModel | None) -> PremiumModel | None:
    return None if premium is None else PremiumModel("entered", Spread(value=premium.likely_frac).within(PREMIUM))
