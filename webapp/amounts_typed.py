"""Amounts of money as the reader's locale groups them: read where that leaves no doubt, told back where there is some.

The engine refuses ``4,120``, since a mass may be meant; nobody says that a price is 4 and 120 thousandths where the
screen itself prints $4,120.
"""

from __future__ import annotations

import re
from decimal import Decimal

from babel import Locale
from babel.numbers import format_decimal, get_group_symbol

_BY_COMMA = re.compile(r"\+?[1-9]\d{0,2},\d{3}", re.ASCII)
_BY_POINT = re.compile(r"\+?[1-9]\d{0,2}\.\d{3}", re.ASCII)


def ungrouped(text: str, locale: Locale | None) -> str:
    """The amount without a comma that groups its thousands; any other text as it is.

    Parameters
    ----------
    text : str
        As typed in a field of money.
    locale : Locale or None
        The reader's; None reads as strictly as the engine does.
    """
    bare = text.strip()
    return bare.replace(",", "") if _groups_by(",", locale) and _BY_COMMA.fullmatch(bare) else text


def told_back(text: str, locale: Locale | None) -> str:
    """How an amount was read, in the reader's own figures, where one might have meant another; else empty."""
    bare = text.strip()
    if locale is None:
        return ""
    if _groups_by(",", locale) and _BY_COMMA.fullmatch(bare):
        return str(format_decimal(Decimal(bare.replace(",", "")), locale=locale))
    if _groups_by(".", locale) and _BY_POINT.fullmatch(bare):
        return str(format_decimal(Decimal(bare), locale=locale))
    return ""


def _groups_by(mark: str, locale: Locale | None) -> bool:
    return locale is not None and get_group_symbol(locale) == mark
