"""A price history -> volatility, robust against holidays and wild rows."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from valuation.errors import ValuationError
from valuation.spread import Floats

LEAST_RETURNS = 20
DAYS_PER_YEAR = 365.25
# In two open gold series the wildest day that really happened is at 9.6, the row that is known to be wrong at 24.
WILD_SCALES = 12.0
MAD_TO_SD = 1.4826
LEAST_SCALE = 1e-4


@dataclass(frozen=True)
class Volatility:
    """Volatility of a price series.

    Parameters
    ----------
    per_year : float
        Standard deviation of a year's log change.
    n_returns : int
        Changes that it rests on.
    first, last : date
        Span of the series.
    dropped : tuple of date
        Rows left out as wild.
    """

    per_year: float
    n_returns: int
    first: date
    last: date
    dropped: tuple[date, ...]


def volatility(days: Sequence[date], prices: Sequence[float]) -> Volatility:
    """Realised volatility of a daily series.

    Parameters
    ----------
    days : sequence of date
        In any order; of two rows of one day the later one counts.
    prices : sequence of float
        Prices; rows that are not finite and above zero (holidays) are passed over.

    Returns
    -------
    Volatility

    Raises
    ------
    ValuationError
        Fewer than 20 changes left.

    Notes
    -----
    ``sqrt(sum r² / T)``, r the log changes between kept rows and T the years that they span: a holiday, whether
    missing or repeated, moves no more than its calendar days. A row is wild if both its neighbours agree better with
    each other than either with it, and it lies over 12 robust standard deviations (1.4826 MAD of the changes) from
    the middle between them.
    """
    rows = {day: price for day, price in zip(days, prices, strict=True) if math.isfinite(price) and price > 0}
    ordered = sorted(rows)
    if len(ordered) <= LEAST_RETURNS:
        raise _too_short(len(ordered))
    logs = np.log([rows[day] for day in ordered])
    wild = _wild(logs)
    kept = [i for i in range(len(ordered)) if not wild[i]]
    if len(kept) <= LEAST_RETURNS:
        raise _too_short(len(kept))
    changes = np.diff(logs[kept])
    years = (ordered[kept[-1]] - ordered[kept[0]]).days / DAYS_PER_YEAR
    return Volatility(
        per_year=math.sqrt(float(np.sum(changes**2)) / years),
        n_returns=len(changes),
        first=ordered[kept[0]],
        last=ordered[kept[-1]],
        dropped=tuple(ordered[i] for i in range(len(ordered)) if wild[i]),
    )


def _too_short(rows: int) -> ValuationError:
    return ValuationError(
        "short_history",
        "history",
        rows,
        f"{rows} usable rows are too few for a volatility: at least {LEAST_RETURNS + 1} days are needed",
    )


def _wild(logs: Floats) -> list[bool]:
    changes = np.diff(logs)
    moved = changes[changes != 0]
    scale = MAD_TO_SD * float(np.median(np.abs(moved))) if len(moved) else 0.0
    limit = WILD_SCALES * max(scale, LEAST_SCALE)
    wild = [False] * len(logs)
    for i in range(1, len(logs) - 1):
        before, here, after = logs[i - 1], logs[i], logs[i + 1]
        lonely = abs(after - before) < min(abs(here - before), abs(after - here))
        wild[i] = bool(lonely and abs(here - 0.5 * (before + after)) > limit)
    return wild
