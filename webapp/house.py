"""What holds for the whole house: how it writes figures, its usual terms, and its limits."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from valuation.field import Section, refuse_all, said
from valuation.number import Number
from valuation.observations import OptionalNumber
from valuation.terms import Buyer, Collector, Refiner
from webapp.feed_settings import MOST_FEEDS, Feed
from webapp.fields import field_in
from webapp.house_kinds import OneLine, OwnCurrency, OwnLocale, OwnUnit, OwnZone

_HOUSE = "house assumption, no source"
_ONE_PIECE = {
    "buyer": frozenset({"routes", "offer"}),
    "collector": frozenset({"premium_frac", "price", "rubric", "comparables", "grade"}),
}


class Limits(Section):
    """From where on a quote should not be settled by one person alone."""

    cash_offer: OptionalNumber = said(
        "Largest offer by one person",
        "An offer above it asks for a second pair of eyes, on our side of the screen only.",
        unit="money",
        default=None,
        gt=0,
        le=1e10,
        assumed="no limit",
    )
    spot_age_hours: OptionalNumber = said(
        "Oldest price",
        "A price seen longer ago than this is to be looked up again.",
        unit="hours",
        default=None,
        gt=0,
        le=8760,
        assumed="24 hours",
    )


class HouseTerms(Buyer):
    """The house's terms for any piece."""

    @model_validator(mode="after")
    def _of_any_piece(self) -> Self:
        _refuse_of_one_piece(self, "buyer")
        return self


class CollectorTerms(Collector):
    """How a collector sells, for any piece; what is paid for one piece belongs to its quote."""

    @model_validator(mode="after")
    def _one_price(self) -> Self:
        _refuse_of_one_piece(self, "collector")
        return self


def _refuse_of_one_piece(section: Section, name: str) -> None:
    words = "belongs to the quote of one piece, not to the house: leave it out here"
    entered = sorted(section.model_fields_set & _ONE_PIECE[name])
    refuse_all(section, [PydanticCustomError("one_piece", words, {"field": field}) for field in entered])


class House(Section):
    """The settings of the house; whatever is left out is decided quote by quote, or by this machine."""

    name: OneLine = said("Name of the house", "As it should stand on paper.", default="", max_length=120)
    paper: Literal["A4", "Letter"] = said("Paper", "Size of what is printed.", default="A4", assumed=_HOUSE)
    currency: OwnCurrency = said(
        "Currency", "ISO 4217 code. New quotes and every amount here are in it.", default=None, assumed="USD"
    )
    spot_unit: OwnUnit = said(
        "Spot price per", "Mass unit of the price in a new quote.", default=None, assumed="troy ounce: trade custom"
    )
    locale: OwnLocale = said(
        "Locale",
        "How numbers, money and dates are written: a language and a country, such as en-US, de-CH or fr-CA.",
        default=None,
        assumed="this machine's",
    )
    time_zone: OwnZone = said(
        "Time zone", "Such as America/Denver or Europe/Zurich.", default=None, assumed="this machine's"
    )
    mostly: Literal["quotes", "asks", "sheets"] = said(
        "What you mostly do",
        "Which demo a start without any work opens on, and whether a later one opens on the offer sheets.",
        default="quotes",
        assumed=_HOUSE,
    )
    gold_volatility_per_year: OptionalNumber = said(
        "Gold volatility",
        "Standard deviation of a year's log price change, for new quotes.",
        unit="frac",
        default=None,
        ge=0,
        le=3,
        assumed="as a quote assumes",
    )
    silver_volatility_per_year: OptionalNumber = said(
        "Silver volatility", "As for gold.", unit="frac", default=None, ge=0, le=3, assumed="as a quote assumes"
    )
    offer_valid_hours: Number = said(
        "An offer holds for",
        "How long a written offer binds, from its issue.",
        unit="hours",
        default=24.0,
        gt=0,
        le=8760,
        assumed=_HOUSE,
    )
    limits: Limits = said("Limits", "When somebody else should look.", default=Limits())
    buyer: HouseTerms = said("Our terms", "What the house needs.", default=HouseTerms())
    refiner: Refiner = said("Refiner", "The terms of the usual refiner.", default=Refiner())
    collector: CollectorTerms = said("Collector", "How a collector usually sells.", default=CollectorTerms())

    feeds: Annotated[tuple[Feed, ...], Field(max_length=MOST_FEEDS)] = said(
        "Price feeds",
        "Addresses that prices are looked up at, in this order: the first good answer counts. Nothing leaves this "
        "machine as long as there is none.",
        default=(),
    )

    def entries(self) -> dict[str, Any]:
        """What was entered, without what was left to its default."""
        entered = self.model_dump(exclude_unset=True)
        return {key: value for key, value in _pruned(entered).items() if value not in ("", {}, ())}

    def quote_entries(self, currency: str) -> dict[str, Any]:
        """Entries of a request that a new quote in this currency starts from.

        Amounts of money are left out where they are in another currency than the quote.
        """
        entered = self.entries()
        found: dict[str, Any] = {"spot": {"currency": currency, "unit": self.spot_unit or "ozt"}}
        for name in ("gold_volatility_per_year", "silver_volatility_per_year"):
            if name in entered:
                found["spot"][name] = entered[name]
        for section in ("buyer", "refiner", "collector"):
            terms = {
                name: value
                for name, value in entered.get(section, {}).items()
                if self.is_in(currency) or not is_money(f"{section}.{name}")
            }
            if terms:
                found[section] = terms
        return found

    @property
    def has_amounts(self) -> bool:
        """Whether any amount of money was entered."""
        tables = {name: terms for name, terms in self.entries().items() if isinstance(terms, dict)}
        return any(is_money(f"{section}.{name}") for section, terms in tables.items() for name in terms)

    def is_in(self, currency: str) -> bool:
        """Whether the amounts of the house are in this currency; they are in any if it names none."""
        return self.currency in (None, currency)


def is_money(path: str) -> bool:
    """Whether the setting at a path is an amount of money."""
    spec = field_in(House, path)
    return spec is not None and spec.unit.startswith("money")


def ended(words: str) -> str:
    """A message as a sentence that ends."""
    return words if words.endswith((".", "?")) else f"{words}."


def _pruned(entered: dict[str, Any]) -> dict[str, Any]:
    inner = {key: _pruned(value) if isinstance(value, dict) else value for key, value in entered.items()}
    return {key: value for key, value in inner.items() if value is not None}


def settings_paths() -> Iterator[str]:
    """Dotted path of every setting but the feeds, in the order of the file: what stands alone, then the tables."""
    tables = {name: info.default for name, info in House.model_fields.items() if isinstance(info.default, Section)}
    yield from (name for name in House.model_fields if name not in tables and name != "feeds")
    for name, table in tables.items():
        yield from (f"{name}.{key}" for key in type(table).model_fields if key not in _ONE_PIECE.get(name, ()))
