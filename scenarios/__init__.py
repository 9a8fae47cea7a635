"""Demo specimens: all invented, each showing one thing, with the bands that its figures must fall in."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from importlib.resources import files
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from valuation import QuoteRequest

TABLE = "scenario"
FIRST = "leaf-gold-walk-in"  # what a first start opens on


class UnknownScenario(LookupError):  # noqa: N818 - told as an event
    """No scenario has that name; the message names those that are near."""


@dataclass(frozen=True)
class Band:
    """Where a figure of the quote must lie."""

    low: float
    high: float

    def holds(self, x: float) -> bool:
        return self.low <= x <= self.high


@dataclass(frozen=True)
class Scenario:
    """One invented specimen.

    `entries` are those of the request, `bands` are keyed by the path of a figure such as ``fine_gold_g.median`` or
    ``routes.refine.mean``, and `text` is the file as it is.
    """

    name: str
    title: str
    shows: str
    verdict: str
    cautions: frozenset[str]
    bands: Mapping[str, Band]
    entries: Mapping[str, Any]
    text: str

    def request(self) -> "QuoteRequest":
        from valuation import read_request  # slow to load, and a list of names needs none of it

        return read_request(self.entries)


def names() -> list[str]:
    """Names of all scenarios; the first is the one that a first start opens on."""
    found = (entry.name.removesuffix(".toml") for entry in files(__name__).iterdir() if entry.name.endswith(".toml"))
    return sorted(found, key=lambda name: (name != FIRST, name))


def scenario(name: str) -> Scenario:
    """The scenario of that name.

    Raises `UnknownScenario`.
    """
    if name not in names():
        near = get_close_matches(name, names(), 3, 0.4) or names()
        raise UnknownScenario(f"There is no scenario “{name}”. Did you mean {' or '.join(near)}?")
    text = files(__name__).joinpath(f"{name}.toml").read_text("utf-8")
    entries = tomllib.loads(text)
    about = entries[TABLE]
    return Scenario(
        name=name,
        title=entries["title"],
        shows=about["shows"],
        verdict=about["verdict"],
        cautions=frozenset(about["cautions"]),
        bands={path: Band(**ends) for path, ends in about["bands"].items()},
        entries=without_scenario(entries),
        text=text,
    )


def all_scenarios() -> list[Scenario]:
    """Every scenario, in the order of `names`."""
    return [scenario(name) for name in names()]


def demo_lot() -> str:
    """The file of the demo lot; it is no scenario, as it is many specimens."""
    return files(__name__).joinpath("lots", "one-vein.toml").read_text("utf-8")


def without_scenario(entries: Mapping[str, Any]) -> dict[str, Any]:
    """The entries of a file without what makes it a scenario."""
    return {key: value for key, value in entries.items() if key != TABLE}
