"""The page of a lot: what was typed, and the lot that it means under the house's terms."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from webapp.house import House
from webapp.lot_file import FileRefused, LotProblem, LotRefused, LotText, lot_text
from webapp.request_file import parsed

# Names of the fields, and what each fills; those of `terms` and `pieces` hold texts of their own.
FIELDS = ("title", "gold", "rock", "readability", "minimum", "other_bid", "terms", "pieces", "gold_seen_at")
_PATHS = {
    "title": ("title",),
    "gold": ("spot", "gold"),
    "rock": ("rock", "kind"),
    "readability": ("weighing", "readability_g"),
    "minimum": ("seller", "minimum"),
    "other_bid": ("seller", "other_bid"),
}
USUAL_ROCK = "vein-quartz"  # as a new quote has it
_FIELD_AT = {".".join(path): name for name, path in _PATHS.items()}
LABELS = {
    "title": "Name of the lot",
    "gold": "Gold price",
    "rock": "Rock",
    "readability": "Smallest step of the balance",
    "minimum": "Seller's minimum",
    "other_bid": "Another bid",
    "terms": "Further terms",
    "pieces": "Pieces",
}


@dataclass(frozen=True)
class LotForm:
    """What was typed, by field."""

    texts: Mapping[str, str]

    @classmethod
    def of(cls, entries: Iterable[tuple[str, str]]) -> LotForm:
        """From names and texts; what is no field is left out."""
        return cls({name: text for name, text in entries if name in FIELDS})

    def text(self, name: str) -> str:
        """What stands in a field."""
        return self.texts.get(name, "")

    @property
    def entries(self) -> list[tuple[str, str]]:
        """As kept: names and texts in the order of the page."""
        return [(name, self.texts[name]) for name in FIELDS if self.texts.get(name)]

    @property
    def digest(self) -> str:
        """Stands for all that was typed."""
        return hashlib.sha256(json.dumps(self.entries).encode()).hexdigest()

    def seen_after(self, before: LotForm, now: datetime) -> LotForm:
        """With the time at which this gold price was typed."""
        seen = self.text("gold_seen_at")  # of a price that was taken over
        if not seen and self.text("gold") == before.text("gold"):
            seen = before.text("gold_seen_at")
        if not seen and self.text("gold").strip():
            seen = now.isoformat()
        return replace(self, texts={**self.texts, "gold_seen_at": seen})

    def with_price(self, gold: str, seen_at: datetime) -> LotForm:
        """With a price of gold that was seen at another time than now."""
        return replace(self, texts={**self.texts, "gold": gold, "gold_seen_at": seen_at.isoformat()})

    def read(self, house: House, currency: str, now: datetime) -> LotText:
        """The lot that this means; a field that is filled counts before the texts, and these before the house's terms.

        Raises `LotRefused`.
        """
        shared: dict[str, Any] = {"quoted_at": now, **house.quote_entries(currency)}
        try:
            shared = _over(parsed(self.text("terms"), "Further terms", is_json=False), shared)
        except FileRefused as refused:
            raise LotRefused([LotProblem(0, 0, "terms", "", str(refused))]) from None
        try:
            read = lot_text(self.text("pieces"), "", shared)
        except FileRefused as refused:
            raise LotRefused([LotProblem(0, 0, "pieces", "", str(refused))]) from None
        return _with_rock(replace(read, entries=self._filled(read.entries)))

    def _filled(self, entries: Mapping[str, Any]) -> dict[str, Any]:
        found = dict(entries)
        for name, path in _PATHS.items():
            text = self.text(name).strip()
            if not text:
                continue
            if len(path) == 1:
                found[path[0]] = text
                continue
            section, key = path
            under = found.get(section)
            # A rock is known in one way only, so the one that is typed replaces another.
            kept = dict(under) if isinstance(under, Mapping) and section != "rock" else {}
            found[section] = {**kept, key: text}
        if self.text("gold").strip() and self.text("gold_seen_at"):
            found["spot"]["seen_at"] = self.text("gold_seen_at")
        return found


def _over(entries: Mapping[str, Any], below: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for name, value in entries.items():
        under = merged.get(name)
        both = isinstance(value, Mapping) and isinstance(under, Mapping)
        merged[name] = {**dict(under or {}), **value} if both else value
    return merged


def _with_rock(read: LotText) -> LotText:
    """The lot with the usual rock where pieces were weighed, and neither they nor what they share name one."""
    pieces = read.entries.get("pieces")
    pieces = pieces if isinstance(pieces, list) else []
    weighed = [one for one in pieces if isinstance(one, Mapping) and "weighing" in one]
    if "rock" in read.entries or all("rock" in one for one in weighed):
        return read
    return replace(read, entries={**read.entries, "rock": {"kind": USUAL_ROCK}}, is_usual_rock=True)


def field_of(problem: LotProblem) -> str:
    """The field of the page in which a problem of what all share is mended; empty if in none of its own."""
    if problem.column in ("rock", "spot", "weighing"):
        return {"rock": "rock", "spot": "gold", "weighing": "readability"}[problem.column]
    return _FIELD_AT.get(problem.column, "terms" if problem.column == "terms" else "")


@dataclass(frozen=True)
class WrongRow:
    """A row of the pasted table with what is wrong in it."""

    row: int
    line: int
    text: str
    problems: tuple[LotProblem, ...]

    @property
    def name(self) -> str:
        """Which row it is."""
        return f"line {self.line}" if self.line else f"piece {self.row}"


def wrong_rows(problems: Iterable[LotProblem], pasted: str) -> list[WrongRow]:
    """Problems of pieces, gathered by row beside what stands there."""
    lines = pasted.splitlines()
    rows: dict[tuple[int, int], list[LotProblem]] = {}
    for problem in problems:
        if problem.row or problem.line:
            rows.setdefault((problem.row, problem.line), []).append(problem)
    return [
        WrongRow(row, line, lines[line - 1] if 0 < line <= len(lines) else "", tuple(found))
        for (row, line), found in rows.items()
    ]
