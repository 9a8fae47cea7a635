"""What the metal price can do until settlement, against closed forms and published examples."""

import math

import numpy as np
import pytest
import QuantLib
from scipy import stats

from tests.valuation.strategies import TAKEN_OUT
from valuation.price_risk import loss_bound_frac
from valuation.spot import later_price

VOLATILITY, DAYS, RATE, HANDLING = 0.30, 90.0, 0.10, 60.0
YEARS = DAYS / 365.0
OZT, SPOT = 2.0, 4100.0


@pytest.fixture
def bare():
    """Two exact ounces, no charges, the price open for ninety days: proceeds are lognormal."""
    return {
        "weighing": TAKEN_OUT,
        "rock": TAKEN_OUT,
        "collector": TAKEN_OUT,
        "gold.fineness_frac": 1.0,
        "gold.measured": {"basis": "fine", "grams": OZT * 31.1034768, "mass_g": 100.0},
        "spot.gold_volatility_per_year": VOLATILITY,
        "refiner": {"recovery_frac": 1.0, "payable": 1.0, "settlement_days": DAYS},
        "buyer.handling_cost": HANDLING,
    }


def chance_under(amount, days, volatility=VOLATILITY):
    """Chance that the discounted proceeds of two ounces lie under `amount`: lognormal, mean S0 exp(-rt)."""
    years = days / 365.0
    if years == 0:
        return float(amount > OZT * SPOT)
    scale = volatility * math.sqrt(years)
    return float(stats.norm.cdf((math.log(amount / (OZT * SPOT)) + RATE * years + 0.5 * scale**2) / scale))


