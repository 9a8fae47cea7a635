"""Several refiners on the same draws, and a price that is fixed at receipt."""

import copy
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, TAKEN_OUT, changed, good, refiners
from valuation import QuoteRequest, quote

REFINE = {"collector": TAKEN_OUT}


def terms(name, **more):
    """The good request's refiner under another name, with other terms."""
    return {**copy.deepcopy(good()["refiner"]), "name": name, **more}


def quote_of(changes, **options):
    return quote(QuoteRequest.model_validate(changed(good(), changes)), **options)


def row(q, name):
    (found,) = [r for r in q.refiners if r.name == name]
    return found


class TestRanking:
    def test_order_of_entry_does_not_matter(self):
        three = [terms("a"), terms("b", payable=0.99), terms("c", assay_fee=900.0)]
        one = quote_of({**REFINE, "refiner": three[0], "other_refiners": three[1:]})
        other = quote_of({**REFINE, "refiner": three[2], "other_refiners": three[:2]})
        assert [r.name for r in one.refiners] == ["b", "a", "c"]
        assert one.refiners == other.refiners
        assert one.routes == other.routes

    def test_the_route_is_the_best_refiners(self):
        one = quote_of({**REFINE, "other_refiners": [terms("better", payable=0.99)]})
        alone = quote_of({**REFINE, "refiner": terms("better", payable=0.99)})
        assert one.routes == alone.routes
        assert one.settlement == alone.settlement
        assert [r.chosen for r in one.refiners] == [True, False]

    def test_another_refiner_never_lowers_the_mean(self):
        alone = quote_of(REFINE)
        more = quote_of({**REFINE, "other_refiners": [terms("dear", lot_fee=800.0), terms("fair", payable=0.96)]})
        assert more.routes[0].mean >= alone.routes[0].mean

    @given(st.lists(refiners(), min_size=1, max_size=4))
    @settings(STEADY, max_examples=60)
    def test_chances_of_being_best_sum_to_one_over_those_that_take_it(self, others):
        q = quote_of({**REFINE, "other_refiners": others}, log2_draws=8)
        taking = [r for r in q.refiners if r.takes_it]
        assert math.fsum(r.chance_best for r in taking) == pytest.approx(1.0)
        assert all(r.chance_best == 0.0 for r in q.refiners if not r.takes_it)
        means = [r.mean for r in taking]
        assert means == sorted(means, reverse=True)
        assert sum(r.chosen for r in q.refiners) == 1

    def test_chance_of_being_best_in_closed_form(self):
        # One pays a share, the other the same less a fee for a lower share: the first is best where the assayed gold
        # passes a crossing, whose chance is the share of a rectangle of exact ends.
        measured = {"weighing": TAKEN_OUT, "rock": TAKEN_OUT, "gold.fineness_frac": 1.0}
        measured["gold.measured"] = {"basis": "fine", "grams": {"low": 31.1034768, "high": 62.2069536}}
        free = {"recovery_frac": 1.0, "price_fixed": "receipt", "settlement_days": 0.0}
        lean = {"name": "share", "payable": 0.90, **free}
        dear = {"name": "fee", "payable": 0.95, "lot_fee": 0.05 * 1.3 * 4100.0, **free}
        q = quote_of({**REFINE, **measured, "refiner": lean, "other_refiners": [dear]})
        # 0.90 S ozt < 0.95 S ozt - fee from 1.3 ozt on; ounces are even between 1 and 2.
        assert row(q, "fee").chance_best == pytest.approx(0.7, abs=1e-3)
        assert row(q, "share").chance_best == pytest.approx(0.3, abs=1e-3)

    def test_the_price_moves_all_alike(self):
        # The same draws: a refiner that pays a hundredth more is best in every draw, however wild the price.
        wild = {**REFINE, "spot.gold_volatility_per_year": 2.0, "refiner": terms("a", assay_fee=0.0, freight=0.0)}
        q = quote_of({**wild, "other_refiners": [terms("b", assay_fee=0.0, freight=0.0, payable=0.98)]})
        assert row(q, "b").chance_best == 1.0

    def test_of_equals_the_first_entered_is_chosen(self):
        q = quote_of({**REFINE, "refiner": terms("a"), "other_refiners": [terms("b")]})
        assert [(r.name, r.chosen, r.chance_best) for r in q.refiners] == [("a", True, 1.0), ("b", False, 0.0)]


