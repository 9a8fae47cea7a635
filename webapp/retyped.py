"""The form as one would have typed the entries of a request, such as a file's, a demo's or the house's."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from pydantic_core import PydanticCustomError
from werkzeug.datastructures import MultiDict

from valuation.number import read_number
from webapp.branches import CHOICES
from webapp.fields import field_at
from webapp.typed import Typed


def typed_from(entries: Mapping[str, Any]) -> Typed:
    """The form as one would have typed these entries of a request."""
    texts: MultiDict[str, str] = MultiDict()
    for name, text in _texts(entries, ""):
        texts.add(name, text)
    for choice in CHOICES:
        texts[choice.name] = choice.of_entries(entries)
    return Typed(texts)


def blank_form(house: Mapping[str, Any], *, claimed: bool = False) -> Typed:
    """The form of a new quote: the commonest choices made, the terms of the house entered, the rest empty.

    `claimed` starts it from what the seller says, as an asking price is checked before anything is weighed.
    """
    form = typed_from({"weighing": {"method": "suspended"}, "rock": {"kind": "vein-quartz"}, **house})
    if claimed:
        form.texts["choose.gold"] = "claimed"
    form.texts["choose.collector"] = "no"  # how a collector sells does not say that there is one
    return form


def _texts(value: Any, path: str) -> Iterator[tuple[str, str]]:
    spec = field_at(path) if path else None
    if spec is not None and spec.kind == "spread" and not isinstance(value, Mapping):
        value = {"likely": value}
    if spec is not None and spec.kind == "spread" and isinstance(value, Mapping):
        parts = {("likely" if key == "value" else key): item for key, item in value.items()}
        for part, item in parts.items():
            as_share = spec.in_per_cent or part == "coverage_frac"
            yield f"{path}.{part}", _per_cent_text(item) if as_share else _text(item)
    elif spec is not None and spec.kind == "readings":
        for item in value if isinstance(value, list | tuple) else [value]:
            yield path, _text(item)
    elif spec is not None:
        yield path, _per_cent_text(value) if spec.in_per_cent else _text(value)
    elif path.endswith(".payable") and not isinstance(value, list | tuple):
        yield from _texts([{"from_ozt": 0.0, "frac": value}], path)
    elif isinstance(value, Mapping):
        for key, item in value.items():
            yield from _texts(item, f"{path}.{key}" if path else str(key))
    elif isinstance(value, list | tuple) and path != "buyer.routes":
        for i, item in enumerate(value):
            yield from _texts(item, f"{path}.{i}")


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime):
        return value.isoformat(timespec="minutes" if not value.second and not value.microsecond else "seconds")
    if isinstance(value, float):
        return f"{Decimal(repr(value)):f}".removesuffix(".0")
    return str(value)


def _per_cent_text(value: Any) -> str:
    try:
        number = read_number(value)
    except PydanticCustomError:
        return _text(value)
    if not isinstance(number, float):  # a table or a list, which the engine refuses
        return _text(value)
    scaled = (Decimal(repr(number)) * 100).normalize()
    return f"{scaled:f}"
