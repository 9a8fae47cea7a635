"""What was typed into the quote form <-> the nested entries of a request; problems beside their fields."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time, tzinfo
from decimal import Decimal
from functools import cached_property
from typing import Any

from pydantic_core import PydanticCustomError
from werkzeug.datastructures import MultiDict

from valuation import Problem, QuoteRequest, RequestRefused, ValuationError, read_request
from valuation.number import read_number
from webapp.branches import CHOICES, ROUTES, chosen_branches, is_drawn, is_open, wanted
from webapp.fields import MOST_READINGS, MOST_ROWS, SPREAD_PARTS, Field, field_at
from webapp.per_cent import in_per_cent

# What the engine calls a problem where something is only not yet typed.
_NOT_YET = frozenset({"missing", "missing_reading", "missing_depth", "missing_share", "collector", "rock", "too_short"})
# Problems whose sentences name limits of the quantity itself.
_BOUNDS = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal", "bound", "spread"})
_HALF_A_SPREAD = ({"low"}, {"high"}, {"low", "likely"}, {"likely", "high"}, {"sd"}, {"coverage_frac"})


SECTIONS = {
    "weighing": "Weighing",
    "rock": "Rock",
    "gold": "Gold",
    "spot": "Price",
    "refiner": "Refiner",
    "collector": "Collector",
    "buyer": "Our terms",
    "seller": "Seller",
}
# The groups of the form, and the beginnings of the names of their fields.
GROUPS = {
    "specimen": ("title", "specimen", "quoted_at"),
    "gold": ("weighing", "rock", "gold.measured"),
    "balance": ("weighing",),
    "metal": ("gold.fineness", "gold.copper"),
    "spot": ("spot",),
    "refiner": ("refiner", "other_refiners"),
    "collector": ("collector",),
    "buyer": ("buyer",),
    "seller": ("seller.minimum", "seller.other_bid", "seller.keep_value", "seller.refiner", "seller.effort"),
    "ask": ("seller.asks", "seller.claim"),
    "said": ("said", "buyer.offer"),
}


@dataclass(frozen=True)
class Typed:
    """The form as typed; nothing of it is ever changed or dropped.

    Parameters
    ----------
    texts : MultiDict
        Field names (dotted paths with positions) and their texts.
    """

    texts: MultiDict[str, str]
    problems: tuple[Problem, ...] = ()
    needed: tuple[str, ...] = ()

    def field(self, path: str) -> Field | None:
        """The field of a path, as this form knows it."""
        return field_at(path)

    def text(self, name: str) -> str:
        """What was typed in a field."""
        return self.texts.get(name, "")

    def all_of(self, name: str) -> list[str]:
        """Every repeat of a field, without the empty ones at the end."""
        typed = self.texts.getlist(name)[:MOST_READINGS]
        while typed and not typed[-1].strip():
            typed.pop()
        return typed

    def slots(self, name: str, least: int = 3) -> list[str]:
        """What to show for a repeated field: what was typed and one empty place, at least `least`."""
        typed = self.all_of(name)
        return [*typed, *[""] * max(1, least - len(typed))][:MOST_READINGS]

    def rows(self, name: str, most: int, least: int = 1) -> list[int]:
        """Positions to show of a list of tables: those typed in and one more."""
        return list(range(min(most, max(least, max(self._typed_rows(name), default=-1) + 2))))

    def count(self, name: str) -> int:
        """How many tables of a list have anything typed in them."""
        return len(self._typed_rows(name))

    def _typed_rows(self, name: str) -> set[int]:
        start = f"{name}."
        typed = {key.removeprefix(start).partition(".")[0] for key, _ in self._filled if key.startswith(start)}
        return {int(row) for row in typed if row.isascii() and row.isdigit()}

    @cached_property
    def _filled(self) -> list[tuple[str, str]]:
        return [(name, text) for name, text in self.texts.items(multi=True) if text.strip()]

    def branch(self, name: str) -> str:
        """The branch chosen, or the usual one."""
        return chosen_branches(self.texts)[name]

    def messages(self, path: str) -> list[str]:
        """What is wrong at a field or inside it."""
        return [p.message for p in self.problems if p.field == path or p.field.startswith(f"{path}.")]

    @property
    def carried(self) -> list[tuple[str, str]]:
        """What was typed in branches that are not drawn now, so that going back to them finds it."""
        branches = chosen_branches(self.texts)
        return [(name, text) for name, text in self._filled if not is_drawn(name, branches)]

    def label(self, name: str) -> str:
        """Label of the field of this name, with the reading's number where it has one."""
        spec = _field_named(name) or _field_named(f"{name}.low")
        if spec is None:
            return SECTIONS.get(name.partition(".")[0], "Request")
        last = name.rpartition(".")[2]
        return f"{spec.label}, reading {int(last) + 1}" if last.isdigit() else spec.label

    def anchor(self, path: str) -> str:
        """Where on the form a field of the request is entered; empty if it is not drawn."""
        if path == "buyer.routes":
            return "f-choose.routes"
        drawn = (field_at(path) is not None or path == "gold.measured") and is_drawn(path, chosen_branches(self.texts))
        return f"f-{path}" if drawn else ""

    def troubled(self, group: str) -> bool:
        """Whether a group of the form holds a problem."""
        return any(problem.field.startswith(GROUPS[group]) for problem in self.problems)

    def stated(self, path: str) -> str:
        """A field in one line: what was typed, or what is assumed."""
        spec = field_at(path)
        if spec is None:
            return ""
        typed = self._typed_words(path, spec)
        if typed:
            return f"{typed} {spec.unit}".rstrip() if spec.unit != "money" else typed
        return f"{spec.default_words}, assumed" if spec.default_words else ""

    def _typed_words(self, path: str, spec: Field) -> str:
        if spec.kind == "readings":
            return " · ".join(text.strip() for text in self.all_of(path) if text.strip())
        if spec.kind != "spread":
            typed = self.text(path).strip()
            return dict(spec.choices).get(typed, {"true": "yes", "false": "no"}.get(typed, typed))
        low, likely, high, sd = (self.text(f"{path}.{part}").strip() for part in ("low", "likely", "high", "sd"))
        ends = f"{low} to {high}" if low and high else low or high
        return ", likely ".join(filter(None, (ends, f"{likely} ± {sd}" if sd else likely)))

    def spread_is_shaped(self, path: str) -> bool:
        """Whether the rarer parts of a spread were used."""
        return any(self.text(f"{path}.{part}").strip() for part in ("sd", "coverage_frac"))


