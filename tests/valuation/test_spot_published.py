"""The price of gold later against published option prices and a value at risk, all through the engine's draws."""

import math

import numpy as np
import pytest
import QuantLib
from scipy import stats

from valuation.draws import Draws
from valuation.spot import gold_later_per_ozt, later_price
from valuation.terms import Spot

DRAWS = Draws()
Z = DRAWS.z("gold_price")


def discounted_mean(payoff, rate, years):
    return math.exp(-rate * years) * float(np.mean(payoff))


class TestLognormalPrice:
    @pytest.mark.parametrize(("volatility", "years"), [(0.18, 14 / 365), (0.18, 1.0), (0.30, 2.0), (0.38, 0.25)])
    def test_mean_stays_and_scatter_is_the_analytic(self, volatility, years):
        price = later_price(4100.0, volatility, years, Z)
        reference = stats.lognorm(
            volatility * math.sqrt(years), scale=4100.0 * math.exp(-(volatility**2) * years / 2.0)
        )
        assert reference.mean() == pytest.approx(4100.0)
        assert price.mean() == pytest.approx(4100.0, rel=5e-5)
        assert price.std() == pytest.approx(4100.0 * math.sqrt(math.expm1(volatility**2 * years)), rel=1e-3)
        assert np.quantile(price, [0.01, 0.1, 0.5, 0.9, 0.99]) == pytest.approx(
            reference.ppf([0.01, 0.1, 0.5, 0.9, 0.99]), rel=1e-3
        )

    def test_of_now_is_the_price_of_now(self):
        assert float(later_price(4100.0, 0.18, 0.0, Z)) == 4100.0
        assert float(later_price(4100.0, 0.0, 1.0, Z)) == 4100.0

    def test_each_draw_may_wait_another_time(self):
        years = DRAWS.rectangular("months_to_sale", 0.0, 2.0)
        price = later_price(4100.0, 0.30, years, Z)
        # Law of total variance with a constant conditional mean: E[exp(s2 t) - 1] over t from 0 to 2.
        share = math.expm1(0.30**2 * 2.0) / (0.30**2 * 2.0) - 1.0
        assert price.mean() == pytest.approx(4100.0, rel=1e-4)
        assert price.std() == pytest.approx(4100.0 * math.sqrt(share), rel=5e-3)

    def test_the_quotes_price_uses_the_stated_volatility(self):
        price = gold_later_per_ozt(Spot(gold=131.0, unit="g", gold_volatility_per_year=0.25), 0.5, DRAWS)
        assert np.std(np.log(price)) == pytest.approx(0.25 * math.sqrt(0.5), rel=1e-4)
        assert price.mean() == pytest.approx(131.0 * 31.1034768, rel=1e-5)


class TestOptions:
    """Options priced as discounted means over the draws; the drift that a textbook adds is added here."""

    def test_call_and_put_of_hulls_example(self):
        # J. C. Hull, Options, Futures, and Other Derivatives, from memory: S 42, K 40, r 0.1, s 0.2, T 0.5: 4.76, 0.81.
        later = later_price(42.0 * math.exp(0.10 * 0.5), 0.20, 0.5, Z)
        call = discounted_mean(np.maximum(later - 40.0, 0.0), 0.10, 0.5)
        put = discounted_mean(np.maximum(40.0 - later, 0.0), 0.10, 0.5)
        assert (call, put) == pytest.approx((4.76, 0.81), abs=5e-3)
        assert call - put == pytest.approx(42.0 - 40.0 * math.exp(-0.05), abs=1e-3)  # parity

    @pytest.mark.parametrize(
        ("forward", "strike", "rate", "volatility", "years", "published"),
        [
            (20.0, 20.0, 0.09, 0.25, 4 / 12, 1.12),  # Hull, put on a futures by Black (1976); from memory
            (72.0, 70.0, 0.085, 0.38, 0.25, 4.34),  # smartsolve (read; its rounded steps give 4.304)
        ],
    )
    def test_puts_on_futures(self, forward, strike, rate, volatility, years, published):
        later = later_price(forward, volatility, years, Z)
        put = discounted_mean(np.maximum(strike - later, 0.0), rate, years)
        deviation = volatility * math.sqrt(years)
        library = QuantLib.blackFormula(QuantLib.Option.Put, strike, forward, deviation, math.exp(-rate * years))
        assert put == pytest.approx(published, abs=5e-3)
        assert put == pytest.approx(library, rel=1e-3)

    @pytest.mark.parametrize("strike", [60.0, 90.0, 100.0, 130.0])
    def test_calls_are_quantlibs(self, strike):
        later = later_price(100.0, 0.3, 1.5, Z)
        library = QuantLib.blackFormula(QuantLib.Option.Call, strike, 100.0, 0.3 * math.sqrt(1.5), 1.0)
        assert float(np.mean(np.maximum(later - strike, 0.0))) == pytest.approx(library, rel=2e-3)


class TestValueAtRisk:
    def test_of_one_day_at_99_per_cent(self):
        # WolframAlpha (read): 100 dollars, drift 10 %, volatility 30 %, one trading day, 99 %: 4.28 dollars.
        years = 1.0 / 252.0
        later = later_price(100.0 * math.exp(0.10 * years), 0.30, years, Z)
        assert 100.0 - np.quantile(later, 0.01) == pytest.approx(4.28, abs=5e-3)

    def test_of_ten_days_at_99_per_cent(self):
        # Hull, slides to the 5th edition (read): 5 million, 1 % a day, ten days, 99 %: 368,405 with normal returns. The
        # lognormal price loses a little less: 1 - exp(-x) for x.
        # The slide takes 2.33 for the normal quantile, 2.3263.
        x = stats.norm.ppf(0.99) * 0.01 * math.sqrt(10.0)
        assert 5e6 * x * 2.33 / stats.norm.ppf(0.99) == pytest.approx(368_405.0, abs=1.0)
        later = later_price(5e6 * math.exp(0.01**2 * 10.0 / 2.0), 0.01, 10.0, Z)
        assert 5e6 - np.quantile(later, 0.01) == pytest.approx(5e6 * -math.expm1(-x), rel=1e-3)
