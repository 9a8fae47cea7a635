"""A seeded part of the coverage proof (tests/proofs/coverage.py): does the 95 % range hold the truth?

The gold mass is uniform from none: under that law a range that knows nothing of gold beforehand must keep its
coverage near the detection limit too. The limits are those of chance alone.
"""

import math
from collections.abc import Callable

import pytest

from tests.simulator.case import ANY_MASS_CASES
from tests.simulator.counter import Typed
from tests.simulator.stated import exact_value
from tests.simulator.switch import FINENESS, TakeForCertain
from tests.simulator.tally import Outcome, Tally, as_typed, outcome, tally

SEED = 20260314
SPECIMENS = 300


def _tally(specimens: int, change: Callable[[Typed], Typed] = as_typed) -> Tally:
    each = math.ceil(specimens / len(ANY_MASS_CASES))
    outcomes = [outcome(case, SEED, number, change) for case in ANY_MASS_CASES for number in range(each)]
    return tally(o for o in outcomes if isinstance(o, Outcome))


def _all_taken_for_certain(typed: Typed) -> Typed:
    """What a hand calculation does: rock, voids and fineness at their likely values."""
    rock = dict(typed["rock"])
    if "density_g_cm3" in rock:
        rock["density_g_cm3"] = exact_value(rock["density_g_cm3"])
        rock["void_frac"] = 0.0
    return FINENESS.off({**typed, "rock": rock})


def test_the_range_holds_300_simulated_truths_as_often_as_it_says() -> None:
    counted = _tally(SPECIMENS)
    assert counted.count >= SPECIMENS - 3, "honest weighings were refused"
    assert counted.faults() == []


def test_the_count_tells_when_the_quote_takes_its_doubts_for_nothing() -> None:
    assert _tally(SPECIMENS // 3, _all_taken_for_certain).faults() != []


@pytest.mark.parametrize(
    ("counted", "words"),
    [
        (Tally(2000, 1840, 80, 80), "coverage"),
        (Tally(2000, 1960, 20, 20), "coverage"),
        (Tally(2000, 1900, 90, 10), "below"),
        (Tally(2000, 1900, 10, 90), "above"),
    ],
)
def test_a_count_that_chance_does_not_explain_is_a_fault(counted: Tally, words: str) -> None:
    assert any(words in fault for fault in counted.faults())


def test_a_count_that_chance_explains_is_none() -> None:
    assert Tally(2000, 1900, 50, 50).faults() == []
    assert Tally(2000, 1880, 62, 58).faults() == []


def test_wilson_interval_against_the_closed_form() -> None:
    # E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209: (p + z²/2n ± z sqrt(p(1-p)/n + z²/4n²)) / (1 + z²/n).
    n, p, z = 400, 0.95, 1.959964
    middle, half = p + z * z / (2 * n), z * (p * (1 - p) / n + z * z / (4 * n * n)) ** 0.5
    expected = ((middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n))
    assert Tally(n, 380, 10, 10).wilson() == pytest.approx(expected, rel=1e-6)


def test_switching_a_term_off_leaves_what_was_typed_alone() -> None:
    typed = {"rock": {"density_g_cm3": {"low": 2.6, "high": 2.7}, "void_frac": 0.0}}
    changed = TakeForCertain("rock", "density_g_cm3")(typed)
    assert changed["rock"]["density_g_cm3"] == pytest.approx(2.65)
    assert typed["rock"]["density_g_cm3"] == {"low": 2.6, "high": 2.7}
