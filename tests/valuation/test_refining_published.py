"""Settlement with a refiner against worked examples and published terms; the drawn route against the statement."""

from decimal import Decimal

import numpy as np
import pytest

from valuation.draws import Draws
from valuation.refining import Lot, payable_gold_ozt, settled, statement
from valuation.spot import G_PER_OZT
from valuation.terms import Refiner, Spot

DRAWS = Draws(log2_draws=8)
STILL = Spot(gold=1000.0, gold_volatility_per_year=0.0, silver_volatility_per_year=0.0)


def refiner(**terms):
    return Refiner(**{"payable": 1.0, "recovery_frac": 1.0} | terms)


def lines_of(fine_g, terms, spot=STILL, silver_g=0.0, mass_g=1000.0, rate=0.10):
    return {row.line: row.amount for row in statement(fine_g, silver_g, mass_g, terms, spot, rate)}


class TestWorkedSettlement:
    """A trader's page (commercial source, read): 24.96 kg of 91.3 % is 22.79 kg or 732.7 oz; 99 % payable, 725.4 oz."""

    FINE_G = 24_960.0 * 0.913

    def test_fine_weight(self):
        fine_kg, fine_ozt = self.FINE_G / 1000.0, self.FINE_G / G_PER_OZT
        assert fine_kg == pytest.approx(22.79, abs=5e-3)
        assert fine_ozt == pytest.approx(732.7, abs=0.1)
        assert fine_ozt == pytest.approx(732.66, abs=0.01)

    def test_payable_ounces(self):
        payable = float(payable_gold_ozt(np.asarray(self.FINE_G / G_PER_OZT), refiner(payable=0.99)))
        assert payable == pytest.approx(725.4, abs=0.1)
        assert payable == pytest.approx(725.34, abs=5e-3)
        assert payable * G_PER_OZT / 1000.0 == pytest.approx(22.56, abs=5e-3)

    def test_statement_pays_the_ounces_rounded_down(self):
        # At 1000 per ounce the amount reads as the ounces.
        paid = lines_of(self.FINE_G, refiner(payable=0.99))["gold"]
        assert paid == Decimal("725339.00")
        assert float(paid) / 1000.0 <= 0.99 * self.FINE_G / G_PER_OZT

    def test_drawn_route_pays_the_same(self):
        terms = refiner(payable=0.99, settlement_days=0.0)
        lot = Lot(np.full(DRAWS.n, self.FINE_G), np.zeros(DRAWS.n), np.asarray(24_960.0))
        # 22788.48 / 31.1034768 x 0.99, the ounces not cut off to a step.
        assert settled(lot, terms, STILL, 0.1, DRAWS).net == pytest.approx(725_339.98, abs=0.01)


class TestGoodDelivery:
    """LBMA good delivery (two quoting pages read): gross weight in multiples of 0.025 oz, rounded down; 995 fine."""

    @pytest.mark.parametrize(
        ("assayed_ozt", "paid_ozt"),
        [(400.000, "400.000"), (400.0249, "400.000"), (400.0251, "400.025"), (399.9999, "399.975"), (0.0249, "0.000")],
    )
    def test_weight_is_rounded_down_to_its_step(self, assayed_ozt, paid_ozt):
        paid = lines_of(assayed_ozt * G_PER_OZT, refiner(weight_step_ozt=0.025))["gold"]
        assert paid == Decimal(paid_ozt) * 1000

    def test_bar_of_400_ounces_at_995(self):
        # Fine content of the smallest fineness; 350 to 430 fine ounces allowed.
        fine_ozt = 400.0 * 0.995
        assert 350.0 <= fine_ozt <= 430.0
        assert lines_of(fine_ozt * G_PER_OZT, refiner(weight_step_ozt=0.001))["gold"] == Decimal("398000.00")


class TestTiersByGrade:
    """Payable share of a concentrate by grade, g/t (sec.gov 1493893, ex. 10-13, read), its grades taken as weights."""

    TIERS = ((20.0, 0.91), (30.0, 0.92), (40.0, 0.93), (60.0, 0.94), (70.0, 0.95), (80.0, 0.96))

    def terms(self):
        # A table must start at 0; what the source pays below 20 is not known and not tested.
        tiers = [{"from_ozt": 0.0, "frac": 0.5}, *({"from_ozt": start, "frac": frac} for start, frac in self.TIERS)]
        return refiner(payable=tiers)

    @pytest.mark.parametrize(
        ("grade", "frac"),
        [
            (20.0, 0.91),
            (29.99, 0.91),
            (30.0, 0.92),
            (39.99, 0.92),
            (40.0, 0.93),
            (59.99, 0.93),
            (60.0, 0.94),
            (69.99, 0.94),
            (70.0, 0.95),
            (79.99, 0.95),
            (80.0, 0.96),
            (500.0, 0.96),
        ],
    )
    def test_the_tier_reached_holds_for_the_whole(self, grade, frac):
        assert float(payable_gold_ozt(np.asarray(grade), self.terms())) == pytest.approx(frac * grade, rel=1e-12)

    def test_many_at_once(self):
        grades = np.array([25.0, 35.0, 45.0, 65.0, 75.0, 85.0])
        fracs = np.array([frac for _, frac in self.TIERS])
        assert payable_gold_ozt(grades, self.terms()) == pytest.approx(fracs * grades, rel=1e-12)


