"""Prices of gold that the house has noted: when a quote's was seen, and what a move of the price is judged by."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, tzinfo
from typing import Any

from babel import Locale
from pydantic import ValidationError
from werkzeug.datastructures import MultiDict

from valuation.terms import Spot
from webapp.forms import Reading
from webapp.price_now import BY_HAND, keep_entered, newest_price, source_of
from webapp.store import StoreError, prices
from webapp.store.database import Store
from webapp.store.drafts import Draft
from webapp.store.prices import GOLD, RATE
from webapp.typed import Typed

DEMO = "demo"  # names the demo in the form of a draft


def entries_of(draft: Draft, now: datetime, zone: tzinfo, locale: Locale) -> dict[str, Any]:
    """Entries of the request of a draft; when its price was seen counts from when it was typed, not from now."""
    entries = Reading(Typed(MultiDict(draft.entries)), now, zone, locale).entries
    spot = MultiDict((name, text) for name, text in draft.entries if name.startswith("spot."))
    typed_at = draft.changed_at.astimezone(zone)
    seen_at = Reading(Typed(spot), typed_at, zone).entries.get("spot", {}).get("seen_at")
    if seen_at is not None:
        entries["spot"]["seen_at"] = seen_at
    return entries


def is_demo(draft: Draft) -> bool:
    """Whether it bears the mark of a demo: all in it is invented."""
    return any(name == DEMO and text for name, text in draft.entries)


def newest_gold(store: Store) -> dict[str, float]:
    """The newest price of gold, entered or fed, by currency [money/g]."""
    currencies = {currency for metal, currency in prices.pairs(store) if metal in (GOLD, RATE)}
    newest = {currency: newest_price(store, GOLD, currency) for currency in sorted(currencies)}
    return {currency: one.per("g").price for currency, one in newest.items() if one is not None}


def source_words_of(store: Store, spot: Spot) -> str:
    """Where the gold price of a quote comes from: a feed's name and address, else that it was entered by hand."""
    fed = source_of(store, GOLD, spot)
    if fed is None:
        return BY_HAND
    return f"{fed.source} ({fed.of.address})" if fed.of.address else fed.source


def keep_used(store: Store, draft: Draft, zone: tzinfo, locale: Locale) -> None:
    """Keep the prices of a draft that is shown to the seller, seen when it says or when it was typed; never a demo's.

    A store that cannot take them stops nothing: they are only noted.
    """
    if is_demo(draft):
        return
    try:
        spot = Spot.model_validate(entries_of(draft, draft.changed_at, zone, locale).get("spot", {}))
    except ValidationError:
        return
    with suppress(StoreError):
        keep_entered(store, spot, draft.changed_at)
