"""The collector's premium: entered, by graded qualities, or from comparable sales."""

import math
from datetime import date, timedelta
from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from tests.valuation.strategies import STEADY, TAKEN_OUT
from valuation.comparables import foretold, leave_one_out, nearness, weighted_quantiles
from valuation.errors import ValuationError
from valuation.rubric import log_premium, qualities
from valuation.terms import Comparable

QUOTED_ON = date(2026, 3, 14)
Z90 = float(stats.norm.ppf(0.9))


def sale(ratio=1.6, fine_g=40.0, days_ago=30, **more):
    """An invented sale at so many times its melt value."""
    spot = 4000.0
    return {
        "date": (QUOTED_ON - timedelta(days=days_ago)).isoformat(),
        "price": ratio * fine_g / 31.1034768 * spot,
        "fine_g": fine_g,
        "spot": spot,
        **more,
    }


def read(*raw):
    return [Comparable.model_validate(one) for one in raw]


def sales_like(ratios, **more):
    return read(*(sale(ratio, **more) for ratio in ratios))


def band(ratios, **more):
    found = foretold(sales_like(ratios, **more), 40.0, None, QUOTED_ON).log_premium
    return found.low, found.likely, found.high


def width(ratios, **more):
    low, _, high = band(ratios, **more)
    return high - low


class TestRubric:
    def test_every_combination_of_grades_gives_a_premium_in_order(self):
        keys = list(qualities())
        for graded in product(*(list(qualities()[key].grades) for key in keys)):
            spread = log_premium(dict(zip(keys, graded, strict=True)))
            assert -1.0 < spread.low < spread.likely < spread.high < math.log(51.0)

    @pytest.mark.parametrize(("quality", "grade"), [(q, g) for q, row in qualities().items() for g in row.grades])
    def test_every_grade_is_quoted(self, quoted, quality, grade):
        q = quoted({"collector.premium_frac": TAKEN_OUT, "collector.rubric": {quality: grade}}, log2_draws=8)
        factor = qualities()[quality].grades[grade]
        assert q.premium.basis == "rubric"
        assert q.premium.likely_frac == pytest.approx(factor.likely - 1.0, abs=1e-9)
        assert q.premium.low_frac == pytest.approx(factor.low - 1.0, abs=1e-9)
        assert q.premium.high_frac == pytest.approx(factor.high - 1.0, abs=1e-9)
        assert "premium_by_rubric" in {caution.code for caution in q.cautions}

    @pytest.mark.parametrize("quality", qualities())
    def test_factors_run_one_way_within_a_quality(self, quality):
        likely = [grade.likely for grade in qualities()[quality].grades.values()]
        assert likely in (sorted(likely), sorted(likely, reverse=True))
        assert len(set(likely)) == len(likely)
        for grade in qualities()[quality].grades.values():
            assert 0.0 < grade.low <= grade.likely <= grade.high

    def test_factors_multiply_and_doubts_add_in_squares(self):
        one, other = qualities()["visible_gold"].grades["bold"], qualities()["condition"].grades["damaged"]
        both = log_premium({"visible_gold": "bold", "condition": "damaged"})
        assert math.exp(both.likely) == pytest.approx(one.likely * other.likely)
        up = math.hypot(math.log(one.high / one.likely), math.log(other.high / other.likely))
        down = math.hypot(math.log(one.likely / one.low), math.log(other.likely / other.low))
        assert both.high - both.likely == pytest.approx(up)
        assert both.likely - both.low == pytest.approx(down)

    def test_doubt_of_two_qualities_is_that_of_independent_draws(self):
        # Equal halves, so that the sum of the logs is normal again: R, sqrt(sum of variances).
        bands = {"contrast": "strong", "locality": "documented"}
        rng = np.random.default_rng(5)
        total = np.zeros(400_000)
        for quality, grade in bands.items():
            g = qualities()[quality].grades[grade]
            half = math.log(g.high / g.likely)
            total += math.log(g.likely) + rng.standard_normal(total.size) * half / Z90
        spread = log_premium(bands)
        assert np.quantile(total, 0.9) == pytest.approx(spread.high, abs=3e-3)
        assert np.median(total) == pytest.approx(spread.likely, abs=2e-3)

    @pytest.mark.parametrize(
        ("graded", "field", "word"),
        [
            ({"visible_gold": "bald"}, "collector.rubric.visible_gold", "bold"),
            ({"visble_gold": "bold"}, "collector.rubric.visble_gold", "visible_gold"),
            ({}, "collector.rubric.visible_gold", "at least one"),
        ],
    )
    def test_a_wrong_grade_is_refused_with_a_suggestion(self, problems, graded, field, word):
        found = problems({"collector.premium_frac": TAKEN_OUT, "collector.rubric": graded})
        assert word in found[field].message

    def test_two_ways_at_once_are_refused(self, problems):
        assert "exactly one" in problems({"collector.rubric": {"size": "hand"}})["collector.rubric"].message


