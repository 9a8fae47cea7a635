"""An asking price held against what the house can do with the piece."""

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, TAKEN_OUT, changed, good
from valuation import QuoteRequest, quote
from valuation.asks import all_in, likely_net
from valuation.extras import Extras
from valuation.terms import Ask

REFINE = {"collector": TAKEN_OUT}
SURE_SALE = {"collector.sale_chance_frac": 1.0, "buyer.routes": ["intact"]}


def asking(price, **changes):
    return {"seller.asks": {"price": price}, **changes}


class TestAllIn:
    def test_fee_on_the_price_tax_on_all_exchange_last(self):
        ask = Ask(price=1000.0, fee_frac=0.20, shipping=50.0, tax_frac=0.10, currency="EUR", exchange_rate=1.25)
        # ((1000 x 1.2) + 50) x 1.1 = 1375 EUR; x 1.25 = 1718.75.
        assert all_in(ask, "USD") == pytest.approx(1718.75)

    def test_a_bare_price_is_itself(self):
        assert all_in(Ask(price=5200.0), "USD") == 5200.0

    @given(st.floats(1.0, 1e6), st.floats(0.0, 1.0), st.floats(0.0, 100.0), st.floats(0.0, 0.5), st.floats(0.01, 100.0))
    @settings(STEADY, max_examples=100)
    def test_before_extras_is_the_inverse_rounded_down(self, price, fee, shipping, tax, rate):
        price = round(price, 2)
        ask = Ask(price=price, fee_frac=fee, shipping=shipping, tax_frac=tax, currency="EUR", exchange_rate=rate)
        named = Extras.of(ask, "USD").before(all_in(ask, "USD"))
        assert named == pytest.approx(price, abs=0.0101)
        again = ask.model_copy(update={"price": named})
        assert all_in(again, "USD") <= all_in(ask, "USD") * (1 + 1e-9)

    def test_shipping_alone_may_be_too_much(self):
        assert Extras.of(Ask(price=100.0, shipping=50.0), "USD").before(40.0) is None

    @given(st.floats(1.0, 1e6), st.floats(0.0, 1.0), st.floats(0.0, 100.0), st.floats(0.0, 0.5), st.floats(0.01, 100.0))
    @settings(STEADY, max_examples=60)
    def test_what_is_paid_in_the_quotes_currency_is_turned_both_ways(self, paid, fee, shipping, tax, rate):
        ask = Ask(price=1.0, fee_frac=fee, shipping=shipping, tax_frac=tax, currency="EUR", exchange_rate=rate)
        extras = Extras.of(ask, "USD")
        assert extras.paid_before(extras.paid_all_in(paid)) == pytest.approx(paid, rel=1e-9)
        assert extras.paid_all_in(paid) == pytest.approx((paid * (1 + fee) + shipping * rate) * (1 + tax), rel=1e-9)

    def test_the_verdict_is_on_the_all_in_cost(self, quoted):
        extras = {"price": 4000.0, "shipping": 40.0, "fee_frac": 0.05, "tax_frac": 0.08}
        dear = quoted({"seller.asks": extras}).ask
        assert dear.all_in == round((4000.0 * 1.05 + 40.0) * 1.08, 2)
        plain = quoted(asking(dear.all_in)).ask
        told = {"price", "first_asked", "extras", "reason", "counter_before_extras", "worth_paying_before_extras"}
        as_named = {"counter": {"named"}}
        same = dict.fromkeys(told, True) | as_named
        assert plain.model_dump(exclude=same) == dear.model_dump(exclude=same)
        assert dear.reason.startswith(f"4,000.00 USD ({dear.all_in:,.2f} USD all in) ")
        assert plain.reason.startswith(f"{dear.all_in:,.2f} USD ")

    def test_the_counter_is_told_as_the_seller_hears_it(self, quoted):
        extras = {"price": 4300.0, "shipping": 40.0, "fee_frac": 0.05, "currency": "EUR", "exchange_rate": 1.1}
        found = quoted({"seller.asks": extras}).ask
        assert found.counter.action == "counter"
        named = found.counter_before_extras
        assert named < found.counter.figure
        assert (named * 1.05 + 40.0) * 1.1 == pytest.approx(found.counter.figure, abs=0.02)
        assert (named * 1.05 + 40.0) * 1.1 <= found.counter.figure

    def test_an_accepted_price_is_the_one_that_they_named(self, quoted):
        """Trial: 6,500 asked and 40 of shipping; the answer was told as 6,540."""
        ask = quoted({"seller.asks": {"price": 3500.0, "shipping": 40.0}}).ask
        assert (ask.counter.action, ask.counter.figure, ask.counter.named) == ("accept", 3540.0, 3500.0)
        assert (ask.price, ask.all_in) == (3500.0, 3540.0)

    def test_the_walk_away_price_is_the_ceiling_before_extras(self, quoted):
        ask = quoted({"seller.asks": {"price": 4300.0, "shipping": 40.0, "fee_frac": 0.05}}).ask
        named = ask.worth_paying_before_extras
        assert ask.worth_paying - 0.02 <= named * 1.05 + 40.0 <= ask.worth_paying
        assert quoted({"seller.asks": {"price": 10.0, "shipping": 1e6}}).ask.worth_paying_before_extras is None

    def test_nothing_to_tell_where_it_is_accepted(self, quoted):
        assert quoted(asking(3500.0)).ask.counter_before_extras is None

    def test_another_currency_without_a_rate_is_refused(self, problems):
        found = problems({"seller.asks": {"price": 5000.0, "currency": "EUR"}})
        assert "USD" in found["seller.asks.exchange_rate"].message

    @pytest.mark.parametrize("currency", [{}, {"currency": "USD"}])
    def test_a_rate_for_the_quotes_own_currency_is_refused(self, problems, currency):
        found = problems({"seller.asks": {"price": 5000.0, "exchange_rate": 1.1, **currency}})
        assert found["seller.asks.exchange_rate"].code == "own_currency"

    def test_the_own_currency_may_be_said(self, quoted):
        ask = {"price": 5000.0, "currency": "USD", "exchange_rate": 1.0}
        assert quoted({"seller.asks": ask}, log2_draws=8).ask.all_in == 5000.0

    def test_less_than_a_coin_is_refused(self, problems):
        ask = {"price": 0.4, "currency": "JPY", "exchange_rate": 0.007}
        assert problems({"seller.asks": ask})["seller.asks.price"].code == "tiny_ask"


