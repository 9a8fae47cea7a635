"""Figures as people read them: money, masses, shares and moments, in a locale, rounded by their uncertainty."""

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from functools import cached_property
from typing import Self

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_time
from babel.numbers import NumberPattern, parse_pattern

from valuation.mass import grams_per
from valuation.money import currency_digits, exact
from valuation.summary import Summary, decimals_for
from valuation.words import SMALLEST_CHANCE

FALLBACK = Locale("en", "US")
G_PER_OZT = grams_per("ozt")
MOST_DECIMALS = 6
NBSP = "\u00a0"  # keeps a figure and its unit on one line
_LETTER_BY_DIGIT = re.compile(r"(?<=[^\W\d_])(?=\d)")  # CLDR parts a currency's letters from the amount


def locale_named(name: str | None) -> Locale:
    """Locale of a name such as ``en-US`` or ``de_DE.UTF-8``; American English where there is none of that name."""
    bare = (name or "").partition(".")[0].partition("@")[0].replace("-", "_")
    try:
        return Locale.parse(bare)
    except (ValueError, TypeError, UnknownLocaleError):
        return FALLBACK


def locale_of_environment(environ: Mapping[str, str] = os.environ) -> Locale:
    """Locale that the environment asks for in amounts, by the precedence of POSIX."""
    return locale_named(next((environ[n] for n in ("LC_ALL", "LC_MONETARY", "LANG") if environ.get(n)), None))


def rounded(amount: float, decimals: int, rounding: str = ROUND_HALF_EVEN) -> Decimal:
    """The amount at so many decimals; -1 rounds to whole tens. Never minus zero."""
    number = exact(amount).quantize(Decimal(1).scaleb(-decimals), rounding)
    return abs(number) if number == 0 else number


