"""Offers that the price of gold has ended: noted once, with that price, and for good; and whom a price would end."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from valuation.mass import grams_per
from valuation.terms import Spot
from webapp.price_now import PriceNow, newest_price, source_of
from webapp.store import deeds, prices, sheets
from webapp.store.chain import Deed
from webapp.store.database import Store
from webapp.store.prices import GOLD, RATE, Price

FAR_FRAC = 0.10  # as a feed's largest jump, where the house sets none
FRESH = timedelta(days=7)


def newest_golds(store: Store) -> dict[str, PriceNow]:
    """The newest price of gold, entered or fed, by currency."""
    currencies = {currency for metal, currency in prices.pairs(store) if metal in (GOLD, RATE)}
    found = {currency: newest_price(store, GOLD, currency) for currency in sorted(currencies)}
    return {currency: one for currency, one in found.items() if one is not None}


def keep(store: Store, price: Price) -> bool:
    """Keep a price and note what offers it ends, in one transaction; whether it was kept.

    Raises
    ------
    StoreError
        As `webapp.store.prices.keep`.
    """
    with store.writing():
        is_new = prices.keep(store, price)
        if is_new and price.metal in (GOLD, RATE):
            note(store, price.kept_at)
        return is_new


def note(store: Store, now: datetime) -> tuple[str, ...]:
    """Note as lapsed every open offer that the newest price of gold has ended; their numbers. Committed.

    Raises
    ------
    StoreError
        It could not be written.
    """
    newest = newest_golds(store)
    gold = {currency: one.per("g").price for currency, one in newest.items()}
    if not any(sheets.ended_by(store, currency, price, now) for currency, price in gold.items()):
        return ()
    numbers = []
    with store.writing():
        for currency, price in gold.items():
            for one in sheets.ended_by(store, currency, price, now):
                words = lapse_words(newest[currency], one.time_zone)
                deeds.record(store, one.id, one.revision, "lapsed", now, words, gold_per_g=gold)
                numbers.append(one.number or "")
    return tuple(numbers)


def lapse_words(price: PriceNow, time_zone: str | None) -> str:
    """The price that ended an offer, when it was seen and where it comes from."""
    try:
        zone = ZoneInfo(time_zone or "UTC")
    except (ValueError, OSError, KeyError):
        zone = ZoneInfo("UTC")
    seen = price.seen_at.astimezone(zone)
    return (
        f"gold at {price.price:.2f} {price.currency} per {price.unit}, seen {seen:%Y-%m-%d %H:%M} "
        f"(UTC{seen.isoformat()[-6:]}), {price.source}"
    )


def noted_end(history: Sequence[Deed], revision: int) -> str:
    """What was noted of the price that ended a revision; empty where none did."""
    found = [deed.note for deed in history if deed.kind == "lapsed" and deed.revision == revision]
    return found[-1] if found else ""


def would_end(store: Store, spot: Spot, now: datetime, *, but: str = "") -> tuple[str, ...]:
    """Numbers of the open offers that the gold price of a quote would end once it is noted, but for one sheet's."""
    if spot.seen_at is None or source_of(store, GOLD, spot) is not None:
        return ()
    newest, found = newest_golds(store), []
    per_g = spot.gold / grams_per(spot.unit)
    for currency in {*newest, spot.currency}:
        rate = _rate(store, spot.currency, currency)
        before = newest.get(currency)
        if rate is None or (before is not None and before.seen_at > spot.seen_at):
            continue
        found += [one.number or "" for one in sheets.ended_by(store, currency, per_g * rate, now) if one.id != but]
    return tuple(sorted(found))


def _rate(store: Store, of: str, into: str) -> float | None:
    if of == into:
        return 1.0
    return next((rate.price for rate in prices.rates(store, into) if rate.unit == of), None)


def far_from(store: Store, price: Price) -> Price | None:
    """The newest price of the same thing, not over a week older, from which this one is more than 10 % away."""
    unit = price.unit if price.metal == RATE else None
    last = prices.newest(store, price.metal, price.currency, unit)
    if last is None or abs(price.seen_at - last.seen_at) > FRESH:
        return None
    before = last.price
    if price.metal != RATE:
        before *= grams_per(price.unit) / grams_per(last.unit)  # type: ignore[arg-type]
    return last if abs(price.price / before - 1) > FAR_FRAC else None


def far_words(store: Store, spot: Spot) -> str:
    """That the gold price of a quote is far from the newest noted, as a sentence with plain figures; or nothing."""
    if spot.seen_at is None or source_of(store, GOLD, spot) is not None:
        return ""
    mine = Price(GOLD, spot.currency, spot.unit, spot.gold, spot.seen_at, spot.seen_at.astimezone(UTC), is_fed=False)
    last = far_from(store, mine)
    if last is None:
        return ""
    return (
        f"The price of gold, {spot.gold:.2f} {spot.currency} per {spot.unit}, is more than {FAR_FRAC:.0%} from the "
        f"newest that is noted, {last.price:.2f} {last.currency} per {last.unit}. A slip of the keys?"
    )
