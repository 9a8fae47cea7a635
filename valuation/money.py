"""Amounts of money as exact decimals."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

# ISO 4217 currencies whose minor unit is not a hundredth.
_NO_DIGITS = frozenset(
    ("BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "UYI", "VND", "VUV", "XAF", "XOF")
) | {"XPF"}
_THREE_DIGITS = frozenset(("BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND"))


def currency_digits(currency: str) -> int:
    """Decimal digits of a currency's smallest unit.

    References
    ----------
    ISO 4217, list one (minor units).
    """
    return 0 if currency in _NO_DIGITS else 3 if currency in _THREE_DIGITS else 2


def minor_unit(currency: str) -> Decimal:
    """Smallest unit of a currency, for example 0.01."""
    return Decimal(1).scaleb(-currency_digits(currency))


def exact(number: float) -> Decimal:
    """Decimal with the digits that a float is printed with."""
    return Decimal(repr(float(number)))


def to_coins(amount: float, currency: str, rounding: str = ROUND_HALF_UP) -> Decimal:
    """The amount in whole coins of the currency."""
    unit = minor_unit(currency)
    return (exact(amount) / unit).to_integral_value(rounding) * unit
