"""Intervals of shares and means, against published figures and general-purpose libraries."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, ttest_1samp

from valuation.counts import exact_interval, mean, share


# R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 5 (Clopper-Pearson); from memory.
@pytest.mark.parametrize(
    ("held", "of", "low", "high"),
    [(81, 263, 0.2527, 0.3676), (15, 148, 0.0578, 0.1617), (0, 20, 0.0, 0.1684), (1, 29, 0.0009, 0.1776)],
)
def test_published_exact_intervals(held: int, of: int, low: float, high: float) -> None:
    assert exact_interval(held, of) == pytest.approx((low, high), abs=6e-5)


@given(st.integers(1, 2000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_exact_interval_is_that_of_scipy(counted: tuple[int, int]) -> None:
    held, of = counted
    found = binomtest(held, of).proportion_ci(0.95, method="exact")
    assert exact_interval(held, of) == pytest.approx((found.low, found.high), abs=1e-9)


def test_all_held_has_its_closed_form() -> None:
    # (alpha / 2) ** (1 / n), the lower end where none was missed.
    assert exact_interval(12, 12) == pytest.approx((0.025 ** (1 / 12), 1.0))


def test_mean_of_students_sleep_data() -> None:
    # Student, Biometrika 6 (1908) 20: additional hours of sleep; 0.7001 to 2.4599 is what R prints for it.
    gains = [1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4]
    found = mean(gains)
    assert found is not None and found.low is not None and found.high is not None
    assert found.n == 10 and found.mean == pytest.approx(1.58)
    assert (found.low, found.high) == pytest.approx((0.7001142, 2.4598858), abs=1e-7)
    interval = ttest_1samp(gains, 0.0).confidence_interval(0.95)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high))


def test_nothing_says_nothing_and_one_figure_has_no_interval() -> None:
    assert share(0, 0) is None and mean([]) is None
    one = mean([3.0])
    assert one is not None and (one.mean, one.sd, one.low, one.high) == (3.0, None, None, None)
