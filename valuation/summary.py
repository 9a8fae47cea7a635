"""Draws -> mean, median and interval; rounding by uncertainty."""

from __future__ import annotations

import math

import numpy as np
from pydantic import BaseModel, ConfigDict, FiniteFloat

from valuation.spread import Floats

COVERAGE_FRAC = 0.95


class Summary(BaseModel):
    """What the draws of one quantity say; `low` to `high` is the symmetric 95 % interval.

    Parameters
    ----------
    mean, sd, median, low, high : float
        In the quantity's unit.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    mean: FiniteFloat
    sd: FiniteFloat
    median: FiniteFloat
    low: FiniteFloat
    high: FiniteFloat

    @property
    def width(self) -> float:
        """Width of the interval."""
        return self.high - self.low

    def scaled(self, factor: float) -> Summary:
        """Summary of the quantity times a positive constant."""
        return Summary(
            mean=self.mean * factor,
            sd=self.sd * factor,
            median=self.median * factor,
            low=self.low * factor,
            high=self.high * factor,
        )


def quantiles(draws: Floats, *fracs: float) -> list[float]:
    """Quantiles of draws of shape (n,), linear between neighbours (as `numpy.quantile` by default)."""
    n = draws.size
    places = [frac * (n - 1) for frac in fracs]
    lower = [math.floor(place) for place in places]
    wanted = sorted({*lower, *(min(i + 1, n - 1) for i in lower)})
    ranked = np.partition(draws, wanted)
    return [
        float(ranked[i] + (ranked[min(i + 1, n - 1)] - ranked[i]) * (place - i))
        for i, place in zip(lower, places, strict=True)
    ]


def summarised(draws: Floats) -> Summary:
    """Mean, standard deviation, median and symmetric 95 % interval.

    Parameters
    ----------
    draws : ndarray
        Shape (n,), or () for an exact quantity.

    References
    ----------
    JCGM 101:2008, 7.5 to 7.7 (probabilistically symmetric coverage interval).
    """
    if draws.ndim == 0:
        x = float(draws)
        return Summary(mean=x, sd=0.0, median=x, low=x, high=x)
    tail = (1.0 - COVERAGE_FRAC) / 2.0
    low, median, high = quantiles(draws, tail, 0.5, 1.0 - tail)
    return Summary(mean=float(draws.mean()), sd=float(draws.std()), median=median, low=low, high=high)


def decimals_for(sd: float, digits: int = 2) -> int:
    """Decimal places at which a figure with this standard deviation is worth printing.

    Parameters
    ----------
    sd : float
        Standard deviation, in the figure's unit.
    digits : int
        Significant digits of the standard deviation that are kept.

    Returns
    -------
    int
        May be negative: -1 means whole tens.

    References
    ----------
    JCGM 100:2008, 7.2.6 (at most two significant digits of an uncertainty).
    """
    if sd <= 0 or not math.isfinite(sd):
        return 6
    return digits - 1 - math.floor(math.log10(sd))
