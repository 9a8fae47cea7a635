"""Deals that share the doubt, side by side for both parties."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, TAKEN_OUT, changed, good
from valuation import QuoteRequest, quote
from valuation.deals import advance_terms
from valuation.draws import Draws
from valuation.stages import valued

REFINE = {"collector": TAKEN_OUT}


def valuation_of(changes=None, log2_draws=12):
    return valued(QuoteRequest.model_validate(changed(good(), changes or {})), Draws(log2_draws=log2_draws))


def deal(q, name):
    (found,) = [row for row in q.deals if row.deal == name]
    return found


def term(row, name):
    (found,) = [t.amount for t in row.terms if t.term == name]
    return found


def refine_terms():
    """Terms of the house and of a refiner, from generous to hopeless."""
    return st.fixed_dictionaries(
        {
            "buyer.margin_frac": st.floats(0.0, 1.0),
            "buyer.loss_chance_frac": st.floats(0.01, 0.5),
            "buyer.handling_cost": st.floats(0.0, 2000.0),
            "buyer.capital_rate_per_year": st.floats(0.0, 1.0),
            "refiner.settlement_days": st.floats(0.0, 365.0),
            "refiner.lot_fee": st.floats(0.0, 4500.0),
            "spot.gold_volatility_per_year": st.floats(0.0, 0.8),
        }
    )


class TestAdvance:
    @given(refine_terms())
    @settings(STEADY, max_examples=80)
    def test_never_costs_the_buyer_more_than_k_times_the_larger_of_q_and_the_net(self, changes):
        v = valuation_of({**REFINE, **changes}, 10)
        settlement = v.routes.refine.settlement
        rate, days = changes["buyer.capital_rate_per_year"], changes["refiner.settlement_days"]
        terms = advance_terms(settlement.net, math.exp(-rate * days / 365.0), v)
        if terms is None:
            return
        assert 0.0 < terms.share_frac <= 1.0
        positive = np.maximum(0.0, settlement.net)
        paid = terms.today + terms.later(settlement.net)
        assert np.all(paid <= terms.share_frac * np.maximum(terms.threshold, positive) * (1 + 1e-12))
        # The seller never pays back, and the advance is never more than the whole of q.
        assert np.all(terms.later(settlement.net) >= 0.0)
        assert terms.today <= terms.threshold

    @given(refine_terms())
    @settings(STEADY, max_examples=60)
    def test_both_parties_together_have_the_discounted_net_less_handling(self, changes):
        entered = changed(good(), {**REFINE, **changes})
        q = quote(QuoteRequest.model_validate(entered), log2_draws=10)
        row = deal(q, "advance_and_settle")
        if row.offered:
            v = valuation_of({**REFINE, **changes}, 10)
            whole = float(np.mean(v.routes.refine.settlement.present)) - changes["buyer.handling_cost"]
            assert row.buyer.mean + row.seller.mean == pytest.approx(whole, rel=1e-9, abs=1e-6)

    @pytest.mark.parametrize("margin", [0.0, 0.15, 0.6])
    def test_k_leaves_exactly_the_margin_on_the_outlay(self, quoted, margin):
        q = quoted({**REFINE, "buyer.margin_frac": margin})
        row = deal(q, "advance_and_settle")
        assert term(row, "share_frac") < 1.0
        # What the seller receives, discounted, is the buyer's outlay.
        assert row.buyer.mean == pytest.approx(margin * row.seller.mean, rel=1e-9, abs=1e-6)

    def test_k_by_hand(self):
        # Net 1000, 2000, ... 11000, each as likely: q = 2000 at alpha 0.10, E[N'] = 6000, E[max(0, N' - q)] = 45000/11.
        net = np.arange(1000.0, 11_001.0, 1000.0)
        v = valuation_of({**REFINE, "buyer.handling_cost": 100.0, "buyer.margin_frac": 0.25})
        found = advance_terms(net, 0.95, v)
        assert found.threshold == pytest.approx(2000.0)
        expected = (0.95 * 6000.0 - 100.0) / (1.25 * (2000.0 + 0.95 * 45_000.0 / 11.0))
        assert found.share_frac == pytest.approx(expected)
        assert found.today == pytest.approx(expected * 2000.0)
        assert found.later(np.array([-50.0, 1500.0, 5000.0])) == pytest.approx([0.0, 0.0, expected * 3000.0])

    def test_k_is_at_most_the_whole(self):
        v = valuation_of({**REFINE, "buyer.handling_cost": 0.0, "buyer.margin_frac": 0.0})
        assert advance_terms(np.full(8, 1000.0), 1.0, v).share_frac == 1.0

    def test_a_net_that_is_owed_is_the_buyers_to_bear(self):
        # A tenth of the nets is negative; q is the smallest of the others, and the margin falls short by what is owed.
        v = valuation_of(
            {**REFINE, "buyer.handling_cost": 0.0, "buyer.margin_frac": 0.2, "buyer.loss_chance_frac": 0.3}
        )
        net = np.array([-500.0] + [1000.0] * 9)
        found = advance_terms(net, 1.0, v)
        profit = net - found.today - found.later(net)
        assert found.threshold == pytest.approx(1000.0)
        assert profit[0] == pytest.approx(-500.0 - found.today)
        assert np.mean(profit) == pytest.approx(0.2 * (found.today + np.mean(found.later(net))) - 50.0)

    def test_seller_bears_the_doubt_above_the_advance(self, quoted):
        q = quoted({**REFINE, "spot.gold_volatility_per_year": 0.5})
        row, cash = deal(q, "advance_and_settle"), deal(q, "cash")
        assert row.buyer.high - row.buyer.low < 0.5 * (cash.buyer.high - cash.buyer.low)
        assert row.seller.low < row.seller.high
        assert row.buyer.loss_chance < 0.10 + 1e-3
        assert "The seller bears the doubt" in row.reason

    def test_days_and_cash(self, quoted):
        row = deal(quoted({**REFINE, "refiner.settlement_days": 30}), "advance_and_settle")
        assert row.buyer.cash_today == -row.seller.cash_today == -term(row, "advance")
        assert row.buyer.paid_after_days == row.seller.paid_after_days == 30.0
        assert term(row, "advance") == pytest.approx(term(row, "share_frac") * term(row, "threshold"))

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"buyer.routes": ["intact"]}, "Needs a refiner"),
            ({"refiner.minimum_lot_ozt": 5.0}, "Needs a refiner that takes the lot"),
            ({"refiner.lot_fee": 4600.0}, "too small or too doubtful"),
            ({"buyer.handling_cost": 5000.0}, "nothing is left to advance"),
        ],
    )
    def test_is_not_offered_and_why(self, quoted, changes, words):
        row = deal(quoted(changes), "advance_and_settle")
        assert (row.offered, row.terms, row.buyer, row.seller) == (False, (), None, None)
        assert words in row.reason

    def test_is_not_offered_on_gold_that_is_not_seen(self, quoted):
        row = deal(quoted({"weighing.submerged_g": [255.7]}), "advance_and_settle")
        assert not row.offered
        assert "gold that was seen" in row.reason


class TestCash:
    def test_at_the_middle(self, quoted):
        q = quoted({})
        row = deal(q, "cash")
        assert row.offered
        assert term(row, "price") == q.fair.middle
        assert row.buyer.mean == pytest.approx(q.routes[1].mean - 60.0 - q.fair.middle)
        assert row.seller.mean == row.seller.low == row.seller.high == q.fair.middle
        assert (row.seller.loss_chance, row.seller.cash_today, row.seller.paid_after_days) == (0.0, q.fair.middle, 0.0)

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            ({"seller.other_bid": 8000.0}, "does not reach the seller's floor"),
            ({**REFINE, "seller.other_bid": TAKEN_OUT, "buyer.margin_frac": 1.0}, "is not known"),
            ({"weighing.submerged_g": [255.7]}, "Nothing can be priced"),
        ],
    )
    def test_is_not_offered_and_why(self, quoted, changes, words):
        row = deal(quoted(changes), "cash")
        assert not row.offered
        assert words in row.reason

    def test_between_two_coins(self, quoted):
        ceiling = quoted({}).buyer_ceiling
        coin = math.floor(ceiling * 100) / 100
        floor = (coin + ceiling) / 2
        row = deal(quoted({"seller.other_bid": floor}), "cash")
        assert not row.offered
        assert "no whole coin" in row.reason


class TestConsign:
    def test_means_add_up_to_the_price_and_what_comes_back(self):
        v = valuation_of({})
        q = quote(v.request, log2_draws=12)
        row, intact = deal(q, "consign"), v.routes.intact
        kept = np.exp(-0.10 * intact.years)
        sold = float(np.mean(np.where(intact.sold, intact.price * kept, 0.0)))
        back = v.floor.amount * math.exp(-0.10) * float(np.mean(~intact.sold))
        assert row.buyer.mean == pytest.approx((0.25 - 0.12) * sold - 60.0)
        assert row.seller.mean == pytest.approx(0.75 * sold + back)
        # Together: the price less selling cost, the piece that comes back, less handling.
        assert row.buyer.mean + row.seller.mean == pytest.approx(0.88 * sold + back - 60.0)

    def test_no_outlay(self, quoted):
        row = deal(quoted({}), "consign")
        assert (row.buyer.cash_today, row.seller.cash_today) == (0.0, 0.0)
        assert row.buyer.paid_after_days == pytest.approx(4.0 / 12.0 * 365.0)
        assert "keeps title" in row.reason

    def test_is_never_part_of_the_ceiling(self, quoted):
        q, other = (quoted({"collector.consignment_commission_frac": c}) for c in (0.25, 0.9))
        assert q.buyer_ceiling == other.buyer_ceiling
        assert q.fair == other.fair

    def test_a_piece_that_never_sells_costs_the_house_its_handling(self, quoted):
        row = deal(quoted({"collector.sale_chance_frac": 0.9}), "consign")
        assert row.buyer.first_percentile == pytest.approx(-60.0)
        assert row.buyer.loss_chance == pytest.approx(0.10, abs=2e-3)

    def test_the_first_percentile_is_shown_only_if_negative(self, quoted):
        row = deal(quoted({"collector.sale_chance_frac": 1.0}), "consign")
        assert row.buyer.first_percentile is None
        assert row.buyer.loss_chance == 0.0
        for found in quoted({}).deals:
            for party in (found.buyer, found.seller):
                assert party.first_percentile is None or party.first_percentile < 0.0

    @pytest.mark.parametrize(
        ("changes", "words"),
        [
            (REFINE, "Needs a collector's terms"),
            ({"buyer.routes": ["refine"]}, "not among the ways out"),
            ({"weighing.submerged_g": [255.7]}, "needs a price in money"),
            ({"collector.consignment_commission_frac": 0.10}, "does not cover the selling cost of 12%"),
            ({"buyer.handling_cost": 2000.0}, "does not pay the house's handling"),
            ({"collector.sale_chance_frac": 0.0}, "does not pay the house's handling"),
            (
                {
                    "weighing.submerged_g": [255.7],
                    "collector.premium_frac": TAKEN_OUT,
                    "collector.price": 900.0,
                    "seller.other_bid": TAKEN_OUT,
                },
                "floor is not known",
            ),
        ],
    )
    def test_is_not_offered_and_why(self, quoted, changes, words):
        row = deal(quoted(changes), "consign")
        assert (row.offered, row.buyer, row.seller) == (False, None, None)
        assert words in row.reason

    def test_a_negative_floor_share_is_a_loss_to_the_seller(self, quoted):
        # Unsold, the seller has the floor a year late: less than the floor.
        row = deal(quoted({"collector.sale_chance_frac": 0.8}), "consign")
        assert row.seller.loss_chance >= 0.2 - 2e-3


def test_three_deals_in_order_always(quoted):
    for changes in ({}, REFINE, {"seller.other_bid": 8000.0}, {"weighing.submerged_g": [255.7]}):
        assert [row.deal for row in quoted(changes, log2_draws=8).deals] == ["cash", "advance_and_settle", "consign"]
