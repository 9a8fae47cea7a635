"""Entries of a request -> TOML, as the scenario files are written."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from pydantic_core import PydanticCustomError

from valuation.number import read_number
from webapp.fields import field_at

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_ESCAPES = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}


def toml_of(entries: Mapping[str, Any]) -> str:
    """The text of a file that holds these entries.

    References
    ----------
    TOML v1.0.0, sections on keys, strings, inline tables.
    """
    return "\n".join(_table(entries, "", "")).lstrip("\n") + "\n"


def _table(entries: Mapping[str, Any], path: str, name: str) -> Iterator[str]:
    tables = {key: value for key, value in entries.items() if _is_table(value, _joined(path, key))}
    for key, value in entries.items():
        if key not in tables:
            yield toml_line(key, value, path)
    for key, value in tables.items():
        here, named = _joined(path, key), _joined(name, _key(key))
        for table in value if isinstance(value, list) else [value]:
            yield f"\n[[{named}]]" if isinstance(value, list) else f"\n[{named}]"
            yield from _table(table, here, named)


def toml_line(key: str, value: Any, path: str = "") -> str:
    """One key and its value, in the table at a path."""
    return f"{_key(key)} = {_value(value, _joined(path, key))}"


def _is_table(value: Any, path: str) -> bool:
    if path in ("other_refiners", "said", "tests"):
        return True
    return isinstance(value, Mapping) and field_at(path) is None


def _joined(path: str, key: str) -> str:
    return f"{path}.{key}" if path else key


def _key(key: str) -> str:
    return key if _BARE.fullmatch(key) else _string(key)


def _value(value: Any, path: str) -> str:
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v, _joined(path, k))}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item, path) for item in value) + "]"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, datetime | date):
        return value.isoformat()
    if isinstance(value, int | float | Decimal):
        return _number(Decimal(repr(value)) if isinstance(value, float) else Decimal(value))
    return _typed(str(value), path)


def _typed(text: str, path: str) -> str:
    """A text as typed: a number or a truth where the field is one and the text can be read so."""
    spec = field_at(path) or field_at(path.rpartition(".")[0])
    kind = None if spec is None else spec.kind
    if kind == "flag" and text in ("true", "false"):
        return text
    if kind in ("number", "spread", "readings"):
        try:
            return _number(Decimal(repr(read_number(text))))
        except PydanticCustomError:
            pass
    if kind == "day" and re.fullmatch(r"\d{4}-\d\d-\d\d", text, re.ASCII):
        return text
    return _string(text)


def _number(number: Decimal) -> str:
    text = f"{number:f}"
    return text if "." in text else f"{text}.0"


def _string(text: str) -> str:
    return '"' + "".join(_ESCAPES.get(c, c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}") for c in text) + '"'
