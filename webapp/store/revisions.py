"""Handing over: what a sheet says is frozen as its next revision, under its number."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Any

from sqlalchemy import Connection, Row, func, select

from valuation.mass import MassUnit
from webapp.sheet_life import Validity, validity, why_not
from webapp.store import chain, frozen, sheets
from webapp.store.database import Store
from webapp.store.drafts import LONGEST_TITLE
from webapp.store.errors import AlreadyHandedOver, NotAllowed, UnknownSheet
from webapp.store.frozen import COPIES, PAPERS, Content, Frozen
from webapp.store.tables import contents
from webapp.store.tables import revisions as table
from webapp.store.tables import sheets as sheet_table

__all__ = ["Frozen", "Numbered", "Revision", "content", "hand_over", "of_sheet", "papers", "revision"]


@dataclass(frozen=True)
class Numbered:
    """The number that a handing over takes, and the revision of that sheet that it makes and replaces."""

    number: str
    revision: int
    replaces: int | None
    handed_over_at: datetime


@dataclass(frozen=True)
class Revision:
    """One handing over of a sheet, as it was; its copies and papers are read by `content` and `papers`."""

    sheet_id: str
    number: str
    revision: int
    replaces: int | None
    replaced: bool
    handed_over_at: datetime
    title: str
    description: str
    method_version: str
    seed: int
    currency: str
    offer: str
    reason: str
    gold_price: str
    silver_price: str | None
    spot_unit: MassUnit
    price_seen_at: datetime | None
    price_source: str
    valid_until: datetime
    time_zone: str
    spot_move_frac: str | None
    stale_price_confirmation: str
    notes: tuple[str, ...]
    seller_digest: str
    photographs: tuple[str, ...]

    @property
    def validity(self) -> Validity:
        """What ends the offer by itself."""
        return validity(self.valid_until, self.currency, self.gold_price, self.spot_unit, self.spot_move_frac)


def hand_over(
    store: Store,
    sheet_id: str,
    make: Callable[[Numbered], Frozen],
    *,
    at: datetime,
    zone: tzinfo,
    expected_revision: int,
) -> Revision:
    """Freeze what `make` makes as the next revision of a sheet; committed, to the disk, when this returns.

    The first handing over takes the next number of the year that it is in the shop's zone. If anything fails, in
    `make` or after, nothing has happened, and no number is used up.

    Parameters
    ----------
    make
        Called once, inside the transaction, with the number to print; what it reads of the store is that
        transaction's. Others wait for it, for at most five seconds.
    at : datetime
        Now, with its time zone.
    zone : tzinfo
        Of the shop.
    expected_revision : int
        The newest revision that the person has seen, 0 for none.

    Raises
    ------
    AlreadyHandedOver
        The sheet has a newer revision than that: of two tabs, one wins.
    NotAllowed
        The sheet is agreed or settled.
    UnknownSheet, UnknownPhotograph, TextRefused
        There is no such sheet or photograph, or a text cannot be kept.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    with store.writing() as connection:
        row = sheets.there(connection, sheet_id)
        if row.revision > expected_revision:
            raise AlreadyHandedOver(row.number, row.revision, row.handed_over_at)
        if row.revision < expected_revision:
            raise UnknownSheet(sheet_id, expected_revision)
        if refusal := why_not("handed_over", row.state):
            raise NotAllowed(refusal)
        year, running = _place(connection, row.key, at.astimezone(zone).year)
        number = f"{year:04}-{running:04}"
        new = row.revision + 1
        made = frozen.checked(make(Numbered(number, new, row.revision or None, at)))
        _freeze(connection, row, made, at, {"year": year, "running": running, "number": number})
        return _revision(connection, sheet_id, _row(connection, row.key, new))


def _place(connection: Connection, key: int, year: int) -> tuple[int, int]:
    """Year and running number: the sheet's own, else the next of the year."""
    own = connection.execute(select(sheet_table.c.year, sheet_table.c.running).where(sheet_table.c.key == key)).one()
    if own.year is not None:
        return own.year, own.running
    last = select(func.max(sheet_table.c.running)).where(sheet_table.c.year == year)
    return year, (connection.execute(last).scalar_one() or 0) + 1


