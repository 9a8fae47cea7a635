"""The house's own sales in its book of comparable sales."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime, tzinfo

from valuation.outcome import Sold
from webapp.book_kinds import BOOKS, content_of
from webapp.outcome import Noted, comparable, is_of_sheet, noted
from webapp.store import books, deeds, revisions, sheets
from webapp.store.books import Content, Version
from webapp.store.database import Store

BOOK = "sales"


@dataclass(frozen=True)
class BookSale:
    """How the book of sales stands to a sheet that was sold.

    Parameters
    ----------
    entry : Version or None
        The sale's entry, retired or not.
    stands : bool
        Whether it says what is noted now, and is offered.
    """

    entry: Version | None
    stands: bool


class NotSold(ValueError):  # noqa: N818 - told as an event
    """The sheet's piece was not sold, so it makes no comparable sale."""


def told(store: Store, sheet_id: str, number: str, found: Noted | None, zone: tzinfo) -> BookSale | None:
    """What the book says of a sheet's sale; None of a sheet that was not sold, or whose sale compares with nothing."""
    if found is None or not isinstance(found.outcome, Sold):
        return None
    try:
        content = _content(store, sheet_id, number, found, zone)
    except ValueError:
        return None
    entry = _entry(store, number)
    return BookSale(entry, entry is not None and entry.content == content and not entry.is_retired)


def kept(store: Store, sheet_id: str, at: datetime, zone: tzinfo) -> Version:
    """Put a sheet's sale into the book, or bring its entry there up to date.

    Raises
    ------
    NotSold, NoComparable
        There is nothing to keep.
    EntryRefused
        The sale is no comparable one: its price is far beyond any premium.
    UnknownSheet, StoreError
        There is no such sheet, or it could not be written.
    """
    sheet = sheets.get(store, sheet_id)
    found = noted(deeds.history(store, sheet_id))
    if found is None or not isinstance(found.outcome, Sold):
        raise NotSold("No sale was noted on this sheet.")
    number = sheet.number or ""
    content = _content(store, sheet_id, number, found, zone)
    entry = _entry(store, number)
    if entry is None:
        return books.add(store, BOOK, content, at)
    return books.change(store, BOOK, entry.entry, content, at, entry.version)


def _entry(store: Store, number: str) -> Version | None:
    its = [one for one in books.entries(store, BOOK) if is_of_sheet(one.content, number)]
    return its[-1] if its else None


def _content(store: Store, sheet_id: str, number: str, found: Noted, zone: tzinfo) -> Content:
    assert isinstance(found.outcome, Sold)
    history = deeds.history(store, sheet_id)
    agreed = next((deed for deed in reversed(history) if deed.kind == "agreed"), found.deed)
    quoted = json.loads(revisions.content(store, sheet_id, found.deed.revision, "result"))
    currency, terms = comparable(found.outcome, number, float(quoted["fine_gold_g"]["median"]), agreed.at, zone)
    return content_of(BOOKS[BOOK], {"currency": currency}, terms)