CHARGED = {
    "recovery_frac": {"low": 0.92, "likely": 0.96, "high": 0.98},
    "payable": [{"from_ozt": 0.0, "frac": 0.95}, {"from_ozt": 5.0, "frac": 0.97}],
    "minimum_deduction_ozt": 0.01,
    "silver_payable_frac": 0.9,
    "price_discount_frac": 0.005,
    "refining_per_ozt": 8.0,
    "treatment_per_kg": 15.0,
    "assay_fee": 120.0,
    "lot_fee": 35.0,
    "freight": 45.0,
    "insurance_frac": 0.002,
    "settlement_days": 14.0,
}


class TestDrawnRouteAgainstTheStatement:
    """At exact likely values the drawn route is the statement within a cent a line plus one weight step of metal."""

    @pytest.mark.parametrize("currency", ["USD", "JPY", "KWD"])
    @pytest.mark.parametrize("price_fixed", ["settlement", "receipt"])
    @pytest.mark.parametrize(
        ("fine_g", "silver_g", "mass_g"),
        [(40.93, 6.2, 412.6), (3.0, 0.5, 60.0), (162.01, 0.0, 900.0), (161.9, 30.0, 901.0)],
    )
    def test_agree(self, currency, price_fixed, fine_g, silver_g, mass_g):
        still = {"gold_volatility_per_year": 0.0, "silver_volatility_per_year": 0.0}
        spot = Spot(gold=4137.55, silver=48.37, currency=currency, **still)
        likely = CHARGED | {"recovery_frac": 0.96}
        terms = Refiner(**likely, price_fixed=price_fixed)
        n = DRAWS.n
        lot = Lot(np.full(n, fine_g), np.full(n, silver_g), np.asarray(mass_g))
        drawn = settled(lot, terms, spot, 0.10, DRAWS)
        # The statement takes the likely recovery of the spread itself.
        rows = statement(fine_g, silver_g, mass_g, Refiner(**CHARGED, price_fixed=price_fixed), spot, 0.10)
        total = next(float(row.amount) for row in rows if row.line == "total")
        waiting = next(float(row.amount) for row in rows if row.line == "waiting")
        cent = {"USD": 0.01, "JPY": 1.0, "KWD": 0.001}[currency]
        allowed = cent * len(rows) + terms.weight_step_ozt * (spot.gold + spot.silver)
        assert np.ptp(drawn.net) < 1e-9
        assert drawn.net[0] == pytest.approx(total, abs=allowed)
        assert drawn.present[0] == pytest.approx(total + waiting, abs=allowed)
        # The statement cuts ounces off; it never adds any.
        assert total <= drawn.net[0] + cent * len(rows)

    def test_every_charge_has_its_line_and_the_total_is_their_sum(self):
        spot = Spot(gold=4137.55, silver=48.37)
        rows = statement(40.93, 6.2, 412.6, Refiner(**CHARGED), spot, 0.10)
        names = [row.line for row in rows]
        assert names == [
            "gold",
            "price discount",
            "refining",
            "treatment",
            "assay",
            "lot fee",
            "freight",
            "insurance",
            "silver",
            "total",
            "waiting",
        ]
        assert sum(row.amount for row in rows[:-2]) == rows[-2].amount
        assert all(row.amount < 0 for row in rows if row.line not in ("gold", "silver", "total"))

    def test_figures_by_hand(self):
        # 40.93 g x 0.96 / 31.1034768 = 1.263293 ozt; 95 % of it, 1.200128, is less than 1.263293 - 0.01; 1.200 paid.
        rows = lines_of(40.93, Refiner(**CHARGED), Spot(gold=4137.55, silver=48.37), silver_g=6.2, mass_g=412.6)
        by_hand = {
            "gold": "4965.06",  # 1.200 x 4137.55
            "price discount": "-24.83",  # 24.8253, half up
            "refining": "-9.60",
            "treatment": "-6.19",  # 0.4126 kg x 15 = 6.189
            "insurance": "-9.93",  # 9.93012
            "silver": "8.32",  # 6.2 x 0.96 x 0.9 / 31.1034768 = 0.17222; 0.172 x 48.37 = 8.31964
            "total": "4722.83",
            "waiting": "-18.08",  # exp(-0.10 x 14 / 365) - 1 = -0.0038283
        }
        assert {name: rows[name] for name in by_hand} == {name: Decimal(v) for name, v in by_hand.items()}
