"""Prices and what came of feeds, in words for every screen."""

from __future__ import annotations

from babel import Locale

from webapp.feed_settings import Feed
from webapp.price_entry import units
from webapp.price_now import PriceNow, price_age_words
from webapp.price_round import Told
from webapp.store.prices import RATE, Price
from webapp.wording import Wording


def told_words(told: Told, locale: Locale) -> str:
    """What came of a feed, in a sentence."""
    feed, found = told.feed, told.found
    if found is None:
        return f"no price taken, {told.reason}."
    answer = found.answer
    words = price_words(answer.metal, answer.price, answer.currency, answer.unit, locale)
    age = price_age_words(found.answered_at, told.at)
    if found.is_stale:
        return f"{words}, an old answer ({age}), as there is no new one: {found.trouble}."
    if found.from_cache:
        return f"{words}, from the cache: answered {age}, asked again after {feed.kept_minutes:g} minutes."
    return f"{words}, fresh."


def price_words(metal: str, price: float, currency: str, unit: str, locale: Locale) -> str:
    """A price or an exchange rate, with what it is the price of."""
    w = Wording(locale, currency)
    if metal == RATE:
        return f"1 {unit} is {w.number(price, 6, least=2)} {currency}"
    return f"{metal} {w.money(price)} per {dict(units())[unit]}"


def now_words(now: PriceNow, locale: Locale) -> str:
    """The newest price of a metal."""
    return price_words(now.metal, now.price, now.currency, now.unit, locale)


def kept_words(price: Price, locale: Locale) -> str:
    """A price as it was kept."""
    return price_words(price.metal, price.price, price.currency, price.unit, locale)


def place_words(feed: Feed) -> str:
    """Where in the answer of a feed what stands."""
    return ", ".join(f"{name} at {place}" for name, place in feed.places.items())
