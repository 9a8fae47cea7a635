"""Settled gold -> the density of the rock that held it, and what many such say of the table's.

A weighing and the gold that the refiner found leave one unknown: the density of the bare rock. Pieces of one kind of
rock so tell how far the house's rock lies from what its quotes take it for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from valuation.draws import Draws
from valuation.gold import DEFAULT_VOIDS, NO_VOIDS, drawn_alloy
from valuation.observations import Gold, Rock
from valuation.spread import DENSITY_G_CM3, Floats, Spread
from valuation.summary import COVERAGE_FRAC
from valuation.weighing import Weighed

U_OFFSET_G_CM3 = 0.02  # assumption, no source: how far a house's rock may lie from a table's, as a standard deviation
LEAST_PIECES = 5
_K = float(ndtri(0.5 + COVERAGE_FRAC / 2.0))
# Errors that pieces of one statement may share. Whether they do no record tells, so each counts in full as the piece's
# own and in full as shared: that overstates their doubt rather than letting many pieces average it out (assumption).
SHARED_COLUMNS = ("recovery", "fineness", "copper_share", "alloy_density", "span")


@dataclass(frozen=True)
class Implied:
    """Density of the bare rock of one settled piece.

    Parameters
    ----------
    g_cm3 : float
        Mean [g/cm³].
    u : float
        Standard uncertainty from everything [g/cm³].
    shared : mapping of str to float
        What one standard deviation of each error that may be shared would change [g/cm³], by the statement that is
        shared.
    """

    g_cm3: float
    u: float
    shared: Mapping[str, float]


@dataclass(frozen=True)
class Told:
    """What pieces of one kind of rock say of the offset of its density from the table's; all in g/cm³.

    Parameters
    ----------
    n : int
        Pieces.
    table, u_table : float
        Mean and standard deviation of the density that quotes take.
    u_prior : float
        Of the offset before any piece was settled; its mean is 0.
    pieces, u_pieces : float
        Offset by the pieces alone.
    offset, u_offset : float
        Prior and pieces together.
    scatter : float
        How much more the pieces scatter than their doubt explains; at least 1, and `u_pieces` holds it.
    """

    n: int
    table: float
    u_table: float
    u_prior: float
    pieces: float
    u_pieces: float
    offset: float
    u_offset: float
    scatter: float

    @property
    def low(self) -> float:
        """Lower end of the 95 % interval of the offset."""
        return self.offset - _K * self.u_offset

    @property
    def high(self) -> float:
        """Upper end of the 95 % interval of the offset."""
        return self.offset + _K * self.u_offset

    @property
    def is_few(self) -> bool:
        """Whether there are too few pieces to suggest anything."""
        return self.n < LEAST_PIECES

    @property
    def speaks_against_table(self) -> bool:
        """Whether a correction is suggested: enough pieces, and 0 outside the interval."""
        return not self.is_few and not self.low <= 0.0 <= self.high


def implied_density(
    weighed: Weighed,
    rock: Rock,
    gold: Gold,
    recovery_frac: Spread,
    recovered_g: float,
    u_recovered_g: float,
    draws: Draws,
    statements: Mapping[str, str],
) -> Implied | None:
    """Density of the bare rock that makes the weighing hold the gold that was recovered.

    Parameters
    ----------
    weighed : Weighed
        Mass and volume, drawn.
    rock, gold : Rock, Gold
        As stated in the request; of the rock only its voids count.
    recovery_frac : Spread
        Of the refiner.
    recovered_g, u_recovered_g : float
        Fine gold as settled and its standard uncertainty [g].
    draws : Draws
        All draws, none dropped.
    statements : mapping of str to str
        For each of `SHARED_COLUMNS`, which statement it is an error of.

    Returns
    -------
    Implied or None
        None where no rock that there is would do.

    Notes
    -----
    ``rho_h = (M - G) / (V_s - G / rho_n)``, ``G = (R + e) / (recovery f)``, ``V_s = V (1 - phi)``. The host density
    that the quote took is not used. An error that may be shared counts by the slope of rho_h on its standard normal
    score.
    """
    alloy = drawn_alloy(gold, draws)
    recovery = draws.of("recovery", recovery_frac)
    found = recovered_g + u_recovered_g * draws.z("measured_gold")  # drawn for nothing else where there is a weighing
    with np.errstate(divide="ignore", invalid="ignore"):
        native = np.asarray(found / (recovery * alloy.fineness_frac))
        voids = NO_VOIDS if rock.chip is not None else rock.void_frac or DEFAULT_VOIDS
        solid = weighed.volume_cm3 * (1.0 - draws.of("void", voids))
        density = np.broadcast_to((weighed.mass_g - native) / (solid - native / alloy.density_g_cm3), (draws.n_all,))
    good = np.isfinite(density) & (density > DENSITY_G_CM3.low) & (density <= DENSITY_G_CM3.high)
    if float(np.mean(good)) < 0.99:
        return None
    kept = draws.only(good)
    values = density if kept.kept is None else density[kept.kept]
    middle = float(values.mean())
    used = [column for column in SHARED_COLUMNS if column in draws.used]
    slopes = {column: float(np.mean((values - middle) * kept.z(column))) for column in used}
    shared = {statements[column]: slope for column, slope in slopes.items() if abs(slope) > 1e-7}
    return Implied(middle, float(values.std()), shared)


def offset_told(pieces: Sequence[Implied], table: Spread) -> Told:
    """Offset of a rock's density from the table's: prior and settled pieces together.

    Parameters
    ----------
    pieces : sequence of Implied
        At least one.
    table : Spread
        Density that the quotes take, which is also how far the rock of single pieces lies from its mean.

    Notes
    -----
    ``y_i = t + offset + sum_j c_ij x_j + e_i``, ``e_i ~ N(0, u_i² + s²)``, ``x_j ~ N(0, 1)`` shared by all pieces of
    one statement, ``offset ~ N(0, 0.02²)``; t and s are mean and standard deviation of the table. All is normal, so
    the posterior is in closed form: precision ``P + A' W A``. Where pieces scatter more than this explains, their
    doubt is widened by the Birge ratio.

    References
    ----------
    A. Gelman et al., Bayesian Data Analysis, 3rd ed. 2013, 2.5 and 14.2 (from memory). R. T. Birge, Phys. Rev. 40
    (1932) 207-227 (from memory).
    """
    middle, s = _moments(table)
    causes = sorted({cause for piece in pieces for cause in piece.shared})
    by = np.array([[1.0, *(piece.shared.get(cause, 0.0) for cause in causes)] for piece in pieces])
    away = np.array([piece.g_cm3 - middle for piece in pieces])
    variance = np.array([piece.u**2 + s**2 for piece in pieces])
    variance = np.maximum(variance, 1e-12)
    prior = np.diag([U_OFFSET_G_CM3**-2, *np.ones(len(causes))])
    scatter = _birge(by, away, variance, prior)
    found, covariance = _posterior(by, away, variance * scatter**2, prior)
    offset, u = float(found[0]), math.sqrt(float(covariance[0, 0]))
    precision = max(u**-2 - U_OFFSET_G_CM3**-2, 1e-12)
    alone = offset * u**-2 / precision
    return Told(len(pieces), middle, s, U_OFFSET_G_CM3, alone, precision**-0.5, offset, u, scatter)


def corrected(table: Spread, told: Told) -> Spread:
    """The density to quote with: the table's, moved by the offset and widened by its doubt, to 0.001 g/cm³.

    Notes
    -----
    Each end keeps its side of the middle; widths grow by ``sqrt(1 + (u / s)²)``, which adds the variances.
    """
    if table.kind in ("exact", "normal"):
        sd = math.hypot(told.u_table, told.u_offset)
        return Spread(value=round(table.centre + told.offset, 3), sd=max(round(sd, 4), 0.0001))
    wider = math.hypot(1.0, told.u_offset / told.u_table)
    middle = table.centre + told.offset
    parts = {"low": table.low, "high": table.high}
    moved = {name: round(middle + wider * (end - table.centre), 3) for name, end in parts.items() if end is not None}
    if table.likely is not None:
        moved["likely"] = round(middle, 3)
    if table.coverage_frac is not None:
        moved["coverage_frac"] = table.coverage_frac
    return Spread.model_validate(moved)


def _moments(table: Spread) -> tuple[float, float]:
    """Mean and standard deviation of a statement, at equally likely values."""
    if table.kind == "exact":
        return table.centre, 0.0
    u = (np.arange(4096) + 0.5) / 4096
    values = table.drawn(u, np.asarray(ndtri(u)) if table.kind in ("normal", "two_piece") else None)
    return float(values.mean()), float(values.std())


def _posterior(by: Floats, away: Floats, variance: Floats, prior: Floats) -> tuple[Floats, Floats]:
    covariance: Floats = np.asarray(np.linalg.inv(prior + by.T @ (by / variance[:, None])), dtype=np.float64)
    return covariance @ (by.T @ (away / variance)), covariance


def _birge(by: Floats, away: Floats, variance: Floats, prior: Floats) -> float:
    """How many times more the pieces scatter than their doubt says; 1 where they do not."""
    if away.size < 2:
        return 1.0
    found, _ = _posterior(by, away, variance, prior)
    excess = float(np.sum((away - by @ found) ** 2 / variance)) / (away.size - 1)
    return math.sqrt(max(1.0, excess))
