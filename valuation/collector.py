"""Sale of the piece as it is, some day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valuation.draws import Draws
from valuation.mass import G_PER_OZT
from valuation.premium import PremiumModel
from valuation.refining import Lot, settled
from valuation.spot import MONTHS_PER_YEAR, gold_later_per_ozt
from valuation.spread import Floats
from valuation.terms import Collector, Refiner, Spot


@dataclass(frozen=True)
class IntactSale:
    """Proceeds of the intact route, drawn; each of shape (n,).

    Parameters
    ----------
    present : ndarray
        Net proceeds, discounted to the day of the quote, with the fallback where it does not sell [money].
    price : ndarray
        Price at the sale, before selling cost, undiscounted [money].
    melt : ndarray
        Melt value at the day of the sale, undiscounted [money].
    years : ndarray
        Time to the sale [years].
    sold : ndarray of bool
        Whether it sells in that draw.
    fallback_worth : bool
        Whether refining an unsold piece pays.
    """

    present: Floats
    price: Floats
    melt: Floats
    years: Floats
    sold: np.typing.NDArray[np.bool_]
    fallback_worth: bool


def sold_intact(
    lot: Lot,
    collector: Collector,
    premium: PremiumModel | None,
    refiner: Refiner | None,
    spot: Spot,
    rate_per_year: float,
    draws: Draws,
) -> IntactSale:
    """Proceeds of a sale to a collector; unsold pieces are refined after the longest wait.

    Parameters
    ----------
    lot : Lot
        What the piece holds.
    collector : Collector
        Terms of the sale.
    premium : PremiumModel or None
        The premium; None where the terms hold a price in money.
    refiner : Refiner or None
        Who takes it if it does not sell.
    spot : Spot
        Price now.
    rate_per_year : float
        Discount rate, continuously compounded.
    draws : Draws
        The draws that count.

    Notes
    -----
    ``price = F S_t / 31.1034768 (1 + premium)``, or the price in money that was entered. Unsold: refining starts at
    the end of the longest wait, or brings nothing where no refiner is known or sending it in does not pay.
    """
    years = draws.of("months_to_sale", collector.months_to_sale) / MONTHS_PER_YEAR
    melt = lot.fine_g * (gold_later_per_ozt(spot, years, draws) / G_PER_OZT)
    if premium is not None:
        price = melt * (1.0 + premium.drawn_frac(draws))
    else:
        assert collector.price is not None
        price = draws.of("collector_price", collector.price)
    sold = draws.u("sale_event") < draws.of("sale_chance", collector.sale_chance_frac)
    present = price * (1.0 - collector.selling_cost_frac) * np.exp(-rate_per_year * years)
    fallback: Floats = np.zeros(draws.n)
    worth = False
    if refiner is not None and not bool(sold.all()):
        later = settled(
            lot,
            refiner,
            spot,
            rate_per_year,
            draws,
            after_years=collector.months_to_sale.longest / MONTHS_PER_YEAR,
        )
        worth, fallback = later.worth_sending, later.present_or_nothing()
    full = (draws.n,)
    return IntactSale(
        present=np.where(sold, present, fallback),
        price=np.broadcast_to(price, full),
        melt=np.broadcast_to(melt, full),
        years=np.broadcast_to(years, full),
        sold=sold,
        fallback_worth=worth,
    )
