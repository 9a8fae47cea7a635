"""What a person tells of a sheet that was handed over: agreed, turned down, lapsed, settled; and all that happened."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from sqlalchemy import Connection, select

from webapp.sheet_life import State, kept_after, state_of, why_not
from webapp.store import chain, sheets
from webapp.store.chain import Deed
from webapp.store.database import Store
from webapp.store.entries import sound
from webapp.store.errors import AlreadyHandedOver, NotAllowed, TooLarge, UnknownSheet
from webapp.store.tables import deeds as table

__all__ = ["Deed", "history", "record"]

LARGEST_NOTE = 16 * 1024  # bytes in UTF-8


def record(
    store: Store,
    sheet_id: str,
    revision: int,
    kind: Literal["agreed", "turned_down", "lapsed", "settled", "by_mistake"],
    at: datetime,
    note: str = "",
    *,
    gold_per_g: Mapping[str, float],
    following: str = "",
) -> Deed:
    """Note what became of the newest revision of a sheet; committed when this returns.

    Parameters
    ----------
    revision : int
        The one that it is about, which must be the newest.
    at : datetime
        Now, with its time zone; whether the offer has lapsed is judged by it.
    note : str
        Kept with the deed for ever; in it "settled" carries its figures as JSON.
    gold_per_g : mapping of str to float
        As in `webapp.sheet_life.lapses`.
    following : str
        For a correction of "settled": digest of the newest such deed that the person has seen.

    Raises
    ------
    NotAllowed
        The state of the sheet does not allow it: a lapsed offer cannot be agreed. What came of it was noted, or
        corrected, meanwhile. A mistake has no reason.
    AlreadyHandedOver
        There is a newer revision.
    UnknownSheet, TextRefused, TooLarge
        There is no such sheet or revision, or the note cannot be kept.
    """
    size = len(sound("note", note).encode())
    if size > LARGEST_NOTE:
        raise TooLarge(size, LARGEST_NOTE)
    with store.writing() as connection:
        row = sheets.there(connection, sheet_id)
        if row.revision > revision:
            raise AlreadyHandedOver(row.number, row.revision, row.handed_over_at)
        if row.revision < revision:
            raise UnknownSheet(sheet_id, revision)
        offer = sheets.listed(row).validity
        if refusal := why_not(kind, state_of(row.state, offer, at, gold_per_g)):
            raise NotAllowed(refusal)
        if kind == row.state == "lapsed":
            raise NotAllowed(
                "It is noted already that this sheet has lapsed. Hand over a new revision for a new offer."
            )
        state: State
        if kind == "settled" and _newest_settled(connection, row.key) != following:
            raise NotAllowed("What came of it was noted meanwhile. Look at it as it is now, then correct it.")
        if kind == "by_mistake":
            if not note.strip():
                raise NotAllowed("Say in a few words why it was a mistake: both stay in the history.")
            wanted = select(table.c.kind).where(table.c.sheet == row.key, table.c.revision == revision)
            kinds = connection.execute(wanted.order_by(table.c.key)).scalars().all()
            state = kept_after([*kinds, kind])
        else:
            state = kind
        sheets.change(connection, row.key, state=state, changed_at=at)
        its = {"sheet": row.key, "id": row.id, "number": row.number}
        return chain.add(connection, **its, revision=revision, kind=kind, at=at, note=note)


def _newest_settled(connection: Connection, key: int) -> str:
    wanted = select(table.c.digest).where(table.c.sheet == key, table.c.kind == "settled").order_by(table.c.key.desc())
    return connection.execute(wanted.limit(1)).scalar_one_or_none() or ""


def history(store: Store, sheet_id: str) -> tuple[Deed, ...]:
    """All that happened to a sheet, in order. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is none of this id.
    """
    wanted = select(table.c.revision, table.c.kind, table.c.at, table.c.note, table.c.digest).order_by(table.c.key)
    with store.reading() as connection:
        key = sheets.there(connection, sheet_id).key
        return tuple(Deed(*row) for row in connection.execute(wanted.where(table.c.sheet == key)))