class TestWeights:
    def test_a_sale_of_the_same_gold_grade_and_day_counts_whole(self):
        (same,) = read(sale(days_ago=0, grade=3))
        assert nearness(same, 40.0, 3.0, QUOTED_ON) == 1.0

    @pytest.mark.parametrize(
        ("changes", "weight"),
        [
            ({"fine_g": 80.0}, math.exp(-0.5)),
            ({"fine_g": 20.0}, math.exp(-0.5)),
            ({"fine_g": 160.0}, math.exp(-2.0)),
            ({"grade": 4}, math.exp(-0.5)),
            ({"grade": 1}, math.exp(-2.0)),
            ({"grade": None}, math.exp(-0.5)),
            ({"days_ago": 5 * 365}, 0.5),
            ({"days_ago": 10 * 365}, 0.25),
        ],
    )
    def test_unlike_sales_count_less(self, changes, weight):
        (unlike,) = read(sale(**{"days_ago": 0, "grade": 3, **changes}))
        assert nearness(unlike, 40.0, 3.0, QUOTED_ON) == pytest.approx(weight)

    def test_grades_do_not_count_for_a_piece_without_one(self):
        for graded in read(sale(days_ago=0, grade=1), sale(days_ago=0)):
            assert nearness(graded, 40.0, None, QUOTED_ON) == 1.0

    @given(st.lists(st.floats(0.8, 4.0), min_size=3, max_size=30), st.integers(0, 4000))
    @settings(STEADY, max_examples=50)
    def test_equal_weights_are_as_many_sales_as_there_are(self, ratios, days_ago):
        # Three equal ones are three, whatever the rounding: never refused as fewer.
        found = foretold(sales_like(ratios, days_ago=days_ago, fine_g=77.0), 40.0, None, QUOTED_ON)
        assert found.n_effective == pytest.approx(len(ratios), rel=1e-12)

    def test_effective_size_of_unequal_weights(self):
        sales = sales_like([1.2, 1.4, 1.6, 1.8]) + sales_like([2.0, 2.2], days_ago=30 + 5 * 365)
        found = foretold(sales, 40.0, None, QUOTED_ON)
        # L. Kish, Survey Sampling, 1965 (from memory): (sum w)^2 / sum w^2 = 5^2 / 4.5.
        assert found.n_effective == pytest.approx(25.0 / 4.5)

    def test_unit_of_the_price_does_not_matter(self):
        raw = sale(1.7)
        per_g = {**raw, "spot": raw["spot"] / 31.1034768, "spot_unit": "g"}
        per_kg = {**raw, "spot": raw["spot"] / 0.0311034768, "spot_unit": "kg"}
        for one in read(raw, per_g, per_kg):
            assert one.melt_ratio == pytest.approx(1.7)


class TestRefused:
    def quoted_by(self, *raw, **changes):
        return {"collector.premium_frac": TAKEN_OUT, "collector.comparables": list(raw), **changes}

    def test_two_sales(self, problems):
        found = problems(self.quoted_by(sale(1.4), sale(1.8)))["collector.comparables"]
        assert (found.code, found.value) == ("few_comparables", "2.0 effective")

    def test_many_sales_of_unlike_pieces(self, problems):
        # One near by and ninety-nine with a thousandth of the gold come to about one.
        raw = [sale(1.4)] + [sale(1.5, fine_g=0.04)] * 99
        assert problems(self.quoted_by(*raw))["collector.comparables"].value == "1.0 effective"

    def test_sales_of_gold_so_unlike_that_their_weight_underflows(self, problems):
        assert problems(self.quoted_by(*[sale(1.4, fine_g=1e-11)] * 9))["collector.comparables"].code

    @pytest.mark.parametrize("field", ["price", "fine_g", "spot"])
    def test_a_slip_of_a_thousandfold_beside_the_sale(self, problems, field):
        raw = [sale(1.4), sale(1.6), sale(1.5)]
        raw[1][field] *= 1000.0 if field == "price" else 1e-3
        assert "times the melt value" in problems(self.quoted_by(*raw))["collector.comparables.1.price"].message

    def test_sales_that_reach_beyond_the_bound_of_a_premium(self, problems):
        raw = [sale(ratio) for ratio in (2.0, 40.0, 50.0, 50.5)]
        assert problems(self.quoted_by(*raw))["collector.comparables"].code == "premium_too_high"

    def test_a_claim_of_which_nothing_is_believed(self, problems):
        changes = self.quoted_by(*[sale(1.4)] * 5)
        changes |= {"weighing": TAKEN_OUT, "rock": TAKEN_OUT, "seller.claim": {"mass": 1.0, "right_frac": 0.0}}
        assert "collector.comparables" in problems(changes)

    def test_three_is_enough(self, quoted):
        q = quoted(self.quoted_by(sale(1.4), sale(1.6), sale(1.9)), log2_draws=8)
        assert q.premium.n_effective == pytest.approx(3.0)
        assert "few_sales" in {caution.code for caution in q.cautions}


