"""A book as a table in CSV: every entry out, and rows in, with each mistake beside its row and column."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from difflib import get_close_matches
from functools import cache
from typing import Any

from valuation import Problem
from valuation.errors import shown
from webapp.book_kinds import BOOKS, MOST_ENTRIES, Book, EntryRefused, content_of
from webapp.csv_table import CsvRow, csv_table
from webapp.fields import SPREAD_PARTS, field_in
from webapp.sheet_table import csv_of, unguarded
from webapp.store import books
from webapp.store.books import Content, Version
from webapp.store.database import Store

LARGEST_TEXT = 200 * 1024
MOST_PROBLEMS = 200
TIERS, PART = "/", ":"  # between payable shares of one cell, and between an amount and its share
_UNITS = ("_frac", "_g_cm3")


@dataclass(frozen=True)
class BookColumn:
    """A column: its name, and the path of what it holds; of the terms, or beside them."""

    name: str
    path: str
    is_own: bool = False


@dataclass(frozen=True)
class RowProblem:
    """Why a row is refused: its line, the column, what stands there, and what to do."""

    line: int
    column: str
    value: str
    message: str


class TableRefused(Exception):  # noqa: N818 - told as an event
    """A text is no table of the book; carries every problem at once."""

    def __init__(self, problems: Sequence[RowProblem]) -> None:
        super().__init__(f"{len(problems)} problems")
        self.problems = tuple(problems)


@dataclass(frozen=True)
class Imported:
    """What came of a table: how many rows were new, changed an entry, or said what stood there already."""

    added: int
    changed: int
    same: int


@cache
def columns(key: str) -> tuple[BookColumn, ...]:
    """The columns of a book, in their order."""
    book, found = BOOKS[key], []
    for name in book.section.model_fields:
        spec = field_in(book.section, name)
        if spec is not None and spec.kind == "spread":
            unit = next(unit for unit in _UNITS if name.endswith(unit))
            stem = name.removesuffix(unit)
            ends = {part: f"{stem}_{part}{unit}" for part in SPREAD_PARTS} | {"coverage_frac": f"{stem}_coverage_frac"}
            found += [BookColumn(ends[part], f"{name}.{part}") for part in SPREAD_PARTS]
        else:
            found.append(BookColumn(name, name))
    own = [BookColumn(name, name, is_own=True) for name in book.own]
    first = [column for column in own if column.name == "name"]
    return (*first, *found, *(column for column in own if column not in first))


# ---- out


def exported(book: Book, entries: Iterable[Version]) -> str:
    """The entries as CSV that a spreadsheet opens without running anything; `imported` reads the same back."""
    rows = [[_cell(column, entry.content) for column in columns(book.key)] for entry in entries]
    return csv_of([column.name for column in columns(book.key)], rows)


def _cell(column: BookColumn, content: Content) -> str:
    if column.is_own:
        return str(getattr(content, column.path))
    name, _, part = column.path.partition(".")
    value = content.terms.get(name)
    if part:
        parts = value if isinstance(value, Mapping) else {} if value is None else {"likely": value}
        value = parts.get(part, parts.get("value") if part == "likely" else None)
    if name == "payable" and value is not None:
        return f" {TIERS} ".join(f"{_text(tier['from_ozt'])}{PART} {_text(tier['frac'])}" for tier in value)
    return _text(value)


def _text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{Decimal(repr(value)):f}".removesuffix(".0") if isinstance(value, int | float) else str(value)


# ---- in


def rows_of(book: Book, text: str, currency: str) -> list[tuple[int, Content]]:
    """The entries of a table, each with its line; amounts are in `currency` where a row names none.

    Raises
    ------
    TableRefused
        With every problem at once.
    """
    table = csv_table(text)
    header = _header(book, table.rows[0]) if table.rows else []
    problems: list[RowProblem] = []
    found: list[tuple[int, Content]] = []
    for row in table.rows[1:]:
        beyond = [c for i, c in enumerate(row.cells) if c.strip() and (i >= len(header) or header[i] is None)]
        if beyond:
            words = table.too_many(len(row.cells), sum(map(bool, header)))
            problems.append(RowProblem(row.line, "", shown(beyond[0]), words))
            continue
        pairs = zip(header, row.cells, strict=False)
        cells = {column: unguarded(cell.strip()) for column, cell in pairs if column and cell.strip()}
        try:
            found.append((row.line, _content(book, cells, currency)))
        except EntryRefused as refused:
            problems += [_placed(book, row, cells, problem) for problem in refused.problems]
    if table.broken:
        problems.append(RowProblem(table.broken_line, "", "", table.broken))
    if not found and not problems:
        problems.append(RowProblem(0, "", "", f"a header and at least one {book.one} are needed: take the template"))
    problems += _repeated(book, found)
    if len(found) > MOST_ENTRIES:
        problems.append(RowProblem(0, "", str(len(found)), f"more rows than the {MOST_ENTRIES} that a book takes"))
    if problems:
        raise TableRefused(sorted(problems, key=lambda problem: problem.line))
    return found


def _header(book: Book, row: CsvRow) -> list[BookColumn | None]:
    known = {column.name: column for column in columns(book.key)}
    header: list[BookColumn | None] = []
    problems = []
    for text in row.cells:
        name = "_".join(text.strip().lower().split())
        column = known.get(name)
        if column is None and name:
            near = get_close_matches(name, known, 2, 0.5)
            words = f"did you mean {' or '.join(near)}?" if near else "the template shows the names that there are"
            problems.append(RowProblem(row.line, "header", shown(text.strip()), f"no such column; {words}"))
        elif column is not None and column in header:
            problems.append(RowProblem(row.line, "header", shown(text.strip()), "this column stands there twice"))
        header.append(column)
    if not problems and not any(header):
        problems.append(RowProblem(row.line, "header", "", "a header is needed: take the template"))
    if problems:
        raise TableRefused(problems)
    return header


def _content(book: Book, cells: Mapping[BookColumn, str], currency: str) -> Content:
    own = {column.path: text for column, text in cells.items() if column.is_own}
    if "currency" in book.own:
        own.setdefault("currency", currency)
    terms: dict[str, Any] = {}
    for column, text in cells.items():
        name, _, part = column.path.partition(".")
        if column.is_own:
            continue
        if part:
            terms.setdefault(name, {})[part] = text
        else:
            terms[name] = _tiers(text) if name == "payable" else text
    for name, value in terms.items():
        if isinstance(value, dict) and set(value) <= {"likely", "sd"} and "likely" in value:
            terms[name] = {"value" if part == "likely" else part: text for part, text in value.items()}
    return content_of(book, own, terms)


def _tiers(text: str) -> list[dict[str, str]]:
    """Payable shares: one alone, or several as ``0: 0.95 / 5: 0.97``."""
    tiers = []
    for part in text.split(TIERS):
        start, mark, share = part.rpartition(PART)
        tiers.append({"from_ozt": start.strip() if mark else "0", "frac": share.strip()})
    return tiers


def _placed(book: Book, row: CsvRow, cells: Mapping[BookColumn, str], problem: Problem) -> RowProblem:
    path = problem.field.removeprefix(book.at).lstrip(".")
    its = [c for c in columns(book.key) if path == c.path or path.startswith(f"{c.path}.")]
    inside = [c for c in (*cells, *columns(book.key)) if c.path.startswith(f"{path}.")]
    column = next(iter(its or inside), None)
    value = problem.value or ("" if column is None else shown(cells.get(column, "")))
    return RowProblem(row.line, path if column is None else column.name, value, problem.message)


def _repeated(book: Book, found: Sequence[tuple[int, Content]]) -> list[RowProblem]:
    """Names that stand in a table twice."""
    seen: dict[str, int] = {}
    problems = []
    for line, content in found:
        first = seen.setdefault(content.name.casefold(), line) if content.name else line
        if first != line:
            words = f"stands in line {first} already; each {book.one} has one row"
            problems.append(RowProblem(line, book.named_by, shown(content.name), words))
    return problems


def imported(store: Store, book: Book, found: Sequence[tuple[int, Content]], at: datetime) -> Imported:
    """Rows taken into a book, all of them or none; committed when this returns.

    A row whose name stands in the book changes that entry, as a further version. Where entries bear no name, a row
    that the book holds already is left out.

    Raises
    ------
    StoreError
        It could not be written.
    """
    told = Counter[str]()
    with store.writing():
        there = books.offered(store, book.key)
        named = {one.content.name.casefold(): one for one in there if one.content.name}
        left = Counter(_sameness(one.content) for one in there if not one.content.name)
        for _, content in found:
            before = named.get(content.name.casefold()) if content.name else None
            if before is not None:
                after = books.change(store, book.key, before.entry, content, at, before.version)
                told["same" if after == before else "changed"] += 1
            elif not content.name and left[_sameness(content)]:
                left[_sameness(content)] -= 1
                told["same"] += 1
            else:
                books.add(store, book.key, content, at)
                told["added"] += 1
    return Imported(told["added"], told["changed"], told["same"])


def _sameness(content: Content) -> str:
    return json.dumps([content.currency, content.source, content.terms], sort_keys=True)


_EXAMPLES: dict[str, dict[str, str]] = {
    "refiners": {
        "name": "Demo refiner (invented)",
        "recovery_low_frac": "0.92",
        "recovery_likely_frac": "0.96",
        "recovery_high_frac": "0.98",
        "payable": "0: 0.95 / 5: 0.97",
        "assay_fee": "120",
        "freight": "45",
        "settlement_days": "14",
        "currency": "USD",
        "source": "their letter, invented",
    },
    "sales": {
        "date": "2026-03-14",
        "price": "4200",
        "fine_g": "18.4",
        "spot": "3900",
        "spot_unit": "ozt",
        "grade": "3",
        "note": "invented",
        "currency": "USD",
    },
    "rocks": {
        "name": "Ledge quartz (invented)",
        "density_low_g_cm3": "2.61",
        "density_likely_g_cm3": "2.64",
        "density_high_g_cm3": "2.66",
        "source": "weighed here, invented",
    },
    "tests": {"kind": "chip", "minutes": "20", "cost": "15", "needs_consent": "true", "currency": "USD"},
}


def template(book: Book) -> str:
    """A table with its header and one invented row, to be filled in."""
    example = _EXAMPLES[book.key]
    return csv_of([c.name for c in columns(book.key)], [[example.get(c.name, "") for c in columns(book.key)]])