@dataclass(frozen=True)
class Wording:
    """Figures of one quote as text: everything that a screen or a page shows passes through here.

    A figure with a standard deviation is rounded to two digits of it (JCGM 100:2008, 7.2.6), and the ends of its
    range to the same place. Figure and unit are joined by a no-break space.
    """

    locale: Locale
    currency: str

    @classmethod
    def of(cls, currency: str, locale_name: str | None) -> Self:
        return cls(locale_named(locale_name), currency)

    @cached_property
    def _money_pattern(self) -> str:
        return str(self.locale.currency_formats["standard"].pattern)

    @cached_property
    def _number_pattern(self) -> str:
        return str(self.locale.decimal_formats[None].pattern)

    def number(self, x: float, decimals: int, least: int | None = None) -> str:
        """Plain number; trailing zeros beyond `least` decimals are left out."""
        pattern = _with_decimals(self._number_pattern, decimals, least)
        return str(pattern.apply(rounded(x, decimals), self.locale))

    # ---- money

    @property
    def money_digits(self) -> int:
        """Decimals of the currency's smallest unit."""
        return currency_digits(self.currency)

    def _money(self, amount: Decimal, decimals: int) -> str:
        pattern = _with_decimals(self._money_pattern, decimals)
        text = str(pattern.apply(amount, self.locale, currency=self.currency, currency_digits=False))
        return _LETTER_BY_DIGIT.sub(NBSP, text)

    def _money_decimals(self, sd: float) -> int:
        decimals = decimals_for(sd)
        return decimals if sd > 0 and decimals <= 0 else self.money_digits

    def money(self, amount: float, sd: float = 0.0) -> str:
        """An estimate with its standard deviation, or an amount to the smallest unit."""
        decimals = self._money_decimals(sd)
        return self._money(rounded(amount, decimals), decimals)

    def money_range(self, low: float, high: float, sd: float = 0.0) -> str:
        """Both ends of a range of money."""
        return f"{self.money(low, sd)} to {self.money(high, sd)}"

    def price(self, amount: float) -> str:
        """A price somebody may name: whole where it is whole, else to the smallest unit."""
        number = rounded(amount, self.money_digits)
        return self._money(number, 0 if number == number.to_integral_value() else self.money_digits)

    def at_most(self, amount: float) -> str:
        """A limit from above, such as a ceiling: rounded down, whole from 100 on."""
        return self._limit(amount, ROUND_FLOOR)

    def at_least(self, amount: float) -> str:
        """A limit from below, such as a floor: rounded up, whole from 100 on."""
        return self._limit(amount, ROUND_CEILING)

    def _limit(self, amount: float, rounding: str) -> str:
        decimals = 0 if abs(amount) >= 100 else self.money_digits
        return self.price(float(rounded(amount, decimals, rounding)))

    # ---- masses

    def grams(self, g: float, sd: float = 0.0) -> str:
        """Mass in grams."""
        return f"{self._by_sd(g, sd)}{NBSP}g"

    def grams_range(self, low: float, high: float, sd: float = 0.0) -> str:
        """Range of a mass in grams."""
        return f"{self._by_sd(low, sd)} to {self.grams(high, sd)}"

    def ounces(self, g: float, sd: float = 0.0) -> str:
        """Mass of so many grams in troy ounces."""
        return f"{self._by_sd(g / G_PER_OZT, sd / G_PER_OZT)}{NBSP}ozt"

    def ounces_range(self, low: float, high: float, sd: float = 0.0) -> str:
        """Range of a mass of so many grams, in troy ounces."""
        return f"{self._by_sd(low / G_PER_OZT, sd / G_PER_OZT)} to {self.ounces(high, sd)}"

    def mass(self, g: float, sd: float = 0.0) -> str:
        """Grams with troy ounces beside them."""
        return f"{self.grams(g, sd)} ({self.ounces(g, sd)})"

    def mass_range(self, summary: Summary) -> str:
        """The 95 % range in grams with troy ounces beside it."""
        ends = summary.low, summary.high, summary.sd
        return f"{self.grams_range(*ends)} ({self.ounces_range(*ends)})"

    def measure(self, x: float, sd: float, unit: str = "", digits: int = 2) -> str:
        """Any other measured quantity with its unit, to so many digits of its standard deviation."""
        told = self._by_sd(x, sd, digits)
        return f"{told}{NBSP}{unit}" if unit else told

    def measure_range(self, low: float, high: float, sd: float, unit: str = "") -> str:
        """Range of any other measured quantity."""
        return f"{self._by_sd(low, sd)} to {self.measure(high, sd, unit)}"

    def _by_sd(self, x: float, sd: float, digits: int = 2) -> str:
        if sd <= 0:
            return self.number(x, MOST_DECIMALS, least=0)
        return self.number(x, min(decimals_for(sd, digits), MOST_DECIMALS))

    # ---- the rest

    def rough(self, x: float, digits: int = 2) -> str:
        """A figure with no stated uncertainty, to so many significant digits."""
        return self.number(x, min(decimals_for(abs(x), digits), MOST_DECIMALS)) if x else self.number(0, 0)

    def grams_rough(self, g: float, digits: int = 2) -> str:
        """Mass with no stated uncertainty."""
        return f"{self.rough(g, digits)}{NBSP}g"

    def mass_rough(self, g: float, digits: int = 3) -> str:
        """Grams with no stated uncertainty, with troy ounces beside them."""
        return f"{self.grams_rough(g, digits)} ({self.rough(g / G_PER_OZT, digits)}{NBSP}ozt)"

    def money_rough(self, amount: float, digits: int = 3) -> str:
        """Amount with no stated uncertainty, to so many significant digits; whole from 1 on."""
        if 0 < abs(amount) < 1:
            return self.money(amount)
        decimals = min(decimals_for(abs(amount), digits), 0) if amount else 0
        return self._money(rounded(amount, decimals), decimals)

    def percent(self, frac: float, decimals: int = 0) -> str:
        """Share in per cent."""
        return f"{self.number(100 * frac, decimals, least=0)}{NBSP}%"

    def chance(self, frac: float) -> str:
        """A chance in whole per cent; none is told as impossible or as certain."""
        if frac < SMALLEST_CHANCE:
            return f"under {self.percent(0.01)}"
        return f"over {self.percent(0.99)}" if frac > 1.0 - SMALLEST_CHANCE else self.percent(frac)

    def moment(self, at: datetime) -> str:
        """Date and time as they stood on the wall where it was noted, with the offset from UTC."""
        at = at.replace(microsecond=0)
        day = format_date(at.date(), "medium", self.locale)
        return f"{day}, {format_time(at, 'short', at.tzinfo, self.locale)} (UTC{at.isoformat()[19:] or '+00:00'})"


def _with_decimals(pattern: str, decimals: int, least: int | None = None) -> NumberPattern:
    places = max(decimals, 0)
    fresh = parse_pattern(pattern)
    fresh.frac_prec = (places if least is None else min(least, places), places)
    return fresh
