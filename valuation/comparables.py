"""Comparable sales -> a premium, with its effective sample size and a check of its own."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.stats import beta

from valuation.errors import ValuationError
from valuation.mass import G_PER_OZT, grams_per
from valuation.rubric import COVERAGE_FRAC, LOG_PREMIUM
from valuation.spread import Floats, Spread
from valuation.terms import Comparable

GOLD_LOG_SCALE = math.log(2.0)
GRADE_SCALE = 1.0
AGE_HALF_LIFE_DAYS = 5 * 365.0
LEAST_EFFECTIVE = 3.0
FEW_EFFECTIVE = 8.0
LEAST_HALF_WIDTH = 1e-3
_TAIL = (1.0 - COVERAGE_FRAC) / 2.0


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


def price_ratio(sale: Comparable) -> float:
    """Price of a sale over its melt value on that day."""
    return sale.price / (sale.fine_g / G_PER_OZT * sale.spot * G_PER_OZT / grams_per(sale.spot_unit))


def nearness(sale: Comparable, fine_g: float, grade: float | None, on: date) -> float:
    """Weight of a sale for a piece with this much fine gold and this grade.

    Notes
    -----
    Gaussian in log fine gold (one standard deviation is a factor of 2) and in grade (one step), halved every five
    years of age; all three are house assumptions. A sale or a piece without a grade is weighed as one step away.
    """
    gold = math.log(sale.fine_g / fine_g) / GOLD_LOG_SCALE
    steps = 0.0 if grade is None else GRADE_SCALE if sale.grade is None else sale.grade - grade
    age = max(0, (on - sale.date).days) / AGE_HALF_LIFE_DAYS
    return math.exp(-0.5 * (gold**2 + (steps / GRADE_SCALE) ** 2) - math.log(2.0) * age)


def weighted_quantiles(values: Floats, weights: Floats, *fracs: float) -> list[float]:
    """Quantiles of weighted values, linear between the middles of the cumulated weights."""
    order = np.argsort(values, kind="stable")
    ranked, w = values[order], weights[order]
    middles = (np.cumsum(w) - 0.5 * w) / w.sum()
    return [float(np.interp(frac, middles, ranked)) for frac in fracs]


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
        An effective sample size under 3.
    """
    ratios = np.array([price_ratio(sale) for sale in sales])
    ignored = tuple(i for i, sale in enumerate(sales) if sale.date > on)
    weights = np.array([0.0 if sale.date > on else nearness(sale, fine_g, grade, on) for sale in sales])
    n_effective = _effective(weights)
    if n_effective < LEAST_EFFECTIVE:
        raise ValuationError(
            "few_comparables",
            "collector.comparables",
            f"{n_effective:.1f} effective",
            "fewer than 3 sales are like this piece (by gold, grade and age): add like sales, or enter a premium",
        )
    return Foretold(_band(np.log(ratios), weights, n_effective), n_effective, weights, ratios, ignored)


def _effective(weights: Floats) -> float:
    squares = float(np.sum(weights**2))
    return float(np.sum(weights)) ** 2 / squares if squares > 0 else 0.0


def _band(logs: Floats, weights: Floats, n_effective: float) -> Spread:
    counted = weights > 0
    low, middle, high = weighted_quantiles(logs[counted], weights[counted], _TAIL, 0.5, 1.0 - _TAIL)
    wider = math.sqrt(1.0 + 1.0 / n_effective) if n_effective < FEW_EFFECTIVE else 1.0
    down, up = (max(LEAST_HALF_WIDTH, half * wider) for half in (middle - low, high - middle))
    return Spread(low=middle - down, likely=middle, high=middle + up, coverage_frac=COVERAGE_FRAC).within(LOG_PREMIUM)


def leave_one_out(sales: Sequence[Comparable], on: date) -> LeaveOneOut | None:
    """Check of the band on the sales themselves: each is foretold from the others.

    Returns
    -------
    LeaveOneOut or None
        None if no sale can be foretold from the others.

    References
    ----------
    C. J. Clopper and E. S. Pearson, Biometrika 26 (1934) 404-413 (exact binomial interval).
    """
    known = [sale for sale in sales if sale.date <= on]
    held = tried = 0
    for i, sale in enumerate(known):
        others = known[:i] + known[i + 1 :]
        weights = np.array([nearness(other, sale.fine_g, sale.grade, on) for other in others])
        n_effective = _effective(weights)
        if n_effective < LEAST_EFFECTIVE:
            continue
        band = _band(np.log([price_ratio(other) for other in others]), weights, n_effective)
        tried += 1
        assert band.low is not None and band.high is not None
        held += band.low <= math.log(price_ratio(sale)) <= band.high
    if tried == 0:
        return None
    low = 0.0 if held == 0 else float(beta.ppf(0.025, held, tried - held + 1))
    high = 1.0 if held == tried else float(beta.ppf(0.975, held + 1, tried - held))
    return LeaveOneOut(held, tried, low, high)
