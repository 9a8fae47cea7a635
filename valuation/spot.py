"""The price of gold and silver, now and later."""

from __future__ import annotations

import numpy as np

from valuation.draws import Draws
from valuation.mass import G_PER_OZT, grams_per
from valuation.spread import Floats
from valuation.terms import Spot

DAYS_PER_YEAR = 365.0
MONTHS_PER_YEAR = 12.0


def gold_per_ozt(spot: Spot) -> float:
    """Gold spot price [money/ozt]."""
    return spot.gold * G_PER_OZT / grams_per(spot.unit)


def silver_per_ozt(spot: Spot) -> float:
    """Silver spot price [money/ozt]; 0 if none was entered."""
    return 0.0 if spot.silver is None else spot.silver * G_PER_OZT / grams_per(spot.unit)


def later_price(price: float, volatility_per_year: float, years: Floats | float, z: Floats) -> Floats:
    """Price after some time, without drift in its mean.

    Parameters
    ----------
    price : float
        Price now [money/ozt].
    volatility_per_year : float
        Standard deviation of a year's log change.
    years : float or ndarray
        Time from now [years].
    z : ndarray, shape (n,)
        Standard normal draws.

    Returns
    -------
    ndarray
        ``S0 exp(vol sqrt(t) Z - vol² t / 2)`` [money/ozt].

    References
    ----------
    J. C. Hull, Options, Futures, and Other Derivatives, the lognormal property of stock prices (from memory).
    """
    scale = volatility_per_year * np.sqrt(years)
    if not np.any(scale):
        return np.asarray(price)
    return np.asarray(price * np.exp(scale * z - 0.5 * scale**2))


def gold_later_per_ozt(spot: Spot, years: Floats | float, draws: Draws) -> Floats:
    """Gold price after `years` [money/ozt], shape (n,) or () if nothing moves."""
    return later_price(gold_per_ozt(spot), spot.gold_volatility_per_year, years, draws.z("gold_price"))


def silver_later_per_ozt(spot: Spot, years: Floats | float, draws: Draws) -> Floats:
    """Silver price after `years` [money/ozt], shape (n,) or () if nothing moves."""
    return later_price(silver_per_ozt(spot), spot.silver_volatility_per_year, years, draws.z("silver_price"))
