"""Amounts as they are written in a sentence."""

from __future__ import annotations

import math
from decimal import Decimal

from valuation.money import currency_digits

SMALLEST_CHANCE = 0.01


def money_words(amount: float | Decimal, currency: str) -> str:
    """The amount with the digits of its currency, such as ``1,234.50 USD``."""
    return f"{amount:,.{currency_digits(currency)}f} {currency}"


def grams_words(grams: float, digits: int = 3) -> str:
    """Grams with so many significant digits, never with an exponent."""
    if grams == 0.0:
        return "0 g"
    decimals = min(max(0, digits - 1 - math.floor(math.log10(abs(grams)))), 9)
    return f"{grams:,.{decimals}f} g"


def chance_words(chance: float) -> str:
    """A chance in whole per cent; none is told as impossible or as certain."""
    if chance < SMALLEST_CHANCE:
        return "under 1%"
    return "over 99%" if chance > 1.0 - SMALLEST_CHANCE else f"{chance:.0%}"
