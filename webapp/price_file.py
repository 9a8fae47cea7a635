"""A price history from a CSV file: a date and a price on each line."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from pydantic_core import PydanticCustomError

from valuation.number import read_number
from webapp.text_file import text_of

LARGEST_BYTES = 8 * 1024 * 1024  # a century of days is under 2 MB
MOST_TOLD = 10
DELIMITERS = ("\t", ";", ",")
DATE_NAMES, PRICE_NAMES = ("date", "day"), ("price", "close", "value")
MISSING = frozenset(("", ".", "-", "na", "n/a", "nan", "null"))


class HistoryRefused(Exception):  # noqa: N818 - told as an event
    """The file is no price history; `problems` says line by line why and what to do."""

    def __init__(self, problems: Sequence[str]) -> None:
        super().__init__("; ".join(problems))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class PriceRow:
    """A day's price and the line that it stands on; NaN for a day without a price."""

    line: int
    day: date
    price: float


@dataclass(frozen=True)
class _Layout:
    """Places of date and price, and how many columns there are."""

    day: int = 0
    price: int = 1
    columns: int = 2


def history_of(name: str) -> list[PriceRow]:
    """Rows of the named file, or of standard input for ``-``.

    Raises `FileRefused`, `HistoryRefused`.
    """
    return rows_of(text_of(name, LARGEST_BYTES, "a price history"), "standard input" if name == "-" else name)


def rows_of(text: str, name: str) -> list[PriceRow]:
    """Rows of a text: a date (year-month-day) and a price, parted by comma, semicolon or tab, with or without a header.

    Raises `HistoryRefused`.
    """
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = next((mark for mark in DELIMITERS if mark in first), ",")
    reader = csv.reader(text.splitlines(), delimiter=delimiter, skipinitialspace=True, strict=True)
    rows: list[PriceRow] = []
    problems: list[str] = []
    layout: _Layout | None = None
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells):
                continue
            try:
                if layout is None:
                    layout = _layout(cells)
                    if _is_header(cells):
                        continue
                rows.append(_row(cells, layout, reader.line_num))
            except ValueError as wrong:
                problems.append(f"{name}, line {reader.line_num}: {wrong}")
                layout = layout or _Layout()
    except csv.Error as error:
        problems.append(f"{name}, line {reader.line_num}: not CSV ({error}).")
    if problems:
        more = len(problems) - MOST_TOLD
        raise HistoryRefused(
            problems[:MOST_TOLD] + ([f"{name}: and {more} more lines like these."] if more > 0 else [])
        )
    return rows


def _is_header(cells: Sequence[str]) -> bool:
    return not any(letter.isdigit() for cell in cells for letter in cell)


def _layout(cells: Sequence[str]) -> _Layout:
    """Where date and price stand: by the header, or first and second without one."""
    names = [cell.strip().lower() for cell in cells]
    dated = next((i for i, name in enumerate(names) if name in DATE_NAMES), None)
    priced = next((i for i, name in enumerate(names) if name in PRICE_NAMES), None)
    if dated is not None and priced is not None:
        return _Layout(dated, priced, len(cells))
    if len(cells) == 2:
        return _Layout()
    if len(cells) > 2 and _is_header(cells):
        raise ValueError("the header must name the two columns that count: date and price.")
    raise ValueError(_columns(cells))


def _columns(cells: Sequence[str]) -> str:
    if len(cells) < 2:
        return "one column only: a date and a price are needed, parted by comma, semicolon or tab."
    return (
        f"{len(cells)} columns: a date and a price are needed. With decimal commas part them by semicolons; with more "
        "columns give a header that names “date” and “price”."
    )


def _row(cells: Sequence[str], layout: _Layout, line: int) -> PriceRow:
    if len(cells) < layout.columns or any(cell.strip() for cell in cells[layout.columns :]):
        raise ValueError(_columns(cells))
    return PriceRow(line, _day(cells[layout.day].strip()), _price(cells[layout.price].strip()))


def _day(text: str) -> date:
    try:
        return datetime.fromisoformat(text).date()
    except ValueError:
        raise ValueError(f"“{text[:40]}” is not a date such as 2026-03-14 (year-month-day).") from None


def _price(text: str) -> float:
    if text.lower() in MISSING:
        return math.nan
    try:
        price = read_number(text)
    except PydanticCustomError as refused:
        raise ValueError(f"price “{text[:40]}”: {refused.message()}.") from None
    if not isinstance(price, float) or price <= 0.0:
        raise ValueError(f"price “{text[:40]}”: must be above 0; leave it empty for a day without a price.")
    return price