@dataclass(frozen=True)
class Reading:
    """A form read at a moment: the entries of a request, and where each list position was typed.

    Parameters
    ----------
    typed : Typed
        The form.
    now : datetime
        Time of the quote unless one was typed.
    zone : tzinfo
        Of times typed without an offset.
    """

    typed: Typed
    now: datetime
    zone: tzinfo

    @cached_property
    def _places(self) -> dict[str, list[int]]:
        """For each list, the typed positions in rising order: position in the request -> position on the form."""
        found: dict[str, set[int]] = {}
        for name, position in self._positions():
            found.setdefault(name, set()).add(position)
        return {name: sorted(places) for name, places in found.items()}

    def _positions(self) -> Iterator[tuple[str, int]]:
        for name, spec in self._names():
            if spec.kind == "readings":
                texts = self.typed.texts.getlist(name)[:MOST_READINGS]
                yield from ((name, i) for i, text in enumerate(texts) if text.strip())
            elif self.typed.text(name).strip():
                parts = name.split(".")
                yield from ((".".join(parts[:i]), int(part)) for i, part in enumerate(parts) if part.isdigit())

    def _names(self) -> Iterator[tuple[str, Field]]:
        branches = chosen_branches(self.typed.texts)
        for name in self.typed.texts:
            spec = _field_named(name)
            if spec is not None and is_open(name, branches):
                yield name, spec

    @cached_property
    def entries(self) -> dict[str, Any]:
        """Nested entries of a request; what is blank is left out, so that the engine states its default."""
        branches = chosen_branches(self.typed.texts)
        nested: dict[str, Any] = {section: {} for section in _sections(branches)}
        for name, spec in self._names():
            if spec.kind == "readings":
                value: Any = [text.strip() for text in self.typed.all_of(name) if text.strip()]
            else:
                value = self._value(name, spec)
            if value not in ("", []):
                _put(nested, self._in_request(name), value)
        for terms in _refiners(nested):
            _complete_first_tier(terms)
        if branches["choose.routes"] in ROUTES:
            nested.setdefault("buyer", {})["routes"] = list(ROUTES[branches["choose.routes"]])
        nested.setdefault("quoted_at", self.now)
        return {key: _shaped(value) for key, value in nested.items()}

    def _value(self, name: str, spec: Field) -> Any:
        text = self.typed.text(name)
        if not text.strip():
            return ""
        if spec.kind == "moment":
            return self._moment(text.strip())
        if spec.in_per_cent or name.endswith(".coverage_frac"):
            return _fraction(text)
        return text if spec.kind == "text" else text.strip()

    def _moment(self, text: str) -> datetime | str:
        """A date and time, a time of the day of the quote, or now; anything else is left for the engine to refuse."""
        if text.casefold() == "now":
            return self.now
        try:
            moment = datetime.fromisoformat(text) if len(text) > len("10:24:00") else _clock_time(text, self.now)
        except ValueError:
            return text
        return moment if moment.tzinfo else moment.replace(tzinfo=self.zone)

    def _in_request(self, name: str) -> list[str]:
        parts = name.split(".")
        for i, part in enumerate(parts):
            if part.isdigit():
                parts[i] = str(self._places[".".join(parts[:i])].index(int(part)))
        return parts

    def on_form(self, path: str) -> str:
        """Where a problem of the request is shown: its list positions as they were typed."""
        parts = path.split(".")
        for i, part in enumerate(parts):
            places = self._places.get(".".join(parts[:i]), [])
            if part.isdigit() and int(part) < len(places):
                parts[i] = str(places[int(part)])
        return ".".join(parts)

    def judged(self, refused: Iterable[Problem]) -> Typed:
        """The form with the problems beside its fields, and what is still needed apart from them."""
        needed, wrong = list(self._blanks()), []
        claimed = chosen_branches(self.typed.texts)["choose.gold"] == "claimed"
        for problem in refused:
            if claimed and problem.field in ("weighing", "rock") and problem.code == "missing":
                continue  # the claim stands among the blanks, and is all that is asked for here
            shown = self.on_form(problem.field)
            if (problem.code in _NOT_YET and not problem.value) or self._half_typed(shown):
                needed.append(shown)
            else:
                wrong.append(self.told(problem))
        return Typed(self.typed.texts, tuple(wrong), tuple(dict.fromkeys(needed)))

    def told(self, problem: Problem) -> Problem:
        """A problem of the request as the form tells it: at the field as typed, in per cent where the screen is."""
        shown = self.on_form(problem.field)
        spec = _field_named(shown) or _field_named(f"{shown}.low")
        scaled = problem.code in _BOUNDS and spec is not None and _speaks_in_per_cent(shown, spec)
        message = in_per_cent(problem.message) if scaled else problem.message
        return problem.model_copy(update={"field": shown, "message": message})

    def _blanks(self) -> Iterator[str]:
        for path in wanted(chosen_branches(self.typed.texts), self.typed.texts):
            names = [path, *(f"{path}.{part}" for part in SPREAD_PARTS)]
            if not any(text.strip() for name in names for text in self.typed.texts.getlist(name)):
                yield path

    def _half_typed(self, path: str) -> bool:
        given = {part for part in SPREAD_PARTS if self.typed.text(f"{path}.{part}").strip()}
        return given in _HALF_A_SPREAD

    def request(self) -> QuoteRequest:
        """The request that was typed.

        Raises
        ------
        RequestRefused
            With every problem at once.
        """
        return read_request(self.entries)


