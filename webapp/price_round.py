"""Rounds through the house's feeds: what they tell is kept; what came of each is known while the server runs."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from valuation.mass import grams_per
from webapp import lapsing
from webapp.feed import Found, Round, by_thing, first_found
from webapp.feed_answer import Answer, LastOf, Reference
from webapp.feed_settings import Feed, Patience
from webapp.price_now import price_age_words, source_words
from webapp.store import prices
from webapp.store.database import Store
from webapp.store.prices import RATE, Price


@dataclass(frozen=True)
class Told:
    """What came of one feed: a price, or why there is none; `at` is when it was asked."""

    feed: Feed
    at: datetime
    found: Found | None
    reason: str = ""


class Rounds:
    """The rounds of one server: one at a time."""

    def __init__(self, folder: Path, patience: Patience | None = None) -> None:
        self._folder, self._patience = folder, patience
        self._lock = threading.Lock()
        self._last: dict[Feed, Told] = {}

    def last(self, feed: Feed) -> Told | None:
        """What came of a feed when it was last asked; None if it was not since the start."""
        return self._last.get(feed)

    def go(self, store: Store, feeds: Sequence[Feed]) -> list[Told]:
        """Ask the feeds, the first good answer of each thing counting; it is kept when this returns.

        Raises
        ------
        StoreError
            A price could not be kept.
        """
        if not feeds:
            return []
        with self._lock:
            now = datetime.now(UTC)
            lists = list(by_thing(feeds).values())
            last_of = last_in(store, now)
            with ThreadPoolExecutor(max_workers=len(lists)) as pool:
                asked = [pool.submit(first_found, these, self._folder, last_of, now, self._patience) for these in lists]
                rounds = [one.result() for one in asked]
            told = [one for found in rounds for one in _told(found, now)]
            self._last.update({one.feed: one for one in told})
            for found in rounds:
                if found.found is not None:
                    lapsing.keep(store, price_of(found.found, now))
            return told


def _told(one: Round, now: datetime) -> list[Told]:
    asked = [Told(refusal.feed, now, None, refusal.reason) for refusal in one.refusals]
    if one.found is None:
        return asked
    found = Told(one.found.feed, now, one.found, one.found.trouble)
    return [told for told in asked if told.feed is not one.found.feed] + [found]


def price_of(found: Found, now: datetime) -> Price:
    """What a feed told, as it is kept."""
    answer = found.answer
    return Price(
        metal=answer.metal,
        currency=answer.currency,
        unit=answer.unit,
        price=answer.price,
        seen_at=found.seen_at,
        kept_at=now,
        is_fed=True,
        source=found.feed.name,
        address=found.feed.shown_address,
    )


def last_in(store: Store, now: datetime) -> LastOf:
    """The last good price of what an answer is the price of, per the unit of the answer."""

    def last_of(answer: Answer) -> Reference | None:
        unit = answer.unit if answer.metal == RATE else None
        last = prices.newest(store, answer.metal, answer.currency, unit)
        if last is None:
            return None
        price = last.price
        if answer.metal != RATE:
            price *= grams_per(answer.unit) / grams_per(last.unit)  # type: ignore[arg-type]
        return Reference(price, f"{source_words(last)}, {price_age_words(last.seen_at, now)}")

    return last_of
