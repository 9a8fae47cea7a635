"""What a count or a few figures say of the rate or the mean behind them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pydantic import BaseModel, ConfigDict, FiniteFloat
from scipy.special import betaincinv, stdtrit

COVERAGE_FRAC = 0.95


class Share(BaseModel):
    """How many of how many, and the exact 95 % interval of the true share.

    Parameters
    ----------
    held, of : int
        `of` is at least 1.
    low_frac, high_frac : float
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    held: int
    of: int
    low_frac: FiniteFloat
    high_frac: FiniteFloat


class Mean(BaseModel):
    """Mean of `n` figures and its 95 % interval, which a single figure does not give.

    Parameters
    ----------
    n : int
        At least 1.
    mean : float
    sd, low, high : float or None
        None where n is 1.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    n: int
    mean: FiniteFloat
    sd: FiniteFloat | None
    low: FiniteFloat | None
    high: FiniteFloat | None


def exact_interval(held: int, of: int, coverage_frac: float = COVERAGE_FRAC) -> tuple[float, float]:
    """Interval of a share of which `held` of `of` were seen, `of` at least 1.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413 (exact binomial interval).
    """
    tail = (1.0 - coverage_frac) / 2.0
    low = 0.0 if held == 0 else float(betaincinv(held, of - held + 1, tail))
    high = 1.0 if held == of else float(betaincinv(held + 1, of - held, 1.0 - tail))
    return low, high


def share(held: int, of: int) -> Share | None:
    """The share and its interval; None of nothing."""
    if of == 0:
        return None
    low, high = exact_interval(held, of)
    return Share(held=held, of=of, low_frac=low, high_frac=high)


def mean(figures: Sequence[float]) -> Mean | None:
    """The mean and its interval; None of nothing.

    Notes
    -----
    ``mean +- t s / sqrt(n)``, t of Student's distribution with n - 1 degrees of freedom.

    References
    ----------
    Student, Biometrika 6 (1908) 1-25.
    """
    n = len(figures)
    if n == 0:
        return None
    middle = float(np.mean(figures))
    if n == 1:
        return Mean(n=1, mean=middle, sd=None, low=None, high=None)
    sd = float(np.std(figures, ddof=1))
    half = float(stdtrit(n - 1, 0.5 + COVERAGE_FRAC / 2.0)) * sd / n**0.5
    return Mean(n=n, mean=middle, sd=sd, low=middle - half, high=middle + half)