def spoken(by, figure):
    return {"by": by, "figure": figure}


class TestNewestFigure:
    """What the seller asks now is the newest figure said, with the extras of the ask."""

    def test_a_figure_said_is_judged_with_the_extras_of_the_ask(self, quoted):
        # Trial: 7,190 said with 400 of shipping costs 7,590.
        q = quoted({"seller.asks": {"price": 8000.0, "shipping": 400.0}, "said": [spoken("seller", 7190.0)]})
        assert (q.ask.price, q.ask.all_in, q.ask.first_asked) == (7190.0, 7590.0, 8000.0)
        assert q.counters.said[0].figure == 7190.0 and q.counters.said[0].all_in == 7590.0
        alone = quoted(asking(7590.0)).ask
        for name in ("verdict", "expected_profit", "margin_frac", "chance_of_loss", "chance_of_break_even"):
            assert getattr(q.ask, name) == getattr(alone, name), name

    def test_every_round_of_answers_is_named_before_extras(self, quoted):
        said, last = [], 0.0
        for figure in (6000.0, 5500.0, 5200.0):
            said.append(spoken("seller", figure))
            q = quoted({"seller.asks": {"price": 6500.0, "shipping": 40.0, "fee_frac": 0.03}, "said": said})
            answer = q.counters.next
            assert answer == q.ask.counter and answer.action == "counter"
            assert answer.named * 1.03 + 40.0 == pytest.approx(answer.figure, abs=0.02)
            assert answer.named >= last
            last = answer.named
            said.append(spoken("buyer", last))

    def test_our_own_figure_that_stands_is_named_as_it_was_said(self, quoted):
        terms = {"seller.asks": {"price": 6500.0, "shipping": 40.0, "fee_frac": 0.03}}
        middle = quoted(terms).fair.middle
        ours = round((middle - 40.0) / 1.03 + 20.0, 2)
        found = quoted({**terms, "said": [spoken("buyer", ours), spoken("seller", 6000.0)]}).ask.counter
        assert "stands" in found.reason and found.named == ours

    def test_a_figure_said_without_an_asking_price_is_judged_too(self, quoted):
        q = quoted({"said": [spoken("seller", 9000.0), spoken("buyer", 4000.0), spoken("seller", 8000.0)]})
        assert (q.ask.price, q.ask.first_asked, q.ask.verdict) == (8000.0, 9000.0, "above_ceiling")
        assert quoted({"said": [spoken("buyer", 4000.0)]}).ask is None

    def test_the_offer_costs_the_house_its_extras(self, quoted):
        terms = {"seller.asks": {"price": 4300.0, "shipping": 40.0, "currency": "EUR", "exchange_rate": 1.1}}
        risk = quoted({**terms, "buyer.offer": 4100.0}, with_price_risk=True).price_risk
        assert (risk.price, risk.price_basis) == (pytest.approx(4144.0), "offer")


