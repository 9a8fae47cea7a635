"""The text of `house.toml`: every setting with its help, those that are not set behind a #."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from pydantic import BaseModel

from valuation.spread import Spread
from webapp.feed_settings import Feed
from webapp.house import House, settings_paths
from webapp.toml_text import toml_line

_HEAD = """\
# House settings of Lodeworth: what every new quote starts from, and how figures are written.
# Edit it here or on the page "House". A line that begins with # counts for nothing: take the # away to set it.
# Shares are fractions: 0.15 is 15 %. Amounts of money are in the currency named here.
# Saving on the page writes this file anew; if it was edited by hand, a copy of that is kept beside it.
"""
# Shown where there is no default to show.
_EXAMPLES: dict[str, Any] = {
    "currency": "USD",
    "spot_unit": "ozt",
    "locale": "en-US",
    "time_zone": "America/Denver",
    "gold_volatility_per_year": 0.18,
    "silver_volatility_per_year": 0.3,
    "limits.cash_offer": 5000.0,
    "limits.spot_age_hours": 4.0,
    "refiner.silver_recovery_frac": 0.9,
}


_FEED = {
    "name": "Desk",
    "metal": "gold",
    "address": "https://prices.example/metals.json",
    "price": "/metals/gold/price",
    "currency": "USD",
    "unit": "ozt",
    "time_at": "/metals/gold/time",
}


def house_toml(house: House) -> str:
    """The text of the file: every setting with its help, those that are not set behind a #."""
    entered = house.entries()
    lines, table = [_HEAD], ""
    for path in settings_paths():
        section, _, name = path.rpartition(".")
        if section != table:
            table = section
            info = House.model_fields[section]
            lines += ["", f"# ---- {info.title}: {info.description}", "", f"[{section}]"]
        held = entered.get(section, {}) if section else entered
        lines += _setting(path, name, held)
    lines += _feeds(entered.get("feeds", ()))
    return "\n".join(lines) + "\n"


def _feeds(feeds: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    info = House.model_fields["feeds"]
    yield from ("", f"# ---- {info.title}")
    yield from textwrap.wrap(str(info.description), 116, initial_indent="# ", subsequent_indent="# ")
    for feed in feeds:
        yield from ("", "[[feeds]]")
        yield from (
            toml_line(name, feed[name], "feeds") for name in Feed.model_fields if feed.get(name) not in (None, "", ())
        )
    if not feeds:
        yield from ("#", "#   [[feeds]]")
        yield from (f"#   {toml_line(name, value, 'feeds')}" for name, value in _FEED.items())


def _setting(path: str, name: str, held: Mapping[str, Any]) -> Iterator[str]:
    section = path.rpartition(".")[0]
    model = type(House.model_fields[section].default) if section else House
    info = model.model_fields[name]
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    unit = str(extra.get("unit", ""))
    about = f"{info.title}{f' [{unit}]' if unit and unit != 'frac' else ''}: {info.description}"
    yield from textwrap.wrap(about, 116, initial_indent="# ", subsequent_indent="# ")
    if name in held:
        yield toml_line(name, held[name], section)
    else:
        example = _EXAMPLES.get(path, _plain(info.default))
        yield f"# {toml_line(name, example, section)}"


def _plain(default: Any) -> Any:
    return default.model_dump(exclude_none=True) if isinstance(default, BaseModel | Spread) else default
