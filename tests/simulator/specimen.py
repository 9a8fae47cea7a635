"""The truth about one specimen and about the day on which it was weighed."""

from dataclasses import dataclass

import numpy as np

from tests.simulator.balance import Balance
from tests.simulator.case import Case
from tests.simulator.nature import air_density_g_cm3, alloy_volume_cm3, pressure_at_altitude_hpa
from tests.simulator.stated import log_uniform, true_value
from tests.simulator.surroundings import Line, Surroundings


@dataclass(frozen=True)
class Body:
    """What is hung in the water: mass, volume that the water cannot enter, air that clings to it there."""

    mass_g: float
    outer_cm3: float
    bubble_cm3: float


@dataclass(frozen=True)
class Specimen:
    """A specimen of which everything is known."""

    native_gold_g: float
    fine_gold_g: float
    body: Body
    chip: Body | None


def native_gold_mass_g(rng: np.random.Generator, case: Case) -> float:
    """Mass of native gold drawn from the case's stated law [g]."""
    if case.gold.law == "log-uniform":
        return log_uniform(rng, case.gold.low_g, case.gold.high_g)
    return float(rng.uniform(case.gold.low_g, case.gold.high_g))


def specimen_of(rng: np.random.Generator, case: Case) -> Specimen:
    """Build a specimen from the volumes of its parts: rock, gold, silver, copper, closed voids."""
    native_g = native_gold_mass_g(rng, case)
    fineness = true_value(rng, case.fineness_frac if case.fineness_frac is not None else 1.0)
    copper_g = native_g * (1.0 - fineness) * true_value(rng, case.copper_share_frac)
    fine_g = native_g * fineness
    native_cm3 = alloy_volume_cm3(fine_g, native_g - fine_g - copper_g, copper_g, rng.normal(0.0, case.alloy_denser_sd))
    rock_g = log_uniform(rng, *case.rock_g)
    # Rock weighed by a chip may be of any kind: the quote is told nothing else of it.
    host = {"low": 2.55, "high": 2.80} if case.host_g_cm3 is None else case.host_g_cm3
    host_g_cm3 = true_value(rng, host)
    void_frac = 0.0 if case.void_frac is None else true_value(rng, case.void_frac)
    outer_cm3 = (rock_g / host_g_cm3 + native_cm3) / (1.0 - void_frac)
    body = Body(rock_g + native_g, outer_cm3, _bubble_cm3(rng, case, outer_cm3))
    return Specimen(native_g, fine_g, body, _chip_of(rng, case, host_g_cm3))


def _chip_of(rng: np.random.Generator, case: Case, host_g_cm3: float) -> Body | None:
    if case.chip is None:
        return None
    mass_g = float(rng.uniform(*case.chip.mass_g))
    outer_cm3 = mass_g / rng.normal(host_g_cm3, case.chip.unlike_rock_sd_g_cm3)
    return Body(mass_g, outer_cm3, _bubble_cm3(rng, case, outer_cm3))


def _bubble_cm3(rng: np.random.Generator, case: Case, outer_cm3: float) -> float:
    return float(rng.uniform(0.0, case.trapped_air_frac)) * outer_cm3


def surroundings_of(rng: np.random.Generator, case: Case, altitude_m: float) -> Surroundings:
    """Water and air of one day at a place of which the user states no more than the altitude."""
    return Surroundings(
        water_degc=float(rng.uniform(15.0, 25.0)),
        salt_g_per_kg=float(rng.uniform(0.0, 0.65)) if case.tap_water else 0.0,
        dissolved_air_frac=float(rng.uniform(0.0, 1.0)),
        air_degc=float(rng.normal(20.0, 2.0)),
        air_pressure_hpa=pressure_at_altitude_hpa(altitude_m) + float(rng.normal(0.0, 8.0)),
        air_humidity_frac=float(rng.uniform(0.3, 0.7)),
        gravity_m_s2=float(rng.uniform(9.780, 9.832)),
    )


def balance_of(rng: np.random.Generator, case: Case, altitude_m: float) -> Balance:
    """A balance within the stated tolerances, adjusted at the same place on another day."""
    another_day = air_density_g_cm3(
        float(rng.normal(20.0, 2.0)), pressure_at_altitude_hpa(altitude_m) + float(rng.normal(0.0, 8.0)), 0.5
    )
    return Balance(
        readability_g=case.readability_g,
        repeatability_g=case.repeatability_g,
        linearity_g=case.linearity_g,
        span_error_frac=float(rng.uniform(-case.span_tolerance_frac, case.span_tolerance_frac)),
        adjusted_in_air_g_cm3=another_day,
        weight_g_cm3=float(rng.uniform(7.95, 8.05)),
    )


def line_of(rng: np.random.Generator, case: Case) -> Line:
    """The line as it is at one reading.

    Zeroed with the line through the surface, the pull at the reading differs from that at the zero by half
    the greatest pull at most; zeroed without it, all of the pull at the reading is new.
    """
    if case.zeroed_with_line:
        pull_change_frac = rng.uniform(-0.5, 0.5)
    else:
        pull_change_frac = rng.uniform(0.0, 1.0)
    depth_mm = true_value(rng, case.line_extra_depth_mm)
    return Line(case.line_diameter_mm / 10.0, depth_mm / 10.0, float(pull_change_frac))
