"""Prices entered by hand on their page: what was typed -> a price to keep, or the problems beside the fields."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, tzinfo

from babel import Locale
from babel.numbers import list_currencies
from pydantic_core import PydanticCustomError

from valuation.number import read_number
from webapp.amounts_typed import ungrouped
from webapp.feed_answer import AHEAD
from webapp.fields import field_at
from webapp.store.prices import RATE, Price

METALS = (("gold", "gold"), ("silver", "silver"), (RATE, "exchange rate"))
LARGEST = 1e10
LONGEST_NOTE = 60
EARLIEST = 1970


@dataclass(frozen=True)
class Entry:
    """What was typed, and what is wrong with it, by field."""

    texts: Mapping[str, str]
    problems: dict[str, str] = field(default_factory=dict)

    def text(self, name: str) -> str:
        """What was typed in a field."""
        return self.texts.get(name, "")


def units() -> tuple[tuple[str, str], ...]:
    """Mass units of a price, with their words."""
    spec = field_at("spot.unit")
    assert spec is not None
    return spec.choices


def read(texts: Mapping[str, str], now: datetime, zone: tzinfo, locale: Locale | None = None) -> Price | Entry:
    """The price that was typed, or what is wrong with it."""
    entry = Entry(texts)
    metal = entry.text("metal")
    if metal not in dict(METALS):
        entry.problems["metal"] = "Choose what it is the price of."
    # A rate of 1,234 may well be 1.234, as no price of a metal is.
    amount = _amount(entry, None if metal == RATE else locale)
    currency = _code(entry, "currency")
    unit = _code(entry, "one_of") if metal == RATE else entry.text("unit")
    if metal == RATE and unit and unit == currency:
        entry.problems["one_of"] = "The same as the currency of the price: nothing to exchange."
    if metal != RATE and unit not in dict(units()):
        entry.problems["unit"] = "Choose the unit that it is the price of."
    seen_at = _moment(entry, now, zone)
    note = " ".join(entry.text("source").split())
    if len(note) > LONGEST_NOTE or not note.isprintable():
        entry.problems["source"] = f"One line of at most {LONGEST_NOTE} characters."
    if entry.problems:
        return entry
    return Price(metal, currency, unit, amount, seen_at.astimezone(UTC), now, is_fed=False, source=note)


def _amount(entry: Entry, locale: Locale | None) -> float:
    try:
        amount = read_number(ungrouped(entry.text("price"), locale))
    except PydanticCustomError as refused:
        words = refused.message()
        entry.problems["price"] = words[:1].upper() + words[1:] + ("" if words.endswith(("?", ".")) else ".")
        return 0.0
    assert isinstance(amount, float)
    if not 0 < amount <= LARGEST:
        entry.problems["price"] = f"Must be above 0 and at most {LARGEST:.0f}."
    return amount


def _code(entry: Entry, name: str) -> str:
    code = entry.text(name).strip().upper()
    if code not in list_currencies():
        entry.problems[name] = "Not a currency of ISO 4217; write its three letters, such as USD."
    return code


def _moment(entry: Entry, now: datetime, zone: tzinfo) -> datetime:
    text = entry.text("seen_at").strip()
    if not text or text.casefold() == "now":
        return now
    try:
        if len(text) > len("10:24:00"):
            moment = datetime.fromisoformat(text)
        else:
            moment = datetime.combine(now.astimezone(zone).date(), time.fromisoformat(text.zfill(5)))
    except ValueError:
        entry.problems["seen_at"] = "A time of today such as 10:20, or a date and time such as 2026-03-14 10:20."
        return now
    if not EARLIEST <= moment.year <= now.year + 1:
        entry.problems["seen_at"] = f"A moment since {EARLIEST} is needed, and not one after now."
        return now
    moment = moment if moment.tzinfo else moment.replace(tzinfo=zone)
    if moment > now + AHEAD:
        entry.problems["seen_at"] = "That is after now."
    return moment
