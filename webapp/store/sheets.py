"""Offer sheets: one paper of one deal, from its writing on.

A sheet is made from a draft, takes a number at its first handing over (`webapp.store.revisions`) and keeps it. What
lists show of it is the newest revision's. The seller's reference stands apart from all that is frozen, so that it can
be erased (`webapp.store.erasing`).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Column, Connection, Row, bindparam, func, insert, or_, select, text, update

from webapp.sheet_life import State, Validity, state_of
from webapp.store import chain
from webapp.store.database import Store
from webapp.store.drafts import LONGEST_TITLE, fresh_id
from webapp.store.entries import Entries, read, sound, written
from webapp.store.errors import TooLarge, UnknownSheet
from webapp.store.tables import seller_references, sheet_entries, sheet_texts
from webapp.store.tables import sheets as table
from webapp.store.words import folded, indexed

LONGEST_REFERENCE = 200
LARGEST_DESCRIPTION = 64 * 1024  # bytes in UTF-8
UNNUMBERED = 10**15  # after all numbers, in their order
LISTED: tuple[Column[Any], ...] = (
    table.c.key,
    table.c.id,
    table.c.draft_id,
    table.c.number,
    table.c.revision,
    table.c.state,
    table.c.title,
    table.c.written_at,
    table.c.changed_at,
    table.c.handed_over_at,
    table.c.offer,
    table.c.currency,
    table.c.valid_until,
    table.c.time_zone,
    table.c.gold_low_per_g,
    table.c.gold_high_per_g,
)
_OTHERWISE_TOLD = ("key", "state", "valid_until", "gold_low_per_g", "gold_high_per_g")
_SHOWN_AS_KEPT = tuple(column.name for column in LISTED if column.name not in _OTHERWISE_TOLD)
_NAME = re.compile(r"[A-Za-z0-9_-]{16,64}")
_NUMBER = re.compile(r"\d{4}-\d{4,15}", re.ASCII)
_BY_NAME = select(*LISTED).where(table.c.id == bindparam("name"))
_BY_NUMBER = select(*LISTED).where(table.c.number == bindparam("number"))
_CHANGE = update(table).where(table.c.key == bindparam("sheet"))
_FORGET = text("INSERT INTO sheet_words (sheet_words, rowid, words) VALUES ('delete', :sheet, :words)")
_FIND_BY = text("INSERT INTO sheet_words (rowid, words) VALUES (:sheet, :words)")


@dataclass(frozen=True)
class Listed:
    """A sheet as lists show it: the newest revision's figures, None until the first handing over.

    `kept_state` is what is stored; `state` says whether the offer has lapsed meanwhile.
    """

    id: str
    draft_id: str
    number: str | None
    revision: int
    kept_state: State
    title: str
    written_at: datetime
    changed_at: datetime
    handed_over_at: datetime | None
    offer: str | None
    currency: str | None
    validity: Validity | None
    time_zone: str | None

    def state(self, now: datetime, gold_per_g: Mapping[str, float]) -> State:
        """The state of the sheet now; `gold_per_g` as in `webapp.sheet_life.lapses`."""
        return state_of(self.kept_state, self.validity, now, gold_per_g)


@dataclass(frozen=True)
class Sheet(Listed):
    """A sheet with its texts: what it describes, the seller's reference, and the writing form as typed."""

    description: str
    reference: str
    entries: Entries


def is_empty(store: Store) -> bool:
    """Whether no sheet was ever begun. Writes nothing."""
    with store.reading() as connection:
        return connection.execute(select(table.c.key).limit(1)).first() is None