class TestVerdict:
    @pytest.mark.parametrize(
        ("place", "cents", "verdict"),
        [
            ("floor", -1, "below_floor"),
            ("floor", 0, "under"),
            ("low", -1, "under"),
            ("low", 0, "inside"),
            ("middle", 0, "inside"),
            ("high", 0, "inside"),
            ("high", 1, "above_fair"),
            ("ceiling", 0, "above_fair"),
            ("ceiling", 1, "above_ceiling"),
            ("ceiling", 1_000_000, "above_ceiling"),
        ],
    )
    def test_with_a_fair_range(self, quoted, place, cents, verdict):
        q = quoted({})
        worth_paying = math.floor(q.buyer_ceiling * 100) / 100
        places = {**q.fair.model_dump(), "floor": q.seller_floor, "ceiling": worth_paying}
        found = quoted(asking(round(places[place] + cents / 100, 2))).ask
        assert found.verdict == verdict
        assert found.worth_paying == worth_paying

    @pytest.mark.parametrize(
        ("price", "verdict"),
        [(5000.0, "below_known_alternative"), (5500.0, "no_deal_low"), (6000.0, "no_deal"), (7000.0, "no_deal")],
    )
    @pytest.mark.parametrize("basis", ["other_bid", "minimum", "keep_value"])
    def test_with_a_floor_above_the_ceiling(self, quoted, price, verdict, basis):
        q = quoted({**asking(price), "seller.other_bid": TAKEN_OUT, f"seller.{basis}": 6000.0})
        assert q.fair is None
        assert q.ask.verdict == verdict
        assert q.ask.counter.action == "none"
        assert (q.ask.worth_paying is not None) and "6,000.00 USD" in q.ask.reason
        elsewhere = {
            "other_bid": "another bid that the seller has",
            "minimum": "the least that the seller says to accept",
            "keep_value": "what keeping it is worth to the seller",
        }
        assert elsewhere[basis] in q.ask.reason

    @pytest.mark.parametrize(("price", "word"), [(1500.0, "within"), (3000.0, "above")])
    def test_with_an_assumed_floor_above_the_ceiling(self, quoted, price, word):
        q = quoted({**asking(price), **REFINE, "seller.other_bid": TAKEN_OUT, "buyer.margin_frac": 1.0})
        assert q.ask.verdict == "floor_unknown"
        assert f"is {word} that" in q.ask.reason
        assert "is not known" in q.ask.counter.reason
        assert "fair to both" not in q.ask.counter.reason

    def test_with_an_assumed_floor_below_the_ceiling(self, quoted):
        q = quoted({**asking(3000.0), "seller.other_bid": TAKEN_OUT})
        assert q.floor_basis == "assumed"
        assert q.ask.verdict == "below_floor"
        assert f"the assumed floor, {math.ceil(q.seller_floor * 100) / 100:,.2f} USD" in q.ask.reason
        assert q.ask.first == "Ask what the seller could get elsewhere: another bid, or the terms of a refiner."

    def test_gold_that_is_not_seen(self, quoted):
        q = quoted({**asking(3000.0), "weighing.submerged_g": [255.7], "seller.other_bid": TAKEN_OUT})
        assert q.ask.verdict == "not_by_weight"
        assert (q.ask.worth_paying, q.ask.expected_profit, q.ask.per_gram_fine) == (None, None, None)
        assert "no collector's price is known" in q.ask.reason
        assert q.ask.first.startswith("The weighing does not see gold")

    @pytest.mark.parametrize(("price", "words"), [(300.0, "300.00 USD is within that"), (5000.0, "is above that")])
    def test_a_collectors_price_without_gold_seen(self, quoted, price, words):
        changes = {"collector.premium_frac": TAKEN_OUT, "collector.price": 900.0, "collector.sale_chance_frac": 1.0}
        changes |= {"weighing.submerged_g": [255.7], "seller.other_bid": TAKEN_OUT}
        ask = quoted({**asking(price), **changes}).ask
        assert ask.verdict == "not_by_weight"
        assert words in ask.reason

    @given(st.floats(0.02, 20_000.0), st.floats(100.0, 8000.0), st.sampled_from(("other_bid", "keep_value", None)))
    @settings(STEADY, max_examples=60)
    def test_neither_the_fair_range_nor_the_ceiling_moves_with_the_ask(self, price, floor, basis):
        terms = {"seller": {basis: floor} if basis else {}}
        q, other = (quote_of({**terms, **asking}) for asking in ({}, {"seller.asks": {"price": price}}))
        parts = {"ask", "quoted_at"}
        assert q.model_dump(exclude=parts) == other.model_dump(exclude=parts)

    @given(st.floats(0.02, 20_000.0), st.floats(100.0, 8000.0))
    @settings(STEADY, max_examples=100)
    def test_sentence_says_what_the_figures_say(self, price, floor):
        q = quote_of({"seller.other_bid": floor, **asking(price)})
        asked, *figures = [float(m.replace(",", "")) for m in re.findall(r"[\d,]+\.\d\d", q.ask.reason)]
        assert asked == q.ask.all_in
        if "is less than" in q.ask.reason and q.ask.verdict == "below_floor":
            assert asked < figures[0]
        if q.ask.verdict in ("above_ceiling", "no_deal_low"):
            assert asked > figures[0] == q.ask.worth_paying
        if q.ask.verdict == "above_fair":
            assert figures[1] < asked <= figures[2]
        if q.ask.verdict == "below_known_alternative":
            assert asked <= figures[0] and asked < figures[1]
        if q.ask.verdict == "no_deal":
            # What the seller has is told rounded up, what the house can pay rounded down.
            assert asked > figures[0] - 0.01 and asked > figures[1]


