"""A list as CSV that a spreadsheet opens without running anything that somebody typed."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal
from io import StringIO

# A cell that begins so is taken for a formula. OWASP, "CSV Injection"; after blanks too, as some programs strip them.
_RUNS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")

Cell = str | int | float | Decimal | datetime | None


def csv_of(head: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """The rows under their head as CSV (RFC 4180), with a byte order mark so that spreadsheets take it for UTF-8.

    Numbers stay numbers. A text that could run as a formula gets an apostrophe before it, which shows that it is text.
    """
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    for row in rows:
        writer.writerow([_cell(value) for value in row])
    return "\ufeff" + out.getvalue()


def _cell(value: Cell) -> str | int | float | Decimal:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(timespec="seconds")
    return guarded(value) if isinstance(value, str) else value


def guarded(text: str) -> str:
    """A text that no spreadsheet runs; `unguarded` gives it back as it was."""
    return f"'{text}" if _would_run(text) else text


def unguarded(cell: str) -> str:
    """A text of a cell that may have been guarded."""
    return cell[1:] if cell.startswith("'") and _would_run(cell[1:]) else cell


def _would_run(text: str) -> bool:
    bare = text.lstrip("'")  # so that one apostrophe more is always what was put before it
    return bare.startswith(_RUNS) or bare.lstrip().startswith(_RUNS)