class TestMinimumLot:
    def test_one_that_refuses_is_last_and_never_chosen(self):
        q = quote_of({**REFINE, "other_refiners": [terms("large", payable=1.0, minimum_lot_ozt=2.0)]})
        assert [(r.name, r.takes_it) for r in q.refiners] == [("Demo refiner", True), ("large", False)]
        assert row(q, "large").mean > row(q, "Demo refiner").mean
        assert q.routes == quote_of(REFINE).routes

    @pytest.mark.parametrize(("ozt", "takes"), [(1.25, True), (1.27, False)])
    def test_is_in_likely_assayed_gold(self, ozt, takes):
        # 40.84 g x 0.96 = 1.2606 ozt.
        q = quote_of({**REFINE, "refiner.minimum_lot_ozt": ozt})
        assert row(q, "Demo refiner").takes_it is takes

    def test_none_takes_it(self):
        q = quote_of({**REFINE, "refiner.minimum_lot_ozt": 5.0})
        assert q.routes[0].mean == q.buyer_ceiling == 0.0
        assert "lot_too_small" in {c.code for c in q.cautions}
        assert q.settlement == ()
        assert sum(r.chance_best for r in q.refiners) == 0.0

    def test_an_unsold_piece_then_brings_nothing(self):
        q = quote_of({"refiner.minimum_lot_ozt": 5.0, "collector.sale_chance_frac": 0.5})
        assert "unsold_brings_nothing" in {c.code for c in q.cautions}
        assert q.routes[1].low == 0.0


class TestSilver:
    def test_credit_by_hand(self):
        exact = {**REFINE, "weighing": TAKEN_OUT, "rock": TAKEN_OUT, "gold.fineness_frac": 0.80}
        exact |= {"gold.copper_share_frac": 0.25, "gold.measured": {"basis": "native", "grams": 50.0, "mass_g": 300.0}}
        exact |= {"refiner.recovery_frac": 0.96, "refiner.price_fixed": "receipt", "refiner.settlement_days": 0.0}
        plain = quote_of(exact)
        paid = quote_of({**exact, "refiner.silver_payable_frac": 0.9})
        # Silver is what is neither gold nor copper: 50 x 0.20 x 0.75 = 7.5 g.
        assert paid.fine_silver_g.median == pytest.approx(7.5)
        assert paid.routes[0].mean - plain.routes[0].mean == pytest.approx(7.5 * 0.96 * 0.9 / 31.1034768 * 48.0)
        other = quote_of({**exact, "refiner.silver_payable_frac": 0.9, "refiner.silver_recovery_frac": 0.5})
        assert other.routes[0].mean - plain.routes[0].mean == pytest.approx(7.5 * 0.5 * 0.9 / 31.1034768 * 48.0)

    def test_needs_a_price_of_silver(self, problems):
        found = problems({"spot.silver": TAKEN_OUT, "other_refiners": [terms("b", silver_payable_frac=0.5)]})
        assert found["spot.silver"].message == "a refiner pays for silver: enter the silver price"


