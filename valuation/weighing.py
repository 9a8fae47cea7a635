"""Readings of a balance in air and under water -> mass and volume."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from valuation.draws import Draws
from valuation.errors import Caution, ValuationError
from valuation.fluids import (
    REFERENCE_WATER_G_CM3,
    STANDARD_PRESSURE_HPA,
    TAP_SALTS_HIGH_G_CM3,
    air_density_g_cm3,
    pressure_at_altitude_hpa,
    water_density_g_cm3,
)
from valuation.observations import Chip, Weighing
from valuation.spread import Floats, Length, Spread

ADJUSTMENT_WEIGHT_G_CM3 = 8.000
SURFACE_TENSION_N_M = 0.0728
STANDARD_GRAVITY_M_S2 = 9.80665
LEAST_DENSITY_G_CM3 = 1.0
MOST_DENSITY_G_CM3 = 19.4
SMALL_VOLUME_STEPS = 20
WIDE_RANGE_SDS = 4.0
_DISPLAY_STEPS = tuple(digit * 10**power for power in range(8) for digit in (1, 2, 5))


@dataclass(frozen=True)
class Weighed:
    """Mass and volume of one body, each of shape (n,) or ().

    Parameters
    ----------
    mass_g, volume_cm3 : ndarray
        Mass [g] and volume including closed pores [cm³].
    """

    mass_g: Floats
    volume_cm3: Floats

    @property
    def specific_gravity(self) -> Floats:
        """Density relative to water of 0.999975 g/cm³."""
        return self.mass_g / self.volume_cm3 / REFERENCE_WATER_G_CM3


@dataclass(frozen=True)
class _Body:
    """What tells the specimen and the chip apart: readings, names of their columns, water."""

    field: str
    prefix: str
    method: str
    dry_g: tuple[float, ...]
    wet_g: tuple[float, ...]
    line_depth_mm: Spread | None
    water_g_cm3: Floats


def air_g_cm3(weighing: Weighing, draws: Draws) -> Floats:
    """Density of the air around the balance [g/cm³], shape (n,) or ()."""
    if weighing.air_pressure_hpa is not None:
        pressure = draws.of("air_pressure", weighing.air_pressure_hpa)
    elif weighing.altitude_m is not None:
        pressure = np.asarray(pressure_at_altitude_hpa(weighing.altitude_m))
    else:
        pressure = np.asarray(STANDARD_PRESSURE_HPA)
    temperature = draws.of("air_temperature", weighing.air_temperature_degc)
    return air_density_g_cm3(temperature, pressure, draws.of("air_humidity", weighing.air_humidity_frac))


def water_g_cm3(kind: str, temperature_degc: Spread, draws: Draws, prefix: str = "") -> Floats:
    """Density of the water in the vessel [g/cm³], shape (n,) or ()."""
    pure = water_density_g_cm3(draws.of(f"{prefix}water_temperature", temperature_degc))
    if kind != "tap":
        return pure
    return pure + draws.rectangular(f"{prefix}water_salts", 0.0, TAP_SALTS_HIGH_G_CM3)


def weighed_specimen(weighing: Weighing, draws: Draws) -> Weighed:
    """Mass and volume of the specimen.

    Raises
    ------
    ValuationError
        The readings give a density that no gold-bearing rock can have.
    """
    return _weighed(_specimen(weighing, draws), weighing, draws)


def _specimen(weighing: Weighing, draws: Draws) -> _Body:
    water = water_g_cm3(weighing.water_kind, weighing.water_temperature_degc, draws)
    return _Body("weighing", "", weighing.method, weighing.dry_g, weighing.wet_g, weighing.line_extra_depth_mm, water)


def specimen_loads_g(weighing: Weighing, draws: Draws) -> tuple[Floats, Floats]:
    """What truly loaded the balance, dry and wet, as drawn: readings with every error of the balance [g], (n,) each."""
    body = _specimen(weighing, draws)
    return (
        _net_reading_g(body.dry_g, "dry", body, weighing, draws) * _stretch(weighing, draws),
        _net_reading_g(body.wet_g, "wet", body, weighing, draws) * _stretch(weighing, draws),
    )


def _stretch(weighing: Weighing, draws: Draws) -> Floats:
    return 1.0 + draws.rectangular("span", -weighing.span_tolerance_frac, weighing.span_tolerance_frac)


def weighed_chip(chip: Chip, weighing: Weighing, draws: Draws) -> Weighed:
    """Mass and volume of a gold-free chip, weighed on the same balance as the specimen.

    Raises
    ------
    ValuationError
        Readings that do not fit the method or that no rock can give.
    """
    method = chip.method or weighing.method
    wet = chip.submerged_g if method == "suspended" else chip.displaced_g
    assert wet is not None
    depth = _chip_line_depth(chip, method, weighing)
    if chip.same_water:
        water = water_g_cm3(weighing.water_kind, weighing.water_temperature_degc, draws)
    else:
        kind = chip.water_kind or weighing.water_kind
        water = water_g_cm3(kind, chip.water_temperature_degc or weighing.water_temperature_degc, draws, "chip_")
    return _weighed(_Body("rock.chip", "chip_", method, chip.dry_g, wet, depth, water), weighing, draws)


def _chip_line_depth(chip: Chip, method: str, weighing: Weighing) -> Length | None:
    depth = chip.line_extra_depth_mm
    if depth is None and method == weighing.method:
        depth = weighing.line_extra_depth_mm
    if depth is None and method == "displaced" and weighing.line_diameter_mm > 0:
        raise ValuationError(
            "missing_depth",
            "rock.chip.line_extra_depth_mm",
            None,
            "the displaced method needs the wetted length of the line in mm for the chip",
        )
    return depth


def _weighed(body: _Body, weighing: Weighing, draws: Draws) -> Weighed:
    air = air_g_cm3(weighing, draws)
    buoyed = 1.0 - air / ADJUSTMENT_WEIGHT_G_CM3
    dry = _net_reading_g(body.dry_g, "dry", body, weighing, draws)
    wet = _net_reading_g(body.wet_g, "wet", body, weighing, draws) + _meniscus_g(body, weighing, draws)
    stretch = _stretch(weighing, draws)
    displaced = (dry - wet if body.method == "suspended" else wet) * stretch
    volume = displaced * buoyed / (body.water_g_cm3 - air) - _line_cm3(body, weighing, draws)
    volume = volume * (1.0 - draws.rectangular(f"{body.prefix}trapped_air", 0.0, weighing.trapped_air_frac))
    mass = dry * stretch * buoyed + air * volume
    _check_density(body, mass, volume)
    return Weighed(mass, volume)


def _net_reading_g(readings: tuple[float, ...], which: str, body: _Body, weighing: Weighing, draws: Draws) -> Floats:
    """Mean reading with rounding, repeatability and linearity, shape (n,) or ()."""
    d = weighing.readability_g
    prefix = f"{body.prefix}{which}"
    mean = float(np.mean(readings))
    linearity = d if weighing.linearity_g is None else weighing.linearity_g
    u_repeat = repeatability_sd_g(readings, weighing) / math.sqrt(len(readings))
    error = draws.triangular(f"{prefix}_rounding", d)
    if u_repeat > 0:
        error = error + u_repeat * draws.z(f"{prefix}_repeatability")
    return mean + error + draws.rectangular(f"{prefix}_linearity", -linearity, linearity)


def repeatability_sd_g(readings: tuple[float, ...], weighing: Weighing) -> float:
    """Standard deviation of one reading [g]: the larger of the stated and the observed."""
    stated = weighing.readability_g if weighing.repeatability_g is None else weighing.repeatability_g
    observed = float(np.std(readings, ddof=1)) if len(readings) > 1 else 0.0
    return max(stated, observed)


def _meniscus_g(body: _Body, weighing: Weighing, draws: Draws) -> Floats:
    """Correction of the wet reading for the pull of the water surface on the line [g].

    Notes
    -----
    The surface pulls a wetted line down with gamma pi D: the suspended reading is too heavy, and by reaction the
    vessel's reading too light. So the correction is subtracted from the one and added to the other. With the zero
    taken through the surface only the change between the two menisci is left.
    """
    pull = 1000.0 * SURFACE_TENSION_N_M * math.pi * weighing.line_diameter_mm / 1000.0 / STANDARD_GRAVITY_M_S2
    if pull == 0.0:
        return np.asarray(0.0)
    column = f"{body.prefix}meniscus"
    if weighing.zeroed_with_line:
        return draws.rectangular(column, -0.5 * pull, 0.5 * pull)
    away = draws.rectangular(column, 0.0, pull)
    return -away if body.method == "suspended" else away


def _line_cm3(body: _Body, weighing: Weighing, draws: Draws) -> Floats:
    if body.line_depth_mm is None:
        return np.asarray(0.0)
    area = math.pi / 4.0 * (weighing.line_diameter_mm / 10.0) ** 2
    return area * draws.of(f"{body.prefix}line_depth", body.line_depth_mm) / 10.0


def _check_density(body: _Body, mass_g: Floats, volume_cm3: Floats) -> None:
    volume = float(np.mean(volume_cm3))
    wet = f"{body.field}.{'submerged_g' if body.method == 'suspended' else 'displaced_g'}"
    if volume <= 0:
        raise ValuationError(
            "no_volume",
            wet,
            body.wet_g[0],
            "the readings leave no volume: check the reading and the wetted line",
        )
    density = float(np.mean(mass_g)) / volume
    if density < LEAST_DENSITY_G_CM3:
        raise ValuationError(
            "too_light",
            wet,
            body.wet_g[0],
            f"the readings give {density:.3g} g/cm³, lighter than water: check {wet} and dry_g for a slip",
        )
    if density > MOST_DENSITY_G_CM3:
        raise ValuationError(
            "too_dense",
            wet,
            body.wet_g[0],
            f"the readings give {density:.4g} g/cm³, denser than gold: check {wet}, dry_g and the tare",
        )


def weighing_cautions(weighing: Weighing, chip: Chip | None) -> list[Caution]:
    """What looks doubtful in the readings of the specimen and of the chip."""
    found = _body_cautions("weighing", weighing.method, weighing.dry_g, weighing.wet_g, weighing)
    if chip is not None:
        method = chip.method or weighing.method
        wet = chip.submerged_g if method == "suspended" else chip.displaced_g
        found += _body_cautions("rock.chip", method, chip.dry_g, wet or (), weighing)
    return found


def _body_cautions(
    field: str, method: str, dry_g: tuple[float, ...], wet_g: tuple[float, ...], weighing: Weighing
) -> list[Caution]:
    d = weighing.readability_g
    stated = d if weighing.repeatability_g is None else weighing.repeatability_g
    wet_name = "submerged_g" if method == "suspended" else "displaced_g"
    found = []
    for name, readings in (("dry_g", dry_g), (wet_name, wet_g)):
        spread = max(readings) - min(readings)
        if len(readings) > 1 and spread > WIDE_RANGE_SDS * stated + 1e-9 * max(readings):
            found.append(
                Caution(
                    code="repeats_spread",
                    field=f"{field}.{name}",
                    message=f"The repeats differ by {spread:.4g} g, more than 4 times the repeatability of "
                    f"{stated:.4g} g: look for touching, draught or bubbles, and weigh again.",
                )
            )
    if _soaking(method, wet_g, stated):
        found.append(
            Caution(
                code="pores_filling",
                field=f"{field}.{wet_name}",
                message="The readings under water drift steadily, as when pores fill: let the piece soak until the "
                "reading stands still, then weigh again.",
            )
        )
    volume = float(np.mean(dry_g) - np.mean(wet_g)) if method == "suspended" else float(np.mean(wet_g))
    if volume < SMALL_VOLUME_STEPS * d:
        found.append(
            Caution(
                code="small_displacement",
                field=f"{field}.{wet_name}",
                message=f"The water lifts only {volume:.4g} g, under 20 steps of the balance ({d:g} g): a finer "
                "balance or a larger piece would narrow the range much.",
            )
        )
    return found + _step_cautions(field, [*dry_g, *wet_g], d)


def _soaking(method: str, wet_g: tuple[float, ...], sd_g: float) -> bool:
    """Three or more readings that move one way, in all by more than one standard deviation."""
    if len(wet_g) < 3:
        return False
    steps = [b - a for a, b in pairwise(wet_g)]
    steady = all(s > 0 for s in steps) if method == "suspended" else all(s < 0 for s in steps)
    return steady and abs(wet_g[-1] - wet_g[0]) > sd_g


def _step_cautions(field: str, readings: list[float], d: float) -> list[Caution]:
    """Readings in coarser or finer steps than the stated readability.

    Notes
    -----
    If every distinct reading is a multiple of k steps, chance alone would do that once in k to their number; said
    when that is under 1 in 100. Displays step by 1, 2 or 5 times a power of ten.

    References
    ----------
    OIML R 76-1:2006, 3.2.1 (form of the scale interval; from memory).
    """
    steps = {round(r / d) for r in readings}
    if any(abs(r / d - round(r / d)) > 1e-4 * max(1.0, abs(r / d) * 1e-6) for r in readings):
        return [
            Caution(
                code="fine_steps",
                field=f"{field}.readability_g" if field == "weighing" else "weighing.readability_g",
                message=f"A reading is not a multiple of the stated readability {d:g} g: check which balance was used.",
            )
        ]
    divisor = math.gcd(*steps)
    common = max((k for k in _DISPLAY_STEPS if divisor and divisor % k == 0), default=1)
    if common ** -len(steps) < 0.01:
        return [
            Caution(
                code="coarse_steps",
                field="weighing.readability_g",
                message=f"The readings go in steps of {common * d:g} g, coarser than the stated readability {d:g} g: "
                "check the balance's display and enter its true step.",
            )
        ]
    return []
