"""Where in an answer the price stands: JSON pointers by their standard, tables, and what is not one."""

import json
from contextlib import suppress
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.webapp.feeds.conftest import feed_at
from webapp.feed_answer import Answer, AnswerRefused, answer_of

NOW = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
# RFC 6901, 5: the document of its examples and what each pointer leads to, where that is a number.
RFC_6901 = (
    '{"foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\\\j": 5, "k\\"l": 6, " ": 7, "m~n": 8}'
)
EXAMPLES = {"/a~1b": 1, "/c%d": 2, "/e^f": 3, "/g|h": 4, "/i\\j": 5, '/k"l': 6, "/m~0n": 8}


def told(body: str | bytes, kind: str = "application/json", **settings: object) -> Answer:
    feed = feed_at("https://localhost/p", **settings)
    return answer_of(body.encode() if isinstance(body, str) else body, kind, feed, NOW)


def refused(body: str | bytes, kind: str = "application/json", **settings: object) -> str:
    with pytest.raises(AnswerRefused) as reason:
        told(body, kind, **settings)
    return str(reason.value)


@pytest.mark.parametrize(("pointer", "number"), EXAMPLES.items())
def test_a_pointer_as_the_standard_has_it(pointer: str, number: int) -> None:
    assert told(RFC_6901, price=pointer).price == number


def test_a_position_as_the_standard_has_it() -> None:
    assert told("[[1, 2], 3]", price="/0/1").price == 2
    for pointer in ("/00/1", "/-", "/2", "/+0/1", "/0/1/0", "/1e0"):
        assert f"nothing at {pointer}" in refused("[[1, 2], 3]", price=pointer)


@pytest.mark.parametrize(
    ("moment", "expected"),
    [
        ('"2026-11-25T09:58:00+01:00"', datetime(2026, 11, 25, 8, 58, tzinfo=UTC)),
        ('"2026-11-25 09:58"', datetime(2026, 11, 25, 9, 58, tzinfo=UTC)),
        ('"20261125T095800Z"', datetime(2026, 11, 25, 9, 58, tzinfo=UTC)),
        ("1764064680", datetime(2025, 11, 25, 9, 58, tzinfo=UTC)),
        ("1764064680000", datetime(2025, 11, 25, 9, 58, tzinfo=UTC)),
        ('"1764064680"', datetime(2025, 11, 25, 9, 58, tzinfo=UTC)),
    ],
)
def test_a_moment_in_any_of_the_usual_ways(moment: str, expected: datetime) -> None:
    assert told(f'{{"price": 1, "at": {moment}}}', time_at="/at").seen_at == expected


@pytest.mark.parametrize(
    ("words", "unit"),
    [
        ("ozt", "ozt"),
        ("Troy Ounce", "ozt"),
        ("per g", "g"),
        ("GRAM", "g"),
        ("kg", "kg"),
        ("tola", "tola"),
        ("toz", "ozt"),
    ],
)
def test_a_unit_in_words(words: str, unit: str) -> None:
    assert told(json.dumps({"price": 1, "per": words}), unit_at="/per", unit=None).unit == unit


def test_an_ounce_is_a_troy_ounce_only_if_the_house_says_so() -> None:
    assert told('{"price": 1, "per": "oz"}', unit_at="/per").unit == "ozt"
    assert "28.35 g or 31.10 g" in refused('{"price": 1, "per": "oz"}', unit_at="/per", unit="g")


def test_an_exchange_rate() -> None:
    rate = told('{"rates": {"EUR": 0.92}}', metal="exchange_rate", one_of="usd", currency="EUR", price="/rates/EUR")
    assert (rate.price, rate.currency, rate.unit) == (0.92, "EUR", "USD")


@pytest.mark.parametrize(
    ("text", "price"),
    [
        ("date,open,close\n2026-11-24,1,2\n2026-11-25,3,4\n", 4),
        ("\ufeffdate;close\n2026-11-24;2,5\n\n", 2.5),
        ("date\tclose\r\n2026-11-24\t2\r\n", 2),
        ('"date","close"\n"2026-11-24","3,900.50"\n', 3900.5),
        ("Date, Close \n2026-11-24, 7\n", 7),
    ],
)
def test_a_table_by_the_name_of_its_column(text: str, price: float) -> None:
    assert told(text, "text/csv", format="csv", price="close").price == price


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("date,close\n", "no row"),
        ("", "no row"),
        ("date,open\n2026-11-25,1\n", "no column is called"),
        ("date,close\n2026-11-25\n", "has no column close"),
        ("date,close\n2026-11-25,\n", "the price is missing"),
        ('date,close\n2026-11-25,"1\n', "not CSV"),
        (b"date,close\n\xff\xfe,1\n", "not text in UTF-8"),
        ("<html><body>3900</body></html>", "no column is called"),
    ],
)
def test_a_table_without_the_price(text: str | bytes, reason: str) -> None:
    assert reason in refused(text, "text/csv", format="csv", price="close")


@given(st.binary(max_size=300), st.sampled_from(["json", "csv"]))
def test_any_bytes_are_a_price_or_refused_in_words(body: bytes, form: str) -> None:
    place = "/price" if form == "json" else "1"
    with suppress(AnswerRefused):
        assert 0 < told(body, "text/plain", format=form, price=place).price < 1e11


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner, max_size=3),
    max_leaves=6,
)


@given(JSON, JSON, JSON, JSON)
def test_any_json_in_any_place_is_a_price_or_refused_in_words(
    price: object, code: object, per: object, at: object
) -> None:
    body = json.dumps({"price": price, "in": code, "per": per, "at": at})
    with suppress(AnswerRefused):
        found = told(body, currency_at="/in", unit_at="/per", time_at="/at", unit=None, currency=None)
        assert 0 < found.price < 1e11 and len(found.currency) == 3