def refused_at(error: RequestRefused | ValuationError) -> tuple[Problem, ...]:
    """The problems of either kind of refusal."""
    return error.problems


def _field_named(name: str) -> Field | None:
    """Field that an input of this name belongs to; a spread is typed in parts."""
    if len(name) > 120 or any(int(part) >= MOST_ROWS for part in name.split(".") if part.isdigit() and part.isascii()):
        return None
    path, _, part = name.rpartition(".")
    if part in SPREAD_PARTS:
        spec = field_at(path) if path else None
        return spec if spec is not None and spec.kind == "spread" else None
    spec = field_at(name)
    return None if spec is None or spec.kind == "spread" else spec


def _speaks_in_per_cent(name: str, spec: Field) -> bool:
    return spec.in_per_cent or name.endswith(".coverage_frac")


def _sections(branches: Mapping[str, str]) -> Iterator[str]:
    """Sections that the request has even if nothing is typed in them."""
    if branches["choose.gold"] == "weighed":
        yield from ("weighing", "rock")
    yield "spot"
    if branches["choose.refiner"] == "yes":
        yield "refiner"
    if branches["choose.collector"] != "no":
        yield "collector"


def _refiners(nested: dict[str, Any]) -> Iterator[dict[str, Any]]:
    yield nested.get("refiner", {})
    yield nested.get("seller", {}).get("refiner", {})
    yield from nested.get("other_refiners", {}).values()


