"""Prices of gold that the house has noted, newest first: what a move of the price is judged by."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, tzinfo
from typing import Any

from pydantic_core import PydanticCustomError
from werkzeug.datastructures import MultiDict

from valuation.mass import grams_per
from valuation.number import read_number
from webapp.forms import Reading
from webapp.store import drafts
from webapp.store.database import Store
from webapp.store.drafts import Draft
from webapp.typed import Typed


def entries_of(draft: Draft, now: datetime, zone: tzinfo) -> dict[str, Any]:
    """Entries of the request of a draft; when its price was seen counts from when it was typed, not from now."""
    entries = Reading(Typed(MultiDict(draft.entries)), now, zone).entries
    seen_at = _spot(draft, zone).get("seen_at")
    if seen_at is not None:
        entries["spot"]["seen_at"] = seen_at
    return entries


def newest_gold(store: Store, now: datetime, zone: tzinfo) -> dict[str, float]:
    """The newest price of gold of the open quotes, by currency [money/g].

    Only prices that say when they were seen count, none of a demo, and none from the future.
    """
    found: dict[str, tuple[datetime, float]] = {}
    for listed in drafts.open_drafts(store).drafts:
        draft = drafts.get(store, listed.id)
        if any(name == "demo" for name, _ in draft.entries):
            continue
        noted = _noted(_spot(draft, zone))
        if noted is not None and noted[1] <= now:
            currency, seen_at, per_g = noted
            if currency not in found or found[currency][0] < seen_at:
                found[currency] = seen_at, per_g
    return {currency: per_g for currency, (_, per_g) in found.items()}


def _spot(draft: Draft, zone: tzinfo) -> dict[str, Any]:
    texts = MultiDict((name, text) for name, text in draft.entries if name.startswith("spot."))
    entries: dict[str, Any] = Reading(Typed(texts), draft.changed_at.astimezone(zone), zone).entries
    return dict(entries.get("spot", {}))


def _noted(spot: Mapping[str, Any]) -> tuple[str, datetime, float] | None:
    seen_at = spot.get("seen_at")
    try:
        price = read_number(spot.get("gold", ""))
        grams = grams_per(spot.get("unit", "ozt"))
    except (PydanticCustomError, KeyError, ValueError):
        return None
    if not isinstance(seen_at, datetime) or not isinstance(price, float) or price <= 0:
        return None
    return str(spot.get("currency", "USD")).strip().upper(), seen_at.astimezone(UTC), price / grams
