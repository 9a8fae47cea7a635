"""Draws of a lot: what pieces share is drawn once, what each has of its own by itself."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from valuation.draws import COLUMNS, Draws
from valuation.lot_request import LotRequest
from valuation.request import QuoteRequest
from valuation.spread import SMALLEST_U, Floats

N_OWN_COLUMNS = 16
# Appended to, never reordered, as `COLUMNS`.
OWN_COLUMNS = (
    "void",
    "wet_repeatability",
    "dry_repeatability",
    "wet_rounding",
    "dry_rounding",
    "wet_linearity",
    "dry_linearity",
    "trapped_air",
    "meniscus",
    "line_depth",
    "measured_gold",
    "months_to_sale",
    "sale_event",
)
# What one statement covers: pieces that share the statement share these columns.
SHARED_COLUMNS: dict[str, tuple[str, ...]] = {
    "rock": ("host_density", *(c for c in COLUMNS if c.startswith(("chip_", "mineral_")))),
    "metal": ("fineness", "copper_share", "alloy_density"),
    "water": ("water_temperature", "water_salts"),
    "balance": ("span",),
    "room": ("air_temperature", "air_pressure", "air_humidity"),
    "premium": ("premium", "collector_price", "sale_chance"),
}
# Of the day and of the one refiner who gets the lot; a claim is never of a lot.
COMMON_COLUMNS = (
    "gold_price",
    "silver_price",
    "recovery",
    "silver_recovery",
    "seller_recovery",
    "claim_right",
    "claim_basis",
)
_KIND_OF = {column: kind for kind, columns in SHARED_COLUMNS.items() for column in columns}
_BALANCE = ("readability_g", "repeatability_g", "linearity_g", "span_tolerance_frac")
_ROOM = ("air_temperature_degc", "air_humidity_frac", "air_pressure_hpa", "altitude_m")
_OWN_STREAM, _SHARED_STREAM, _SHUFFLE_STREAM = 1, 2, 3
_BITS = 30


@dataclass(frozen=True)
class PieceDraws(Draws):
    """The draws of one piece of a lot: some columns of its own, the others the lot's.

    Parameters
    ----------
    number : int
        Of the piece, from 0 on; the first uses the lot's own matrix throughout, and so equals a quote of it alone.
    groups : mapping of str to int
        Number of the statement that the piece shares, by kind; 0 uses the lot's own matrix.

    Notes
    -----
    A piece's own columns are one scrambled Sobol' matrix with a digital shift of the piece's own. Two such are not
    independent draw by draw, as the first binary digits of both follow the number of the draw; so each is taken in a
    random order of its own too.

    References
    ----------
    A. B. Owen, Latin supercube sampling for very high-dimensional simulations, ACM Trans. Model. Comput. Simul. 8
    (1998) 71-102 (groups of inputs, each a quasi-random sequence in random order). P. L'Ecuyer, C. Lemieux, Recent
    advances in randomized quasi-Monte Carlo methods, in Modeling Uncertainty, Kluwer 2002 (digital shift; from memory).
    M. D. McKay, R. J. Beckman, W. J. Conover, Technometrics 21 (1979) 239-245 (Latin hypercube, for the further
    statements).
    """

    number: int = 0
    groups: Mapping[str, int] = field(default_factory=dict)
    own: Mapping[str, Floats] = field(default_factory=dict, compare=False)

    def u(self, column: str) -> Floats:
        """Probabilities in (0, 1) of the named column, shape (n,)."""
        row = self._row(column)
        if row is None:
            return super().u(column)
        self.used.add(column)
        return row if self.kept is None else np.asarray(row[self.kept])

    def z(self, column: str) -> Floats:
        """Standard normal values of the named column, shape (n,)."""
        return super().z(column) if self._is_common(column) else np.asarray(ndtri(self.u(column)))

    def triangular(self, column: str, half_width: float) -> Floats:
        """Values of the sum of two equal rectangular errors, zero mean, shape (n,)."""
        if self._is_common(column):
            return super().triangular(column, half_width)
        u = self.u(column)
        return half_width * np.copysign(np.sqrt(2.0 * np.minimum(u, 1.0 - u)) - 1.0, u - 0.5)

    def only(self, mask: NDArray[np.bool_]) -> PieceDraws:
        """The same draws with those outside `mask` (shape (n_all,)) dropped."""
        return self if mask.all() else replace(self, kept=np.flatnonzero(mask))

    def _is_common(self, column: str) -> bool:
        if column in OWN_COLUMNS:
            return self.number == 0
        return self.groups.get(_KIND_OF.get(column, ""), 0) == 0

    def _row(self, column: str) -> Floats | None:
        if self._is_common(column):
            return None
        if column in OWN_COLUMNS:
            return self.own[column]
        return _shared_row(self.seed, column, self.groups[_KIND_OF[column]], self.n_all)


@lru_cache(maxsize=32)
def _shared_row(seed: int, column: str, group: int, n: int) -> Floats:
    """One value in each of n equal strata of (0, 1), in random order."""
    rng = np.random.default_rng([seed, _SHARED_STREAM, COLUMNS.index(column), group])
    u = np.clip((rng.permutation(n) + rng.random(n)) / n, SMALLEST_U, 1.0 - SMALLEST_U)
    u.flags.writeable = False
    return u


@lru_cache(maxsize=2)
def _own_digits(seed: int, log2_draws: int) -> NDArray[np.uint32]:
    """First 30 binary digits of a scrambled Sobol' matrix as whole numbers, shape (N_OWN_COLUMNS, n)."""
    from scipy.stats import qmc  # loaded with the first lot: it takes most of a second

    rng = np.random.default_rng([seed, _OWN_STREAM])
    engine = qmc.Sobol(d=N_OWN_COLUMNS, scramble=True, bits=_BITS, rng=rng)
    return np.ascontiguousarray((engine.random_base2(log2_draws).T * 2.0**_BITS).astype(np.uint32))