def _complete_first_tier(refiner: dict[str, Any]) -> None:
    """The first tier starts at 0, also where only its share was typed."""
    first = refiner.get("payable", {}).get("0")
    if first is not None and first.keys() == {"frac"}:
        first["from_ozt"] = "0"


def _put(nested: dict[str, Any], parts: list[str], value: Any) -> None:
    for part in parts[:-1]:
        nested = nested.setdefault(part, {})
    nested[parts[-1]] = value


def _shaped(value: Any) -> Any:
    if not isinstance(value, dict):
        return value
    inner = {key: _shaped(item) for key, item in value.items()}
    if inner.keys() == {"likely"}:  # a spread of which only the likely value was typed
        return inner["likely"]
    if inner.keys() == {"likely", "sd"}:
        return {"value": inner["likely"], "sd": inner["sd"]}
    if inner and all(key.isdigit() for key in inner):
        return [inner[key] for key in sorted(inner, key=int)]
    return inner


def _clock_time(text: str, now: datetime) -> datetime:
    return datetime.combine(now.date(), time.fromisoformat(text))


def _fraction(text: str) -> str | Decimal:
    """Fraction of a text in per cent; what is no number is left as it is, for the engine to refuse."""
    bare = text.strip().removesuffix("%").strip()
    try:
        number = read_number(bare)
    except PydanticCustomError:
        return text
    return Decimal(repr(number)) / 100


def typed_from(entries: Mapping[str, Any]) -> Typed:
    """The form as one would have typed these entries of a request."""
    texts: MultiDict[str, str] = MultiDict()
    for name, text in _texts(entries, ""):
        texts.add(name, text)
    for choice in CHOICES:
        texts[choice.name] = choice.of_entries(entries)
    return Typed(texts)


def blank_form(house: Mapping[str, Any], *, claimed: bool = False) -> Typed:
    """The form of a new quote: the commonest choices made, the terms of the house entered, the rest empty.

    `claimed` starts it from what the seller says, as an asking price is checked before anything is weighed.
    """
    form = typed_from({"weighing": {"method": "suspended"}, "rock": {"kind": "vein-quartz"}, **house})
    if claimed:
        form.texts["choose.gold"] = "claimed"
    form.texts["choose.collector"] = "no"  # how a collector sells does not say that there is one
    return form


def _texts(value: Any, path: str) -> Iterator[tuple[str, str]]:
    spec = field_at(path) if path else None
    if spec is not None and spec.kind == "spread" and not isinstance(value, Mapping):
        value = {"likely": value}
    if spec is not None and spec.kind == "spread" and isinstance(value, Mapping):
        parts = {("likely" if key == "value" else key): item for key, item in value.items()}
        for part, item in parts.items():
            as_share = spec.in_per_cent or part == "coverage_frac"
            yield f"{path}.{part}", _per_cent_text(item) if as_share else _text(item)
    elif spec is not None and spec.kind == "readings":
        for item in value if isinstance(value, list | tuple) else [value]:
            yield path, _text(item)
    elif spec is not None:
        yield path, _per_cent_text(value) if spec.in_per_cent else _text(value)
    elif path.endswith(".payable") and not isinstance(value, list | tuple):
        yield from _texts([{"from_ozt": 0.0, "frac": value}], path)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _texts(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list | tuple) and path != "buyer.routes":
        for i, item in enumerate(value):
            yield from _texts(item, f"{path}.{i}")


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes" if not value.second and not value.microsecond else "seconds")
    if isinstance(value, float):
        return f"{Decimal(repr(value)):f}".removesuffix(".0")
    return str(value)


def _per_cent_text(value: Any) -> str:
    try:
        number = read_number(value)
    except PydanticCustomError:
        return _text(value)
    scaled = (Decimal(repr(number)) * 100).normalize()
    return f"{scaled:f}"
