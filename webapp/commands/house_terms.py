"""`--house`: start from the house's own terms, as kept in its `house.toml`."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from webapp.commands.output import complain, wording

if TYPE_CHECKING:
    from valuation import Quote
    from webapp.settings import Settings
    from webapp.wording import Wording


def add_option(parser: argparse.ArgumentParser) -> None:
    """Let a command take `--house`."""
    about = "start from the house's own terms and its way of writing figures (house.toml); what the file says counts"
    parser.add_argument("--house", action="store_true", help=about)


def with_house(entries: Mapping[str, Any]) -> tuple[dict[str, Any], Settings]:
    """The entries, over those that the house starts a new quote from, and how the house writes.

    What of the house's file cannot be used is complained of, and left out.
    """
    from webapp.house_file import house_in
    from webapp.settings import Settings

    set_at_start = Settings()
    read = house_in(set_at_start.data)
    for words in read.trouble:
        complain(words)
    settings = set_at_start.under(read.house)
    spot = entries.get("spot")
    named = spot.get("currency") if isinstance(spot, Mapping) else None
    currency = named if isinstance(named, str) else settings.currency
    start = read.house.quote_entries(currency)
    # A price in a file that names no unit is per troy ounce, whatever unit the house types in.
    del start["spot"]["unit"]
    return _over(entries, start), settings


def house_wording(settings: Settings | None, quote: Quote) -> Wording:
    """How figures are written: as the house writes them if it was asked for, else as the environment says."""
    if settings is None:
        return wording(quote)
    from webapp.wording import Wording

    return Wording(settings.written_in, quote.currency)


def _over(entries: Mapping[str, Any], below: Mapping[str, Any]) -> dict[str, Any]:
    merged = dict(below)
    for name, value in entries.items():
        under = merged.get(name)
        merged[name] = _over(value, under) if isinstance(value, Mapping) and isinstance(under, Mapping) else value
    return merged
