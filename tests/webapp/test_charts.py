"""The geometry of the pictures, at ordinary and extreme values."""

import itertools

import pytest

from scenarios import FIRST, all_scenarios, scenario
from valuation import quote
from webapp.charts import doubt_shares, money_axis, refining_steps, tick_step
from webapp.marks import Mark, house_marks
from webapp.wording import Wording

W = Wording.of("USD", "en_US")


def span(key: str, low: float, high: float, median: float | None = None) -> Mark:
    return Mark(key, key, W.price(high), low, high, median)


EXTREMES = {
    "one point": [span("floor", 100.0, 100.0)],
    "one point at nothing": [span("floor", 0.0, 0.0)],
    "tiny": [span("melt", 0.001, 0.004, 0.002)],
    "huge": [span("melt", 1e9, 9e9, 5e9), span("floor", 1.0, 1.0)],
    "negative": [span("refine", -500.0, -100.0, -300.0), span("ceiling", 0.0, 0.0)],
    "across nothing": [span("refine", -500.0, 900.0, 20.0)],
    "overlapping": [span(str(i), 99.0, 101.0, 100.0) for i in range(6)],
    "far apart": [span("melt", 1.0, 1.1, 1.05), span("intact", 1e6, 2e6, 1.5e6)],
}


@pytest.mark.parametrize("marks", EXTREMES.values(), ids=EXTREMES.keys())
def test_everything_lies_inside_the_picture(marks: list[Mark]) -> None:
    axis = money_axis(marks, W)
    assert axis is not None
    for row in axis.rows:
        assert 0 <= row.x <= 100 and row.width >= 0 and row.x + row.width <= 100.01
        assert row.middle is None or row.x - 0.01 <= row.middle <= row.x + row.width + 0.01
    assert 1 <= len(axis.ticks) <= 7
    assert all(0 <= tick.x <= 100 for tick in axis.ticks)
    for left, right in itertools.pairwise(axis.ticks):
        # At 320 pixels a letter of a tick is at most 7 wide.
        assert (right.x - left.x) * 3.2 >= 7 * (len(left.label) + len(right.label)) / 2, (left, right)


def test_places_keep_the_order_and_the_scale_of_the_figures() -> None:
    axis = money_axis([span("a", 100.0, 300.0, 200.0), span("b", 200.0, 400.0, 300.0)], W)
    assert axis is not None
    a, b = axis.rows
    assert a.middle is not None and b.middle is not None
    assert a.x < b.x < b.middle and a.width == pytest.approx(b.width, abs=0.02)
    assert a.middle == pytest.approx(b.x, abs=0.02)


def test_a_figure_far_from_all_ranges_is_an_arrow_at_the_edge_and_squeezes_nothing() -> None:
    near = [span("melt", 700.0, 900.0, 800.0), span("floor", 600.0, 600.0), span("ceiling", 720.0, 720.0)]
    far = Mark("ask", "Asking price", "$12,000", 12_000.0, 12_000.0)
    alone, beside = money_axis(near, W), money_axis([*near, far], W)
    assert alone is not None and beside is not None
    assert [(row.x, row.width) for row in beside.rows[:3]] == [(row.x, row.width) for row in alone.rows]
    last = beside.rows[3]
    assert (last.x, last.beyond, last.figure) == (100.0, "right", "$12,000 \u2192")
    assert "Asking price: $12,000, beyond the right edge of the picture" in beside.words
    low = money_axis([span("melt", -9.0, -7.0, -8.0), span("ask", -500.0, -500.0)], W)
    assert low is not None and (low.rows[1].x, low.rows[1].beyond) == (0.0, "left")
    assert low.rows[1].figure.startswith("\u2190 ")


def test_limits_stay_in_the_picture_however_narrow_the_ranges() -> None:
    axis = money_axis([span("melt", 3999.0, 4001.0, 4000.0), span("floor", 2800.0, 2800.0)], W)
    assert axis is not None and [row.beyond for row in axis.rows] == [None, None]


