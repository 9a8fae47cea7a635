"""The simulator's own laws against published figures, and its forces against plain arguments."""

import math
from dataclasses import replace

import numpy as np
import pytest

from tests.simulator.balance import Balance
from tests.simulator.case import CHIP, FIST, SMALL, SMALL_DISPLACED, Case
from tests.simulator.counter import visit
from tests.simulator.nature import (
    air_density_g_cm3,
    alloy_volume_cm3,
    metal_density_g_cm3,
    surface_tension_n_m,
    water_density_g_cm3,
)
from tests.simulator.pan import hanging_in_air, hanging_in_water, vessel_with_hanging
from tests.simulator.stated import exact_value, true_value
from tests.simulator.surroundings import Line, Surroundings

ROOM = Surroundings(20.0, 0.0, 0.0, 20.0, 1013.25, 0.5, 9.80665)
NO_LINE = Line(0.0, 0.0, 0.0)


# IAPWS-95 at 101325 Pa, as computed by the iapws library (kg/m³).
@pytest.mark.parametrize(
    ("degc", "kg_m3"), [(4, 999.97487), (15, 999.10262), (20, 998.20715), (25, 997.04764), (30, 995.64945)]
)
def test_pure_water_agrees_with_iapws95_within_two_parts_in_a_million(degc: float, kg_m3: float) -> None:
    assert 1000.0 * water_density_g_cm3(degc) == pytest.approx(kg_m3, rel=2e-6)


def test_salt_makes_water_denser_as_the_seawater_equation_of_2010_says() -> None:
    # TEOS-10 at 20 °C, as computed by the gsw library: 998.5885 at 0.5 g/kg against 998.2071 pure.
    added = 1000.0 * (water_density_g_cm3(20.0, 0.5) - water_density_g_cm3(20.0))
    assert added == pytest.approx(998.5885 - 998.2071, rel=0.01)


# CIPM-2007 (Picard et al., Metrologia 45 (2008) 149), kg/m³.
@pytest.mark.parametrize(
    ("degc", "hpa", "humidity", "kg_m3"),
    [
        (20, 1013.25, 0.5, 1.199314),
        (15, 1013.25, 0.3, 1.223186),
        (22, 980, 0.4, 1.152387),
        (25, 950, 0.6, 1.101972),
    ],
)
def test_air_agrees_with_cipm2007_within_two_parts_in_ten_thousand(
    degc: float, hpa: float, humidity: float, kg_m3: float
) -> None:
    assert 1000.0 * air_density_g_cm3(degc, hpa, humidity) == pytest.approx(kg_m3, rel=2e-4)


def test_metals_have_their_handbook_densities() -> None:
    # 19.3, 10.49 and 8.96 g/cm³: trade and element tables, cited in tests/proofs/coverage.md.
    for metal, handbook in (("gold", 19.3), ("silver", 10.49), ("copper", 8.96)):
        assert metal_density_g_cm3(metal) == pytest.approx(handbook, rel=3e-3)


def test_alloy_of_750_parts_gold_has_the_density_of_the_published_table() -> None:
    # T. K. Rose, The Metallurgy of Gold, Table XIV: 16.03 at 750 parts of gold, 250 of silver.
    assert 1.0 / alloy_volume_cm3(0.75, 0.25, 0.0, 0.0) == pytest.approx(16.03, rel=0.008)


def test_surface_tension_at_20_degrees() -> None:
    # IAPWS 1994: 72.74 mN/m at 20 °C (from memory).
    assert surface_tension_n_m(20.0) == pytest.approx(0.07274, abs=2e-5)


