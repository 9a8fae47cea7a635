"""Sentences of the engine, whose figures are written in one plain form, with their figures in the reader's form."""

import re

from webapp.wording import NBSP, Wording

# A figure is whole by itself: not part of a date, a version, a time or a name.
_FIGURE = re.compile(
    r"(?<![\w.,:/-])(?P<sign>[-−]?)(?P<digits>(?:\d{1,3}(?:,\d{3})+|\d+)(?:\.\d+)?)(?!\w|[.,:/-]\d)"
    r"(?: (?P<currency>[A-Z]{3}|money)\b|(?P<percent> ?%))?(?P<space> (?=[°a-zA-Z]))?"
)
_UNITS = re.compile(r"(?:g|kg|ozt|tola|hPa|mm|°C|cm³|days|months)\b|g/cm³|°C|cm³")


def retold(sentence: str, w: Wording) -> str:
    """The sentence with every amount, share and number as `w` writes them.

    `money` in place of a currency stands for the one of the quote. Whole numbers stay as they are.
    """
    return _FIGURE.sub(lambda found: _figure(found, w), sentence)


def _figure(found: re.Match[str], w: Wording) -> str:
    digits = found["digits"].replace(",", "")
    amount = float(("-" if found["sign"] else "") + digits)
    decimals = len(digits.partition(".")[2])
    if found["currency"]:
        told = _money(amount, decimals, found["currency"], w)
    elif found["percent"]:
        told = f"{w.number(amount, decimals, least=0)}{NBSP}%"
    elif digits == found["digits"] and not decimals:
        told = found["sign"] + digits
    else:
        told = w.number(amount, decimals, least=decimals)
    if not found["space"]:
        return told
    return told + (NBSP if _UNITS.match(found.string, found.end()) else " ")


def _money(amount: float, decimals: int, currency: str, w: Wording) -> str:
    if currency in ("money", w.currency):
        return w.price(amount)
    return f"{w.number(amount, decimals, least=decimals)}{NBSP}{currency}"