def _own_rows(seed: int, number: int, log2_draws: int) -> dict[str, Floats]:
    """The matrix with the piece's own digital shift, in the piece's own order, by column."""
    digits = _own_digits(seed, log2_draws)[: len(OWN_COLUMNS)]
    rng = np.random.default_rng([seed, _OWN_STREAM, number])
    shift = rng.integers(2**_BITS, size=(N_OWN_COLUMNS, 1), dtype=np.uint32)[: len(OWN_COLUMNS)]
    shifted = (digits ^ shift)[:, rng.permutation(digits.shape[1])]
    return dict(zip(OWN_COLUMNS, (shifted + 0.5) * 2.0**-_BITS, strict=True))


def _statements(source: str, request: QuoteRequest) -> dict[str, str]:
    """What a piece is stated to share, by kind, as texts that are equal where the statements are."""
    weighing = request.weighing
    said: dict[str, Any] = {
        "rock": None if request.rock is None else [source, request.rock.model_dump_json()],
        "metal": [source, request.gold.model_dump_json(include={"fineness_frac", "copper_share_frac"})],
        "premium": None if request.collector is None else request.collector.model_dump_json(),
    }
    if weighing is not None:
        water = (weighing.water_kind, weighing.water_temperature_degc.model_dump_json())
        said["water"] = water
        said["balance"] = [getattr(weighing, name) for name in _BALANCE]
        said["room"] = [str(getattr(weighing, name)) for name in _ROOM]
    return {kind: str(words) for kind, words in said.items() if words is not None}


@dataclass(frozen=True)
class LotDraws:
    """Which statements the pieces of a lot share, and the draws of each piece.

    Parameters
    ----------
    seed : int
        Seed of the lot's matrix; the pieces' own are seeded by it and by their numbers.
    log2_draws : int
        Base-2 logarithm of the number of draws.
    groups : tuple of dict
        For each piece the number of the statement that it shares, by kind, in order of first appearance.
    """

    seed: int
    log2_draws: int
    groups: tuple[dict[str, int], ...]

    @classmethod
    def of(cls, lot: LotRequest, seed: int, log2_draws: int) -> LotDraws:
        """The draws of a lot."""
        numbers: dict[str, dict[str, int]] = {kind: {} for kind in SHARED_COLUMNS}
        groups = []
        for piece, request in zip(lot.pieces, lot.requests, strict=True):
            mine = {}
            for kind, words in _statements(piece.source, request).items():
                mine[kind] = numbers[kind].setdefault(words, len(numbers[kind]))
            groups.append(mine)
        return cls(seed, log2_draws, tuple(groups))

    @property
    def common(self) -> Draws:
        """The lot's own matrix: price, refiner, and whatever the first piece shares."""
        return Draws(self.seed, self.log2_draws)

    def piece(self, number: int) -> PieceDraws:
        """The draws of one piece, numbered from 0."""
        own = _own_rows(self.seed, number, self.log2_draws) if number else {}
        return PieceDraws(
            seed=self.seed, log2_draws=self.log2_draws, number=number, groups=self.groups[number], own=own
        )

    def shuffled(self, number: int, values: Floats) -> Floats:
        """`values` of shape (n,) in a random order of the piece's own, as if it shared nothing."""
        if not number or values.ndim == 0:
            return values
        return np.random.default_rng([self.seed, _SHUFFLE_STREAM, number]).permutation(values)

    def sharing(self) -> dict[str, list[int]]:
        """How many pieces share each statement, by kind; the largest number first."""
        counts = {kind: Counter(mine[kind] for mine in self.groups if kind in mine) for kind in SHARED_COLUMNS}
        return {kind: sorted(count.values(), reverse=True) for kind, count in counts.items() if count}
