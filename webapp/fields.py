"""The fields of the quote form, read from the request model: label, help, unit, kind and default."""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from valuation import QuoteRequest, Spread, rubric
from valuation.assumptions import value_words

Kind = Literal["text", "number", "spread", "readings", "choice", "flag", "moment", "day"]
SPREAD_PARTS = ("low", "likely", "high", "sd", "coverage_frac")
MOST_READINGS = 20
MOST_ROWS = 500
_PRICES = ("spot.gold", "spot.silver", "collector.comparables.spot")
RUBRIC = "collector.rubric"

# Help that speaks of fractions where the screen shows per cent.
_ABOUT = {
    "gold.fineness_frac": "Gold share of the native metal by mass; 85 % is 850 parts per thousand.",
    "collector.premium_frac": "60 % means that a collector pays 1.6 times the melt value.",
}
# Defaults that are no single value, in words.
_UNSTATED = {
    "refiner.name": "",
    "other_refiners.name": "",
    "seller.refiner.name": "",
    "rock.void_frac": "0 to 0.2 %",
    "weighing.line_extra_depth_mm": "0 mm",
    "refiner.silver_recovery_frac": "as the gold's",
    "other_refiners.silver_recovery_frac": "as the gold's",
    "seller.refiner.silver_recovery_frac": "as the gold's",
}
_CHOICES = {
    "suspended": "Suspended: the piece hangs from the balance into water",
    "displaced": "Displaced: a vessel of water stands on the balance",
    "distilled": "distilled water",
    "deionised": "deionised water",
    "tap": "tap water",
    "ozt": "troy ounce",
    "g": "gram",
    "kg": "kilogram",
    "tola": "tola",
    "settlement": "settlement: it may move while you wait",
    "receipt": "receipt: it may not move",
    "native": "native gold",
    "fine": "fine gold",
    "unknown": "not said",
    "quotes": "quote walk-in sellers",
    "asks": "check asking prices",
    "sheets": "write offer sheets",
    "buyer": "House",
    "seller": "Seller",
}


@dataclass(frozen=True)
class Field:
    """One field as the form shows it.

    Parameters
    ----------
    path : str
        Dotted path in the request; list positions are left out.
    unit : str
        As shown beside the input; ``money`` stands for the quote's currency.
    in_per_cent : bool
        Whether the screen shows per cent where the request holds a fraction.
    default_words : str
        What is assumed if nothing is entered; empty if there is no default.
    choices : tuple of (str, str)
        Value and words of each choice.
    """

    path: str
    label: str
    about: str
    unit: str
    kind: Kind
    in_per_cent: bool
    default_words: str
    required: bool
    choices: tuple[tuple[str, str], ...] = ()

    @property
    def is_money(self) -> bool:
        """Whether an amount or a price is typed here; the unit of mass of a price is a field of its own."""
        return self.unit.startswith("money") or self.path in _PRICES


def choice_words(annotation: Any, value: str) -> str:
    """A choice as the form words it; of a long wording the name before its colon."""
    return _CHOICES.get(value, value).partition(":")[0].lower() if value in _literals(annotation) else value


def without_positions(path: str) -> str:
    """Path of the field in the model: list positions are left out."""
    return ".".join(part for part in path.split(".") if not part.isdigit())


def field_at(path: str) -> Field | None:
    """Field of a dotted path, positions allowed; None if the request has none such."""
    return field_in(QuoteRequest, path)


def field_named(name: str) -> Field | None:
    """Field that an input of this name belongs to; a spread is typed in parts."""
    if len(name) > 120 or any(int(part) >= MOST_ROWS for part in name.split(".") if part.isdigit() and part.isascii()):
        return None
    path, _, part = name.rpartition(".")
    if part in SPREAD_PARTS:
        spec = field_at(path) if path else None
        return spec if spec is not None and spec.kind == "spread" else None
    spec = field_at(name)
    return None if spec is None or spec.kind == "spread" else spec


def is_placed(name: str) -> bool:
    """Whether positions stand in a name where the request has lists of tables, and nowhere else."""
    model: type[BaseModel] | None = QuoteRequest
    is_list = False
    for part in name.split("."):
        if part.isdigit() != is_list or (is_list and not part.isascii()):
            return False
        if is_list:
            is_list = False
        elif model is not None and part in model.model_fields:
            annotation = model.model_fields[part].annotation
            model = _model_in(annotation)
            is_list = model is not None and any(get_origin(kind) is tuple for kind in _unwrapped(annotation))
        else:
            model = None
    return not is_list


