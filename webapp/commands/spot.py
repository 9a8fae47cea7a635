"""`lodeworth spot`: the newest prices, and the feeds that the house named, shown or tested."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from webapp.commands.output import REFUSED, Commands, complain, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from webapp.feed_answer import LastOf
    from webapp.feed_settings import Feed
    from webapp.price_now import PriceNow
    from webapp.price_round import Told
    from webapp.settings import Settings
    from webapp.store.database import Store
    from webapp.store.prices import Price


def add(commands: Commands) -> None:
    """Say how it is called."""
    spot = commands.add_parser(
        "spot",
        help="the newest prices kept, and the price feeds of the house, shown or tested",
        description="The newest prices kept, and the price feeds of the house. Without --test nothing is looked up and "
        "nothing leaves this machine.",
        epilog="With --test: 0 if every feed gave a price, 2 if one did not; nothing is kept.",
    )
    spot.add_argument("--test", action="store_true", help="ask every feed anew and say what came of it")
    spot.add_argument("--json", action="store_true", help="print it as JSON")
    spot.add_argument("--data", type=Path, metavar="DIR", help="folder that keeps quotes and sheets")
    spot.set_defaults(run=_spot)


def _spot(options: argparse.Namespace) -> int:
    from contextlib import closing, nullcontext
    from datetime import UTC, datetime

    from webapp.house_file import house_in
    from webapp.price_now import newest_price
    from webapp.settings import Settings
    from webapp.store import StoreError, open_store, prices
    from webapp.store.opening import FILE

    given = Settings()
    folder = options.data or given.data
    read = house_in(folder)
    for words in read.trouble:
        complain(words)
    settings, now = given.under(read.house), datetime.now(UTC)
    newest: list[PriceNow] = []
    rates: Sequence[Price] = []
    try:
        # No folder is made for looking.
        with closing(open_store(folder)) if (folder / FILE).is_file() else nullcontext() as store:
            if store is not None:
                metals = [newest_price(store, metal, settings.currency) for metal in (prices.GOLD, prices.SILVER)]
                newest = [one.per(read.house.spot_unit or "ozt") for one in metals if one is not None]
                rates = prices.rates(store, settings.currency)
            told = [_tested(feed, store, now) for feed in read.house.feeds] if options.test else []
    except StoreError as trouble:
        complain(str(trouble))
        return REFUSED
    if options.json:
        print_json(_as_json(newest, rates, read.house.feeds, told))
    else:
        _print(newest, rates, read.house.feeds, told, settings, now)
    return REFUSED if any(one.found is None for one in told) else 0


def _tested(feed: Feed, store: Store | None, now: datetime) -> Told:
    from webapp.feed import found
    from webapp.feed_answer import FetchRefused
    from webapp.price_round import Told, last_in

    last_of: LastOf = (lambda _: None) if store is None else last_in(store, now)
    try:
        return Told(feed, now, found(feed, None, last_of, now))
    except FetchRefused as refused:
        return Told(feed, now, None, str(refused))


def _print(
    newest: Sequence[PriceNow],
    rates: Sequence[Price],
    feeds: Sequence[Feed],
    told: Sequence[Told],
    settings: Settings,
    now: datetime,
) -> None:
    import sys

    from webapp.feed import thing
    from webapp.plain import GLUE, fitted
    from webapp.price_now import price_age_words, source_words
    from webapp.price_words import kept_words, now_words, place_words, told_words

    def say(words: str) -> None:
        print(fitted(words, sys.stdout.encoding or "ascii").replace(GLUE, " "))

    say("Newest prices kept:" if newest or rates else "No price is kept yet.")
    for price in newest:
        say(f"  {now_words(price, settings.written_in)}, seen {price_age_words(price.seen_at, now)}, {price.source}")
    for rate in rates:
        age = price_age_words(rate.seen_at, now)
        say(f"  {kept_words(rate, settings.written_in)}, seen {age}, {source_words(rate)}")
    say("Feeds, in their order:" if feeds else "No feed is set up: nothing leaves this machine.")
    outcomes = {id(one.feed): one for one in told}
    for feed in feeds:
        say(f"  {feed.name}: {thing(feed)}, {feed.shown_address}, {feed.format.upper()}, {place_words(feed)}")
        outcome = outcomes.get(id(feed))
        if outcome is not None:
            say(f"    {told_words(outcome, settings.written_in)}")
    if feeds and not told:
        say("lodeworth spot --test asks each of them.")


def _as_json(
    newest: Sequence[PriceNow], rates: Sequence[Price], feeds: Sequence[Feed], told: Sequence[Told]
) -> dict[str, Any]:
    outcomes = {id(one.feed): one for one in told}
    return {
        "prices": [
            {
                "metal": one.metal,
                "price": one.price,
                "currency": one.currency,
                "unit": one.unit,
                "seen_at": one.seen_at.isoformat(),
                "source": one.source,
                "address": one.of.address,
            }
            for one in newest
        ],
        "rates": [
            {"of_one": one.unit, "rate": one.price, "currency": one.currency, "seen_at": one.seen_at.isoformat()}
            for one in rates
        ],
        "feeds": [_feed_as_json(feed, outcomes.get(id(feed))) for feed in feeds],
    }


def _feed_as_json(feed: Feed, told: Told | None) -> dict[str, Any]:
    shown: dict[str, Any] = {"name": feed.name, "metal": feed.metal, "address": feed.shown_address}
    if told is None:
        return shown
    if told.found is None:
        return {**shown, "price": None, "refused": told.reason}
    answer = told.found.answer
    return {
        **shown,
        "price": answer.price,
        "currency": answer.currency,
        "unit": answer.unit,
        "seen_at": told.found.seen_at.isoformat(),
        "refused": None,
    }
