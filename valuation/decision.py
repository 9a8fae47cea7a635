"""Deciding before and after evidence: outcomes of a test, what is believed after each, and what knowing is worth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from valuation.spread import SMALLEST_U, Floats

N_OUTCOMES = 512
NOISE_SEED = 20260315
_GROUP = 32


@dataclass(frozen=True)
class Outcomes:
    """What a test may show, and the beliefs that each outcome leaves.

    Parameters
    ----------
    prior : ndarray, shape (n,)
        Chance of each state (or draw) before the test; adds up to 1.
    chance : ndarray, shape (k,)
        Chance of each outcome; adds up to 1.
    weights : ndarray, shape (n, k)
        Chance of each state after each outcome; every column adds up to 1.
    """

    prior: Floats
    chance: Floats
    weights: Floats

    @property
    def effective_draws(self) -> Floats:
        """Effective number of draws behind each outcome, ``1 / sum(w²)``, shape (k,)."""
        return np.asarray(1.0 / np.einsum("ij,ij->j", self.weights, self.weights))

    def calibrated(self, untold: Floats) -> Outcomes:
        """The same outcomes, their weights drawn straight by quantities that the test tells nothing about.

        Parameters
        ----------
        untold : ndarray, shape (m, n)
            Quantities by state that are independent of the outcome, such as whether the piece will sell.

        Returns
        -------
        Outcomes
            After every outcome the mean of each such quantity is what it was before.

        Notes
        -----
        ``w' = w (1 + l . (x - E[x | i]))`` with l so that ``E'[x | i] = E[x]``. A finite number of draws otherwise
        lets chance shift them, which a quantile of the proceeds would show.

        References
        ----------
        J.-C. Deville, C.-E. Särndal, J. Am. Stat. Assoc. 87 (1992) 376-382 (linear calibration; from memory).
        """
        x = untold - (untold @ self.prior)[:, None]
        m = len(x)
        upper = np.triu_indices(m)
        off = x @ self.weights
        second = np.empty((m, m, self.chance.size))
        second[upper] = (x[upper[0]] * x[upper[1]]) @ self.weights
        second[upper[1], upper[0]] = second[upper]
        spread = np.moveaxis(second - off[:, None] * off[None], 2, 0)
        slope = np.linalg.solve(spread + 1e-12 * np.eye(m), -off.T[..., None])[..., 0]
        factor = x.T @ slope.T
        factor += 1.0 - np.sum(slope.T * off, axis=0)
        factor *= self.weights
        return Outcomes(self.prior, self.chance, factor)

    def means(self, values: Floats) -> Floats:
        """Mean of each row of `values` after each outcome.

        Parameters
        ----------
        values : ndarray, shape (m, n)
            Quantities by state.

        Returns
        -------
        ndarray, shape (m, k)

        Notes
        -----
        Beliefs on average stay what they were: ``sum(p_i E[x | i]) = E[x]``. What a finite number of outcomes misses
        of that is taken off every row alike, the mean of the row serving as control variate.
        """
        raw = values @ self.weights
        return np.asarray(raw - (raw @ self.chance - values @ self.prior)[:, None])

    def quantiles(self, values: Floats, *fracs: float) -> Floats:
        """Quantiles of `values` after each outcome, shape (len(fracs), k).

        Parameters
        ----------
        values : ndarray, shape (n,)
            A quantity by state.
        fracs : float
            Probabilities in (0, 1).

        Notes
        -----
        Linear between neighbours; with equal weights that of `valuation.summary.quantiles`. Weights are first added
        up in groups of neighbours, then one by one within the group that holds the quantile.
        """
        from scipy.sparse import csr_array  # slow to load, and a quote needs none of it

        order = np.argsort(values, kind="stable")
        n, k = self.weights.shape
        n_groups = -(-n // _GROUP)
        members = csr_array((np.ones(n), order, np.minimum(np.arange(n_groups + 1) * _GROUP, n)), shape=(n_groups, n))
        under = np.vstack([np.zeros(k), np.cumsum(members @ self.weights, axis=0)])
        last = self.weights[order[-1]]
        ranked = values[order]
        return np.stack([self._quantile(frac * (1.0 - last), under, order, ranked) for frac in fracs])

    def _quantile(self, wanted: Floats, under: Floats, order: NDArray[np.intp], ranked: Floats) -> Floats:
        """Quantile of each outcome; `under` holds the weight below each group of neighbours, `wanted` that below it."""
        n, k = self.weights.shape
        each = np.arange(k)
        group = np.clip(np.sum(under[1:] <= wanted, axis=0), 0, len(under) - 2)
        places = group * _GROUP + np.arange(_GROUP + 1)[:, None]
        inside = places < n
        places = np.minimum(places, n - 1)
        weight = np.where(inside, self.weights[order[places], each], 0.0)
        below = under[group, each] + np.cumsum(weight, axis=0) - weight
        row = np.clip(np.sum((below <= wanted) & inside, axis=0) - 1, 0, _GROUP)
        step = weight[row, each]
        share = np.clip((wanted - below[row, each]) / np.where(step > 0, step, 1.0), 0.0, 1.0)
        at = places[row, each]
        low, high = ranked[at], ranked[np.minimum(at + 1, n - 1)]
        return np.asarray(low + (high - low) * share)


def nothing_learnt(prior: Floats) -> Outcomes:
    """The one outcome of no test: beliefs stay as they are."""
    return Outcomes(prior, np.ones(1), prior[:, None])


def outcomes_of_likelihoods(prior: Floats, likelihoods: Floats) -> Outcomes:
    """Outcomes of a test whose chances are tabled.

    Parameters
    ----------
    prior : ndarray, shape (n,)
        Chance of each state.
    likelihoods : ndarray, shape (n, k)
        Chance of each outcome in each state; every row adds up to 1.

    Notes
    -----
    Bayes: ``P(state | outcome) = P(outcome | state) P(state) / P(outcome)``.
    """
    joint = prior[:, None] * likelihoods
    chance = joint.sum(axis=0)
    return Outcomes(prior, chance[chance > 0], joint[:, chance > 0] / chance[chance > 0])


def simulated_outcomes(measured: Floats, u: Floats, n_outcomes: int = N_OUTCOMES) -> Outcomes:
    """Outcomes of a measurement with normal errors, simulated from draws that are all equally likely.

    Parameters
    ----------
    measured : ndarray, shape (d, n)
        What the test measures in every draw; d quantities.
    u : ndarray, shape (d,)
        Standard uncertainty of each measurement, above 0; errors are independent.
    n_outcomes : int
        Number of equally likely outcomes.

    Notes
    -----
    Outcome i takes the truth from the middle draw of the i-th of `n_outcomes` equal strata of the draws, ranked by
    what is measured, and its error from point i of a scrambled Sobol' sequence. Draw j is then weighted with
    ``exp(-sum(((y_i - q_j) / u)²) / 2)`` (importance reweighting).

    References
    ----------
    M. Strong, J. E. Oakley, A. Brennan, Med. Decis. Making 34 (2014) 311-326 (value of information from one sample of
    draws; from memory). A. B. Owen, Monte Carlo theory, methods and examples (2013), chapters 8 and 9 (stratification,
    control variates, self-normalised importance sampling; from memory).
    """
    from scipy.stats import qmc  # takes most of a second to load

    scaled = measured / u[:, None]
    scaled = scaled - scaled.mean(axis=1, keepdims=True)
    d, n = scaled.shape
    ranked = np.argsort(scaled.sum(axis=0), kind="stable")
    truth = ranked[((np.arange(n_outcomes) + 0.5) * n / n_outcomes).astype(np.intp)]
    engine = qmc.Sobol(d=d, scramble=True, rng=np.random.default_rng(NOISE_SEED))
    points = np.clip(engine.random(n_outcomes), SMALLEST_U, 1.0 - SMALLEST_U)
    y = scaled[:, truth] + ndtri(points.T)
    # -sum((y - q)²) / 2 as one product; the draw that an outcome comes from keeps every column from vanishing.
    by_draw = np.vstack([scaled, -0.5 * np.sum(scaled**2, axis=0), np.ones(n)])
    by_outcome = np.vstack([y, np.ones(n_outcomes), -0.5 * np.sum(y**2, axis=0)])
    weights = by_draw.T @ by_outcome
    np.exp(weights, out=weights)
    weights /= weights.sum(axis=0)
    return Outcomes(np.full(n, 1.0 / n), np.full(n_outcomes, 1.0 / n_outcomes), weights)


@dataclass(frozen=True)
class DecisionValue:
    """What the best choice brings on average [money].

    Parameters
    ----------
    now : float
        Choosing with what is known.
    after : float
        Choosing after the outcome of the test.
    certain : float
        Choosing with the state known.
    """

    now: float
    after: float
    certain: float

    @property
    def of_test(self) -> float:
        """Expected value of the test's information (EVSI), before its cost."""
        return self.after - self.now

    @property
    def of_certainty(self) -> float:
        """Expected value of perfect information (EVPI)."""
        return self.certain - self.now


def decision_value(payoffs: Floats, outcomes: Outcomes) -> DecisionValue:
    """Value of choosing the best of several acts, with and without the test.

    Parameters
    ----------
    payoffs : ndarray, shape (acts, n)
        What each act brings in each state [money].
    outcomes : Outcomes
        Of the test.

    Notes
    -----
    ``EVSI = sum(p_i max_a E[payoff_a | i]) - max_a E[payoff_a]``, never below 0, since a maximum of means is never
    more than the mean of maxima.

    References
    ----------
    H. Raiffa, R. Schlaifer, Applied Statistical Decision Theory (1961), chapter 4.
    """
    now = float(np.max(payoffs @ outcomes.prior))
    after = float(outcomes.means(payoffs).max(axis=0) @ outcomes.chance)
    certain = float(payoffs.max(axis=0) @ outcomes.prior)
    # The larger only takes off a rounding error in the last digit.
    return DecisionValue(now, max(now, after), max(now, certain))
