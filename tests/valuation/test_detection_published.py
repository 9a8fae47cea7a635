"""Decision threshold and detection limit against Currie (1968) and a worked example of ISO 11929."""

import math

import numpy as np
import pytest
from scipy import optimize, stats

from valuation.detection import K_95, detection, threshold
from valuation.draws import Draws
from valuation.gold import Alloy, GoldContent

# ISO 11929:2010, annex D.1(a): net count rate divided by volume, efficiency and a factor. Read in UncertRadio's
# ISO-Beispiel-1a_DE.txp and BatListRef_v06.txt (commit a234d4d), not in the standard.
GROSS, T_GROSS_S = 2591.0, 360.0
BLANK_RATE, T_BLANK_S = 41782.0 / 7200.0, 7200.0
SLOPE = 1.0 / (0.5 * 0.3 * 0.6)
U_SLOPE_REL = math.sqrt((0.005 / 0.5) ** 2 + (0.015 / 0.3) ** 2 + (0.2 / math.sqrt(3.0) / 0.6) ** 2)
PUBLISHED_THRESHOLD, PUBLISHED_LIMIT = 2.37791, 5.42076


def u_of(true_value):
    """Standard uncertainty of an estimate if the true value were that: counting grows with it, as ISO 11929 says."""
    gross_rate = true_value / SLOPE + BLANK_RATE
    counting = SLOPE**2 * (gross_rate / T_GROSS_S + BLANK_RATE / T_BLANK_S)
    return math.sqrt(counting + (true_value * U_SLOPE_REL) ** 2)


def limit_by_iteration(critical, u):
    """Detection limit by its definition: the value whose estimate misses the threshold once in twenty."""
    return optimize.brentq(lambda y: y - critical - K_95 * u(y), critical, 1e3 * critical)


class TestIso11929:
    ESTIMATE = (GROSS / T_GROSS_S - BLANK_RATE) * SLOPE

    def test_the_inputs_are_those_of_the_example(self):
        assert pytest.approx(15.4907, rel=1e-5) == self.ESTIMATE
        assert u_of(self.ESTIMATE) == pytest.approx(3.47550, rel=1e-5)

    def test_decision_threshold(self):
        found = threshold(self.ESTIMATE, u_of(0.0), U_SLOPE_REL)
        assert found.critical_g == pytest.approx(PUBLISHED_THRESHOLD, rel=1e-4)
        assert found.seen

    def test_detection_limit_less_what_only_counting_adds(self):
        # The published limit counts particles: its scatter grows with the signal even at an exact sensitivity, as a
        # balance's does not. The standard's equation solved for both leaves k^2 w / t_g / (1 - k^2 u_rel^2) between.
        assert limit_by_iteration(K_95 * u_of(0.0), u_of) == pytest.approx(PUBLISHED_LIMIT, rel=1e-4)
        found = threshold(self.ESTIMATE, u_of(0.0), U_SLOPE_REL)
        counting = K_95**2 * SLOPE / T_GROSS_S / (1.0 - (K_95 * U_SLOPE_REL) ** 2)
        assert found.limit_g + counting == pytest.approx(PUBLISHED_LIMIT, rel=1e-4)

    def test_detection_limit_of_constant_scatter_is_the_standard_s_equation(self):
        u0 = u_of(0.0)
        found = threshold(0.0, u0, U_SLOPE_REL)
        by_definition = limit_by_iteration(found.critical_g, lambda y: math.hypot(u0, y * U_SLOPE_REL))
        assert found.limit_g == pytest.approx(by_definition, rel=1e-9)
        assert not found.seen

    def test_no_limit_exists_from_a_sensitivity_doubt_of_0_608(self):
        # Computed: 1/1.645 = 0.6079.
        assert threshold(1.0, 0.1, 0.607).limit_g > 0.0
        assert threshold(1.0, 0.1, 0.608).limit_g is None

    @pytest.mark.parametrize("u_slope", [0.0, 0.05, 0.2, 0.4])
    def test_errs_once_in_twenty_either_way(self, u_slope):
        u0 = 0.7
        found = threshold(0.0, u0, u_slope)
        assert stats.norm.sf(found.critical_g / u0) == pytest.approx(0.05, abs=5e-5)
        missed = stats.norm.cdf((found.critical_g - found.limit_g) / math.hypot(u0, found.limit_g * u_slope))
        assert missed == pytest.approx(0.05, abs=5e-5)


class TestCurrie:
    """L. A. Currie, Anal. Chem. 40 (1968) 586: L_C = 1.645 s0, L_D = 3.29 s0 (2.71 + 4.65 s read, rest from memory)."""

    def test_constant_scatter(self):
        found = threshold(0.0, 1.0, 0.0)
        assert (found.critical_g, found.limit_g) == pytest.approx((1.645, 3.29), abs=1e-12)
        assert pytest.approx(stats.norm.ppf(0.95), abs=2e-4) == K_95

    def test_well_known_blank_of_100_counts(self):
        # L_C 16.45; L_D 35.60 = 2.71 + 3.29 sqrt(B): the 2.71 (k^2) is what only counting adds.
        found = threshold(0.0, math.sqrt(100.0), 0.0)
        assert found.critical_g == pytest.approx(16.45, abs=5e-3)
        assert found.limit_g + 2.71 == pytest.approx(35.60, abs=0.02)

    def test_paired_blank_of_100_counts(self):
        # L_C 23.26 = 2.33 sqrt(B); L_D 49.23 = 2.71 + 4.65 sqrt(B).
        found = threshold(0.0, math.sqrt(2.0 * 100.0), 0.0)
        assert found.critical_g == pytest.approx(23.26, abs=5e-3)
        assert found.limit_g + 2.71 == pytest.approx(49.23, abs=0.02)


class TestFromDraws:
    """The three figures that the engine takes from its draws, for a piece whose scatter is known."""

    def made_up(self, gold_g, u_excess_g, u_native_g_cm3):
        draws, host, native = Draws(), 2.65, 16.0
        density = native + u_native_g_cm3 * draws.z("alloy_density")
        excess = gold_g * (1.0 - host / native) + u_excess_g * draws.z("dry_repeatability")
        grams = excess / (1.0 - host / density)
        alloy = Alloy(np.asarray(0.85), np.asarray(0.15), density)
        solid = np.asarray(150.0)
        content = GoldContent(grams, 0.85 * grams, 0.15 * grams, grams >= 0.0, np.full(draws.n, host), solid, alloy)
        return content, excess + host * solid

    def test_exact_densities_make_it_currie_s(self):
        u_excess, factor = 0.2, 1.0 / (1.0 - 2.65 / 16.0)
        found = detection(*self.made_up(3.0, u_excess, 0.0))
        assert found.estimate_g == pytest.approx(3.0, abs=1e-3)
        assert found.critical_g == pytest.approx(1.645 * u_excess * factor, rel=1e-3)
        assert found.limit_g == pytest.approx(3.29 * u_excess * factor, rel=1e-3)
        assert found.seen

    def test_a_doubtful_density_of_gold_widens_the_limit_by_its_slope(self):
        u_native = 0.8
        content, mass = self.made_up(0.0, 0.2, u_native)
        found = detection(content, mass)
        # First order: d ln(slope)/d rho_n = -rho_h / (rho_n (rho_n - rho_h)).
        u_slope = u_native * 2.65 / (16.0 * (16.0 - 2.65))
        assert found.limit_g / found.critical_g == pytest.approx(2.0 / (1.0 - (1.645 * u_slope) ** 2), rel=1e-4)
        assert not found.seen
