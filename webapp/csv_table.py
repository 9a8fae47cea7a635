"""A table in CSV: which mark parts its cells, its rows with their lines, and where it is no CSV."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from io import StringIO

MARKS = ("\t", ";", ",")


@dataclass(frozen=True)
class CsvRow:
    """A row that is not blank: the line that it begins on, and its cells."""

    line: int
    cells: tuple[str, ...]


@dataclass(frozen=True)
class CsvTable:
    """A table as it was read.

    Parameters
    ----------
    mark : str
        What parts the cells.
    rows : tuple of CsvRow
        The header first.
    broken : str
        Why it is no CSV from `broken_line` on; empty if it is.
    """

    mark: str
    rows: tuple[CsvRow, ...]
    broken: str = ""
    broken_line: int = 0

    def too_many(self, cells: int, named: int) -> str:
        """What to say of a row that has cells under no name."""
        words = f"{cells} cells, and not all of them stand under a name: the header has {named}"
        if self.mark == ",":
            words += ". With decimal commas part the columns by semicolons, or put the figures in quotation marks"
        return words


def csv_table(text: str) -> CsvTable:
    """The table of a text; the mark is the first of tabulator, semicolon and comma that its first line holds."""
    text = text.removeprefix("\ufeff")
    first = next((line for line in text.splitlines() if line.strip()), "")
    mark = next((mark for mark in MARKS if mark in first), ",")
    reader = csv.reader(StringIO(text, newline=""), delimiter=mark, skipinitialspace=True, strict=True)
    rows: list[CsvRow] = []
    line = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                rows.append(CsvRow(line, tuple(cells)))
            line = reader.line_num + 1
    except csv.Error as error:
        return CsvTable(mark, tuple(rows), f"not CSV ({error}): look for a quotation mark left open", line)
    return CsvTable(mark, tuple(rows))
