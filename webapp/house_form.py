"""What was typed into the page of the house's settings <-> the settings; problems beside their fields."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

from babel import Locale
from pydantic import ValidationError
from pydantic_core import PydanticCustomError
from werkzeug.datastructures import MultiDict

from valuation import Problem, problems_of
from valuation.errors import shown
from valuation.number import read_number
from webapp.amounts_typed import ungrouped
from webapp.fields import Field, field_in, without_positions
from webapp.forms import Reading
from webapp.house import House, ended, settings_paths
from webapp.per_cent import in_per_cent
from webapp.retyped import typed_from
from webapp.typed import Typed

TERMS = ("buyer", "refiner", "collector")
BOUNDS = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal"})
OWN = tuple(path for path in settings_paths() if path.partition(".")[0] not in TERMS)
# The branches under which every term of the page counts.
_OPEN = {"choose.refiner": "yes", "choose.collector": "premium_frac"}


@dataclass(frozen=True)
class HouseForm(Typed):
    """The page as typed."""

    def field(self, path: str) -> Field | None:
        """The setting of a path."""
        return field_in(House, path)

    def label(self, name: str) -> str:
        """Label of the setting that an input of this name belongs to, with its table or tier."""
        path = without_positions(name)
        spec = field_in(House, path) or field_in(House, path.rpartition(".")[0])
        words = spec.label if spec else "Payable"
        section = House.model_fields[name.partition(".")[0]].title if name.startswith(("refiner", "collector")) else ""
        tier = [f"tier {int(part) + 1}" for part in name.split(".") if part.isdigit()]
        end = {"low": ["from"], "likely": ["likely"], "high": ["to"]}.get(name.rpartition(".")[2], [])
        return ", ".join(filter(None, (section, words, *tier, *end)))


@dataclass(frozen=True)
class Change:
    """A setting that somebody else changed.

    Parameters
    ----------
    was : str or None
        Before; None if that is not known any more.
    now : str
        In the file now.
    here : str
        What this page says instead; empty if it follows the file.
    """

    label: str
    was: str | None
    now: str
    here: str


def form_of(house: House) -> HouseForm:
    """The page as one would have typed these settings."""
    entered = house.entries()
    texts = typed_from({name: entered[name] for name in TERMS if name in entered}).texts
    for name in [name for name in texts if name.startswith("choose.")]:
        texts.pop(name)
    for path in OWN:
        held: Any = entered
        for key in path.split("."):
            held = held.get(key, {})
        if held != {}:
            texts[path] = held if isinstance(held, str) else _text_of(path, held)
    return HouseForm(texts)


def read(form: HouseForm, locale: Locale | None = None) -> House | HouseForm:
    """The settings that were typed, or the form with its problems beside the fields.

    Amounts of money may be grouped as the locale groups them.
    """
    reading = Reading(Typed(MultiDict([*form.texts.items(multi=True), *_OPEN.items()])), datetime.now(UTC), UTC, locale)
    terms = reading.entries
    entries: dict[str, Any] = {name: terms[name] for name in TERMS if name in terms}
    for path in OWN:
        section, _, name = path.rpartition(".")
        text = form.text(path)
        if text.strip():
            (entries.setdefault(section, {}) if section else entries)[name] = _entry_of(path, text, locale)
    try:
        return House.model_validate(entries)
    except ValidationError as refused:
        problems = tuple(_sentence(reading.told(problem)) for problem in problems_of(refused, House))
        return HouseForm(form.texts, problems)


def _text_of(path: str, held: Any) -> str:
    spec = field_in(House, path)
    if spec is not None and spec.in_per_cent:
        return f"{(Decimal(repr(held)) * 100).normalize():f}"
    return shown(held)


def _entry_of(path: str, text: str, locale: Locale | None) -> str | Decimal:
    """A typed text as the settings hold it: per cent as a fraction; what is no number is left for them to refuse."""
    spec = field_in(House, path)
    if spec is not None and spec.is_money:
        return ungrouped(text, locale)
    if spec is None or not spec.in_per_cent:
        return text
    try:
        return Decimal(repr(read_number(text.strip().removesuffix("%")))) / 100
    except PydanticCustomError:
        return text


def _sentence(problem: Problem) -> Problem:
    """The problem, told as a sentence of its own."""
    spec = field_in(House, problem.field)
    is_own = problem.field in OWN and spec is not None and spec.in_per_cent
    words = in_per_cent(problem.message) if is_own and problem.code in BOUNDS else problem.message
    return problem.model_copy(update={"message": ended(words[:1].upper() + words[1:])})


def rebased(form: HouseForm, now: House, before: House | None) -> tuple[HouseForm, list[Change]]:
    """The form on top of what somebody else saved, and what that was.

    What was typed here stays; a setting that nobody touched here follows the file. Without `before` nobody knows which
    those are, and all that differs stays as it is here.
    """
    in_file, at_first = form_of(now).texts, None if before is None else form_of(before).texts
    texts, changes = MultiDict(form.texts), []
    for name in _names(form.texts, in_file, at_first or {}):
        is_now, here = in_file.get(name, ""), form.texts.get(name, "").strip()
        was = None if at_first is None else at_first.get(name, "")
        if is_now in (was, here):
            continue
        follows = was is not None and here == was
        if follows:
            texts[name] = is_now
        changes.append(Change(form.label(name), was, is_now, "" if follows else here or "empty"))
    return HouseForm(texts), changes


def _names(*of: Mapping[str, str]) -> Iterator[str]:
    """Names of settings in any of these texts, each once, in the order of the page."""
    order = {path: i for i, path in enumerate(settings_paths())}
    found = {name: place for texts in of for name in texts if (place := _place(name, order)) is not None}
    return iter(sorted(found, key=lambda name: (found[name], name)))


def _place(name: str, order: Mapping[str, int]) -> int | None:
    path = without_positions(name)
    while path:
        if path in order:
            return order[path]
        path = path.rpartition(".")[0]
    return None
