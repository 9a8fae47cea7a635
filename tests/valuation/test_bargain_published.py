"""The equal split of a surplus against worked examples of Nash's bargaining solution."""

import numpy as np
import pytest
from scipy import optimize

from valuation.negotiation import buyer_ceiling, fair_split, route_result
from valuation.terms import Buyer


def split(ceiling, floor, increment=10.0):
    return fair_split(ceiling, floor, Buyer(cash_increment=increment), "USD")


class TestNash:
    """J. F. Nash, The Bargaining Problem, Econometrica 18 (1950) 155-162."""

    def test_house_between_2000_and_3000(self):
        # mathsisfun.com (read): seller 2000, buyer 3000, price 2500, product of gains 250 000.
        found = split(3000.0, 2000.0).fair
        assert found.middle == 2500.0
        assert (3000.0 - found.middle) * (found.middle - 2000.0) == 250_000.0

    def test_one_euro_with_a_fallback_of_0_4(self):
        # Hochschule Mittweida, lecture notes (read): 1 EUR, disagreement (0.4, 0), first player gets 0.7.
        assert split(1.0, 0.4, increment=0.01).fair.middle == pytest.approx(0.7)

    @pytest.mark.parametrize(("floor", "ceiling"), [(2000.0, 3000.0), (812.0, 4100.0), (0.0, 77.0)])
    def test_middle_is_where_the_product_of_gains_is_greatest(self, floor, ceiling):
        best = optimize.minimize_scalar(
            lambda x: -(ceiling - x) * (x - floor), bounds=(floor, ceiling), method="bounded", options={"xatol": 1e-9}
        ).x
        assert split(ceiling, floor, increment=0.01).fair.middle == pytest.approx(best, abs=0.011)

    def test_split_with_powers_gives_the_ends_of_the_fair_range(self):
        # x = d1 + a (1 - d1 - d2): bargaining power a of one quarter, one half, three quarters (same lecture notes).
        found = split(3000.0, 2000.0).fair
        assert (found.low, found.middle, found.high) == (2250.0, 2500.0, 2750.0)

    def test_does_not_depend_on_the_unit_of_money(self):
        # Nash's second axiom: invariance to scale and shift of either side's measure.
        one, other = split(3000.0, 2000.0, 1.0).fair, split(300_000.0, 200_000.0, 100.0).fair
        assert (other.low, other.middle, other.high) == (100 * one.low, 100 * one.middle, 100 * one.high)

    def test_treats_both_sides_alike(self):
        # Nash's symmetry axiom: mirrored, the range stays.
        found = split(3000.0, 2000.0).fair
        assert found.low - 2000.0 == 3000.0 - found.high

    def test_no_surplus_no_deal(self):
        assert split(1999.99, 2000.0) is None


class TestCeilingOfAKnownDistribution:
    """Mean and quantile terms on proceeds whose mean and quantiles are known in closed form."""

    def test_of_uniform_proceeds(self):
        n = 4001
        proceeds = np.linspace(1000.0, 3000.0, n)
        buyer = Buyer(margin_frac=0.25, loss_chance_frac=0.10, handling_cost=100.0)
        found = route_result("refine", proceeds, buyer)
        assert found.ceiling_by_margin == pytest.approx(1900.0 / 1.25)
        assert found.ceiling_by_risk == pytest.approx(1200.0 - 100.0)
        assert (found.ceiling, found.binds) == (pytest.approx(1100.0), "risk")
        # At that price the chance of loss is what was accepted.
        assert np.mean(proceeds - buyer.handling_cost < found.ceiling - 1e-9) == pytest.approx(0.10, abs=1.0 / n)

    def test_drill_or_sell(self):
        # Hillier and Lieberman's prototype (data read, optimum from memory): drilling brings 700 with chance 0.25, else
        # -100; selling the land brings 90. Drilling is worth 100 on average; the accepted chance of loss forbids it.
        drilled = np.repeat([700.0, -100.0], [250, 750])
        buyer = Buyer(margin_frac=0.0, loss_chance_frac=0.10)
        drill, sell = route_result("intact", drilled, buyer), route_result("refine", np.full(1000, 90.0), buyer)
        assert drill.ceiling_by_margin == pytest.approx(100.0)
        assert (drill.ceiling, drill.binds) == (0.0, "risk")
        found = buyer_ceiling([drill, sell])
        assert (found.amount, found.route) == (pytest.approx(90.0), "refine")
        assert (found.cost_of_doubt, found.doubt_free_route) == (pytest.approx(10.0), "intact")
