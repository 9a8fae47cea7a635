"""Options of the command line that stand in for fields of a request, when an asking price is checked."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

UNITS = ("ozt", "g", "kg", "tola")


@dataclass(frozen=True)
class Option:
    """An option and the field that it fills; a share may be written in per cent."""

    name: str
    field: str
    metavar: str
    about: str
    choices: tuple[str, ...] = ()
    is_share: bool = False


OPTIONS = (
    Option("--price", "seller.asks.price", "P", "what is asked"),
    Option("--shipping", "seller.asks.shipping", "P", "paid on top, in the currency of the ask"),
    Option("--fee", "seller.asks.fee_frac", "SHARE", "buyer's fee on the price, such as 5%%", is_share=True),
    Option("--tax", "seller.asks.tax_frac", "SHARE", "tax on price, fee and shipping, such as 8%%", is_share=True),
    Option("--price-currency", "seller.asks.currency", "CUR", "currency of the ask, if another; needs --rate"),
    Option("--rate", "seller.asks.exchange_rate", "R", "what one unit of that currency costs in --currency"),
    Option("--claim", "seller.claim.mass", "M", "gold that the seller says is in it"),
    Option("--unit", "seller.claim.unit", "UNIT", "of the claim: ozt, the usual one, g, kg or tola", UNITS),
    Option("--basis", "seller.claim.basis", "BASIS", "native, fine or unknown", ("native", "fine", "unknown")),
    Option("--piece", "seller.claim.piece_g", "G", "mass of the whole piece in grams, if it is known"),
    Option("--gold", "spot.gold", "SPOT", "price of fine gold now"),
    Option("--per", "spot.unit", "UNIT", "unit of that price: ozt, the usual one, g, kg or tola", UNITS),
    Option("--currency", "spot.currency", "CUR", "currency of every amount, such as EUR; USD if left out"),
    Option("--minimum", "seller.minimum", "P", "least that the seller says to accept"),
    Option("--other-bid", "seller.other_bid", "P", "cash bid that the seller already has"),
    Option("--margin", "buyer.margin_frac", "SHARE", "profit that the house needs on its outlay", is_share=True),
)
# A new claim or price is in the usual unit again, whatever the file says of the old one.
_RESTARTS = {
    "seller.claim.mass": ("seller.claim.unit", "seller.claim.basis"),
    "spot.gold": ("spot.unit", "spot.seen_at"),
}


class OptionRefused(Exception):  # noqa: N818 - told as an event
    """An option that cannot be read; the message names it and says what to write."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Let a command take every one of `OPTIONS`."""
    for option in OPTIONS:
        parser.add_argument(
            option.name, dest=option.field, metavar=option.metavar, help=option.about, choices=option.choices or None
        )


def with_options(entries: Mapping[str, Any], options: Mapping[str, Any]) -> dict[str, Any]:
    """The entries of a file, with what the options say in their place.

    Raises `OptionRefused`.
    """
    merged = _copied(entries)
    given = {option: str(options[option.field]) for option in OPTIONS if options.get(option.field) is not None}
    for option in given:
        for field in _RESTARTS.get(option.field, ()):
            _section(merged, field).pop(field.rpartition(".")[2], None)
    for option, text in given.items():
        _section(merged, option.field)[option.field.rpartition(".")[2]] = (
            _share(option, text) if option.is_share else text
        )
    return merged


def option_of(field: str) -> str:
    """The option that fills a field; empty if none does."""
    return next((option.name for option in OPTIONS if option.field == field), "")


def _copied(entries: Mapping[str, Any]) -> dict[str, Any]:
    return {key: _copied(value) if isinstance(value, Mapping) else value for key, value in entries.items()}


def _section(entries: dict[str, Any], field: str) -> dict[str, Any]:
    place = entries
    for name in field.split(".")[:-1]:
        inner = place.setdefault(name, {})
        if not isinstance(inner, dict):
            raise OptionRefused(f"{name}: the file gives a single value where a table of fields is needed")
        place = inner
    return place


def _share(option: Option, text: str) -> str:
    """The share as a fraction; 5 alone may be meant as 5 % or as five times, so it is refused."""
    from pydantic_core import PydanticCustomError  # slow to load, and most commands need none of it

    bare = text.strip()
    try:
        if bare.endswith("%"):
            return f"{_number(bare[:-1]) / 100.0:.12g}"
        number = _number(bare)
    except PydanticCustomError as refused:
        raise OptionRefused(f"{option.name} {text}: {refused.message()}") from None
    if number >= 1.0:
        raise OptionRefused(f"{option.name} {text}: per cent or a fraction? Write {bare}% or {number / 100.0:g}")
    return bare


def _number(text: str) -> float:
    from valuation.number import read_number

    number = read_number(text)
    assert isinstance(number, float)
    return number