def test_a_range_that_runs_far_is_cut_and_told_so_that_what_decides_keeps_its_room() -> None:
    near = [span("melt", 4800.0, 5900.0, 5360.0), span("floor", 3800.0, 3800.0), span("fair", 4170.0, 4900.0, 4530.0)]
    far = Mark("intact", "Sold intact", "$40,000", 3000.0, 95_000.0, 40_000.0, ("$3,000", "$95,000"))
    axis = money_axis([*near, far], W)
    assert axis is not None and axis.band is not None and axis.band[1] > 20
    cut = axis.rows[3]
    assert (cut.cut, cut.beyond, cut.middle) == ("right", None, None) and cut.x + cut.width == pytest.approx(
        100, abs=0.01
    )
    assert cut.figure == "$40,000, to $95,000 \u2192"
    assert "from $3,000 to $95,000, beyond the right edge of the picture" in axis.words
    both = Mark("intact", "Sold intact", "$4,000", -80_000.0, 95_000.0, 4000.0, ("-$80,000", "$95,000"))
    axis = money_axis([*near, both], W)
    assert axis is not None and axis.rows[3].cut == "both" and axis.rows[3].middle is not None
    assert axis.rows[3].figure.startswith("\u2190 -$80,000, ")


def test_ticks_stand_near_what_decides() -> None:
    for demo in all_scenarios():
        axis = money_axis(house_marks(quote(demo.request()), W), W)
        assert axis is None or 3 <= len(axis.ticks) <= 7, demo.name


def test_the_newest_figures_are_on_the_axis() -> None:
    q = quote(scenario("figures-said").request())
    named = {
        mark.key: (mark.label, mark.figure)
        for mark in house_marks(q, W, 2760.0)
        if mark.key in ("ask", "said", "offer")
    }
    assert named == {
        "ask": ("Now asked", "$3,000"),
        "said": ("We said", "$2,700"),
        "offer": ("Our offer", "$2,760"),
    }
    assert "said" not in {mark.key for mark in house_marks(q, W, 2700.0)}
    asked = {mark.key: mark.label for mark in house_marks(quote(scenario(FIRST).request()), W)}
    assert asked["ask"] == "Asking price" and "offer" not in asked


def test_nothing_to_show() -> None:
    assert money_axis([], W) is None


def test_ticks_are_round() -> None:
    assert [tick_step(span, 5) for span in (1.0, 4.9, 7.0, 12_000.0, 0.03)] == pytest.approx([0.2, 1, 2, 5000, 0.01])


def test_every_demo_has_its_pictures() -> None:
    for demo in all_scenarios():
        q = quote(demo.request())
        w = Wording.of(q.currency, "en_US")
        marks = house_marks(q, w)
        axis = money_axis(marks, w)
        assert axis is not None or not q.routes
        if axis is not None:
            assert (axis.band is not None) == (q.fair is not None)
        shares = doubt_shares(q, w)
        assert all(0 <= share.width <= 100 for share in shares)
        steps = refining_steps(q, w)
        assert bool(steps) == bool(q.settlement)
        for step in steps:
            assert 0 <= step.x <= 100 and step.x + step.width <= 100.01


def test_the_steps_add_up_to_what_the_refiner_pays() -> None:
    for demo in all_scenarios():
        steps = refining_steps(quote(demo.request()), Wording.of("USD", "en_US"), private=False)
        if steps:
            amounts = [float(step.amount.replace("$", "").replace(",", "")) for step in steps]
            assert sum(amounts[:-1]) == pytest.approx(amounts[-1], abs=0.011)
            assert steps[-1].label == "The refiner pays"


def test_what_waits_for_money_is_the_house_s_own_affair() -> None:
    q = quote(scenario(FIRST).request())
    told = {step.label for step in refining_steps(q, W, private=False)}
    assert "Worth today" not in told and "Waiting for the money" not in told
