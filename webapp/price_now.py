"""The newest price of a metal in a currency: as kept, or through an exchange rate; its age; and how much it moves."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta, tzinfo

from valuation import ValuationError
from valuation.history import Volatility, volatility
from valuation.mass import MassUnit, grams_per
from valuation.terms import Spot
from webapp.store import prices
from webapp.store.database import Store
from webapp.store.prices import GOLD, Price

ENOUGH_DAYS = 30
COUNTED = timedelta(days=366)
SAME_FRAC = 1e-6
SAME_MOMENT = timedelta(seconds=60)  # forms write a moment to the minute
BY_HAND = "entered by hand"


@dataclass(frozen=True)
class PriceNow:
    """A price in a currency.

    Parameters
    ----------
    price : float
        Per `unit`, in `currency`.
    seen_at : datetime
        When it held; through an exchange rate, the older of the two moments.
    of : Price
        The price that was kept.
    rate : Price or None
        The exchange rate that it went through.
    """

    metal: str
    currency: str
    unit: MassUnit
    price: float
    seen_at: datetime
    of: Price
    rate: Price | None = None

    @property
    def is_fed(self) -> bool:
        """Whether all of it comes from feeds."""
        return self.of.is_fed and (self.rate is None or self.rate.is_fed)

    @property
    def source(self) -> str:
        """Where it comes from, in words."""
        words = source_words(self.of)
        if self.rate is None:
            return words
        return f"{words}, in {self.of.currency}, at {self.rate.price:.6g} {self.currency} ({source_words(self.rate)})"

    def per(self, unit: MassUnit) -> PriceNow:
        """The same price per another mass unit."""
        return replace(self, unit=unit, price=self.price * grams_per(unit) / grams_per(self.unit))


@dataclass(frozen=True)
class Moves:
    """How much a price moves.

    Parameters
    ----------
    days : int
        Days that have a price.
    volatility : Volatility or None
        None until there are enough of them.
    """

    days: int
    volatility: Volatility | None

    @property
    def words(self) -> str:
        """The count, and what is missing."""
        if self.volatility is None:
            return f"not enough yet: {self.days} of {ENOUGH_DAYS} days"
        return f"from {self.volatility.n_returns + 1} days, {self.volatility.first} to {self.volatility.last}"


def source_words(price: Price) -> str:
    """Whose a kept price is."""
    if price.is_fed:
        return price.source
    return f"{BY_HAND}: {price.source}" if price.source else BY_HAND


def newest_price(store: Store, metal: str, currency: str, *, fed_only: bool = False) -> PriceNow | None:
    """The newest price of gold or silver in a currency; None if there is none.

    Kept in that currency, or in another one and through the newest exchange rate; the one whose older part was seen
    last counts.
    """
    of_metal = prices.newest_fed if fed_only else prices.newest
    found = []
    direct = of_metal(store, metal, currency)
    if direct is not None:
        found.append(_now(direct, currency, None))
    for rate in prices.rates(store, currency):
        other = of_metal(store, metal, rate.unit)
        if other is not None:
            found.append(_now(other, currency, rate))
    return max(found, key=lambda one: (one.seen_at, one.rate is None), default=None)


def _now(of: Price, currency: str, rate: Price | None) -> PriceNow:
    unit: MassUnit = of.unit  # type: ignore[assignment]
    if rate is None:
        return PriceNow(of.metal, currency, unit, of.price, of.seen_at, of)
    return PriceNow(of.metal, currency, unit, of.price * rate.price, min(of.seen_at, rate.seen_at), of, rate)


def source_of(store: Store, metal: str, spot: Spot) -> PriceNow | None:
    """The fed price that the price of a quote is, if it is one: the same figure, seen in the same minute."""
    typed = spot.gold if metal == GOLD else spot.silver
    if typed is None or spot.seen_at is None:
        return None
    span = spot.seen_at - SAME_MOMENT, spot.seen_at + SAME_MOMENT
    fed = [_now(one, spot.currency, None) for one in prices.fed_between(store, metal, spot.currency, *span)]
    converted = newest_price(store, metal, spot.currency, fed_only=True)
    if converted is not None and span[0] <= converted.seen_at <= span[1]:
        fed.append(converted)
    offered = (one.per(spot.unit) for one in fed)
    # What is taken over is rounded to the figures that the form shows.
    return next((one for one in offered if abs(typed - taken_over(one.price)) <= SAME_FRAC * one.price), None)


def taken_over(price: float) -> float:
    """A price as a form takes it over: two decimals, or six digits where that is finer."""
    return max((float(f"{price:.6g}"), round(price, 2)), key=lambda short: -abs(short - price))


def price_age_words(seen_at: datetime, now: datetime) -> str:
    """How long ago a price was seen: just now, 4 minutes ago, 3 hours ago, 2 days ago."""
    minutes = int((now - seen_at) / timedelta(minutes=1))
    if minutes < 1:
        return "just now"
    for size, name in ((2 * 24 * 60, "day"), (2 * 60, "hour"), (1, "minute")):
        if minutes >= size:
            count = minutes // {"day": 24 * 60, "hour": 60, "minute": 1}[name]
            return f"{count} {name}{'s' if count > 1 else ''} ago"
    raise AssertionError(minutes)


def days_of(store: Store, metal: str, currency: str, zone: tzinfo, now: datetime) -> dict[date, Price]:
    """The last price of each day of the year up to now."""
    return prices.daily(store, metal, currency, zone, now - COUNTED)


def moves(days: Mapping[date, Price]) -> Moves:
    """How much the price of a metal moves, from the last price of each day."""
    if len(days) < ENOUGH_DAYS:
        return Moves(len(days), None)
    per_g = [one.price / grams_per(one.unit) for one in days.values()]  # type: ignore[arg-type]
    try:
        return Moves(len(days), volatility(list(days), per_g))
    except ValuationError:  # too many of them are wild
        return Moves(len(days), None)