def new(
    store: Store,
    *,
    draft_id: str,
    title: str,
    description: str,
    reference: str,
    at: datetime,
    entries: Iterable[tuple[str, str]] = (),
) -> str:
    """Id of a sheet made from a draft; committed when this returns.

    A draft has one sheet that is written and not handed over; if there is one already, it is that, with this title,
    description and reference, and with what its writing form holds.

    Parameters
    ----------
    title
        For lists; its first 200 characters are kept, as of the reference.
    entries
        What the writing form starts from.

    Raises
    ------
    TextRefused, TooLarge
        A text cannot be kept.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    title, typed = sound("", title)[:LONGEST_TITLE], written(entries)
    description, reference = checked_description(description), _checked_reference(reference)
    still_written = select(table.c.key, table.c.id).where(table.c.draft_id == draft_id, table.c.revision == 0)
    with store.writing() as connection:
        before = connection.execute(still_written).one_or_none()
        if before is not None:
            change(connection, before.key, title=title, title_order=title_order(title), changed_at=at)
            describe(connection, before.key, description)
            set_reference(connection, before.key, reference)
            return str(before.id)
        name = fresh_id()
        made = {
            "id": name,
            "draft_id": draft_id,
            "number_order": UNNUMBERED,
            "revision": 0,
            "state": "written",
            "title": title,
            "title_order": title_order(title),
            "offer_order": -1.0,
            **dict.fromkeys(("written_at", "changed_at", "dated_at"), at),
        }
        key = connection.execute(insert(table), made).inserted_primary_key[0]  # type: ignore[index]
        connection.execute(insert(sheet_texts), {"sheet": key, "words": "", "description": description})
        connection.execute(insert(sheet_entries), {"sheet": key, "changed_at": at, "entries": typed})
        if reference:
            connection.execute(insert(seller_references), {"sheet": key, "reference": reference})
        make_findable(connection, key)
        chain.add(connection, sheet=key, id=name, number="", revision=0, kind="written", at=at)
        return name


def keep_entries(store: Store, sheet_id: str, entries: Iterable[tuple[str, str]], at: datetime) -> None:
    """Keep the writing form as typed in place of what it held; committed when this returns.

    The same form serves the next revision of a sheet that is handed over, which stays as it is.

    Raises
    ------
    UnknownSheet
        There is none of this id.
    TooLarge, TextRefused
        As in `webapp.store.drafts.keep`; so are the other errors.
    """
    typed = written(entries)
    with store.writing() as connection:
        row = there(connection, sheet_id)
        values = {"entries": typed, "changed_at": at}
        connection.execute(update(sheet_entries).where(sheet_entries.c.sheet == row.key), values)


def refer(store: Store, sheet_id: str, reference: str, at: datetime) -> None:
    """Note the seller's reference of a sheet in place of the one noted; committed when this returns.

    Raises
    ------
    UnknownSheet, TextRefused
        There is no such sheet, or the text cannot be kept.
    """
    reference = _checked_reference(reference)
    with store.writing() as connection:
        key = there(connection, sheet_id).key
        set_reference(connection, key, reference)
        change(connection, key, changed_at=at)


def get(store: Store, sheet_id: str) -> Sheet:
    """A sheet with its texts. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is none of this id.
    """
    with store.reading() as connection:
        return _whole(connection, there(connection, sheet_id))


def by_number(store: Store, number: str) -> Sheet:
    """The sheet of a number such as 2026-0007. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is none of this number.
    """
    with store.reading() as connection:
        row = None
        if _NUMBER.fullmatch(number):
            row = connection.execute(_BY_NUMBER, {"number": number}).one_or_none()
        if row is None:
            raise UnknownSheet(number)
        return _whole(connection, row)


def of_draft(store: Store, draft_id: str) -> tuple[Listed, ...]:
    """The sheets made from a draft, newest first. Writes nothing."""
    wanted = select(*LISTED).where(table.c.draft_id == draft_id).order_by(table.c.key.desc())
    with store.reading() as connection:
        return tuple(listed(row) for row in connection.execute(wanted))


def ended_by(store: Store, currency: str, gold_per_g: float, now: datetime) -> tuple[Listed, ...]:
    """The open offers that a price of gold [money/g] ends, by number; those over by their time are not among them."""
    is_outside = or_(table.c.gold_low_per_g > gold_per_g, table.c.gold_high_per_g < gold_per_g)
    wanted = select(*LISTED).where(table.c.state == "handed_over", table.c.valid_until >= now, is_outside)
    with store.reading() as connection:
        rows = connection.execute(wanted.where(table.c.currency == currency).order_by(table.c.number_order))
        return tuple(listed(row) for row in rows)


# ---- for the other modules of the store


def listed(row: Row[Any]) -> Listed:
    """A sheet of a row of `LISTED`."""
    return Listed(**_fields(row))


def there(connection: Connection, sheet_id: str) -> Row[Any]:
    """The row of a sheet; writes nothing.

    Raises
    ------
    UnknownSheet
        There is none of this id.
    """
    row = None
    if _NAME.fullmatch(sheet_id):  # may be anything that an address can hold
        row = connection.execute(_BY_NAME, {"name": sheet_id}).one_or_none()
    if row is None:
        raise UnknownSheet(sheet_id)
    return row


def change(connection: Connection, key: int, **values: Any) -> None:
    """Set what lists show of a sheet; commits nothing."""
    connection.execute(_CHANGE, {"sheet": key, **values})


def describe(connection: Connection, key: int, description: str) -> None:
    """Put the description of a sheet in place of the last, and make it found by it; commits nothing."""
    its = update(sheet_texts).where(sheet_texts.c.sheet == key)
    connection.execute(its.values(description=checked_description(description)))
    make_findable(connection, key)


def set_reference(connection: Connection, key: int, reference: str) -> None:
    """Put the seller's reference of a sheet, empty for none, in place of the last; commits nothing."""
    connection.execute(seller_references.delete().where(seller_references.c.sheet == key))
    if reference:
        connection.execute(insert(seller_references), {"sheet": key, "reference": reference})
    make_findable(connection, key)


