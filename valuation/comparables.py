"""Comparable sales -> a premium, with its effective sample size and a check of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from pydantic_core import PydanticCustomError
from scipy.special import ndtri

from valuation.counts import exact_interval
from valuation.errors import ValuationError
from valuation.rubric import COVERAGE_FRAC, LOG_PREMIUM
from valuation.spread import PREMIUM, Floats, Spread
from valuation.terms import Comparable

GOLD_LOG_SCALE = math.log(2.0)
GRADE_SCALE = 1.0
AGE_HALF_LIFE_DAYS = 5 * 365.0
LEAST_EFFECTIVE = 3.0
FEW_EFFECTIVE = 8.0
LEAST_HALF_WIDTH = 1e-3
_TAIL = (1.0 - COVERAGE_FRAC) / 2.0
# Three equal weights come to three but for rounding.
_LEAST = LEAST_EFFECTIVE - 1e-9


@dataclass(frozen=True)
class LeaveOneOut:
    """How often each sale fell inside the 10 to 90 % band that the others foretell.

    Parameters
    ----------
    held, of : int
        Sales inside, and sales that could be foretold.
    low_frac, high_frac : float
        Exact 95 % interval of the true share.
    """

    held: int
    of: int
    low_frac: float
    high_frac: float


@dataclass(frozen=True)
class Foretold:
    """What comparable sales say of ``log(1 + premium)``.

    Parameters
    ----------
    log_premium : Spread
        Two-piece normal with coverage 0.80.
    n_effective : float
        ``(sum w)² / sum w²``.
    weights : ndarray
        Of each sale, in the order entered; 0 for one that was ignored.
    ratios : ndarray
        ``price / (fine gold x spot of the day)`` of each sale.
    ignored : tuple of int
        Places of sales dated later than the quote.
    """

    log_premium: Spread
    n_effective: float
    weights: Floats
    ratios: Floats
    ignored: tuple[int, ...]

    @property
    def few(self) -> bool:
        """Whether the sample is small enough for a caution."""
        return self.n_effective < FEW_EFFECTIVE


def nearness(sale: Comparable, fine_g: float, grade: float | None, on: date) -> float:
    """Weight of a sale for a piece with this much fine gold and this grade.

    Notes
    -----
    Gaussian in log fine gold (one standard deviation is a factor of 2) and in grade (one step), halved every five
    years of age; all three are house assumptions. A sale without a grade counts as one step away; for a piece without
    a grade, grades do not count.
    """
    if fine_g <= 0.0:
        return 0.0
    gold = (math.log(sale.fine_g) - math.log(fine_g)) / GOLD_LOG_SCALE
    steps = 0.0 if grade is None else GRADE_SCALE if sale.grade is None else sale.grade - grade
    age = max(0, (on - sale.date).days) / AGE_HALF_LIFE_DAYS
    return math.exp(-0.5 * (gold**2 + (steps / GRADE_SCALE) ** 2) - math.log(2.0) * age)


def places(weights: Floats, n_effective: float) -> Floats:
    """Share of all such sales that is expected to lie under each of the ranked ones.

    Notes
    -----
    ``(c - w / 2) n / (n + 1) + 1 / (2 (n + 1))``, c the cumulated share of the weights: ``i / (n + 1)`` for equal ones.

    References
    ----------
    E. J. Gumbel, Statistics of Extremes, Columbia 1958, 1.2.7: mean frequencies (from memory).
    """
    shares = weights / weights.sum()
    middles: Floats = np.cumsum(shares) - 0.5 * shares
    return (middles * n_effective + 0.5) / (n_effective + 1.0)


def weighted_quantiles(values: Floats, weights: Floats, n_effective: float, *fracs: float) -> list[float]:
    """Quantiles of a sample of weighted values.

    Notes
    -----
    Linear between the places of the ranked values; beyond the outermost ones, the distance from the median grows as a
    normal distribution's does. So a range from few values is not too narrow.
    """
    order = np.argsort(values, kind="stable")
    ranked, at = values[order], places(weights[order], n_effective)
    median = float(np.interp(0.5, at, ranked))
    found = []
    for frac in fracs:
        edge = min(max(frac, at[0]), at[-1])
        further = float(ndtri(frac) / ndtri(edge)) if edge != frac else 1.0
        found.append(median + (float(np.interp(edge, at, ranked)) - median) * further)
    return found


def foretold(sales: Sequence[Comparable], fine_g: float, grade: float | None, on: date) -> Foretold:
    """The premium that comparable sales foretell for a piece.

    Parameters
    ----------
    sales : sequence of Comparable
        Sales; those later than `on` are ignored.
    fine_g : float
        Median fine gold of the piece [g].
    grade : float or None
        Grade of the piece.
    on : date
        Day of the quote.

    Raises
    ------
    ValuationError
        An effective sample size under 3, or a premium beyond its bound.
    """
    ratios = np.array([sale.melt_ratio for sale in sales])
    ignored = tuple(i for i, sale in enumerate(sales) if sale.date > on)
    weights = np.array([0.0 if sale.date > on else nearness(sale, fine_g, grade, on) for sale in sales])
    n_effective = _effective(weights)
    if n_effective < _LEAST:
        raise ValuationError(
            "few_comparables",
            "collector.comparables",
            f"{n_effective:.1f} effective",
            "fewer than 3 sales are like this piece (by gold, grade and age): add like sales, or enter a premium",
        )
    band = _band(np.log(ratios), weights, n_effective)
    try:
        bounded = band.within(LOG_PREMIUM)
    except PydanticCustomError:
        raise ValuationError(
            "premium_too_high",
            "collector.comparables",
            f"{math.expm1(band.centre):.3g} likely",
            f"the premium foretold reaches beyond {PREMIUM.high:g}: check the sales, or enter a premium",
        ) from None
    return Foretold(bounded, n_effective, weights, ratios, ignored)


def _effective(weights: Floats) -> float:
    squares = float(np.sum(weights**2))
    return float(np.sum(weights)) ** 2 / squares if squares > 0 else 0.0


def _band(logs: Floats, weights: Floats, n_effective: float) -> Spread:
    counted = weights > 0
    low, middle, high = weighted_quantiles(logs[counted], weights[counted], n_effective, _TAIL, 0.5, 1.0 - _TAIL)
    wider = math.sqrt(1.0 + 1.0 / n_effective) if n_effective < FEW_EFFECTIVE else 1.0
    down, up = (max(LEAST_HALF_WIDTH, half * wider) for half in (middle - low, high - middle))
    return Spread(low=middle - down, likely=middle, high=middle + up, coverage_frac=COVERAGE_FRAC)


def leave_one_out(sales: Sequence[Comparable], on: date) -> LeaveOneOut | None:
    """Check of the band on the sales themselves: each is foretold from the others.

    Returns
    -------
    LeaveOneOut or None
        None if no sale can be foretold from the others.
    """
    known = [sale for sale in sales if sale.date <= on]
    held = tried = 0
    for i, sale in enumerate(known):
        others = known[:i] + known[i + 1 :]
        weights = np.array([nearness(other, sale.fine_g, sale.grade, on) for other in others])
        n_effective = _effective(weights)
        if n_effective < _LEAST:
            continue
        band = _band(np.log([other.melt_ratio for other in others]), weights, n_effective)
        tried += 1
        assert band.low is not None and band.high is not None
        held += band.low <= math.log(sale.melt_ratio) <= band.high
    if tried == 0:
        return None
    return LeaveOneOut(held, tried, *exact_interval(held, tried))
