"""What a feed answered -> a price, or the reason why it is none."""

from __future__ import annotations

import csv
import io
import json
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, NoReturn

from babel.numbers import list_currencies
from pydantic_core import PydanticCustomError

from valuation.errors import shown
from valuation.number import read_number
from webapp.feed_settings import Feed

TYPES = {
    "json": re.compile(r"application/json|text/json|text/plain|application/[\w.-]+\+json"),
    "csv": re.compile(r"text/csv|application/csv|text/plain|text/tab-separated-values|application/octet-stream"),
}
DELIMITERS = ("\t", ";", ",")
UNITS = {
    **dict.fromkeys(("ozt", "oz t", "toz", "troy ounce", "troy ounces", "troy oz", "ounce troy"), "ozt"),
    **dict.fromkeys(("g", "gram", "grams", "gramme", "grammes"), "g"),
    **dict.fromkeys(("kg", "kilogram", "kilograms", "kilo"), "kg"),
    **dict.fromkeys(("tola", "tolas"), "tola"),
}
_AVOIRDUPOIS = frozenset(("oz", "ounce", "ounces"))
LARGEST_PRICE = 1e10
AHEAD = timedelta(minutes=10)  # clocks differ
_MILLISECONDS = 1e11  # as seconds that would be the year 5138


class AnswerRefused(Exception):  # noqa: N818 - told as an event
    """The answer holds no price that can be believed; the text says why."""


class FetchRefused(Exception):  # noqa: N818 - told as an event
    """No good answer could be had; the text says why."""


@dataclass(frozen=True)
class Answer:
    """A price as answered.

    Parameters
    ----------
    unit : str
        Mass unit that it is the price of; for an exchange rate, the currency of which one is priced.
    seen_at : datetime or None
        As the answer says; None if it does not.
    """

    metal: str
    price: float
    currency: str
    unit: str
    seen_at: datetime | None


@dataclass(frozen=True)
class Reference:
    """The last good price, per the same unit, and whose it was."""

    price: float
    words: str


LastOf = Callable[[Answer], Reference | None]


def answer_of(body: bytes, content_type: str, feed: Feed, now: datetime) -> Answer:
    """The price in an answer.

    Raises
    ------
    AnswerRefused
    """
    kind = content_type.partition(";")[0].strip().lower()
    if not TYPES[feed.format].fullmatch(kind):
        refuse(f"it answered with {kind[:60] or 'no content type'}, not {feed.format.upper()}")
    cells = _from_json(body, feed) if feed.format == "json" else _from_csv(body, feed)
    return Answer(
        metal=feed.metal,
        price=_price(cells["price"]),
        currency=_currency(cells.get("currency"), feed),
        unit=feed.one_of or "" if feed.metal == "exchange_rate" else _unit(cells.get("unit"), feed),
        seen_at=_moment(cells.get("time"), now),
    )


def judged(answer: Answer, feed: Feed, last: Reference | None) -> Answer:
    """The same answer, unless it jumps too far from the last good price.

    Raises
    ------
    AnswerRefused
    """
    if last is not None and last.price > 0:
        jump = answer.price / last.price - 1.0
        if abs(jump) > feed.largest_jump_frac:
            side, allowed = ("above" if jump > 0 else "below"), 100 * feed.largest_jump_frac
            refuse(
                f"{shown(answer.price)} is {abs(100 * jump):.0f} % {side} the last good price, {shown(last.price)} "
                f"({last.words}); the house allows {allowed:g} %. If it is right, enter it by hand, and the feed is "
                "believed again"
            )
    return answer


def refuse(words: str) -> NoReturn:
    raise AnswerRefused(words)


# ---- finding the places


def _from_json(body: bytes, feed: Feed) -> dict[str, Any]:
    try:
        told = json.loads(body, parse_constant=lambda name: refuse(f"it holds {name} where a number is due"))
    except (ValueError, RecursionError):
        refuse("the answer is not JSON")
    return {name: _pointed(told, place) for name, place in feed.places.items()}


def _pointed(told: Any, pointer: str) -> Any:
    """What a JSON pointer leads to: RFC 6901, 4."""
    for part in pointer.split("/")[1:]:
        name = part.replace("~1", "/").replace("~0", "~")
        if isinstance(told, dict) and name in told:
            told = told[name]
        elif isinstance(told, list) and re.fullmatch(r"0|[1-9]\d{0,8}", name, re.ASCII) and int(name) < len(told):
            told = told[int(name)]
        else:
            refuse(f"there is nothing at {pointer} in the answer")
    return told