def quote_of(changes, log2_draws=9):
    return quote(QuoteRequest.model_validate(changed(good(), changes)), log2_draws=log2_draws)


class TestFigures:
    def test_profit_margin_and_chance_of_loss_by_hand(self, quoted):
        # Exact gold, exact recovery, price fixed at receipt, so the net is one number.
        exact = {**REFINE, "refiner.recovery_frac": 0.96, "refiner.price_fixed": "receipt", **asking(4000.0)}
        exact |= {"weighing": TAKEN_OUT, "rock": TAKEN_OUT, "gold.fineness_frac": 0.85}
        exact["gold.measured"] = {"basis": "native", "grams": 48.0, "mass_g": 412.6}
        q = quoted(exact)
        fine_ozt = 48.0 * 0.85 / 31.1034768
        value = fine_ozt * 0.96 * 0.95
        net = (value * (4100.0 * (1 - 0.002) - 8.0) - 0.4126 * 15.0 - 120.0 - 45.0) * math.exp(-0.10 * 14 / 365)
        assert q.ask.expected_profit == pytest.approx(net - 60.0 - 4000.0, rel=1e-9)
        assert q.ask.margin_frac == pytest.approx(q.ask.expected_profit / 4000.0)
        assert q.ask.chance_of_loss == 0.0
        assert q.ask.of_median_melt_frac == pytest.approx(4000.0 / (fine_ozt * 4100.0))
        assert q.ask.per_gram_fine == pytest.approx(4000.0 / (48.0 * 0.85))
        assert q.ask.per_gram_native == pytest.approx(4000.0 / 48.0)

    def test_at_the_ceiling_by_risk_the_chance_of_loss_is_what_was_accepted(self, quoted):
        q = quoted({})
        assert q.routes[1].binds == "risk"
        assert quoted(asking(q.buyer_ceiling)).ask.chance_of_loss == pytest.approx(0.10, abs=1e-3)

    def test_at_the_ceiling_by_margin_the_margin_is_the_houses(self, quoted):
        q = quoted(REFINE)
        assert q.routes[0].binds == "margin"
        assert quoted({**REFINE, **asking(q.buyer_ceiling)}).ask.margin_frac == pytest.approx(0.15, abs=1e-5)


