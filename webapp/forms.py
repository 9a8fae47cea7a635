"""What was typed into the quote form -> the nested entries of a request; problems beside their fields."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, time, tzinfo
from decimal import Decimal
from functools import cached_property
from typing import Any

from babel import Locale
from pydantic_core import PydanticCustomError

from valuation import Problem, QuoteRequest, RequestRefused, ValuationError, read_request
from valuation.number import read_number
from webapp.amounts_typed import told_back, ungrouped
from webapp.branches import ROUTES, chosen_branches, is_open, wanted
from webapp.fields import MOST_READINGS, SPREAD_PARTS, Field, field_named, is_placed
from webapp.per_cent import in_per_cent
from webapp.typed import Typed

# What the engine calls a problem where something is only not yet typed.
_NOT_YET = frozenset({"missing", "missing_reading", "missing_depth", "missing_share", "collector", "rock", "too_short"})
# Problems whose sentences name limits of the quantity itself.
_BOUNDS = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal", "bound", "spread"})
_HALF_A_SPREAD = ({"low"}, {"high"}, {"low", "likely"}, {"likely", "high"}, {"sd"}, {"coverage_frac"})


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
    locale : Locale or None
        How the reader groups amounts of money; None reads as strictly as the engine.
    """

    typed: Typed
    now: datetime
    zone: tzinfo
    locale: Locale | None = None

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
            spec = field_named(name)
            # A page writes no other names; of one that a stranger makes up, a position would stand for a table.
            if spec is not None and is_placed(name) and is_open(name, branches) and self._is_said(name):
                yield name, spec

    def _is_said(self, name: str) -> bool:
        """Whether a name counts; of figures said only those that were named do, whoever the form says would speak."""
        return not name.startswith("said.") or bool(self.typed.text(f"{name.rpartition('.')[0]}.figure").strip())

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
        for place, said in nested.get("said", {}).items():
            said.setdefault("by", self.typed.speaker(self._places["said"][int(place)]))
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
        if spec.is_money:
            return ungrouped(text.strip(), self.locale)
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
        return Typed(self.typed.texts, tuple(wrong), tuple(dict.fromkeys(needed)), self._read_as())

    def _read_as(self) -> dict[str, str]:
        """Amounts that might have meant another, told back in the reader's figures."""
        amounts = (
            (name, told_back(self.typed.text(name), self.locale)) for name, spec in self._names() if spec.is_money
        )
        return {name: told for name, told in amounts if told}

    def told(self, problem: Problem) -> Problem:
        """A problem of the request as the form tells it: at the field as typed, in per cent where the screen is."""
        shown = self.on_form(problem.field)
        spec = field_named(shown) or field_named(f"{shown}.low")
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