def test_vessel_gains_what_the_hanging_specimen_loses() -> None:
    """Newton's third law, line or no line."""
    for line in (NO_LINE, Line(0.03, 6.0, 0.0), Line(0.03, 6.0, 0.8)):
        dry = hanging_in_air(400.0, 150.0, ROOM)
        lost = dry - hanging_in_water(400.0, 150.0, 0.02, line, ROOM)
        gained = vessel_with_hanging(400.0, 150.0, 0.02, line, ROOM)
        assert gained == pytest.approx(lost, rel=1e-12)
        assert lost == pytest.approx((ROOM.water_g_cm3 - ROOM.air_g_cm3) * (150.02 + line.extra_volume_cm3), rel=1e-3)


def test_surface_pulls_the_hanging_line_down_and_so_lightens_the_vessel() -> None:
    pulled = Line(0.03, 0.0, 1.0)
    heavier = hanging_in_water(10.0, 3.0, 0.0, pulled, ROOM) - hanging_in_water(10.0, 3.0, 0.0, NO_LINE, ROOM)
    lighter = vessel_with_hanging(10.0, 3.0, 0.0, NO_LINE, ROOM) - vessel_with_hanging(10.0, 3.0, 0.0, pulled, ROOM)
    # 0.0727 N/m round a line of 0.3 mm: 6.99 mg of weight.
    assert heavier == pytest.approx(0.00699, abs=1e-5)
    assert lighter == pytest.approx(heavier)


def test_a_balance_shows_the_conventional_mass_of_its_own_weights() -> None:
    balance = Balance(0.0001, 0.0, 0.0, 0.0, ROOM.air_g_cm3, 8.0)
    force = hanging_in_air(100.0, 100.0 / 8.0, ROOM)
    assert balance.readings(np.random.default_rng(1), force, 1) == [pytest.approx(100.0, abs=1e-4)]


def test_readings_are_steps_of_the_balance_scattered_as_its_terms_say() -> None:
    balance = Balance(0.05, 0.02, 0.0, 0.0, ROOM.air_g_cm3, 8.0)
    readings = np.array(balance.readings(np.random.default_rng(2), 123.456, 4000))
    assert np.allclose(readings / 0.05, np.round(readings / 0.05), atol=1e-9)
    # Noise, and the rounding of zero and of load: one step over root six.
    assert readings.std() == pytest.approx(math.hypot(0.02, 0.05 / math.sqrt(6.0)), rel=0.05)


def test_the_same_number_gives_the_same_visit_and_another_gives_another() -> None:
    assert visit(FIST, 5, 7) == visit(FIST, 5, 7)
    assert visit(FIST, 5, 7) != visit(FIST, 5, 8)


def test_truths_follow_what_is_stated() -> None:
    rng = np.random.default_rng(3)
    for stated in (
        {"low": 1.0, "high": 3.0},
        {"low": 1.0, "likely": 1.2, "high": 3.0},
        {"value": 2.0, "sd": 0.1},
        2.0,
    ):
        values = np.array([true_value(rng, stated) for _ in range(2000)])
        assert abs(float(np.mean(values)) - exact_value(stated)) < 0.6
        if not isinstance(stated, float) and "low" in stated:
            assert stated["low"] <= values.min() < 1.1
            assert 2.8 < values.max() <= stated["high"]


@pytest.mark.parametrize("case", [FIST, SMALL, SMALL_DISPLACED, CHIP])
def test_plain_archimedes_on_the_typed_readings_finds_the_true_mass_and_volume(case: Case) -> None:
    perfect = replace(case, repeatability_g=0.0, linearity_g=0.0, span_tolerance_frac=0.0, readability_g=1e-6)
    for number in range(20):
        seen = visit(perfect, 11, number)
        typed, body = seen.typed["weighing"], seen.specimen.body
        dry = typed["dry_g"][0]
        loss = dry - typed["submerged_g"][0] if case.method == "suspended" else typed["displaced_g"][0]
        # Water is between 15 and 25 °C, bubbles take up to 0.0003, the line at most 6 mm³ and 7 mg.
        assert body.mass_g == pytest.approx(dry, rel=1e-3)
        assert body.outer_cm3 == pytest.approx(loss / 0.9970, rel=2.2e-3, abs=0.008)
