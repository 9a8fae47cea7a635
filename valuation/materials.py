"""Rocks, minerals, look-alikes and metals: their densities, each with its source."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from types import MappingProxyType
from typing import Annotated, Any, Literal, Self, TypeVar

from pydantic import BaseModel, ConfigDict, Field, model_validator

from valuation.spread import Spread

Status = Literal["read", "quoted", "computed", "derived", "practice", "assumed", "memory"]
Effect = Literal["fakes", "hides"]
_Row = TypeVar("_Row", bound="_Sourced")
_Any = TypeVar("_Any")

Text = Annotated[str, Field(min_length=1)]
DensityValue = Annotated[float, Field(gt=0.5, le=25.0, allow_inf_nan=False)]
Fraction = Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]


class UnknownMaterial(KeyError):  # noqa: N818 -- the name says what happened
    """No row of the table has this key.

    Parameters
    ----------
    table : str
        What was looked for, in the singular: ``rock``, ``mineral``...
    key : str
        The key that is not there.
    known : iterable of str
        Keys of that table.
    """

    def __init__(self, table: str, key: str, known: Iterable[str]) -> None:
        self.table = table
        self.key = key
        keys = sorted(known)
        asked = key.strip().lower().replace(" ", "-").replace("_", "-")
        self.close: tuple[str, ...] = tuple(get_close_matches(asked, keys, n=3))
        advice = f"did you mean {' or '.join(self.close)}?" if self.close else f"known: {', '.join(keys)}"
        self.message = f"no {table} is called “{key}”; {advice}"
        super().__init__(self.message)

    def __str__(self) -> str:
        return self.message


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _Ordered(_Frozen):
    @model_validator(mode="after")
    def _in_order(self) -> Self:
        low, likely, high = (getattr(self, name) for name in ("low", "likely", "high"))
        if not low <= likely <= high:
            raise ValueError(f"low, likely, high must rise: {low}, {likely}, {high}")
        return self


class DensityRange(_Ordered):
    """Density of a material whose make-up varies.

    Parameters
    ----------
    low, likely, high : float
        [g/cm³], in (0.5, 25]: ends and peak.
    """

    low: DensityValue
    likely: DensityValue
    high: DensityValue

    @property
    def spread(self) -> Spread:
        """The range as a triangular input quantity, exact where both ends meet."""
        if self.low == self.high:
            return Spread(value=self.likely)
        return Spread(low=self.low, likely=self.likely, high=self.high)


class ShareRange(_Ordered):
    """Share of a rock's volume that one ingredient takes.

    Parameters
    ----------
    low, likely, high : float
        Volume fractions, in [0, 1].
    """

    low: Fraction
    likely: Fraction
    high: Fraction


class Ingredient(_Frozen):
    """A rock or a mineral inside a mixed rock.

    Parameters
    ----------
    rock, mineral : str or None
        Key in the table; exactly one is given.
    frac : ShareRange or None
        Share of the volume; `None` for the ingredient that takes the remainder.
    """

    rock: str | None = None
    mineral: str | None = None
    frac: ShareRange | None = None

    @model_validator(mode="after")
    def _one_key(self) -> Self:
        if (self.rock is None) == (self.mineral is None):
            raise ValueError("an ingredient is either a rock or a mineral")
        return self


class Reference(_Frozen):
    """A published work behind the table.

    Parameters
    ----------
    citation : str
        Author, title, year.
    seen : str
        What was opened of it, or who quotes it.
    """

    citation: Text
    seen: Text


class _Sourced(_Frozen):
    """What every row has.

    Parameters
    ----------
    key, label : str
        Name in files and on the page.
    source : str
        Where each figure comes from.
    references : tuple of str
        Keys of `references`.
    status : tuple of str
        How the figures are known; the words are explained at the head of the table.
    """

    key: Text
    label: Text
    source: Text
    references: tuple[str, ...]
    status: Annotated[tuple[Status, ...], Field(min_length=1)]


class Rock(_Sourced):
    """A host rock that can be named at the counter.

    Parameters
    ----------
    density_g_cm3 : DensityRange
        [g/cm³] of the solid rock, in (0.5, 8]; closed pores are stated apart, as voids.
    note : str
        What to look for on the piece.
    mixture : tuple of Ingredient
        Volume fractions from which the range was derived; empty for a rock with a range of its own.

    Notes
    -----
    Of a mixed rock, ``low`` and ``high`` are the least and greatest ``sum(x_i rho_i)`` over the stated
    fractions and densities, rounded outward to 0.01; ``likely`` is the sum at the likely values.
    """

    density_g_cm3: DensityRange
    note: Text
    mixture: tuple[Ingredient, ...] = ()

    @model_validator(mode="after")
    def _is_rock(self) -> Self:
        if self.density_g_cm3.high > 8.0:
            raise ValueError("a host rock cannot be denser than 8 g/cm³")
        if not self.mixture:
            return self
        remainder, *rest = self.mixture
        shares = [part.frac for part in rest if part.frac is not None]
        if remainder.frac is not None or len(shares) != len(rest) or not rest:
            raise ValueError("the first ingredient takes the remainder, each other one states its fraction")
        if sum(share.high for share in shares) > 1.0 + 1e-9:
            raise ValueError("the greatest fractions add up to more than 1")
        return self


class Mineral(_Sourced):
    """A mineral that a rock may be made of.

    Parameters
    ----------
    formula : str
        Composition.
    density_g_cm3 : DensityRange
        [g/cm³], natural material without visible pores.
    """

    formula: Text
    density_g_cm3: DensityRange


class Lookalike(_Sourced):
    """Something in a specimen that weighs like gold, or hides it.

    Parameters
    ----------
    effect : {"fakes", "hides"}
        Whether it weighs as gold that is not there, or makes real gold weigh as less.
    density_g_cm3 : DensityRange
        [g/cm³]
    note : str
        How to tell it apart.
    """

    effect: Effect
    density_g_cm3: DensityRange
    note: Text


class Metal(_Sourced):
    """A pure metal of which native gold is alloyed.

    Parameters
    ----------
    symbol : str
        Of the element.
    density_g_cm3 : float
        [g/cm³]
    """

    symbol: Text
    density_g_cm3: DensityValue


class AlloyModel(_Sourced):
    """How far the density of native gold may be from ideal mixing.

    Parameters
    ----------
    u_relative_density : float
        Relative standard uncertainty of the computed density.
    """

    u_relative_density: Annotated[float, Field(gt=0.0, lt=0.1)]


@cache
def _table() -> dict[str, Any]:
    return tomllib.loads(files("valuation").joinpath("materials.toml").read_text(encoding="utf-8"))


def _rows(name: str, row: type[_Row]) -> Mapping[str, _Row]:
    return MappingProxyType({k: row.model_validate({"key": k, **v}) for k, v in _table()[name].items()})


def _found(table: str, key: str, known: Mapping[str, _Any]) -> _Any:
    try:
        return known[key]
    except KeyError:
        raise UnknownMaterial(table, key, known) from None


@cache
def rocks() -> Mapping[str, Rock]:
    """Host rocks by key, in the order of the table."""
    return _rows("rocks", Rock)


@cache
def minerals() -> Mapping[str, Mineral]:
    """Minerals by key, in the order of the table."""
    return _rows("minerals", Mineral)


@cache
def lookalikes() -> Mapping[str, Lookalike]:
    """Things that fake or hide gold, by key; a mineral's density and source are those of `minerals`."""
    read: dict[str, Lookalike] = {}
    for key, row in _table()["lookalikes"].items():
        own = {name: value for name, value in row.items() if name != "mineral"}
        if "mineral" in row:
            own = mineral(row["mineral"]).model_dump(exclude={"key", "label", "formula"}) | own
        read[key] = Lookalike.model_validate({"key": key, **own})
    return MappingProxyType(read)


@cache
def metals() -> Mapping[str, Metal]:
    """Gold, silver and copper: the constants of the alloy model."""
    return _rows("metals", Metal)


@cache
def alloy_model() -> AlloyModel:
    """Uncertainty of native gold's density, with its justification."""
    return AlloyModel.model_validate({"key": "alloy-model", **_table()["alloy_model"]})


@cache
def references() -> Mapping[str, Reference]:
    """Works cited by the table, by key."""
    cited = _table()["references"]
    return MappingProxyType({key: Reference.model_validate(row) for key, row in cited.items()})


def rock(key: str) -> Rock:
    """Host rock of that key.

    Raises
    ------
    UnknownMaterial
        No such rock; the message names those with a similar key.
    """
    return _found("rock", key, rocks())


def mineral(key: str) -> Mineral:
    """Mineral of that key.

    Raises
    ------
    UnknownMaterial
        No such mineral; the message names those with a similar key.
    """
    return _found("mineral", key, minerals())
