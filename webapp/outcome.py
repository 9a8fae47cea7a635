"""What became of an agreed sheet: the form that says it, the note that keeps it, the comparable sale that it makes."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from babel import Locale
from pydantic import ValidationError

from valuation import problems_of
from valuation.field import Section
from valuation.mass import G_PER_OZT
from valuation.money import currency_digits
from valuation.number import read_number
from valuation.outcome import Outcome, Refined, Sold, read_outcome
from webapp.amounts_typed import ungrouped
from webapp.store.books import Content
from webapp.store.deeds import Deed
from webapp.wording import Wording

KINDS: Mapping[str, type[Section]] = {"refined": Refined, "sold": Sold}
FIELDS: Mapping[str, tuple[str, ...]] = {
    "refined": ("fine_gold_g", "u_fine_gold_g", "paid", "days"),
    "sold": ("price", "costs", "gold_price", "days"),
}
_MONEY = ("paid", "price", "costs")
_MASSES = ("fine_gold_g", "u_fine_gold_g")
_NEEDED = {
    "fine_gold_g": "Say how much fine gold the refiner found.",
    "paid": "Say what the refiner paid.",
    "days": "Say after how many days it was paid.",
    "price": "Say what the buyer paid.",
    "gold_price": "Say the gold price of that day: a premium is what was paid over the gold of the day.",
}


@dataclass(frozen=True)
class OutcomeField:
    """One field of the form; `name` is that of the input."""

    name: str
    label: str
    about: str
    unit: str


@dataclass(frozen=True)
class Noted:
    """The outcome as it is known now.

    Parameters
    ----------
    outcome : Outcome
        The newest that was noted.
    deed : Deed
        Which says so.
    corrections : int
        How often it was corrected.
    """

    outcome: Outcome
    deed: Deed
    corrections: int


def fields(kind: str, currency: str) -> tuple[OutcomeField, ...]:
    """The fields that say an outcome of this kind."""
    model = KINDS[kind].model_fields
    found = []
    for name in FIELDS[kind]:
        extra = model[name].json_schema_extra
        unit = str(extra["unit"]) if isinstance(extra, dict) else ""
        unit = "" if name in _MASSES or name == "gold_price" else unit.replace("money", currency)
        found.append(OutcomeField(input_name(kind, name), model[name].title or "", model[name].description or "", unit))
    return tuple(found)


def input_name(kind: str, name: str) -> str:
    """What an input is called: of both kinds stand on one form, and only the days of each bear one name."""
    return f"sold_{name}" if kind == "sold" and name == "days" else name


def read(
    entries: Mapping[str, str], currency: str, locale: Locale | None = None
) -> tuple[Outcome | None, dict[str, str]]:
    """The outcome that was typed, or what is wrong beside each input; amounts may be grouped as the locale does."""
    kind = entries.get("kind") if entries.get("kind") in KINDS else "refined"
    assert kind is not None
    typed = {name: entries.get(input_name(kind, name), "").strip() for name in FIELDS[kind]}
    told: dict[str, Any] = {"kind": kind, "currency": currency, "note": entries.get("note", "").strip()}
    amounts = (*_MONEY, "gold_price")
    told |= {name: ungrouped(text, locale) if name in amounts else text for name, text in typed.items() if text}
    if kind == "refined":
        told |= _in_grams(typed, entries.get("fine_gold_unit", "g"))
    elif entries.get("unit"):
        told["unit"] = entries["unit"]
    try:
        outcome = read_outcome(told)
    except ValidationError as refused:
        return None, _problems(refused, kind, typed)
    return _in_coins(outcome), {}


def _in_grams(typed: Mapping[str, str], unit: str) -> dict[str, float]:
    """Masses that were typed in ounces; what is no number is left for the model to refuse."""
    if unit != "ozt":
        return {}
    found = {}
    for name in _MASSES:
        try:
            number = read_number(typed[name]) if typed[name] else None
        except ValueError:
            continue
        if isinstance(number, float):
            found[name] = number * G_PER_OZT
    return found


def _problems(refused: ValidationError, kind: str, typed: Mapping[str, str]) -> dict[str, str]:
    problems: dict[str, str] = {}
    for problem in problems_of(refused, KINDS[kind]):
        name = problem.field.rpartition(".")[2]
        text = typed.get(name, "")
        words = f"“{text[:40]}”: {problem.message}." if text else _NEEDED.get(name, f"{problem.message}.")
        problems.setdefault(input_name(kind, name), words)
    return problems


def _in_coins(outcome: Outcome) -> Outcome:
    amounts = {name: getattr(outcome, name) for name in _MONEY if hasattr(outcome, name)}
    return outcome.model_copy(update={name: _coins(amount, outcome.currency) for name, amount in amounts.items()})


def _coins(amount: Decimal, currency: str) -> Decimal:
    return amount.quantize(Decimal(1).scaleb(-currency_digits(currency)), ROUND_HALF_EVEN)


# ---- the note


def as_note(outcome: Outcome) -> str:
    """The outcome as a deed keeps it."""
    return json.dumps(outcome.model_dump(mode="json", exclude_none=True), ensure_ascii=False)


def noted(history: Sequence[Deed]) -> Noted | None:
    """The newest outcome that can be read among what happened to a sheet."""
    told = [(deed, outcome) for deed in history if deed.kind == "settled" and (outcome := _read(deed.note)) is not None]
    return Noted(told[-1][1], told[-1][0], len(told) - 1) if told else None


def newest(history: Sequence[Deed]) -> str:
    """Digest of the deed that a correction follows; empty before any outcome."""
    digests = [deed.digest for deed in history if deed.kind == "settled"]
    return digests[-1] if digests else ""


def _read(note: str) -> Outcome | None:
    try:
        return read_outcome(json.loads(note))
    except ValueError:
        return None


def typed_from(outcome: Outcome) -> dict[str, str]:
    """The form as one would have typed this outcome."""
    texts = {"kind": outcome.kind, "note": outcome.note}
    for name in FIELDS[outcome.kind]:
        value = getattr(outcome, name)
        if value is not None:
            text = f"{_coins(value, outcome.currency):f}" if isinstance(value, Decimal) else f"{value:.10g}"
            texts[input_name(outcome.kind, name)] = text
    if isinstance(outcome, Sold):
        texts["unit"] = outcome.unit
    return texts


def words(note: str, w: Wording) -> str:
    """What a deed says came of a piece, in a few words."""
    told = _read(note)
    if told is None:
        return "its figures cannot be read"
    days = w.number(told.days, 1, 0)
    if isinstance(told, Refined):
        figures = f"{w.grams(told.fine_gold_g)} of fine gold, {w.price(float(told.paid))} paid after {days} days"
    else:
        figures = f"sold for {w.price(float(told.price))} after {days} days"
    return f"{figures}; {told.note}" if told.note else figures


# ---- the comparable sale


class NoComparable(ValueError):  # noqa: N818 - told as an event
    """Why a sale cannot be compared, as a sentence."""


def sheet_note(number: str) -> str:
    """What the book of sales says of a sale of a sheet's."""
    return f"own sale, sheet {number}"


def comparable(sale: Sold, number: str, fine_g: float, agreed_at: datetime, zone: tzinfo) -> tuple[str, dict[str, Any]]:
    """The currency and the terms of a comparable sale, from the sale of a sheet's piece.

    Parameters
    ----------
    fine_g : float
        Fine gold of the piece as quoted, the median [g].
    agreed_at : datetime
        When the house bought it; the days until the sale count from there.

    Raises
    ------
    NoComparable
        No gold was quoted.
    """
    if not fine_g > 0.0:
        raise NoComparable("No gold was foretold in this piece, so its price cannot be compared with gold.")
    day = (agreed_at.astimezone(zone) + timedelta(days=sale.days)).date()
    terms: dict[str, Any] = {
        "date": day.isoformat(),
        "price": float(sale.price),
        "fine_g": float(f"{fine_g:.6g}"),
        "spot": sale.gold_price,
        "spot_unit": sale.unit,
        "note": sheet_note(number),
    }
    return sale.currency, terms


def is_of_sheet(content: Content, number: str) -> bool:
    """Whether an entry of the book of sales is the sale of this sheet's piece."""
    return content.terms.get("note") == sheet_note(number)
