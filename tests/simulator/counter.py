"""The simulated counter: one specimen is weighed, and an honest user types what there is to type."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from tests.simulator.balance import Balance
from tests.simulator.case import Case
from tests.simulator.pan import hanging_in_air, hanging_in_water, vessel_with_hanging
from tests.simulator.specimen import (
    Body,
    Specimen,
    balance_of,
    line_of,
    specimen_of,
    surroundings_of,
)
from tests.simulator.surroundings import Surroundings

Typed = dict[str, Any]


@dataclass(frozen=True)
class Visit:
    """A specimen's truth beside what was typed of it."""

    specimen: Specimen
    typed: Typed


def visit(case: Case, seed: int, number: int) -> Visit:
    """Simulate the specimen of this number: the same seed and number give the same visit."""
    rng = np.random.default_rng([seed, number])
    altitude_m = round(float(rng.uniform(0.0, 1500.0)), -1)
    specimen = specimen_of(rng, case)
    around = surroundings_of(rng, case, altitude_m)
    balance = balance_of(rng, case, altitude_m)
    typed = _price_and_terms()
    typed["weighing"] = _weighing(rng, case, balance, around, specimen.body, altitude_m)
    typed["rock"] = _rock(rng, case, balance, around, specimen.chip)
    if case.fineness_frac is not None:
        typed["gold"] = {"fineness_frac": case.fineness_frac, "copper_share_frac": case.copper_share_frac}
    return Visit(specimen, typed)


def _weighing(
    rng: np.random.Generator,
    case: Case,
    balance: Balance,
    around: Surroundings,
    body: Body,
    altitude_m: float,
) -> Typed:
    typed: Typed = {
        "method": case.method,
        "readability_g": case.readability_g,
        "repeatability_g": case.repeatability_g,
        "linearity_g": case.linearity_g,
        "span_tolerance_frac": case.span_tolerance_frac,
        "water_kind": "tap" if case.tap_water else "distilled",
        "altitude_m": altitude_m,
        "line_diameter_mm": case.line_diameter_mm,
        "line_extra_depth_mm": case.line_extra_depth_mm,
        "zeroed_with_line": case.zeroed_with_line,
        "trapped_air_frac": case.trapped_air_frac,
        **_readings(rng, case, balance, around, body),
    }
    if case.thermometer_degc is not None:
        shown = around.water_degc + rng.uniform(-case.thermometer_degc, case.thermometer_degc)
        typed["water_temperature_degc"] = {
            "low": round(shown - case.thermometer_degc, 2),
            "high": round(shown + case.thermometer_degc, 2),
        }
    return typed


def _readings(
    rng: np.random.Generator, case: Case, balance: Balance, around: Surroundings, body: Body
) -> dict[str, list[float]]:
    dry = hanging_in_air(body.mass_g, body.outer_cm3, around)
    line = line_of(rng, case)
    in_water = (body.mass_g, body.outer_cm3, body.bubble_cm3, line, around)
    if case.method == "suspended":
        wet_name, wet = "submerged_g", hanging_in_water(*in_water)
    else:
        wet_name, wet = "displaced_g", vessel_with_hanging(*in_water)
    return {
        "dry_g": balance.readings(rng, dry, case.dry_repeats),
        wet_name: balance.readings(rng, wet, case.wet_repeats),
    }


def _rock(rng: np.random.Generator, case: Case, balance: Balance, around: Surroundings, chip: Body | None) -> Typed:
    if chip is not None:
        readings = _readings(rng, case, balance, around, chip)
        return {"chip": {**readings, "same_water": True, "line_extra_depth_mm": case.line_extra_depth_mm}}
    typed: Typed = {"density_g_cm3": case.host_g_cm3}
    if case.void_frac is not None:
        typed["void_frac"] = case.void_frac
    return typed


def _price_and_terms() -> Typed:
    """Price, terms and people, all invented; none of them touches the mass of gold."""
    return {
        "title": "Simulated specimen",
        "quoted_at": "2026-03-14T10:24:00-07:00",
        "specimen": {"description": "Simulated, not real"},
        "spot": {
            "currency": "USD",
            "gold": 4000.0,
            "silver": 50.0,
            "unit": "ozt",
            "seen_at": "2026-03-14T10:20:00-07:00",
        },
        "refiner": {
            "name": "Invented refiner",
            "recovery_frac": 0.96,
            "payable": [{"from_ozt": 0.0, "frac": 0.95}],
            "settlement_days": 14,
        },
        "buyer": {"routes": ["refine"]},
    }