class TestBand:
    @pytest.mark.parametrize(
        ("n", "factor"), [(3, math.sqrt(4 / 3)), (5, math.sqrt(1.2)), (7, math.sqrt(8 / 7)), (8, 1.0)]
    )
    def test_few_sales_widen_the_halves(self, n, factor):
        ratios = np.exp(np.linspace(-0.4, 0.4, n) + 0.5)
        bare = weighted_quantiles(np.log(ratios), np.ones(n), float(n), 0.1, 0.5, 0.9)
        low, likely, high = band(ratios)
        assert likely == pytest.approx(bare[1])
        assert (likely - low, high - likely) == pytest.approx(
            (factor * (bare[1] - bare[0]), factor * (bare[2] - bare[1]))
        )

    @pytest.mark.parametrize("n", [9, 19, 99])
    def test_quantiles_of_equal_weights_are_scipys_mean_frequencies(self, n):
        # scipy.stats.mstats.mquantiles, alphap = betap = 0: i / (n + 1).
        values = np.sort(np.random.default_rng(n).normal(size=n))
        expected = stats.mstats.mquantiles(values, [0.1, 0.5, 0.9], alphap=0.0, betap=0.0)
        assert weighted_quantiles(values, np.ones(n), float(n), 0.1, 0.5, 0.9) == pytest.approx(list(expected))

    @given(st.lists(st.floats(1.5, 9.0), min_size=1, max_size=8, unique=True), st.floats(-3.0, 3.0))
    @settings(STEADY, max_examples=50)
    def test_quantiles_move_and_turn_with_the_values(self, ends, shift):
        values = np.array([0.0, 0.5, 1.0, *ends])
        w, n = np.linspace(1.0, 2.0, values.size), float(values.size)
        low, middle, high = weighted_quantiles(values, w, n, 0.1, 0.5, 0.9)
        assert low <= middle <= high
        assert weighted_quantiles(values + shift, w, n, 0.1, 0.9) == pytest.approx(
            [low + shift, high + shift], abs=1e-9
        )
        assert weighted_quantiles(-values, w, n, 0.9, 0.1) == pytest.approx([-low, -high], abs=1e-9)

    @given(st.lists(st.floats(0.8, 4.0), min_size=3, max_size=8), st.integers(2, 4))
    @settings(STEADY, max_examples=100)
    def test_more_sales_of_the_same_kind_never_widen_the_band(self, ratios, times):
        once, repeated = band(ratios), band(ratios * times)
        assert repeated[2] - repeated[0] <= (once[2] - once[0]) * (1 + 1e-12)

    def test_more_sales_out_of_one_market_narrow_the_band_on_average(self):
        rng = np.random.default_rng(11)
        widths = []
        for n in (3, 5, 8, 12, 20, 40):
            drawn = np.exp(0.5 + 0.3 * rng.normal(size=(1500, n)))
            w = np.ones(n)
            wider = math.sqrt(1 + 1 / n) if n < 8 else 1.0
            quantiles = (weighted_quantiles(row, w, float(n), 0.1, 0.9) for row in np.log(drawn))
            widths.append(np.mean([high - low for low, high in quantiles]) * wider)
        assert all(later < earlier for earlier, later in pairwise(widths))
        # Of very many sales: the band of the market itself.
        assert widths[-1] == pytest.approx(2 * 0.3 * Z90, rel=0.06)

    @pytest.mark.parametrize(("n", "least"), [(3, 0.70), (4, 0.75), (6, 0.77), (8, 0.77), (15, 0.78), (40, 0.78)])
    @pytest.mark.parametrize("skewed", [False, True])
    def test_a_known_market_falls_inside_about_8_times_in_10(self, n, least, skewed):
        rng = np.random.default_rng(100 * n + skewed)
        market = stats.gamma(2.0, scale=0.15) if skewed else stats.norm(0.5, 0.3)
        held = []
        for logs in market.rvs(size=(400, n), random_state=rng):
            low, _, high = band(np.exp(logs))
            held.append(market.cdf(high) - market.cdf(low))
        assert least < np.mean(held) < 0.85

    def test_equal_sales_still_leave_a_little_doubt(self):
        low, likely, high = band([1.5] * 5)
        assert low < likely < high
        assert math.exp(likely) == pytest.approx(1.5)


