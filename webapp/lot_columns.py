"""The columns of a table of pieces, and the entry of a request that each fills."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

SEVERAL = "/"  # between readings in one cell


@dataclass(frozen=True)
class Column:
    """A column: its name in the header, the path that it fills, and what an example of it looks like."""

    name: str
    path: str
    example: str = ""
    other_example: str = ""

    @property
    def is_readings(self) -> bool:
        """Whether a cell may hold several readings."""
        return self.path in ("weighing.dry_g", "weighing.submerged_g", "weighing.displaced_g")


def _range(name: str, path: str, unit: str) -> list[Column]:
    return [Column(f"{name}_{end}_{unit}", f"{path}.{end}") for end in ("low", "likely", "high")]


COLUMNS: tuple[Column, ...] = (
    Column("title", "title", "Wedge with leaf", "Rusty lump"),
    Column("dry_g", "weighing.dry_g", "412.75 / 412.80", "294.90"),
    Column("submerged_g", "weighing.submerged_g", "271.20", "186.35"),
    Column("displaced_g", "weighing.displaced_g"),
    Column("source", "source"),
    Column("rock", "rock.kind"),
    *_range("rock", "rock.density_g_cm3", "g_cm3"),
    *_range("fineness", "gold.fineness_frac", "frac"),
    *_range("fine_gold", "gold.measured.grams", "g"),
    *_range("premium", "collector.premium_frac", "frac"),
    Column("collector_price", "collector.price"),
)
SHORT = COLUMNS[:3]  # all that most lots need; any column may be left out
_BY_NAME = {column.name: column for column in COLUMNS}
_REPLACED = {  # what a piece's own entry in a shared section stands in place of
    "collector.premium_frac": ("price", "rubric", "comparables"),
    "collector.price": ("premium_frac", "rubric", "comparables"),
}


def column_named(text: str) -> Column | None:
    """The column of a header's cell, whatever its case and spaces."""
    return _BY_NAME.get("_".join(text.strip().lower().split()))


def near_names(text: str) -> str:
    """What a name that is none may have meant."""
    near = get_close_matches("_".join(text.strip().lower().split()), list(_BY_NAME), 2, 0.5)
    return f"did you mean {' or '.join(near)}?" if near else "the template shows the names that there are"


def piece_of(cells: Mapping[Column, str], shared: Mapping[str, Any]) -> dict[str, Any]:
    """Entries of a piece from the filled cells of its row, over the sections that all share."""
    piece: dict[str, Any] = {}
    for column, text in cells.items():
        *way, last = column.path.split(".")
        place = piece
        for part in way:
            place = place.setdefault(part, {})
        place[last] = [part for part in text.split(SEVERAL) if part.strip()] if column.is_readings else text
    for path in ("rock.density_g_cm3", "gold.fineness_frac", "gold.measured.grams", "collector.premium_frac"):
        _as_spread(piece, path)
    measured = piece.get("gold", {}).get("measured")
    if measured is not None:
        measured["basis"] = "fine"
    if "collector" in piece:
        piece["collector"] = _collector(piece["collector"], shared.get("collector"))
    return piece


def _as_spread(piece: dict[str, Any], path: str) -> None:
    """A likely value without ends is an exact one."""
    *way, last = path.split(".")
    place: Any = piece
    for part in way:
        place = place.get(part, {})
    spread = place.get(last)
    if isinstance(spread, dict) and set(spread) == {"likely"}:
        place[last] = {"value": spread["likely"]}


def _collector(own: dict[str, Any], shared: Any) -> dict[str, Any]:
    """The piece's own premium or price under the selling terms that all share."""
    terms = dict(shared) if isinstance(shared, Mapping) else {}
    for name in own:
        for other in _REPLACED[f"collector.{name}"]:
            terms.pop(other, None)
    return {**terms, **own}


def column_at(path: str, filled: Mapping[Column, str]) -> Column | None:
    """The column in which a problem at a path of a piece is mended: one that is filled, if there is one."""
    for candidates in (tuple(filled), COLUMNS):
        exact = [c for c in candidates if path == c.path or path.startswith(f"{c.path}.")]
        inside = [c for c in candidates if c.path.startswith(f"{path}.")]
        if exact or inside:
            return (exact or inside)[0]
    section = path.partition(".")[0]
    return next((c for c in (*filled, *COLUMNS) if c.path.startswith(f"{section}.")), None)


def template(delimiter: str = ",", columns: Sequence[Column] = COLUMNS) -> str:
    """A table with its header and two invented pieces, to be filled in."""
    lines = [[column.name for column in columns]]
    lines += [[getattr(column, example) for column in columns] for example in ("example", "other_example")]
    return "".join(delimiter.join(cells) + "\n" for cells in lines)
