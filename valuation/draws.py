"""The quasi-random draws: one scrambled Sobol' matrix, one named column per input."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from valuation.spread import SMALLEST_U, Floats, Spread

N_COLUMNS = 64
LOG2_DRAWS = 14
SEED = 20260314
SHARE_DEGREE = 6

# Appended to, never reordered: a column's place decides its numbers, and so every figure of an old sheet.
COLUMNS: tuple[str, ...] = (
    "host_density",
    "fineness",
    "gold_price",
    "recovery",
    "premium",
    "months_to_sale",
    "sale_event",
    "void",
    "wet_repeatability",
    "dry_repeatability",
    "wet_rounding",
    "dry_rounding",
    "span",
    "wet_linearity",
    "dry_linearity",
    "water_temperature",
    "water_salts",
    "trapped_air",
    "meniscus",
    "alloy_density",
    "copper_share",
    "line_depth",
    "air_temperature",
    "air_pressure",
    "air_humidity",
    "chip_dry_repeatability",
    "chip_wet_repeatability",
    "chip_dry_rounding",
    "chip_wet_rounding",
    "chip_dry_linearity",
    "chip_wet_linearity",
    "chip_trapped_air",
    "chip_meniscus",
    "chip_line_depth",
    "chip_water_temperature",
    "chip_water_salts",
    "chip_likeness",
    "mineral_share_2",
    "mineral_share_3",
    "mineral_share_4",
    "mineral_share_5",
    "mineral_share_6",
    "mineral_density_1",
    "mineral_density_2",
    "mineral_density_3",
    "mineral_density_4",
    "mineral_density_5",
    "mineral_density_6",
    "measured_gold",
    "silver_price",
    "silver_recovery",
    "sale_chance",
    "collector_price",
    "seller_recovery",
    "claim_right",
    "claim_basis",
)
_PLACE = {name: i for i, name in enumerate(COLUMNS)}


@dataclass(frozen=True)
class _Base:
    """A Sobol' matrix and what is derived from it once per process."""

    u: Floats
    z: dict[int, Floats] = field(default_factory=dict)
    triangles: dict[int, Floats] = field(default_factory=dict)
    polynomials: dict[int, Floats] = field(default_factory=dict)


@lru_cache(maxsize=4)
def _base(seed: int, log2_draws: int) -> _Base:
    from scipy.stats import qmc  # loaded with the first quote: it takes most of a second

    engine = qmc.Sobol(d=N_COLUMNS, scramble=True, rng=np.random.default_rng(seed))
    u = np.ascontiguousarray(engine.random_base2(log2_draws).T)
    np.clip(u, SMALLEST_U, 1.0 - SMALLEST_U, out=u)
    u.flags.writeable = False
    return _Base(u)


@dataclass(frozen=True)
class Draws:
    """The draws of one quote: every array made from it has shape ``(n,)``.

    Parameters
    ----------
    seed : int
        Seed of the scramble.
    log2_draws : int
        Base-2 logarithm of the number of draws.
    kept : ndarray of int or None
        Numbers of the draws that remain after impossible ones were dropped; None for all.
    used : set of str
        Columns that were asked for so far, so that a budget lists just the inputs that were in doubt.

    References
    ----------
    JCGM 101:2008, Propagation of distributions using a Monte Carlo method. I. M. Sobol', USSR Comput. Math. Math.
    Phys. 7 (1967) 86-112; scrambling as in `scipy.stats.qmc.Sobol` (Owen, J. Complexity 14 (1998) 466-489, linear
    matrix scramble with digital shift).
    """

    seed: int = SEED
    log2_draws: int = LOG2_DRAWS
    kept: NDArray[np.intp] | None = None
    used: set[str] = field(default_factory=set, compare=False)

    @property
    def n_all(self) -> int:
        """Number of draws before any was dropped."""
        return 1 << self.log2_draws

    @property
    def n(self) -> int:
        """Number of draws that count."""
        return self.n_all if self.kept is None else len(self.kept)

    def u(self, column: str) -> Floats:
        """Probabilities in (0, 1) of the named column, shape (n,)."""
        self.used.add(column)
        row = _base(self.seed, self.log2_draws).u[_PLACE[column]]
        return row if self.kept is None else np.asarray(row[self.kept])

    def z(self, column: str) -> Floats:
        """Standard normal values of the named column, shape (n,)."""
        self.used.add(column)
        base, place = _base(self.seed, self.log2_draws), _PLACE[column]
        if place not in base.z:
            base.z[place] = np.asarray(ndtri(base.u[place]))
        row: Floats = base.z[place]
        return row if self.kept is None else np.asarray(row[self.kept])

    def of(self, column: str, spread: Spread) -> Floats:
        """Values of `spread` drawn with the named column, shape (n,) or () if exact."""
        if spread.kind == "exact":
            return spread.drawn(np.empty(0))
        normal = spread.kind in ("normal", "two_piece")
        return spread.drawn(self.u(column), self.z(column) if normal else None)

    def rectangular(self, column: str, low: float, high: float) -> Floats:
        """Values spread evenly from `low` to `high`, shape (n,) or () if the ends are equal."""
        return np.asarray(low) if low == high else low + (high - low) * self.u(column)

    def triangular(self, column: str, half_width: float) -> Floats:
        """Values of the sum of two equal rectangular errors, zero mean, shape (n,)."""
        self.used.add(column)
        base, place = _base(self.seed, self.log2_draws), _PLACE[column]
        if place not in base.triangles:
            u = base.u[place]
            base.triangles[place] = np.copysign(np.sqrt(2.0 * np.minimum(u, 1.0 - u)) - 1.0, u - 0.5)
        row = base.triangles[place]
        return half_width * (row if self.kept is None else row[self.kept])

    def only(self, mask: NDArray[np.bool_]) -> Draws:
        """The same draws with those outside `mask` (shape (n_all,)) dropped."""
        return self if mask.all() else Draws(self.seed, self.log2_draws, np.flatnonzero(mask))

    def first_order_frac(self, column: str, y: Floats) -> float:
        """First-order Sobol' index of `y` (shape (n_all,)) for the named column.

        Notes
        -----
        Var(E[y | u]) / Var(y), the conditional mean taken as the projection of y on the orthonormal Legendre
        polynomials of u up to degree 6 (for an effect linear in a normal input this holds 0.995 of its variance).

        References
        ----------
        A. Saltelli et al., Global Sensitivity Analysis: The Primer, Wiley 2008, sections 1.2.8 and 4.5; I. M. Sobol',
        Math. Model. Comput. Exp. 1 (1993) 407-414 (Legendre expansion; from memory).
        """
        variance = float(np.var(y))
        if variance <= 0.0:
            return 0.0
        weights = self._polynomials(column) @ (y - y.mean()) / self.n_all
        return float(weights @ weights) / variance

    def _polynomials(self, column: str) -> Floats:
        base, place = _base(self.seed, self.log2_draws), _PLACE[column]
        if place not in base.polynomials:
            raw = np.polynomial.legendre.legvander(2.0 * base.u[place] - 1.0, SHARE_DEGREE).T[1:]
            norms = np.sqrt(2.0 * np.arange(1, SHARE_DEGREE + 1) + 1.0)
            base.polynomials[place] = np.ascontiguousarray(raw * norms[:, None])
        return base.polynomials[place]
