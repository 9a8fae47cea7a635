"""Sheets as lists and terminals show them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from decimal import Decimal

from webapp.canonical_json import short
from webapp.noted_prices import is_demo
from webapp.settings import Settings
from webapp.sheet_life import State
from webapp.sheet_table import Cell
from webapp.sheet_words import DEED_WORDS, STATE_WORDS, day_and_time
from webapp.store import UnknownDraft, drafts, finding
from webapp.store.database import Store
from webapp.store.deeds import Deed
from webapp.store.finding import Found, Wanted
from webapp.store.revisions import Revision
from webapp.store.sheets import Listed, Sheet
from webapp.wording import Wording

HEAD = ("Number", "Revision", "State", "Title", "Handed over", "Holds until", "Currency", "Offer", "Written")


@dataclass(frozen=True)
class Row:
    """A sheet in a list, as texts."""

    sheet: Listed
    state: State
    words: str
    offer: str
    at: str
    until: str


def shown(store: Store, one: Listed, now: datetime, gold_per_g: Mapping[str, float], settings: Settings) -> Row:
    """A sheet as a list shows it."""
    state = one.state(now, gold_per_g)
    words = f"{STATE_WORDS[state]}, demo" if _is_demo(store, one) else STATE_WORDS[state]
    offer = "" if one.offer is None else Wording(settings.written_in, one.currency or "").price(float(one.offer))
    at = day_and_time(one.handed_over_at or one.written_at, settings)
    until = "" if one.validity is None else day_and_time(one.validity.until, settings)
    return Row(one, state, words, offer, at, until)


def _is_demo(store: Store, one: Listed) -> bool:
    if one.revision:
        return False
    try:
        return is_demo(drafts.get(store, one.draft_id))
    except UnknownDraft:
        return False


def how_many(found: Found) -> str:
    """How many sheets were found, and which of them the page shows, as far as that is known."""
    of_all = f"{found.count}{'' if found.is_counted else ' or more'} {'sheet' if found.count == 1 else 'sheets'}"
    if found.first is None or not (found.previous or found.next):
        return of_all
    return f"{of_all}, these are {found.first} to {found.first + len(found.sheets) - 1}"


def cells(
    store: Store, wanted: Wanted, now: datetime, gold_per_g: Mapping[str, float], zone: tzinfo
) -> Iterator[tuple[Cell, ...]]:
    """All the sheets that are wanted, for a spreadsheet; under `HEAD`."""
    place = ""
    while True:
        found = finding.found(store, wanted, now, gold_per_g, place)
        for one in found.sheets:
            yield (
                one.number,
                one.revision,
                STATE_WORDS[one.state(now, gold_per_g)],
                one.title,
                None if one.handed_over_at is None else one.handed_over_at.astimezone(zone),
                None if one.validity is None else one.validity.until.astimezone(zone),
                one.currency,
                None if one.offer is None else Decimal(one.offer),
                one.written_at.astimezone(zone),
            )
        if found.next is None:
            return
        place = found.next


def told(
    sheet: Sheet,
    one: Revision,
    history: Sequence[Deed],
    now: datetime,
    gold_per_g: Mapping[str, float],
    settings: Settings,
) -> Iterator[str]:
    """A revision of a sheet and its history, line by line."""
    w = Wording(settings.written_in, one.currency)
    state = "replaced" if one.replaced else STATE_WORDS[sheet.state(now, gold_per_g)]
    yield f"Sheet {one.number}, revision {one.revision}: {state}"
    yield one.title or "This piece"
    yield f"Offer        {w.price(float(one.offer))}"
    yield f"Handed over  {day_and_time(one.handed_over_at, settings)}"
    yield f"Holds until  {day_and_time(one.valid_until, settings)}"
    if one.spot_move_frac is not None:
        yield f"             or until gold moves by more than {w.percent(float(one.spot_move_frac), 2)}"
    yield f"Gold         {w.price(float(one.gold_price))} per {one.spot_unit}"
    if one.reason:
        yield f"Reason       {one.reason} (private)"
    yield f"Digest       {short(one.seller_digest)}"
    yield ""
    for deed in history:
        of = f"revision {deed.revision}: {DEED_WORDS[deed.kind].lower()}" if deed.revision else DEED_WORDS[deed.kind]
        yield f"{day_and_time(deed.at, settings):26} {of}"