@cache
def field_in(root: type[BaseModel], path: str) -> Field | None:
    """Field of a dotted path in any model written like the request."""
    if path.startswith(f"{RUBRIC}."):
        return _graded(path)
    model: type[BaseModel] | None = root
    info: FieldInfo | None = None
    bare = without_positions(path)
    for name in bare.split("."):
        if model is None or name not in model.model_fields:
            return None
        info = model.model_fields[name]
        model = _model_in(info.annotation)
        if model is Spread:
            model = None
    if info is None or model is not None:
        return None
    return _described(bare, info)


def _graded(path: str) -> Field | None:
    """A quality of the rubric, as a choice of its grades."""
    quality = rubric.qualities().get(path.removeprefix(f"{RUBRIC}."))
    if quality is None:
        return None
    grades = tuple((key, grade.label) for key, grade in quality.grades.items())
    return Field(path, quality.label, "", "", "choice", False, "not graded", False, grades)


def _described(path: str, info: FieldInfo) -> Field | None:
    kind = _kind(info.annotation)
    if kind is None:
        return None
    extra = info.json_schema_extra
    unit = str(extra.get("unit", "")) if isinstance(extra, dict) else ""
    assumed = str(extra.get("assumed", "")) if isinstance(extra, dict) else ""
    return Field(
        path=path,
        label=str(info.title),
        about=_ABOUT.get(path, info.description or ""),
        unit="%" if unit == "frac" else unit,
        kind=kind,
        in_per_cent=unit == "frac",
        default_words=_default_words(path, info, unit, assumed),
        required=info.is_required(),
        choices=tuple((value, _CHOICES.get(value, value)) for value in _literals(info.annotation)),
    )


def _default_words(path: str, info: FieldInfo, unit: str, assumed: str) -> str:
    if info.is_required():
        return ""
    if path in _UNSTATED:
        return _UNSTATED[path]
    if info.default is None:
        return assumed.partition(":")[0]
    default = info.default
    if isinstance(default, dict | float) and _kind(info.annotation) == "spread":
        default = Spread.model_validate(default)
    if isinstance(default, str):
        return _CHOICES.get(default, default)
    return value_words(default, "" if unit.startswith("money") else unit)


def _kind(annotation: Any) -> Kind | None:
    bare = list(_unwrapped(annotation))
    if Spread in bare:
        return "spread"
    if any(get_origin(t) is tuple and float in list(_unwrapped(get_args(t)[0])) for t in bare):
        return "readings"
    if _literals(annotation):
        return None if any(get_origin(t) is tuple for t in bare) else "choice"
    kinds: dict[Any, Kind] = {bool: "flag", float: "number", datetime: "moment", date: "day", str: "text"}
    return next((kinds[t] for t in bare if t in kinds), None)


def _unwrapped(annotation: Any) -> Iterator[Any]:
    """The types that an annotation admits, without `Annotated` and `| None`."""
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *_ = get_args(annotation)
        # AwareDatetime and the like name their type only in this way.
        yield from _unwrapped(inner)
        return
    if origin in (Union, types.UnionType):
        for arm in get_args(annotation):
            yield from _unwrapped(arm)
        return
    if isinstance(annotation, type) and annotation.__name__ == "AwareDatetime":
        yield datetime
        return
    if annotation is not type(None):
        yield annotation


def _literals(annotation: Any) -> tuple[str, ...]:
    for kind in _unwrapped(annotation):
        if get_origin(kind) is Literal:
            return tuple(str(value) for value in get_args(kind))
        if get_origin(kind) is tuple:
            return _literals(get_args(kind)[0])
    return ()


def _model_in(annotation: Any) -> type[BaseModel] | None:
    for kind in _unwrapped(annotation):
        if isinstance(kind, type) and issubclass(kind, BaseModel):
            return kind
        if get_origin(kind) is tuple:
            inner = _model_in(get_args(kind)[0])
            if inner is not None:
                return inner
    return None
