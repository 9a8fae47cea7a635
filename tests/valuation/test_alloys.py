"""Density of native gold as an alloy against published measurements of gold, silver and copper."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from valuation.detection import fineness_of_density
from valuation.draws import Draws
from valuation.gold import COPPER_G_CM3, GOLD_G_CM3, SILVER_G_CM3, U_ALLOY_REL, drawn_alloy, native_density_g_cm3
from valuation.observations import Gold

ALLOYS = tomllib.loads((Path(__file__).parents[1] / "cases" / "gold_alloys.toml").read_text(encoding="utf-8"))
ROSE = ALLOYS["rose"]["gold_silver"]


def fineness_of(case):
    return f"{case['fineness_ppt']:g}"


class TestGoldAndSilver:
    @pytest.mark.parametrize("case", [c for c in ROSE if c["fineness_ppt"] >= 500], ids=fineness_of)
    def test_ideal_mixing_is_within_0_8_per_cent_of_roses_table(self, case):
        # T. K. Rose, The Metallurgy of Gold, Table XIV; the row of fineness 333 (13.00) is a misprint, see below.
        ideal = float(native_density_g_cm3(case["fineness_ppt"] / 1000.0, 0.0))
        assert ideal == pytest.approx(case["density_g_cm3"], rel=0.008)

    def test_roses_row_of_333_is_a_misprint(self):
        # Printed 13.00. Its neighbours 500 and 250 (13.60, 11.78) make 12.3 by straight interpolation.
        by_fineness = {c["fineness_ppt"]: c["density_g_cm3"] for c in ROSE}
        assert 333 not in by_fineness
        between = np.interp(333.0, [250.0, 500.0], [by_fineness[250], by_fineness[500]])
        assert float(native_density_g_cm3(0.333, 0.0)) == pytest.approx(between, rel=0.01)
        assert between / 13.00 < 0.96

    def test_stated_doubt_covers_the_scatter_of_roses_table(self):
        rows = [c for c in ROSE if c["fineness_ppt"] >= 500]
        off = [float(native_density_g_cm3(c["fineness_ppt"] / 1000.0, 0.0)) / c["density_g_cm3"] - 1.0 for c in rows]
        assert np.sqrt(np.mean(np.square(off))) < 1.05 * U_ALLOY_REL
        assert max(np.abs(off)) < 2.0 * U_ALLOY_REL

    @pytest.mark.parametrize(("fineness_frac", "density_g_cm3"), [(0.95, 18.54), (0.90, 17.82), (0.85, 17.15)])
    def test_published_ends_of_native_gold_hold_it(self, fineness_frac, density_g_cm3):
        # Ideal Au-Ag with 19.30 and 10.5 (computed); native gold 15.6 to 19.33, read on a college's mineral page.
        ours = float(native_density_g_cm3(fineness_frac, 0.0))
        assert ours == pytest.approx(density_g_cm3, rel=1e-3)
        assert ALLOYS["native_gold"]["low_g_cm3"] < ours < ALLOYS["native_gold"]["high_g_cm3"]

    @pytest.mark.parametrize(
        ("pure", "fineness", "copper"), [("gold", 1.0, 0.0), ("silver", 0.0, 0.0), ("copper", 0.0, 1.0)]
    )
    def test_ends_are_the_pure_metals_of_general_libraries(self, pure, fineness, copper):
        ours = float(native_density_g_cm3(fineness, copper))
        assert min(ALLOYS["pure"][pure]) * 0.999 <= ours <= max(ALLOYS["pure"][pure]) * 1.001


class TestCopper:
    @pytest.mark.parametrize("case", ALLOYS["gold_copper"]["measured"], ids=fineness_of)
    def test_measured_gold_copper_is_0_9_per_cent_lighter_than_ideal(self, case):
        # 911metallurgist, gold-copper alloys (read). Native gold holds a hundredth of that copper.
        ideal = float(native_density_g_cm3(case["fineness_ppt"] / 1000.0, 1.0))
        assert ideal == pytest.approx(case["density_g_cm3"], rel=0.0095)
        assert ideal > case["density_g_cm3"]

    def test_worked_reciprocal_sum_of_a_trade_table(self):
        # 583 gold, 104 silver, 313 copper make 13.33 (read).
        case = ALLOYS["reciprocal_sum"]
        copper_share = case["copper_ppt"] / (case["silver_ppt"] + case["copper_ppt"])
        ours = float(native_density_g_cm3(case["gold_ppt"] / 1000.0, copper_share))
        assert ours == pytest.approx(case["density_g_cm3"], abs=case["tolerance_g_cm3"])


class TestModel:
    def test_volumes_add(self):
        f, c = 0.85, 0.2
        cm3 = 100.0 * (f / GOLD_G_CM3 + (1 - f) * (1 - c) / SILVER_G_CM3 + (1 - f) * c / COPPER_G_CM3)
        assert float(native_density_g_cm3(f, c)) == pytest.approx(100.0 / cm3, rel=1e-14)

    @pytest.mark.parametrize("copper", [0.0, 0.03, 0.5])
    @pytest.mark.parametrize("fineness", [0.55, 0.75, 0.92, 1.0])
    def test_fineness_can_be_read_back_from_density(self, fineness, copper):
        density = float(native_density_g_cm3(fineness, copper))
        assert fineness_of_density(density, copper) == pytest.approx(fineness, rel=1e-12)

    def test_no_fineness_is_read_from_a_density_that_no_such_alloy_has(self):
        assert fineness_of_density(19.31, 0.0) is None
        assert fineness_of_density(10.4, 0.0) is None

    def test_karat_is_a_share_of_mass_in_24(self):
        # ISO 9202 scope (read): 14 karat is 583.33 per mille, its mark 585; 22 karat 916.67.
        assert pytest.approx(0.58333, abs=5e-6) == 14 / 24
        assert float(native_density_g_cm3(22 / 24, 0.0)) == pytest.approx(18.0, abs=0.1)  # Rose, 917: 18.08

    def test_shares_of_the_drawn_metal_add_up(self):
        drawn = drawn_alloy(
            Gold(fineness_frac={"low": 0.75, "likely": 0.85, "high": 0.92}, copper_share_frac=0.25), Draws()
        )
        copper = 1.0 - drawn.fineness_frac - drawn.silver_frac
        assert copper == pytest.approx(0.25 * (1.0 - drawn.fineness_frac), abs=1e-12)
        ideal = native_density_g_cm3(drawn.fineness_frac, 0.25)
        assert np.std(drawn.density_g_cm3 / ideal) == pytest.approx(U_ALLOY_REL, rel=1e-3)
        assert U_ALLOY_REL == 0.004
