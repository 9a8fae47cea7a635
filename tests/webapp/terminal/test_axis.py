"""The money axis in characters."""

from hypothesis import given
from hypothesis import strategies as st

from webapp.terminal.axis import PLAIN, Mark, Strokes, drawn
from webapp.wording import Wording

W = Wording.of("USD", "en_US")
MONEY = st.floats(-1e7, 1e7)


def test_marks_stand_where_their_figures_are() -> None:
    marks = [Mark("Range", 0.0, 100.0, 50.0), Mark("Point", 100.0, 100.0), Mark("Block", 40.0, 60.0)]
    scale, track, point, block = drawn(marks, W, 80, PLAIN)
    assert scale.split() == [f"${x}" for x in range(0, 101, 10)]
    assert track.strip("[-o] ") == ""
    left, right = track.index("["), track.index("]")
    assert abs(track.index("o") - (left + right) / 2) <= 1
    assert point.index("*") == right
    assert left < block.index("#") < track.index("o") < len(block) - 1 < right


@given(st.lists(st.tuples(MONEY, MONEY, MONEY), min_size=1, max_size=6), st.integers(1, 150))
def test_axis_is_never_wider_than_its_room(ranges: list[tuple[float, float, float]], width: int) -> None:
    marks = [Mark("x", *sorted((a, c)), median=sorted((a, b, c))[1]) for a, b, c in ranges]
    rows = drawn(marks, W, width, Strokes())
    assert len(rows) in (0, len(marks) + 1)
    assert all(len(row) <= width for row in rows)


@given(MONEY, MONEY, st.floats(0, 1))
def test_order_of_figures_is_the_order_of_columns(a: float, b: float, share: float) -> None:
    low, high = sorted((a, b))
    middle = min(high, max(low, low + share * (high - low)))
    rows = drawn([Mark("all", low, high, low), *(Mark("one", x, x) for x in (low, middle, high))], W, 100, PLAIN)
    if rows:
        places = [row.index("*") for row in rows[2:]]
        assert places == sorted(places)


def test_nothing_is_drawn_where_there_is_nothing_to_tell_apart() -> None:
    assert drawn([Mark("one", 5.0, 5.0)], W, 80, PLAIN) == []
    assert drawn([Mark("none", 0.0, 5e-324, 0.0)], W, 80, PLAIN) == []
    assert drawn([Mark("narrow", 1.0, 2.0, 1.5)], W, 5, PLAIN) == []