class TestClosedForms:
    def test_chance_of_loss_by_settlement_days(self, quoted, bare):
        offer = 7600.0
        risk = quoted({**bare, "buyer.offer": offer}, with_price_risk=True).price_risk
        assert (risk.price, risk.price_basis) == (offer, "offer")
        assert [row.days for row in risk.rows] == [0.0, 7.0, 14.0, 30.0, 60.0, 90.0]
        for row in risk.rows:
            assert row.chance_of_loss == pytest.approx(chance_under(offer + HANDLING, row.days), abs=5e-4)

    @pytest.mark.parametrize("alpha", [0.02, 0.10, 0.40])
    def test_ceiling_by_settlement_days(self, quoted, bare, alpha):
        terms = {"buyer.loss_chance_frac": alpha, "buyer.margin_frac": 0.05}
        risk = quoted({**bare, **terms}, with_price_risk=True).price_risk
        for row in risk.rows:
            years = row.days / 365.0
            present, scale = OZT * SPOT * math.exp(-RATE * years), VOLATILITY * math.sqrt(years)
            by_risk = present * math.exp(stats.norm.ppf(alpha) * scale - 0.5 * scale**2) - HANDLING
            assert row.ceiling == pytest.approx(min((present - HANDLING) / 1.05, by_risk), rel=1e-3)

    def test_at_the_ceiling_by_risk_the_chance_of_loss_is_what_was_accepted(self, quoted, bare):
        terms = {**bare, "buyer.margin_frac": 0.0, "seller.other_bid": 20_000.0}
        risk = quoted(terms, with_price_risk=True).price_risk
        assert risk.price_basis == "ceiling"
        assert risk.rows[-1].chance_of_loss == pytest.approx(0.10, abs=1e-3)

    def test_break_even_fall_and_its_chance(self, quoted, bare):
        offer = 7000.0
        risk = quoted({**bare, "buyer.offer": offer}, with_price_risk=True).price_risk
        fall = 1.0 - (offer + HANDLING) / (OZT * SPOT * math.exp(-RATE * YEARS))
        assert risk.break_even_fall_frac == pytest.approx(fall, rel=1e-9)
        assert risk.chance_of_fall == pytest.approx(chance_under(offer + HANDLING, DAYS), rel=1e-9)
        assert risk.open_days == DAYS

    def test_requoted_at_the_fallen_price_the_mean_is_the_outlay(self, quoted):
        terms = {"collector": TAKEN_OUT, "buyer.offer": 4100.0}
        risk = quoted(terms, with_price_risk=True).price_risk
        fallen = quoted({**terms, "spot.gold": 4100.0 * (1 - risk.break_even_fall_frac)})
        # The mean over the price's own draws is S0 but for their error.
        assert fallen.routes[0].mean == pytest.approx(4100.0 + 60.0, rel=1e-4)

    def test_a_price_above_what_refining_pays_needs_a_rise(self, quoted, bare):
        risk = quoted({**bare, "buyer.offer": 9000.0}, with_price_risk=True).price_risk
        assert risk.break_even_fall_frac < 0.0
        assert risk.chance_of_fall > 0.5

    def test_silver_that_pays_all_by_itself_leaves_no_fall(self, quoted):
        terms = {"collector": TAKEN_OUT, "refiner.silver_payable_frac": 1.0, "spot.silver": 40_000.0}
        terms |= {"buyer.offer": 1000.0}
        risk = quoted(terms, with_price_risk=True).price_risk
        assert (risk.break_even_fall_frac, risk.chance_of_fall) == (None, None)

    @pytest.mark.parametrize(("offer", "chance"), [(7000.0, 0.0), (9000.0, 1.0)])
    def test_fixed_at_receipt_nothing_can_fall(self, quoted, bare, offer, chance):
        bare["refiner"]["price_fixed"] = "receipt"
        risk = quoted({**bare, "buyer.offer": offer}, with_price_risk=True).price_risk
        assert risk.chance_of_fall == chance
        assert {row.chance_of_loss for row in risk.rows} <= {0.0, 1.0}

    def test_without_volatility_or_wait_it_is_certain(self, quoted, bare):
        for change in ({"spot.gold_volatility_per_year": 0.0}, {"refiner.settlement_days": 0.0}):
            risk = quoted({**bare, **change, "buyer.offer": 7000.0}, with_price_risk=True).price_risk
            assert risk.chance_of_fall == 0.0

    def test_longer_waits_are_riskier(self, quoted):
        risk = quoted({"collector": TAKEN_OUT}, with_price_risk=True).price_risk
        chances = [row.chance_of_loss for row in risk.rows]
        ceilings = [row.ceiling for row in risk.rows]
        assert chances == sorted(chances)
        assert ceilings == sorted(ceilings, reverse=True)

    def test_the_refiners_own_days_are_a_row(self, quoted):
        risk = quoted({"refiner.settlement_days": 45}, with_price_risk=True).price_risk
        assert [row.days for row in risk.rows] == [0.0, 7.0, 14.0, 30.0, 45.0, 60.0, 90.0]

    def test_its_row_is_the_quotes_own_ceiling(self, quoted):
        q = quoted({"collector": TAKEN_OUT}, with_price_risk=True)
        (row,) = [row for row in q.price_risk.rows if row.days == 14.0]
        assert row.ceiling == q.buyer_ceiling

    @pytest.mark.parametrize(
        "changes", [{"buyer.routes": ["intact"]}, {"weighing.submerged_g": [255.7]}, {"refiner.minimum_lot_ozt": 9.0}]
    )
    def test_none_where_refining_is_closed(self, quoted, changes):
        assert quoted(changes, with_price_risk=True).price_risk is None

    def test_only_on_request(self, quoted):
        assert quoted({}, log2_draws=8).price_risk is None


