"""What was typed into the quote form, and how the form speaks of it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from werkzeug.datastructures import MultiDict

from valuation import Problem
from webapp.branches import chosen_branches, is_drawn
from webapp.fields import MOST_READINGS, SPREAD_PARTS, Field, field_at, field_named

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
OTHER_SIDE = {"buyer": "seller", "seller": "buyer"}


def _names_a_speaker(name: str) -> bool:
    return name.startswith("said.") and name.endswith(".by")


@dataclass(frozen=True)
class Typed:
    """The form as typed; nothing of it is ever changed or dropped.

    Parameters
    ----------
    texts : MultiDict
        Field names (dotted paths with positions) and their texts.
    read_as : mapping of str to str
        Names of fields that might have been read in another way, and how they were read.
    """

    texts: MultiDict[str, str]
    problems: tuple[Problem, ...] = ()
    needed: tuple[str, ...] = ()
    read_as: Mapping[str, str] = field(default_factory=dict)

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
        # Who spoke is set before anything is said, so it does not make a row.
        keys = [key for key, _ in self._filled if key.startswith(start) and not _names_a_speaker(key)]
        typed = {key.removeprefix(start).partition(".")[0] for key in keys}
        return {int(row) for row in typed if row.isascii() and row.isdigit()}

    @cached_property
    def _filled(self) -> list[tuple[str, str]]:
        return [(name, text) for name, text in self.texts.items(multi=True) if text.strip()]

    def speaker(self, row: int) -> str:
        """Who said the figure of a row: as entered, or whose turn it is; the seller speaks first."""
        typed = self.text(f"said.{row}.by").strip()
        if typed:
            return typed
        said = [i for i in range(row) if self.text(f"said.{i}.figure").strip()]
        return OTHER_SIDE.get(self.speaker(said[-1]), "seller") if said else "seller"

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
        spec = field_named(name) or field_named(f"{name}.low")
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

    def is_wrong_in(self, at: str, names: Iterable[str]) -> bool:
        """Whether one of these fields holds a problem."""
        return bool(self.problems) and any(self.messages(f"{at}.{name}") for name in names)

    def entered(self, at: str, names: Iterable[str]) -> list[str]:
        """What was typed in these fields, each with its label, for the line of a fold."""
        told = []
        for path in (f"{at}.{name}" for name in names):
            spec = self.field(path)
            typed = self._typed_words(path, spec) if spec else ""
            if spec and typed:
                unit = "" if spec.unit.startswith("money") else spec.unit
                told.append(f"{spec.label.lower()} {typed} {unit}".rstrip())
        return told

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

    def spread_is_begun(self, path: str) -> bool:
        """Whether any part of a spread was typed."""
        return any(self.text(f"{path}.{part}").strip() for part in SPREAD_PARTS)

    def spread_is_shaped(self, path: str) -> bool:
        """Whether the rarer parts of a spread were used."""
        return any(self.text(f"{path}.{part}").strip() for part in ("sd", "coverage_frac"))
