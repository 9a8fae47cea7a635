"""Mass units against pint, scipy.constants and the statutes."""

from fractions import Fraction

import pint
import pytest
import scipy.constants

from valuation.detection import LONG_G_PER_OZT
from valuation.spot import G_PER_OZT, gold_per_ozt, grams_per, silver_per_ozt
from valuation.terms import Spot

UNITS = pint.UnitRegistry()
# UK Weights and Measures Act 1985, Schedule 1 Part V (read): pound 0.453 592 37 kg, troy ounce 12/175 of it.
POUND_G = Fraction("453.59237")
STATUTORY_OZT_G = float(POUND_G * Fraction(12, 175))


class TestTroyOunce:
    def test_is_the_statutory_one(self):
        assert pytest.approx(STATUTORY_OZT_G, rel=1e-12) == G_PER_OZT
        assert Fraction("31.1034768") == POUND_G * 12 / 175

    def test_is_pints(self):
        assert UNITS.Quantity(1, "troy_ounce").to("gram").magnitude == pytest.approx(G_PER_OZT, rel=1e-12)

    def test_is_scipys(self):
        assert 1000.0 * scipy.constants.troy_ounce == pytest.approx(G_PER_OZT, rel=1e-12)

    def test_is_twenty_pennyweights_and_480_grains(self):
        assert 20 * UNITS.Quantity(1, "pennyweight").to("gram").magnitude == pytest.approx(G_PER_OZT, rel=1e-12)
        assert 480 * 1000.0 * scipy.constants.grain == pytest.approx(G_PER_OZT, rel=1e-12)

    def test_a_kilogram_holds_32_1507465(self):
        # A refining contract (sec.gov 1164099, file 4, read), its last digit cut off.
        assert grams_per("kg") / grams_per("ozt") == pytest.approx(32.1507465, abs=1e-7)

    def test_is_none_of_its_near_misses(self):
        # GSL's GSL_CONST_*_TROY_OUNCE is 31.103475 g (read); the avoirdupois ounce is a sixteenth of the pound; an OCR
        # of Hong Kong's Cap. 68 lost the 12 of 12/175 pound (read).
        for wrong in (31.103475, float(POUND_G / 16), float(POUND_G / 175)):
            assert abs(G_PER_OZT / wrong - 1.0) > 1e-8

    def test_that_of_the_long_hand_rule_is_rounded(self):
        # Common practice, no source: 31.103 g, 1.5e-5 too light.
        assert pytest.approx(G_PER_OZT, rel=2e-5) == LONG_G_PER_OZT


class TestTola:
    def test_is_180_grains_of_the_statutory_pound(self):
        # 180 grains: Bengal Regulation VII of 1833 (from memory). A grain is 1/7000 of the pound (NIST SP 811, B.8).
        assert Fraction("11.6638038") == POUND_G * 180 / 7000
        assert grams_per("tola") == pytest.approx(float(POUND_G * 180 / 7000), rel=1e-12)
        assert grams_per("tola") == pytest.approx(180 * 1000.0 * scipy.constants.grain, rel=1e-12)

    def test_ten_are_three_and_three_quarter_troy_ounces(self):
        # Common practice, no source: the ten-tola bar.
        assert 10 * grams_per("tola") == pytest.approx(3.75 * G_PER_OZT, rel=1e-12)

    def test_a_price_per_tola_is_three_eighths_of_that_per_ounce(self):
        assert gold_per_ozt(Spot(gold=1500.0, unit="tola")) == pytest.approx(4000.0, rel=1e-12)


class TestPriceUnits:
    @pytest.mark.parametrize(("unit", "pint_unit"), [("ozt", "troy_ounce"), ("g", "gram"), ("kg", "kilogram")])
    def test_a_price_per_any_unit_is_the_same_per_ounce(self, unit, pint_unit):
        per_gram = UNITS.Quantity(131.5, "1/gram")
        price = per_gram.to(f"1/{pint_unit}").magnitude
        expected = per_gram.to("1/troy_ounce").magnitude
        spot = Spot(gold=price, silver=price / 80.0, unit=unit)
        assert gold_per_ozt(spot) == pytest.approx(expected, rel=1e-12)
        assert silver_per_ozt(spot) == pytest.approx(expected / 80.0, rel=1e-12)

    @pytest.mark.parametrize(("unit", "pint_unit"), [("ozt", "troy_ounce"), ("g", "gram"), ("kg", "kilogram")])
    def test_grams_per_unit(self, unit, pint_unit):
        assert grams_per(unit) == pytest.approx(UNITS.Quantity(1, pint_unit).to("gram").magnitude, rel=1e-12)