def _freeze(connection: Connection, row: Row[Any], made: Frozen, at: datetime, numbered: dict[str, Any]) -> None:
    key, new, number = row.key, row.revision + 1, numbered["number"]
    frozen.keep(connection, key, number, new, at, made)
    its = {"sheet": key, "id": row.id, "number": number, "at": at}
    if row.revision:
        chain.add(connection, **its, revision=row.revision, kind="replaced")
    digests = frozen.digests(connection, _row(connection, key, new))
    chain.add(connection, **its, revision=new, kind="handed_over", frozen=digests)
    offer = made.validity
    sheets.change(
        connection,
        key,
        **numbered,
        number_order=numbered["year"] * 10**10 + numbered["running"],
        revision=new,
        state="handed_over",
        title=made.title[:LONGEST_TITLE],
        title_order=sheets.title_order(made.title),
        changed_at=at,
        dated_at=at,
        handed_over_at=at,
        offer=made.offer,
        offer_order=float(made.offer),
        currency=made.currency,
        valid_until=made.valid_until,
        time_zone=made.time_zone,
        gold_low_per_g=offer.gold_low_per_g,
        gold_high_per_g=offer.gold_high_per_g,
    )
    sheets.describe(connection, key, made.description)


def revision(store: Store, sheet_id: str, revision: int) -> Revision:
    """A revision of a sheet. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is no such sheet, or it has no such revision.
    """
    with store.reading() as connection:
        return _revision(connection, sheet_id, _found(connection, sheet_id, revision))


def of_sheet(store: Store, sheet_id: str) -> tuple[Revision, ...]:
    """The revisions of a sheet, newest first. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is no such sheet.
    """
    with store.reading() as connection:
        key = sheets.there(connection, sheet_id).key
        rows = connection.execute(select(table).where(table.c.sheet == key).order_by(table.c.revision.desc())).all()
        return tuple(_revision(connection, sheet_id, row) for row in rows)


def papers(store: Store, sheet_id: str, revision: int) -> tuple[bytes, bytes]:
    """The papers of a revision as they were handed over: the seller's PDF and the house's. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is no such sheet, or it has no such revision.
    """
    seller, house = (content(store, sheet_id, revision, kind) for kind in PAPERS)
    return seller, house


def content(store: Store, sheet_id: str, revision: int, kind: Content) -> bytes:
    """One of what a revision froze, `COPIES` and `PAPERS`, byte for byte. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is no such sheet, or it has no such revision.
    """
    assert kind in COPIES + PAPERS
    with store.reading() as connection:
        row = _found(connection, sheet_id, revision)
        its = contents.c.sheet == row.sheet, contents.c.revision == row.revision, contents.c.kind == kind
        return bytes(connection.execute(select(contents.c.content).where(*its)).scalar_one())


def _row(connection: Connection, key: int, revision: int) -> Row[Any]:
    return connection.execute(select(table).where(table.c.sheet == key, table.c.revision == revision)).one()


def _found(connection: Connection, sheet_id: str, revision: int) -> Row[Any]:
    row = sheets.there(connection, sheet_id)
    if not 1 <= revision <= row.revision:
        raise UnknownSheet(sheet_id, revision)
    return _row(connection, row.key, revision)


def _revision(connection: Connection, sheet_id: str, row: Row[Any]) -> Revision:
    newest = connection.execute(select(func.max(table.c.revision)).where(table.c.sheet == row.sheet)).scalar_one()
    facts = {name: value for name, value in row._mapping.items() if name not in ("sheet", "notes")}
    return Revision(
        **facts,
        sheet_id=sheet_id,
        replaces=row.revision - 1 or None,
        replaced=row.revision < newest,
        notes=tuple(json.loads(row.notes)),
        photographs=tuple(digest for _, digest in frozen.photographs_of(connection, row.sheet, row.revision)),
    )