def _from_csv(body: bytes, feed: Feed) -> dict[str, Any]:
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError:
        refuse("the answer is not text in UTF-8")
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in DELIMITERS if mark in first), ",")
    try:
        rows = [
            row for row in csv.reader(io.StringIO(text, ""), delimiter=mark, strict=True) if any(c.strip() for c in row)
        ]
    except csv.Error as error:
        refuse(f"the answer is not CSV ({error})")
    header = [cell.strip().lower() for cell in rows[0]] if rows else []
    named = any(place.strip().lower() in header for place in feed.places.values())
    table = rows[1:] if named else [row for row in rows if any(letter.isdigit() for cell in row for letter in cell)]
    if not table:
        refuse("the answer holds no row")
    row = table[0 if feed.row == "first" else -1]
    return {name: _cell(row, header, place) for name, place in feed.places.items()}


def _cell(row: list[str], header: list[str], place: str) -> str:
    if place.strip().lower() in header:
        column = header.index(place.strip().lower())
    elif re.fullmatch(r"[1-9]\d{0,3}", place, re.ASCII):
        column = int(place) - 1
    else:
        refuse(f"no column is called “{place[:40]}”")
    if column >= len(row):
        refuse(f"the row has no column {place[:40]}")
    return row[column].strip()


# ---- reading what stands there


def _price(told: Any) -> float:
    try:
        price = read_number(told)
    except PydanticCustomError as refused:
        refuse(f"the price is {_quoted(told)}: {refused.message()}")
    if not isinstance(price, float) or not math.isfinite(price):
        refuse(f"the price is {_quoted(told)}, which is no number")
    if not 0.0 < price <= LARGEST_PRICE:
        refuse(f"the price is {_quoted(told)}: it must be above 0 and no larger than {LARGEST_PRICE:.0f}")
    return price


def _currency(told: Any, feed: Feed) -> str:
    if told is None and not feed.currency_at:
        return feed.currency or ""
    code = told.strip().upper() if isinstance(told, str) else ""
    if code not in list_currencies():
        refuse(f"the currency is {_quoted(told)}, which is none of ISO 4217")
    if feed.currency not in (None, code):
        refuse(f"the price is in {code}, not in {feed.currency}")
    return code


def _unit(told: Any, feed: Feed) -> str:
    if told is None and not feed.unit_at:
        return feed.unit or ""
    words = re.sub(r"[\s_.]+", " ", told).strip().lower().removeprefix("per ") if isinstance(told, str) else ""
    if words in _AVOIRDUPOIS and feed.unit == "ozt":
        return "ozt"
    if words in _AVOIRDUPOIS:
        refuse(
            f"the unit is {_quoted(told)}: 28.35 g or 31.10 g? Set the unit of the feed to troy ounce if that is meant"
        )
    if words not in UNITS:
        refuse(f"the unit is {_quoted(told)}, which is none of troy ounce, gram, kilogram and tola")
    if feed.unit not in (None, UNITS[words]):
        refuse(f"the price is per {UNITS[words]}, not per {feed.unit}")
    return UNITS[words]


def _moment(told: Any, now: datetime) -> datetime | None:
    if told is None:
        return None
    moment = _from_seconds(told) if isinstance(told, int | float) and not isinstance(told, bool) else _from_text(told)
    if moment is None:
        refuse(f"the time is {_quoted(told)}; ISO 8601 or seconds since 1970 are read")
    if moment > now + AHEAD:
        refuse(f"the price is dated {moment.isoformat(timespec='minutes')}, which is after now")
    return moment


def _from_text(told: Any) -> datetime | None:
    text = told.strip() if isinstance(told, str) else ""
    if re.fullmatch(r"\d{9,13}(\.\d+)?", text, re.ASCII):
        return _from_seconds(float(text))
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def _from_seconds(told: float) -> datetime | None:
    try:
        return datetime.fromtimestamp(told / 1000 if told > _MILLISECONDS else told, UTC)
    except (ValueError, OverflowError, OSError):
        return None


def _quoted(told: Any) -> str:
    return f"“{shown(told)[:40]}”" if told not in ("", None) else "missing"
