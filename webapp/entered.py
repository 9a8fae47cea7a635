"""What was entered, in the reader's words and figures: for paper, and for the counter view."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from decimal import Decimal
from typing import NamedTuple

from pydantic.fields import FieldInfo

from valuation import QuoteRequest, materials, rubric
from valuation.assumptions import value_words
from valuation.field import Section
from valuation.terms import Buyer, Claim, Said, Spot
from webapp.fields import choice_words
from webapp.retold import retold
from webapp.wording import NBSP, Wording

SIDES = {"buyer": "the house", "seller": "the seller"}


class Line(NamedTuple):
    """A label and its figure."""

    label: str
    figure: str


def entered(request: QuoteRequest, w: Wording) -> Iterator[tuple[str, list[Line]]]:
    """Each section of the request that holds something entered, with its lines; assumptions are not among them."""
    for name, field in QuoteRequest.model_fields.items():
        value = getattr(request, name)
        if name == "said" and value:
            yield str(field.title), [Line("In order", ", ".join(_said(row, w) for row in value))]
        elif isinstance(value, Section):
            lines = list(_lines(value, w))
            if isinstance(value, Buyer) and value.offer is not None:
                yield "Our offer", [Line("Offer", w.price(value.offer))]
            if lines:
                yield str(field.title), lines
        elif isinstance(value, tuple):
            for row in value:
                yield str(field.title), list(_lines(row, w))


def _lines(section: Section, w: Wording, before: str = "") -> Iterator[Line]:
    for name, field in type(section).model_fields.items():
        value = getattr(section, name)
        if name not in section.model_fields_set or value is None or value in ("", ()):
            continue
        title = str(field.title)
        label = f"{before}, {title.lower()}" if before and before != title else title
        if isinstance(value, Section):
            yield from _lines(value, w, label)
        elif name in ("currency", "unit") and isinstance(section, Spot):
            continue  # they stand with each price
        elif (name == "unit" and isinstance(section, Claim)) or (name == "offer" and isinstance(section, Buyer)):
            continue  # told with the claimed mass; told by itself, since it is no term
        elif isinstance(value, dict):
            graded = rubric.qualities()
            yield from (Line(graded[key].label, graded[key].grades[grade].label) for key, grade in value.items())
        elif isinstance(value, tuple) and isinstance(value[0], Section) and name != "payable":
            yield Line(label, "; ".join(_row(row, w) for row in value))
        else:
            yield Line(label, told(section, name, field, w))


def told(section: Section, name: str, field: FieldInfo, w: Wording) -> str:
    """The value of one field with its unit."""
    value = getattr(section, name)
    unit = unit_of(field)
    if name.endswith("_g") and isinstance(value, tuple):
        return readings(value, getattr(section, "readability_g", 0.0), w)
    if isinstance(value, datetime):
        return w.moment(value)
    if isinstance(section, Spot) and name in ("gold", "silver"):
        return f"{w.price(value)} per {section.unit}"
    if name == "kind" and value in materials.rocks():
        return materials.rocks()[value].label
    if isinstance(section, Claim) and name == "mass":
        return f"{w.number(value, 6, least=0)}{NBSP}{section.unit}"
    if isinstance(value, str):
        return choice_words(field.annotation, value)
    if unit.startswith("money") and isinstance(value, float):
        return w.price(value) + unit.removeprefix("money").replace("/", " per ")
    return retold(value_words(value, unit), w)


def unit_of(field: FieldInfo) -> str:
    """Unit of a field of the request; `money` stands for the quote's currency."""
    extra = field.json_schema_extra
    return str(extra.get("unit", "")) if isinstance(extra, dict) else ""


def readings(values: Sequence[float], readability_g: float, w: Wording) -> str:
    """Readings with the digits that the balance shows, or more where more were typed."""
    places = max(_places(x) for x in (*values, readability_g))
    return " \u00b7 ".join(w.number(x, places, least=places) for x in values) + f"{NBSP}g"


def _places(x: float) -> int:
    exponent = Decimal(repr(x)).normalize().as_tuple().exponent
    assert isinstance(exponent, int)
    return max(0, -exponent)


def _row(row: Section, w: Wording) -> str:
    return " ".join(line.figure for line in _lines(row, w))


def _said(row: Said, w: Wording) -> str:
    return f"{SIDES[row.by]} {w.price(row.figure)}"