class TestBreakEven:
    @given(st.floats(200.0, 12_000.0))
    @settings(STEADY, max_examples=60)
    def test_gold_inverts_the_likely_net(self, price):
        request = QuoteRequest.model_validate(changed(good(), {**REFINE, **asking(price)}))
        q = quote(request, log2_draws=8)
        mass, outlay = q.mass_g.median, q.ask.all_in + 60.0
        found = q.ask.break_even_fine_g
        at, before = (likely_net(g, 0.0, mass, request.refiner, request) for g in (found, found * (1 - 1e-6)))
        assert at >= outlay - 1e-6
        assert before < outlay

    def test_in_a_jump_between_tiers_it_is_the_tier_itself(self, quoted):
        tiers = [{"from_ozt": 0.0, "frac": 0.80}, {"from_ozt": 1.5, "frac": 0.99}]
        changes = {**REFINE, "refiner.payable": tiers, "refiner.minimum_deduction_ozt": 0.0}
        request = QuoteRequest.model_validate(changed(good(), changes))
        tier_g = 1.5 * 31.1034768 / 0.96
        below, above = (likely_net(tier_g * f, 0.0, 412.6, request.refiner, request) for f in (1 - 1e-9, 1 + 1e-9))
        assert above - below > 900.0
        q = quoted({**changes, **asking((below + above) / 2 - 60.0)})
        assert q.ask.break_even_fine_g == pytest.approx(tier_g, rel=1e-9)

    def test_silver_counts_in_the_alloys_own_share(self, quoted):
        pays = {**REFINE, **asking(4500.0), "refiner.silver_payable_frac": 0.9}
        q = quoted(pays)
        request = QuoteRequest.model_validate(changed(good(), pays))
        g = q.ask.break_even_fine_g
        silver = g * q.fine_silver_g.median / q.fine_gold_g.median
        assert likely_net(g, silver, q.mass_g.median, request.refiner, request) == pytest.approx(4560.0, abs=1e-3)
        assert g < quoted({**REFINE, **asking(4500.0)}).ask.break_even_fine_g

    def test_charges_that_outgrow_the_gold_never_break_even(self, quoted):
        q = quoted({**asking(500.0), **REFINE, "refiner.refining_per_ozt": 5000.0}, log2_draws=9)
        assert q.ask.break_even_fine_g is None
        assert q.ask.chance_of_break_even == 0.0

    def test_chance_is_the_refine_routes(self, quoted):
        q = quoted({})
        at = quoted(asking(q.routes[0].median - 60.0)).ask
        assert at.chance_of_break_even == pytest.approx(0.5, abs=1e-3)
        assert quoted(asking(q.routes[0].low - 60.0)).ask.chance_of_break_even == pytest.approx(0.975, abs=1e-3)

    @pytest.mark.parametrize("chance", [1.0, 0.7])
    @pytest.mark.parametrize("price", [3000.0, 5200.0, 9000.0])
    def test_premium_makes_the_mean_of_the_intact_route_the_outlay(self, quoted, price, chance):
        terms = {"buyer.routes": ["intact"], "collector.sale_chance_frac": chance}
        premium = quoted({**terms, **asking(price)}).ask.break_even_premium_frac
        assert premium > -1.0
        again = quoted({**terms, "collector.premium_frac": premium})
        assert again.routes[0].mean == pytest.approx(price + 60.0, rel=1e-9)

    def test_no_premium_without_a_collector(self, quoted):
        assert quoted({**REFINE, **asking(3000.0)}, log2_draws=8).ask.break_even_premium_frac is None

    def test_no_gold_to_break_even_without_a_refiner(self, quoted):
        q = quoted({**SURE_SALE, **asking(3000.0)}, log2_draws=8)
        assert (q.ask.break_even_fine_g, q.ask.chance_of_break_even) == (None, None)