class TestReceipt:
    VOLATILITIES = (0.0, 0.18, 3.0)

    @pytest.mark.parametrize("silver", [0.0, 0.9])
    def test_volatility_has_no_effect_on_any_figure_of_refining(self, silver):
        fixed = {**REFINE, "refiner.price_fixed": "receipt", "refiner.settlement_days": 90}
        fixed |= {"refiner.silver_payable_frac": silver, "seller.asks": {"price": 4100.0}}
        fixed |= {"other_refiners": [terms("b", price_fixed="receipt")]}
        fixed |= {"seller.refiner": terms("own", price_fixed="receipt"), "seller.other_bid": TAKEN_OUT}
        told = []
        for volatility in self.VOLATILITIES:
            spot = {"spot.gold_volatility_per_year": volatility, "spot.silver_volatility_per_year": volatility}
            told.append(quote_of({**fixed, **spot}, with_price_risk=True).model_dump())
        assert told[0]["floor_basis"] == "own_refining"
        assert told[0]["price_risk"] is not None
        assert told[0] == told[1] == told[2]

    def test_the_same_price_fixed_at_settlement_feels_it(self):
        q, wild = (quote_of({**REFINE, "spot.gold_volatility_per_year": v}) for v in (0.0, 0.5))
        assert wild.routes[0].sd > 1.5 * q.routes[0].sd

    def test_the_wait_is_still_paid_for(self):
        fixed = {**REFINE, "refiner.price_fixed": "receipt"}
        now, later = (quote_of({**fixed, "refiner.settlement_days": days}).routes[0] for days in (0.0, 365.0))
        assert later.mean == pytest.approx(now.mean * math.exp(-0.10), rel=1e-12)
        assert later.sd == pytest.approx(now.sd * math.exp(-0.10), rel=1e-12)

    def test_an_unsold_piece_is_priced_when_it_is_received(self):
        # Fixed at receipt is fixed on the day that refining starts, at the end of the longest wait, not today.
        terms_ = {"refiner.price_fixed": "receipt", "collector.sale_chance_frac": 0.0, "buyer.routes": ["intact"]}
        calm, wild = (quote_of({**terms_, "spot.gold_volatility_per_year": v}).routes[0] for v in (0.0, 0.3))
        assert wild.sd > 3 * calm.sd


class TestSellersOwn:
    def own(self, **more):
        return {**REFINE, "seller": {"refiner": terms("own", **more), "effort_cost": 100.0}}

    def test_is_the_floor_less_effort(self):
        q = quote_of(self.own())
        assert q.floor_basis == "own_refining"
        # The same terms as the house's: the mean of the house's own route, but for the seller's own recovery column.
        assert q.seller_floor == pytest.approx(q.routes[0].mean - 100.0, rel=1e-4)

    def test_a_lot_that_it_does_not_take_is_no_alternative(self):
        q = quote_of(self.own(minimum_lot_ozt=5.0))
        assert q.floor_basis == "assumed"

    def test_a_better_alternative_comes_first(self):
        assert quote_of({**self.own(), "seller.other_bid": 5000.0}).floor_basis == "other_bid"
        assert quote_of({**self.own(), "seller.other_bid": 100.0}).floor_basis == "own_refining"

    def test_not_worth_sending_is_no_alternative(self):
        assert quote_of(self.own(lot_fee=9000.0)).floor_basis == "assumed"


def test_without_charges_means_without_those_of_any_refiner():
    changes = {**REFINE, "refiner": terms("a", lot_fee=9000.0), "other_refiners": [terms("b", lot_fee=800.0)]}
    q = quote_of({**changes, "seller.other_bid": 5100.0})
    (charges,) = [cause for cause in q.gap_causes if cause.cause == "charges"]
    free = dict.fromkeys(("minimum_deduction_ozt", "refining_per_ozt", "treatment_per_kg", "assay_fee"), 0.0)
    free |= {"freight": 0.0, "insurance_frac": 0.0}
    bare = quote_of({**REFINE, "refiner": terms("b", **free), "seller.other_bid": 5100.0})
    assert charges.ceiling_without == pytest.approx(bare.buyer_ceiling)


def test_ten_more_refiners_are_taken_and_eleven_are_not(problems):
    q = quote_of({**REFINE, "other_refiners": [terms(f"r{i}", assay_fee=float(i)) for i in range(10)]}, log2_draws=8)
    assert len(q.refiners) == 11
    assert np.all(np.diff([r.mean for r in q.refiners]) <= 0)
    assert "other_refiners" in problems({"other_refiners": [terms(f"r{i}") for i in range(11)]})
