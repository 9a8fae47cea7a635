"""The equations of the method, stage by stage, as the method page shows them; they are data (`equations.toml`)."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from types import MappingProxyType


@dataclass(frozen=True)
class Equation:
    """One equation, as arithmetic that Python reads (see `webapp.mathml`), and what it says in words."""

    text: str
    words: str


@dataclass(frozen=True)
class Stage:
    """Equations that belong together, and the symbols that they bring in."""

    equations: tuple[Equation, ...]
    symbols: Mapping[str, str]


@cache
def stages() -> Mapping[str, Stage]:
    """Equations and symbols by stage, in the order of the arithmetic."""
    table = tomllib.loads(files("webapp").joinpath("equations.toml").read_text(encoding="utf-8"))
    return MappingProxyType(
        {
            key: Stage(tuple(Equation(**row) for row in stage["equations"]), MappingProxyType(stage["symbols"]))
            for key, stage in table.items()
        }
    )