class TestPublished:
    """Value at risk and option values of published examples, through the same two functions."""

    def test_lognormal_value_at_risk(self):
        # WolframAlpha's worked example (read): 100 dollars, drift 10 %, volatility 30 % a year, one trading day, 99 %:
        # 4.28 dollars. Its drift in the log, r - s²/2, comes on top of ours, which has none.
        day = 1.0 / 252.0
        kept = (1.0 - loss_bound_frac(0.30, day, 0.01)) * math.exp((0.10 - 0.5 * 0.30**2) * day)
        assert 100.0 * (1.0 - kept) == pytest.approx(4.28, abs=0.005)

    def test_ten_day_value_at_risk_of_a_share_position(self):
        # J. C. Hull, Options, Futures, and Other Derivatives, 5th ed., lecture slides (read): 5 000 000 dollars, 1 % a
        # day, ten days, 99 %: 368 405 dollars, normal and with 2.33 for the quantile. The log of ours is that bound.
        years = 10.0 / 252.0
        log_fall = -math.log1p(-loss_bound_frac(0.01 * math.sqrt(252.0), years, 0.01))
        assert 5e6 * log_fall * 2.33 / stats.norm.ppf(0.99) == pytest.approx(368_405.0, abs=5.0)

    @pytest.mark.parametrize(
        ("kind", "spot", "strike", "rate", "scale", "years", "value", "digits"),
        [
            # Hull's standard example: call 4.76, put 0.81 (values from memory).
            ("call", 42.0, 40.0, 0.10, 0.20, 0.5, 4.76, 0.005),
            ("put", 42.0, 40.0, 0.10, 0.20, 0.5, 0.81, 0.005),
            # Puts on futures, whose price has no drift: Hull 1.12 (from memory); a worked solution 4.34 (read).
            ("futures put", 20.0, 20.0, 0.09, 0.25, 4.0 / 12.0, 1.12, 0.005),
            ("futures put", 72.0, 70.0, 0.085, 0.38, 0.25, 4.34, 0.005),
        ],
    )
    def test_option_values_from_the_later_price(self, kind, spot, strike, rate, scale, years, value, digits):
        # Gauss-Hermite would blur the kink: midpoints of a million equal chances.
        u = (np.arange(1_000_000) + 0.5) / 1_000_000
        forward = spot if kind == "futures put" else spot * math.exp(rate * years)
        later = later_price(forward, scale, years, stats.norm.ppf(u))
        gain = later - strike if kind == "call" else strike - later
        assert math.exp(-rate * years) * np.mean(np.maximum(0.0, gain)) == pytest.approx(value, abs=digits)

    @pytest.mark.parametrize(("volatility", "days"), [(0.18, 14.0), (0.6, 365.0)])
    def test_against_quantlib(self, volatility, days):
        # The chance of a fall below a strike is the undiscounted digital put; QuantLib has it by its own formula.
        strike, scale = 0.9, volatility * math.sqrt(days / 365.0)
        digital = QuantLib.BlackCalculator(
            QuantLib.CashOrNothingPayoff(QuantLib.Option.Put, strike, 1.0), 1.0, scale, 1.0
        ).value()
        u = (np.arange(1 << 18) + 0.5) / (1 << 18)
        assert np.mean(later_price(1.0, volatility, days / 365.0, stats.norm.ppf(u)) < strike) == pytest.approx(
            digital, abs=1e-5
        )

    @pytest.mark.parametrize("chance", [0.01, 0.05, 0.5])
    def test_bound_is_exceeded_with_its_chance(self, chance):
        # Without drift in the log: later_price has -s²/2 there, so it is put back.
        scale, u = 0.25 * math.sqrt(0.5), (np.arange(1 << 16) + 0.5) / (1 << 16)
        fallen = 1.0 - later_price(1.0, 0.25, 0.5, stats.norm.ppf(u)) * math.exp(0.5 * scale**2)
        assert np.mean(fallen > loss_bound_frac(0.25, 0.5, chance)) == pytest.approx(chance, abs=1e-4)

    def test_mean_of_the_later_price_is_todays(self):
        u = (np.arange(1 << 20) + 0.5) / (1 << 20)
        assert np.mean(later_price(4100.0, 0.5, 2.0, stats.norm.ppf(u))) == pytest.approx(4100.0, rel=1e-4)
