"""Prices of gold that the house has noted: when a quote's was seen, and what a move of the price is judged by."""

from __future__ import annotations

from contextlib import suppress
from datetime import datetime, tzinfo
from typing import Any

from babel import Locale
from pydantic import ValidationError
from werkzeug.datastructures import MultiDict

from valuation.terms import Spot
from webapp import lapsing
from webapp.feed_answer import AHEAD
from webapp.forms import Reading
from webapp.price_now import BY_HAND, source_of
from webapp.store import StoreError, drafts
from webapp.store.database import Store
from webapp.store.drafts import Draft
from webapp.store.entries import Entries
from webapp.store.prices import GOLD, SILVER, Price
from webapp.typed import Typed

DEMO = "demo"  # names the demo in the form of a draft


def entries_of(store: Store, draft: Draft, now: datetime, zone: tzinfo, locale: Locale) -> dict[str, Any]:
    """Entries of the request of a draft; when its price was seen counts from when the price was typed, not from now."""
    entries = Reading(Typed(MultiDict(draft.entries)), now, zone, locale).entries
    spot = MultiDict(_spot(draft.entries))
    if not spot.get("spot.seen_at", "").strip():
        return entries
    typed_at = _priced_at(store, draft).astimezone(zone)
    seen_at = Reading(Typed(spot), typed_at, zone).entries.get("spot", {}).get("seen_at")
    if seen_at is not None:
        entries["spot"]["seen_at"] = seen_at
    return entries


def _spot(entries: Entries) -> list[tuple[str, str]]:
    return [(name, text) for name, text in entries if name.startswith("spot.")]


def _priced_at(store: Store, draft: Draft) -> datetime:
    """When the prices of a draft were typed as they are: other fields may have changed since."""
    at = draft.changed_at
    for before in drafts.earlier(store, draft.id):
        if before.overtaken:
            continue
        if _spot(drafts.state(store, draft.id, before.revision).entries) != _spot(draft.entries):
            break
        at = before.kept_at
    return at


def is_demo(draft: Draft) -> bool:
    """Whether it bears the mark of a demo: all in it is invented."""
    return any(name == DEMO and text for name, text in draft.entries)


def newest_gold(store: Store) -> dict[str, float]:
    """The newest price of gold, entered or fed, by currency [money/g]."""
    return {currency: one.per("g").price for currency, one in lapsing.newest_golds(store).items()}


def keep_entered(store: Store, spot: Spot, at: datetime) -> None:
    """Keep the prices that a quote uses as entered by hand, unless a feed told them; committed when this returns.

    A price that does not say when it was seen is none to judge others by.

    Raises
    ------
    StoreError
        As `webapp.store.prices.keep`.
    """
    if spot.seen_at is None or spot.seen_at > at + AHEAD:
        return  # a slip of the date would be the newest price for ever
    for metal, amount in ((GOLD, spot.gold), (SILVER, spot.silver)):
        if amount is not None and source_of(store, metal, spot) is None:
            price = Price(metal, spot.currency, spot.unit, amount, spot.seen_at, at, is_fed=False)
            lapsing.keep(store, price)


def source_words_of(store: Store, spot: Spot) -> str:
    """Where the gold price of a quote comes from: a feed's name and address, else that it was entered by hand."""
    fed = source_of(store, GOLD, spot)
    if fed is None:
        return BY_HAND
    return f"{fed.source} ({fed.of.address})" if fed.of.address else fed.source


def keep_used(store: Store, draft: Draft, zone: tzinfo, locale: Locale) -> None:
    """Keep the prices of a draft that is shown to the seller, seen when it says; never a demo's.

    Nor one that is far from the newest or would end an open offer: handing over a sheet says so first. A store that
    cannot take them stops nothing: they are only noted.
    """
    if is_demo(draft):
        return
    try:
        spot = Spot.model_validate(entries_of(store, draft, draft.changed_at, zone, locale).get("spot", {}))
    except ValidationError:
        return
    with suppress(StoreError):
        if lapsing.far_words(store, spot) or lapsing.would_end(store, spot, draft.changed_at):
            return
        keep_entered(store, spot, draft.changed_at)
