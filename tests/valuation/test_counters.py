"""What one side answers to the other's figure, and where two sides end that both follow it."""

import math
from decimal import Decimal
from itertools import pairwise

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from tests.valuation.strategies import STEADY, TAKEN_OUT
from valuation.counters import next_counter
from valuation.negotiation import fair_split
from valuation.terms import Buyer

MOST_ROUNDS = 80


def split(floor=2000.0, ceiling=3000.0, step=10.0, currency="USD"):
    return fair_split(ceiling, floor, Buyer(cash_increment=step), currency)


def buyer(figure, last=None, at=None, currency="USD"):
    return next_counter("buyer", figure, last, at or split(), currency)


def seller(figure, last=None, at=None, currency="USD"):
    return next_counter("seller", figure, last, at or split(), currency)


class TestFormula:
    """Fair range 2250 to 2750, middle 2500 (model, stage 6)."""

    @pytest.mark.parametrize(
        ("figure", "last", "action", "named"),
        [
            (2500.0, None, "accept", 2500.0),
            (2400.0, None, "accept", 2400.0),
            (2100.0, None, "accept", 2100.0),
            (2600.0, None, "counter", 2400.0),
            (2750.0, None, "counter", 2250.0),
            (2900.0, None, "counter", 2250.0),
            (9000.0, None, "counter", 2250.0),
            (2600.0, 2300.0, "counter", 2400.0),
            (2600.0, 2100.0, "counter", 2400.0),
            (2700.0, 2300.0, "counter", 2400.0),  # the mirror image, 2300, would be no move
            (2900.0, 2250.0, "counter", 2380.0),
            (2600.0, 2500.0, "counter", 2500.0),
            (2600.0, 2550.0, "counter", 2550.0),
            (2550.0, 2560.0, "accept", 2550.0),
        ],
    )
    def test_buyer(self, figure, last, action, named):
        found = buyer(figure, last)
        assert (found.action, found.figure) == (action, named)

    @given(st.floats(1000.0, 4000.0), st.none() | st.floats(1000.0, 4000.0))
    @settings(STEADY, max_examples=300)
    def test_seller_is_the_mirror_image(self, figure, last):
        # Coins, so that mirroring is exact; 5000 = floor + ceiling.
        figure, last = round(figure, 2), None if last is None else round(last, 2)
        one = buyer(figure, last)
        other = seller(round(5000.0 - figure, 2), None if last is None else round(5000.0 - last, 2))
        assert other.action == one.action
        assert other.figure == pytest.approx(5000.0 - one.figure, abs=1e-9)
        assert (other.caution is None) == (one.caution is None)

    def test_a_low_ask_is_accepted_with_a_caution_that_names_the_low_end(self):
        found = buyer(2100.0)
        assert found.caution == "low_ask"
        assert "2,250.00 USD" in found.reason
        assert buyer(2250.0).caution is None

    def test_a_high_bid_is_accepted_with_a_caution_that_names_the_high_end(self):
        found = seller(2900.0)
        assert (found.action, found.caution) == ("accept", "high_bid")
        assert "2,750.00 USD" in found.reason

    def test_coins_of_the_currency(self):
        # 2 x 2500 - 2600.333 = 2399.667: under, not over, what the mirror image allows.
        assert buyer(2600.333).figure == 2399.66
        assert seller(2399.667).figure == 2600.34
        yen = split(200_000.0, 300_000.0, 1000.0, "JPY")
        assert buyer(260_000.4, at=yen, currency="JPY").figure == 239_999.0
        assert "250,000 JPY" in buyer(260_000.4, at=yen, currency="JPY").reason


class TestReasons:
    @pytest.mark.parametrize(
        ("found", "words"),
        [
            (buyer(2600.0), "As far under the middle of 2,500.00 USD as their figure is over it"),
            (seller(2400.0), "As far over the middle of 2,500.00 USD as their figure is under it"),
            (buyer(2900.0), "The low end of the fair range: their figure is too far over the middle"),
            (seller(2100.0), "The high end of the fair range: their figure is too far under the middle"),
            (buyer(2700.0, 2300.0), "Half the way from your own last figure"),
            (buyer(2600.0, 2550.0), "Your own last figure stands: it is not under the middle"),
            (buyer(2600.0, 2495.0), "The middle, where both gain alike."),
            (buyer(2550.0, 2560.0), "Not above your own last figure: accept."),
            (seller(2450.0, 2440.0), "Not under your own last figure: accept."),
            (buyer(2500.0), "At or under the middle: accept."),
        ],
    )
    def test_say_what_was_done(self, found, words):
        assert words in found.reason


def prices():
    return st.floats(0.01, 1e6).map(lambda x: round(x, 2))


@st.composite
def splits(draw):
    floor, surplus = draw(prices()), draw(prices())
    found = split(floor, round(floor + surplus, 2), draw(st.sampled_from((0.01, 0.05, 1.0, 10.0, 250.0))))
    assume(found is not None)
    return found


@given(splits(), st.sampled_from((buyer, seller)), prices(), st.none() | prices())
@settings(STEADY, max_examples=500)
def test_an_answer_is_never_past_their_figure_nor_worse_than_ones_own_last(at, side, figure, last):
    found = side(figure, last, at)
    sign = 1 if side is buyer else -1
    if last is not None:
        assume(sign * last <= sign * figure)  # figures that have crossed are a deal already
    assert sign * found.figure <= sign * figure
    if found.action == "accept":
        assert found.figure == figure
        return
    if last is not None:
        assert sign * found.figure >= sign * last
    # Never past the middle, unless one was there already.
    assert sign * found.figure <= max(sign * at.fair.middle, sign * last if last is not None else -math.inf)
    assert Decimal(str(found.figure)) % Decimal("0.01") == 0


