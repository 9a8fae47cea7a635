"""The bare machinery of decisions against decision trees in print and closed forms."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from tests.valuation.strategies import STEADY
from valuation.decision import (
    N_OUTCOMES,
    Outcomes,
    decision_value,
    nothing_learnt,
    outcomes_of_likelihoods,
    simulated_outcomes,
)
from valuation.draws import Draws
from valuation.summary import quantiles

TREES = tomllib.loads((Path(__file__).parent.parent / "cases" / "decision_trees.toml").read_text("utf-8"))["trees"]


@pytest.mark.parametrize("tree", TREES, ids=[tree["name"] for tree in TREES])
def test_trees_in_print(tree):
    prior = np.array(tree["prior"])
    outcomes = outcomes_of_likelihoods(prior, np.array(tree["likelihoods"], dtype=float))
    found = decision_value(np.array(tree["payoffs"], dtype=float), outcomes)
    assert prior.sum() == pytest.approx(1.0)
    assert found.now == pytest.approx(tree["now"])
    assert found.of_test == pytest.approx(tree["of_test"])
    if "of_certainty" in tree:
        assert found.of_certainty == pytest.approx(tree["of_certainty"])


def unit_normal_loss(d):
    return norm.pdf(d) - d * norm.sf(d)


@pytest.mark.parametrize("u", [0.3, 1.0, 3.0])
@pytest.mark.parametrize("break_even", [-0.5, 0.0, 0.8])
def test_a_linear_gain_with_normal_doubt_has_a_closed_form(u, break_even):
    """EVSI = sigma* L(D): H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory (1961), 5 (from memory)."""
    theta = 100.0 + 12.0 * Draws().z("host_density")
    payoffs = np.stack([theta - (100.0 + 12.0 * break_even), np.zeros(theta.size)])
    u *= 12.0
    preposterior = 12.0**2 / np.hypot(12.0, u)
    found = decision_value(payoffs, simulated_outcomes(theta[None], np.array([u])))
    assert found.of_certainty == pytest.approx(12.0 * unit_normal_loss(abs(break_even)), rel=2e-3)
    foretold = preposterior * unit_normal_loss(12.0 * abs(break_even) / preposterior)
    assert found.of_test == pytest.approx(foretold, rel=0.02, abs=0.005)


@pytest.mark.parametrize("u", [0.5, 2.0])
def test_normal_beliefs_after_a_measurement(u):
    """Mean and spread of a normal belief after a normal measurement, by the conjugate rule (in every textbook)."""
    z = Draws().z("fineness")
    outcomes = simulated_outcomes(z[None], np.array([u]))
    after_sd = u / np.hypot(1.0, u)
    low, high = outcomes.quantiles(z, 0.025, 0.975)
    assert np.mean(high - low) == pytest.approx(2 * norm.ppf(0.975) * after_sd, rel=0.01)
    means = outcomes.means(z[None])[0]
    assert means.std() == pytest.approx(np.sqrt(1.0 - after_sd**2), rel=0.01)
    assert np.mean((low + high) / 2 - means) == pytest.approx(0.0, abs=0.01)


def test_two_measurements_at_once_are_worth_their_product():
    """Two independent measurements of one quantity: their precisions add up."""
    z = Draws().z("fineness")
    twice = simulated_outcomes(np.stack([z, z]), np.array([1.0, 1.0]))
    once = simulated_outcomes(z[None], np.array([np.sqrt(0.5)]))
    payoffs = np.stack([z, np.zeros(z.size)])
    assert decision_value(payoffs, twice).of_test == pytest.approx(decision_value(payoffs, once).of_test, rel=0.02)


def test_with_equal_weights_a_quantile_is_the_usual_one():
    x = Draws().z("span")[:1000] ** 3
    outcomes = nothing_learnt(np.full(x.size, 1.0 / x.size))
    for frac in (0.003, 0.1, 0.5, 0.975):
        assert outcomes.quantiles(x, frac)[0, 0] == pytest.approx(quantiles(x, frac)[0], abs=1e-12)


@given(st.integers(0, 2**32 - 1), st.integers(2, 200), st.floats(0.001, 0.999))
@STEADY
def test_a_quantile_has_its_weight_below_it(seed, n, frac):
    rng = np.random.default_rng(seed)
    x, weights = rng.normal(size=n).round(1), rng.exponential(size=(n, 3)) ** 3
    weights /= weights.sum(axis=0)
    outcomes = Outcomes(np.full(n, 1 / n), np.full(3, 1 / 3), weights)
    for i, found in enumerate(outcomes.quantiles(x, frac)[0]):
        below, upto = weights[x < found - 1e-9, i].sum(), weights[x <= found + 1e-9, i].sum()
        heaviest = weights[:, i].max()
        assert below - 2 * heaviest <= frac <= upto + 2 * heaviest


def random_test(seed):
    rng = np.random.default_rng(seed)
    n, k, acts = rng.integers(2, 8, size=3)
    prior, likelihoods = rng.dirichlet(np.ones(n)), rng.dirichlet(np.ones(k), size=n)
    return prior, likelihoods, 100 * rng.normal(size=(acts, n))


@given(st.integers(0, 2**32 - 1))
@STEADY
def test_information_is_never_worth_less_than_nothing_nor_more_than_certainty(seed):
    prior, likelihoods, payoffs = random_test(seed)
    found = decision_value(payoffs, outcomes_of_likelihoods(prior, likelihoods))
    assert 0.0 <= found.of_test <= found.of_certainty + 1e-9


@given(st.integers(0, 2**32 - 1), st.floats(0.0, 1.0))
@STEADY
def test_a_garbled_test_is_worth_no_more(seed, share):
    """D. Blackwell, Ann. Math. Stat. 24 (1953) 265-272: garbling never helps (theorem from memory)."""
    prior, likelihoods, payoffs = random_test(seed)
    garbled = (1 - share) * likelihoods + share / likelihoods.shape[1]
    clear = decision_value(payoffs, outcomes_of_likelihoods(prior, likelihoods)).of_test
    assert decision_value(payoffs, outcomes_of_likelihoods(prior, garbled)).of_test <= clear + 1e-9


def test_a_test_that_measures_nothing_is_worth_nothing():
    z = Draws().z("fineness")
    payoffs = np.stack([z, np.zeros(z.size)])
    blind = simulated_outcomes(np.zeros((1, z.size)), np.array([1.0]))
    assert decision_value(payoffs, blind).of_test == pytest.approx(0.0, abs=1e-12)
    alike = outcomes_of_likelihoods(np.array([0.5, 0.5]), np.array([[0.3, 0.7], [0.3, 0.7]]))
    assert decision_value(np.array([[1.0, -3.0], [0.0, 0.0]]), alike).of_test == 0.0


def test_calibration_leaves_what_is_untold_as_it_was_and_what_is_told_alone():
    draws = Draws()
    told, other = draws.z("fineness"), draws.u("premium")
    sold = (draws.u("sale_event") < 0.9).astype(float)
    raw = simulated_outcomes(told[None], np.array([0.05]))
    straight = raw.calibrated(np.stack([other, sold]))
    for x in (other, sold):
        assert np.ptp(x @ raw.weights) > 0.01
        assert x @ straight.weights == pytest.approx(np.full(N_OUTCOMES, x.mean()), abs=1e-9)
    assert straight.weights.sum(axis=0) == pytest.approx(np.ones(N_OUTCOMES))
    assert told @ straight.weights == pytest.approx(told @ raw.weights, abs=0.01)