def make_findable(connection: Connection, key: int) -> None:
    """Bring the words that a sheet is found by up to its number, title, description and reference; commits nothing."""
    texts = (
        select(table.c.number, table.c.title, seller_references.c.reference, sheet_texts.c.description)
        .add_columns(sheet_texts.c.words)
        .join_from(table, sheet_texts, sheet_texts.c.sheet == table.c.key)
        .outerjoin(seller_references, seller_references.c.sheet == table.c.key)
        .where(table.c.key == key)
    )
    *found, last = connection.execute(texts).one()
    words = folded("\n".join(part for part in found if part))
    if words == last:
        return
    if last:
        connection.execute(_FORGET, {"sheet": key, "words": indexed(last)})
    if words:
        connection.execute(_FIND_BY, {"sheet": key, "words": indexed(words)})
    connection.execute(update(sheet_texts).where(sheet_texts.c.sheet == key).values(words=words))


def title_order(title: str) -> str:
    """What titles are put in order by: their words, so that case, accents and signs make no difference."""
    return folded(title)[:80]


def checked_description(description: str) -> str:
    """The description, if it can be kept.

    Raises
    ------
    TextRefused, TooLarge
        It cannot.
    """
    size = len(sound("specimen.description", description).encode())
    if size > LARGEST_DESCRIPTION:
        raise TooLarge(size, LARGEST_DESCRIPTION)
    return description


def _checked_reference(reference: str) -> str:
    return sound("specimen.seller_reference", reference).strip()[:LONGEST_REFERENCE]


def _whole(connection: Connection, row: Row[Any]) -> Sheet:
    texts = (
        select(sheet_texts.c.description, func.coalesce(seller_references.c.reference, ""), sheet_entries.c.entries)
        .join_from(sheet_texts, sheet_entries, sheet_entries.c.sheet == sheet_texts.c.sheet)
        .outerjoin(seller_references, seller_references.c.sheet == sheet_texts.c.sheet)
        .where(sheet_texts.c.sheet == row.key)
    )
    description, reference, entries = connection.execute(texts).one()
    return Sheet(**_fields(row), description=description, reference=reference, entries=read(entries))


def _fields(row: Row[Any]) -> dict[str, Any]:
    offer = None
    if row.valid_until is not None:
        offer = Validity(row.valid_until, row.currency, row.gold_low_per_g, row.gold_high_per_g)
    shown = {name: row._mapping[name] for name in _SHOWN_AS_KEPT}
    return {**shown, "kept_state": row.state, "validity": offer}
