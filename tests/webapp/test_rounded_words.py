"""Roundings are told in words, not as functions."""

import pytest

from webapp.rounded_words import rounded_words


@pytest.mark.parametrize(
    ("expression", "told"),
    [
        ("2 × 3", "2 × 3"),
        ("roundup(3800 + 0.25 × 1467.0382; 10)", "3800 + 0.25 × 1467.0382, rounded up to whole steps of 10"),
        ("rounddown(max(0; 1.2051); 0.001) × 4100", "(max(0; 1.2051), rounded down to whole steps of 0.001) × 4100"),
        ("round((1 + 2) ÷ 2; 1)", "(1 + 2) ÷ 2, rounded to whole steps of 1"),
        ("7 + round(roundup(1; 2); 3)", "7 + (1, rounded up to whole steps of 2, rounded to whole steps of 3)"),
    ],
)
def test_each_rounding_is_told(expression: str, told: str) -> None:
    assert rounded_words(expression) == told