class TestQuoted:
    def changes(self, raw):
        return {"collector.premium_frac": TAKEN_OUT, "collector.comparables": raw}

    def test_later_sales_are_left_out_and_said(self, quoted):
        before = [sale(ratio, fine_g=40.8) for ratio in (1.3, 1.5, 1.6, 1.8)]
        later = [sale(9.0, fine_g=40.8, days_ago=-1)]
        alone, mixed = (quoted(self.changes(raw), log2_draws=8) for raw in (before, before + later))
        assert mixed.premium.low_frac == alone.premium.low_frac
        assert mixed.premium.n_effective == alone.premium.n_effective
        assert [row.ignored for row in mixed.premium.sales] == [False] * 4 + [True]
        assert mixed.premium.sales[-1].weight_frac == 0.0
        assert math.fsum(row.weight_frac for row in mixed.premium.sales) == pytest.approx(1.0)
        assert "later_sales" in {caution.code for caution in mixed.cautions}

    def test_a_sale_on_the_day_of_the_quote_counts(self, quoted):
        q = quoted(self.changes([sale(1.5, days_ago=0)] * 4), log2_draws=8)
        assert not any(row.ignored for row in q.premium.sales)

    def test_ten_and_ninety_per_cent_of_the_drawn_premium_are_the_band(self, quoted):
        raw = [sale(ratio, fine_g=40.8) for ratio in (1.1, 1.3, 1.5, 1.6, 1.8, 2.2, 2.9, 3.1, 1.7)]
        q = quoted(self.changes(raw) | {"collector.sale_chance_frac": 1.0, "collector.months_to_sale": 0.0})
        market = stats.mstats.mquantiles([r["price"] / (r["fine_g"] / 31.1034768 * r["spot"]) for r in raw], 0.5, 0, 0)
        assert 1.0 + q.premium.likely_frac == pytest.approx(float(market[0]), rel=1e-6)
        assert q.premium.low_frac < q.premium.likely_frac < q.premium.high_frac
        # Gold is nearly exact beside this premium, so the proceeds spread as the premium does.
        assert q.routes[1].median == pytest.approx(0.88 * q.melt_value.median * (1 + q.premium.likely_frac), rel=0.02)

    def test_house_assumptions_of_likeness_are_printed(self, quoted):
        q = quoted(self.changes([sale(1.5)] * 4), log2_draws=8)
        (row,) = [row for row in q.assumptions if row.name == "Likeness of a sale"]
        assert "61%" in row.value
        assert "no source" in row.source


class TestLeaveOneOut:
    @given(st.lists(st.floats(0.8, 4.0), min_size=4, max_size=12))
    @settings(STEADY, max_examples=40)
    def test_counts_and_exact_interval(self, ratios):
        check = leave_one_out(sales_like(ratios), QUOTED_ON)
        held = 0
        for i, ratio in enumerate(ratios):
            low, _, high = band(ratios[:i] + ratios[i + 1 :])
            held += low <= math.log(sales_like([ratio])[0].melt_ratio) <= high
        assert (check.held, check.of) == (held, len(ratios))
        exact = stats.binomtest(check.held, check.of).proportion_ci(0.95, method="exact")
        assert (check.low_frac, check.high_frac) == pytest.approx((exact.low, exact.high), abs=1e-12)

    def test_none_where_three_sales_leave_two_others(self):
        assert leave_one_out(sales_like([1.3, 1.5, 1.8]), QUOTED_ON) is None

    def test_later_sales_are_not_used(self):
        sales = sales_like([1.3, 1.5, 1.8, 1.6]) + sales_like([2.0], days_ago=-3)
        assert leave_one_out(sales, QUOTED_ON).of == 4

    def test_a_wild_market_is_told_and_does_not_stop_the_quote(self):
        check = leave_one_out(sales_like([0.03, 50.0, 0.05, 45.0, 0.02, 40.0]), QUOTED_ON)
        assert check.of == 6

    def test_a_large_market_holds_about_8_times_in_10(self):
        ratios = np.exp(0.5 + 0.3 * np.random.default_rng(3).normal(size=150))
        check = leave_one_out(sales_like(ratios), QUOTED_ON)
        assert check.of == 150
        assert check.low_frac < 0.80 < check.high_frac


@pytest.mark.parametrize("bad", [0.0, -3.0])
def test_no_weight_for_a_piece_without_gold(bad):
    with pytest.raises(ValuationError):
        foretold(sales_like([1.2, 1.4, 1.6, 1.8]), bad, None, QUOTED_ON)
