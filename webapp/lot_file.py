"""A lot from a text: TOML or JSON with `[[pieces]]`, or a table of pieces as CSV under terms given elsewhere."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from valuation import LotRequest, RequestRefused, read_lot
from valuation.errors import Problem, shown
from webapp.csv_table import CsvRow, CsvTable, csv_table
from webapp.lot_columns import COLUMNS, Column, column_at, column_named, near_names, piece_of
from webapp.request_file import FileRefused, parsed

LARGEST_BYTES = 1024 * 1024
Kind = Literal["csv", "toml", "json"]
PRICED_BY = ("premium_frac", "price", "rubric", "comparables")


@dataclass(frozen=True)
class LotProblem:
    """Why a lot is refused: for a piece its row (from 1 on; 0 for what all share) and line, the column, and what to do.

    `line` is 0 where the text has no lines of pieces, as TOML has not.
    """

    row: int
    line: int
    column: str
    value: str
    message: str

    @property
    def words(self) -> str:
        """In one line."""
        where = f"line {self.line}" if self.line else f"piece {self.row}" if self.row else ""
        place = ", ".join(part for part in (where, self.column) if part) or "lot"
        entered = f" ({self.value})" if self.value else ""
        return f"{place}{entered}: {self.message}"


class LotRefused(Exception):  # noqa: N818 - told as an event
    """A text is no lot; carries every problem at once."""

    def __init__(self, problems: Sequence[LotProblem]) -> None:
        super().__init__("; ".join(problem.words for problem in problems))
        self.problems = tuple(problems)


@dataclass(frozen=True)
class LotText:
    """A lot as it was read, before it is judged: entries, and of a table the line and filled cells of each piece."""

    kind: Kind
    entries: Mapping[str, Any]
    lines: tuple[int, ...] = ()
    cells: tuple[Mapping[Column, str], ...] = field(default=(), repr=False)
    is_usual_rock: bool = False  # nobody named a rock, so the usual one was taken

    def request(self) -> LotRequest:
        """The request. Raises `LotRefused`."""
        try:
            return read_lot(self.entries)
        except RequestRefused as refused:
            raise self.refusal(refused.problems) from None

    def refusal(self, problems: Sequence[Problem]) -> LotRefused:
        """Problems of the engine, each beside its row and column."""
        return LotRefused(sorted(map(self._placed, problems), key=lambda p: (p.row > 0, p.row)))

    def _placed(self, problem: Problem) -> LotProblem:
        parts = problem.field.split(".", 2)
        if parts[0] != "pieces" or len(parts) < 2 or not parts[1].isdigit():
            return LotProblem(0, 0, problem.field, problem.value, problem.message)
        i, path = int(parts[1]), parts[2] if len(parts) > 2 else ""
        if self.kind != "csv":
            return LotProblem(i + 1, 0, path, problem.value, problem.message)
        column = column_at(path, self.cells[i])
        value = problem.value or ("" if column is None else shown(self.cells[i].get(column, "")))
        return LotProblem(i + 1, self.lines[i], path if column is None else column.name, value, problem.message)


def kind_of(text: str, name: str = "") -> Kind:
    """What a text is, by the name of its file or else by how it begins."""
    suffix = name.lower().rpartition(".")[2]
    if suffix in ("csv", "tsv", "txt"):
        return "csv"
    if suffix in ("toml", "json"):
        return "toml" if suffix == "toml" else "json"
    lines = (line.strip() for line in text.lstrip("\ufeff").splitlines())
    first = next((line for line in lines if line and not line.startswith("#")), "")
    if first.startswith("{"):
        return "json"
    return "toml" if re.match(r"\[|[\w.\"-]+\s*=", first) else "csv"


def lot_text(text: str, name: str, shared: Mapping[str, Any], *, kind: Kind | None = None) -> LotText:
    """A lot as written; `shared` holds the terms that all pieces share where the text does not say them.

    Raises `LotRefused`, `FileRefused`.
    """
    text = text.removeprefix("\ufeff")
    kind = kind or kind_of(text, name)
    if kind == "csv":
        return _table(text, shared)
    entries = parsed(text, name, is_json=kind == "json")
    return LotText(kind, _without_unpriced(_over(entries, shared), own="collector" in entries))


def _over(entries: Mapping[str, Any], below: Mapping[str, Any]) -> dict[str, Any]:
    """The entries over those below them; a rock, which is known in one way only, replaces a rock."""
    merged = dict(below)
    for name, value in entries.items():
        under = merged.get(name)
        if isinstance(value, Mapping) and isinstance(under, Mapping) and name != "rock":
            merged[name] = {**under, **value}
        else:
            merged[name] = value
    return merged


def _table(text: str, shared: Mapping[str, Any]) -> LotText:
    table = csv_table(text)
    if not table.rows and not table.broken:
        raise LotRefused([LotProblem(0, 0, "pieces", "", "a header and at least one piece are needed")])
    header: list[Column | None] = _header(table.rows[0].cells, table.rows[0].line) if table.rows else []
    lines: list[int] = []
    cells: list[Mapping[Column, str]] = []
    problems: list[LotProblem] = []
    for row in table.rows[1:]:
        problems += _too_many(row, header, table, len(lines) + 1)
        pairs = zip(header, row.cells, strict=False)
        cells.append({column: cell.strip() for column, cell in pairs if column and cell.strip()})
        lines.append(row.line)
    if table.broken:
        problems.append(LotProblem(len(lines) + 1, table.broken_line, "", "", table.broken))
    if not lines and not problems:
        problems.append(LotProblem(0, 0, "pieces", "", "only a header: at least one piece is needed"))
    if problems:
        raise LotRefused(problems)
    pieces = [piece_of(filled, shared) for filled in cells]
    entries = _without_unpriced({**shared, "pieces": pieces}, own=False)
    return LotText("csv", entries, tuple(lines), tuple(cells))


def _without_unpriced(entries: dict[str, Any], *, own: bool) -> dict[str, Any]:
    """The entries without the house's way of selling to a collector, where no price for all pieces goes with it."""
    collector = entries.get("collector")
    if own or not isinstance(collector, Mapping) or any(collector.get(name) is not None for name in PRICED_BY):
        return entries
    return {name: value for name, value in entries.items() if name != "collector"}


