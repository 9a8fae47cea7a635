"""What the metal price can do to a purchase until settlement."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr, ndtri

from valuation.asks import offer_all_in
from valuation.negotiation import route_result
from valuation.refining import settled
from valuation.spot import DAYS_PER_YEAR, gold_per_ozt
from valuation.stages import Valuation
from valuation.trade import PriceRisk, RiskRow

SETTLEMENT_DAYS = (0.0, 7.0, 14.0, 30.0, 60.0, 90.0)


def loss_bound_frac(volatility_per_year: float, years: float, chance: float) -> float:
    """Fall of a price that is exceeded with this chance, as a share of today's price.

    Parameters
    ----------
    volatility_per_year : float
        Standard deviation of a year's log change.
    years : float
        Horizon.
    chance : float
        Chance of a deeper fall, for example 0.05.

    Returns
    -------
    float
        ``1 - exp(-z vol sqrt(t))``, z the standard normal quantile of ``1 - chance``; no drift.

    References
    ----------
    Lognormal value at risk, J. C. Hull, Options, Futures, and Other Derivatives (from memory).
    """
    return 1.0 - math.exp(-float(ndtri(1.0 - chance)) * volatility_per_year * math.sqrt(years))


def price_risk(v: Valuation) -> PriceRisk | None:
    """Chance of loss and ceiling against settlement days, and the fall that only just pays.

    Returns
    -------
    PriceRisk or None
        None where refining is closed or not worth while.
    """
    chosen = v.routes.refine
    if chosen is None or v.ceiling is None or not v.seen:
        return None
    price, basis = _price(v)
    buyer = v.request.buyer
    outlay = price + buyer.handling_cost
    rows = []
    for days in sorted({*SETTLEMENT_DAYS, chosen.refiner.settlement_days}):
        terms = chosen.refiner.model_copy(update={"settlement_days": days})
        net = settled(v.lot, terms, v.request.spot, buyer.capital_rate_per_year, v.draws)
        present = net.present_or_nothing()
        rows.append(
            RiskRow(
                days=days,
                chance_of_loss=float(np.mean(present < outlay)),
                ceiling=route_result("refine", present, buyer).ceiling,
            )
        )
    fall = _break_even_fall(outlay, v)
    return PriceRisk(
        price=price,
        price_basis=basis,
        rows=tuple(rows),
        break_even_fall_frac=fall,
        chance_of_fall=None if fall is None else _chance_of_fall(fall, v),
        open_days=0.0 if chosen.refiner.price_fixed == "receipt" else float(chosen.refiner.settlement_days),
    )


def _price(v: Valuation) -> tuple[float, str]:
    offer = offer_all_in(v.request)
    if offer is not None:
        return offer, "offer"
    if v.split is not None:
        return v.split.fair.middle, "middle"
    assert v.ceiling is not None
    return v.ceiling.amount, "ceiling"


def _break_even_fall(outlay: float, v: Valuation) -> float | None:
    """Share by which the gold price must fall until refining only pays the outlay on average."""
    chosen = v.routes.refine
    assert chosen is not None
    terms, rate = chosen.refiner, v.request.buyer.capital_rate_per_year
    still = v.request.spot.model_copy(update={"gold_volatility_per_year": 0.0, "silver_volatility_per_year": 0.0})
    net = settled(v.lot, terms, still, rate, v.draws)
    kept = (1.0 - terms.price_discount_frac - terms.insurance_frac) * math.exp(
        -rate * terms.settlement_days / DAYS_PER_YEAR
    )
    from_gold = float(np.mean(net.payable_ozt)) * gold_per_ozt(v.request.spot) * kept
    if from_gold <= 0:
        return None
    fall = (float(np.mean(net.present)) - outlay) / from_gold
    return fall if -math.inf < fall < 1.0 else None


def _chance_of_fall(fall: float, v: Valuation) -> float:
    chosen = v.routes.refine
    assert chosen is not None
    if chosen.refiner.price_fixed == "receipt":
        return 0.0 if fall > 0 else 1.0
    scale = v.request.spot.gold_volatility_per_year * math.sqrt(chosen.refiner.settlement_days / DAYS_PER_YEAR)
    if scale == 0:
        return 0.0 if fall > 0 else 1.0
    return float(ndtr((math.log1p(-fall) + 0.5 * scale**2) / scale))