class TestClaimAndAskAlone:
    """As little as a claimed weight of gold and an ask."""

    @pytest.mark.parametrize("basis", ["native", "fine", "unknown"])
    def test_is_answered_and_says_what_to_weigh_first(self, basis):
        entered = {
            "quoted_at": "2026-03-14T10:24:00-07:00",
            "spot": {"gold": 4100.0},
            "seller": {"claim": {"mass": 1.0, "basis": basis}, "asks": {"price": 3500.0}},
        }
        q = quote(QuoteRequest.model_validate(entered))
        assert q.ask.first.startswith("Nothing was weighed: first weigh the piece")
        assert q.ask.verdict in ("above_ceiling", "floor_unknown", "above_fair")
        assert 0.0 < q.ask.worth_paying < 4100.0
        assert q.ask.of_median_melt_frac > 1.0
        assert q.detection is None

    def test_native_is_worth_less_than_fine(self):
        worth = {}
        for basis in ("native", "unknown", "fine"):
            entered = {
                "quoted_at": "2026-03-14T10:24:00-07:00",
                "spot": {"gold": 4100.0},
                "seller": {"claim": {"mass": 1.0, "basis": basis}, "asks": {"price": 3500.0}},
            }
            worth[basis] = quote(QuoteRequest.model_validate(entered)).ask.worth_paying
        assert worth["native"] < worth["unknown"] < worth["fine"]

    def test_melt_value_by_hand(self):
        # A claim believed whole: one troy ounce fine at 4100, so the median melt value is 4100.
        entered = {
            "quoted_at": "2026-03-14T10:24:00-07:00",
            "spot": {"gold": 4100.0},
            "seller": {"claim": {"mass": 1.0, "basis": "fine", "right_frac": 1.0}, "asks": {"price": 2050.0}},
        }
        found = quote(QuoteRequest.model_validate(entered)).ask
        assert found.of_median_melt_frac == pytest.approx(0.5)
        assert found.per_gram_fine == pytest.approx(2050.0 / 31.1034768)


@pytest.mark.parametrize("currency", ["JPY", "KWD"])
def test_sentences_bear_the_currencys_own_digits(quoted, currency):
    q = quoted({**asking(5000.0), "spot.currency": currency, "said": [{"by": "seller", "figure": 5000.0}]})
    digits = {"JPY": 0, "KWD": 3}[currency]
    told = [q.ask.reason, q.ask.counter.reason, q.counters.next.reason, *(deal.reason for deal in q.deals)]
    amounts = [m for words in told for m in re.findall(rf"[\d,]+(?:\.\d+)? {currency}", words)]
    assert amounts
    for amount in amounts:
        assert len(amount.split()[0].partition(".")[2]) == digits, amount
    assert q.ask.worth_paying == pytest.approx(np.floor(q.buyer_ceiling * 10**digits) / 10**digits)