def _header(row: Sequence[str], line: int) -> list[Column | None]:
    columns: list[Column | None] = []
    problems = []
    for text in row:
        column = column_named(text)
        if column is None and not text.strip():
            columns.append(None)  # told with the first cell that stands under it
        elif column is None:
            words = f"no such column; {near_names(text)}"
            problems.append(LotProblem(0, line, "header", shown(text.strip()), words))
        elif column in columns:
            problems.append(LotProblem(0, line, "header", shown(text.strip()), "this column stands there twice"))
        else:
            columns.append(column)
    names = {column.path for column in columns if column}
    if not problems and "weighing.dry_g" not in names and not any(n.startswith("gold.measured") for n in names):
        words = "a header is needed, with dry_g and submerged_g (or displaced_g); take the template"
        problems.append(LotProblem(0, line, "header", "", words))
    if problems:
        raise LotRefused(problems)
    return columns


def _too_many(row: CsvRow, header: Sequence[Column | None], table: CsvTable, number: int) -> list[LotProblem]:
    beyond = [cell for i, cell in enumerate(row.cells) if cell.strip() and (i >= len(header) or header[i] is None)]
    if not beyond:
        return []
    words = table.too_many(len(row.cells), sum(map(bool, header)))
    return [LotProblem(number, row.line, "", shown(beyond[0]), words)]


__all__ = ["COLUMNS", "LARGEST_BYTES", "FileRefused", "LotProblem", "LotRefused", "LotText", "kind_of", "lot_text"]
