"""Kinds of texts that a setting of the house may be."""

from __future__ import annotations

import re
import unicodedata
from difflib import get_close_matches
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError, available_timezones

from babel import Locale, UnknownLocaleError
from babel.numbers import list_currencies
from pydantic import AfterValidator, BeforeValidator
from pydantic_core import PydanticCustomError

from valuation.mass import MassUnit
from valuation.number import blank_is_none
from valuation.terms import Currency

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
