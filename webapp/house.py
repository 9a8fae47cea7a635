"""What holds for the whole house: how it writes figures, its usual terms, and its limits."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from difflib import get_close_matches
from typing import Annotated, Any, Literal, Self
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from babel import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import AfterValidator, BeforeValidator, model_validator
from pydantic_core import PydanticCustomError

from valuation.field import Section, refuse_all, said
from valuation.mass import MassUnit
from valuation.number import Number, blank_is_none
from valuation.observations import OptionalNumber
from valuation.terms import Buyer, Collector, Currency, Refiner
from webapp.fields import field_in

_HOUSE = "house assumption, no source"
_ONE_PIECE = {
    "buyer": frozenset({"routes", "offer"}),
    "collector": frozenset({"premium_frac", "price", "rubric", "comparables", "grade"}),
}
# Formatting characters that turn the order of the letters round them.
_TURNING = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def _one_line(text: str) -> str:
    if any(unicodedata.category(c) == "Cc" or c in _TURNING for c in text):
        raise PydanticCustomError("one_line", "one line of plain text is needed, without control characters")
    return text


def _in_capitals(entered: object) -> object:
    return blank_is_none(entered.strip().upper() if isinstance(entered, str) else entered)


def _known_currency(code: str | None) -> str | None:
    if code is not None and code not in list_currencies():
        raise PydanticCustomError("currency", "not a currency of ISO 4217; write its three letters, such as USD")
    return code


def _known_locale(name: str | None) -> str | None:
    if name is not None:
        try:
            if not re.fullmatch("[A-Za-z0-9_-]{2,30}", name):
                raise ValueError(name)
            Locale.parse(name.replace("-", "_"))
        except (ValueError, TypeError, UnknownLocaleError):
            words = "not the name of a locale; write a language and a country, such as en-US, de-CH or fr-CA"
            raise PydanticCustomError("locale", words) from None
    return name


def _known_zone(name: str | None) -> str | None:
    if name is not None:
        try:
            ZoneInfo(name)
        except (ZoneInfoNotFoundError, ValueError, OSError):
            near = get_close_matches(name[:40], available_timezones(), 1, 0.6)
            hint = f"; did you mean {near[0]}?" if near else ", such as America/Denver or Europe/Zurich"
            raise PydanticCustomError("time_zone", "not the name of a time zone{hint}", {"hint": hint}) from None
    return name


def _stripped_or_none(entered: object) -> object:
    return blank_is_none(entered.strip() if isinstance(entered, str) else entered)


OneLine = Annotated[str, BeforeValidator(lambda x: x.strip() if isinstance(x, str) else x), AfterValidator(_one_line)]
OwnCurrency = Annotated[Currency | None, BeforeValidator(_in_capitals), AfterValidator(_known_currency)]
OwnLocale = Annotated[str | None, BeforeValidator(_stripped_or_none), AfterValidator(_known_locale)]
OwnZone = Annotated[str | None, BeforeValidator(_stripped_or_none), AfterValidator(_known_zone)]
OwnUnit = Annotated[MassUnit | None, BeforeValidator(_stripped_or_none)]


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

    def entries(self) -> dict[str, Any]:
        """What was entered, without what was left to its default."""
        entered = self.model_dump(exclude_unset=True)
        return {key: value for key, value in _pruned(entered).items() if value not in ("", {})}

    def quote_entries(self, currency: str) -> dict[str, Any]:
        """Entries of a request that a new quote in this currency starts from.

        Amounts of money are left out where they are in another currency than the quote.
        """
        entered = self.entries()
        found: dict[str, Any] = {"spot": {"currency": currency, "unit": self.spot_unit or "ozt"}}
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
    """Dotted path of every setting, in the order of the file: what stands alone, then the tables."""
    tables = {name: info.default for name, info in House.model_fields.items() if isinstance(info.default, Section)}
    yield from (name for name in House.model_fields if name not in tables)
    for name, table in tables.items():
        yield from (f"{name}.{key}" for key in type(table).model_fields if key not in _ONE_PIECE.get(name, ()))