def follow(at, first, opening, lasts):
    """Figures named in turn, opened by `first`, until one side accepts; fails if they do not end."""
    turns = (("buyer", buyer), ("seller", seller)) if first == "seller" else (("seller", seller), ("buyer", buyer))
    lasts = {**lasts, first: opening}
    figure, gaps = opening, []
    for i in range(MOST_ROUNDS):
        name, side = turns[i % 2]
        found = side(figure, lasts[name], at)
        if found.action == "accept":
            return found.figure, i + 1, gaps
        lasts[name] = figure = found.figure
        if None not in lasts.values():
            gaps.append(lasts["seller"] - lasts["buyer"])
    return pytest.fail(f"no end after {MOST_ROUNDS} answers: {lasts}")


@given(splits(), st.sampled_from(("buyer", "seller")), prices(), st.none() | prices())
@settings(STEADY, max_examples=400)
def test_two_sides_that_follow_it_agree_from_any_start(at, first, opening, other_last):
    other = "seller" if first == "buyer" else "buyer"
    if other_last is not None:
        assume(other_last >= opening if first == "buyer" else other_last <= opening)
    price, answers, gaps = follow(at, first, opening, {other: other_last})
    assert all(later <= earlier + 1e-9 for earlier, later in pairwise(gaps))
    assert all(gap >= 0 for gap in gaps)
    # Half the way each time: as many answers as the surplus has halves, on both sides, and a few.
    width = max(1.0, (at.fair.high - at.fair.low) / float(at.step))
    assert answers <= 2 * math.log2(width) + 10
    # One side starts generously, or they meet at the middle.
    generous = opening > at.fair.middle if first == "buyer" else opening < at.fair.middle
    stuck = other_last is not None and (
        other_last > at.fair.middle if other == "buyer" else other_last < at.fair.middle
    )
    if not generous and not stuck:
        assert price == at.fair.middle


def bare(by, figure, last, at):
    """The rule of the model's stage 6 without the step of half the way; None for "accept"."""
    low, middle, high = at.fair.low, at.fair.middle, at.fair.high
    if by == "buyer":
        return None if figure <= middle else max(last, low, min(2 * middle - figure, middle))
    return None if figure >= middle else min(last, high, max(2 * middle - figure, middle))


def test_the_bare_rule_repeats_itself_for_ever_and_ours_does_not():
    at = split()
    lasts, figure, named = {"buyer": -math.inf, "seller": 2700.0}, 2700.0, []
    for i in range(1000):
        by = ("buyer", "seller")[i % 2]
        figure = bare(by, figure, lasts[by], at)
        assert figure is not None
        lasts[by] = figure
        named.append(figure)
    assert set(named) == {2300.0, 2700.0}
    price, answers, _ = follow(at, "seller", 2700.0, {"buyer": None})
    assert price == 2500.0
    assert answers < 12


class TestTable:
    def said(self, *figures):
        return [{"by": by, "figure": figure} for by, figure in figures]

    def test_steps_and_ratios(self, quoted):
        figures = [("seller", 5200.0), ("buyer", 3000.0), ("seller", 4800.0), ("buyer", 3200.0), ("seller", 4600.0)]
        table = quoted({"said": self.said(*figures)}, log2_draws=10).counters
        assert [row.step for row in table.said] == [None, None, -400.0, 200.0, -200.0]
        assert [row.step_ratio for row in table.said] == [None, None, None, None, 0.5]
        assert table.gap == 1400.0
        assert table.next.by == "buyer"

    def test_a_step_of_nothing_has_no_ratio_after_it(self, quoted):
        figures = [("buyer", 3000.0), ("buyer", 3000.0), ("buyer", 3100.0)]
        table = quoted({"said": self.said(*figures)}, log2_draws=10).counters
        assert [row.step_ratio for row in table.said] == [None, None, None]
        assert (table.gap, table.next.by) == (None, "seller")

    def test_no_figures_no_table(self, quoted):
        assert quoted(log2_draws=10).counters is None

    def test_answers_with_ones_own_last_in_mind(self, quoted):
        q = quoted({"said": self.said(("buyer", 3700.0), ("seller", 4800.0))})
        assert q.fair.low < 3700.0 < q.fair.middle
        assert q.counters.next.figure > 3700.0

    def test_no_fair_price_no_figure(self, quoted):
        q = quoted({"said": self.said(("seller", 9000.0)), "seller.other_bid": 8000.0}, log2_draws=10)
        assert (q.counters.next.action, q.counters.next.figure) == ("none", None)
        assert "does not reach the seller's floor" in q.counters.next.reason

    def test_an_assumed_floor_is_not_called_the_sellers(self, quoted):
        changes = {"seller": {}, "collector": TAKEN_OUT, "buyer.margin_frac": 1.0}
        q = quoted({**changes, "said": self.said(("seller", 2000.0))})
        assert q.verdict == "floor_unknown"
        assert "is not known" in q.counters.next.reason
        assert f"{math.floor(q.buyer_ceiling * 100) / 100:,.2f} USD" in q.counters.next.reason

    def test_gold_that_is_not_seen(self, quoted):
        changes = {"weighing.submerged_g": [255.7], "seller": {}, "said": self.said(("seller", 2000.0))}
        assert "not seen by weight" in quoted(changes, log2_draws=10).counters.next.reason

    def test_two_hundred_figures_are_taken_and_one_more_is_not(self, quoted, problems):
        many = self.said(*[("buyer", 10.0 + i) for i in range(200)])
        assert len(quoted({"said": many}, log2_draws=8).counters.said) == 200
        assert "said" in problems({"said": [*many, many[0]]})
