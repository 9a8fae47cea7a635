"""Photographs of a sheet, each kept once by what it is, in the order of the sheet.

Those of a revision that was handed over stay for ever; one that no sheet and no revision has any more is forgotten.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256

from sqlalchemy import Connection, bindparam, delete, exists, insert, select

from webapp.store import sheets
from webapp.store.database import Store
from webapp.store.errors import NotAllowed, UnknownPhotograph
from webapp.store.tables import photographs as table
from webapp.store.tables import revision_photographs, sheet_photographs

MOST = 12  # of one sheet
_SHOWN = (table.c.digest, table.c.width, table.c.height, table.c.added_at)
_FORGET = delete(table).where(
    table.c.digest == bindparam("gone"),
    ~exists().where(sheet_photographs.c.digest == table.c.digest),
    ~exists().where(revision_photographs.c.digest == table.c.digest),
)


@dataclass(frozen=True)
class Photograph:
    """A photograph without its bytes: `digest` is their SHA-256; width and height in pixels."""

    digest: str
    width: int
    height: int
    added_at: datetime


def add(store: Store, sheet_id: str, jpeg: bytes, width: int, height: int, at: datetime) -> Photograph:
    """Put a photograph last on a sheet; committed when this returns. One that it has already stays where it is.

    Raises
    ------
    NotAllowed
        The sheet has `MOST` already.
    UnknownSheet
        There is no such sheet.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    digest = sha256(jpeg).hexdigest()
    with store.writing() as connection:
        key = sheets.there(connection, sheet_id).key
        places = _places(connection, key)
        if digest not in places:
            if len(places) >= MOST:
                raise NotAllowed(f"A sheet holds at most {MOST} photographs. Take one out first.")
            if connection.execute(select(table.c.digest).where(table.c.digest == digest)).one_or_none() is None:
                made = {"digest": digest, "width": width, "height": height, "added_at": at, "jpeg": jpeg}
                connection.execute(insert(table), made)
            _arrange(connection, key, [*places, digest])
        return Photograph(*connection.execute(select(*_SHOWN).where(table.c.digest == digest)).one())


def arrange(store: Store, sheet_id: str, digests: Sequence[str]) -> None:
    """Give a sheet, for its next handing over, these of its photographs in this order; committed when this returns.

    Those left out are taken off it, and forgotten where nothing else has them.

    Raises
    ------
    UnknownPhotograph
        One of them is not on the sheet, or stands twice.
    UnknownSheet
        There is no such sheet.
    """
    with store.writing() as connection:
        key = sheets.there(connection, sheet_id).key
        before = _places(connection, key)
        for i, digest in enumerate(digests):
            if digest not in before or digest in digests[:i]:
                raise UnknownPhotograph(digest)
        _arrange(connection, key, digests)
        for digest in set(before) - set(digests):
            connection.execute(_FORGET, {"gone": digest})


def of_sheet(store: Store, sheet_id: str) -> tuple[Photograph, ...]:
    """The photographs that the next handing over of a sheet will freeze, in order. Writes nothing.

    Raises
    ------
    UnknownSheet
        There is no such sheet.
    """
    its = sheet_photographs
    with store.reading() as connection:
        key = sheets.there(connection, sheet_id).key
        wanted = select(*_SHOWN).join_from(its, table, its.c.digest == table.c.digest).where(its.c.sheet == key)
        return tuple(Photograph(*row) for row in connection.execute(wanted.order_by(its.c.place)))


def jpeg(store: Store, digest: str) -> bytes:
    """A photograph byte for byte as it was added. Writes nothing.

    Raises
    ------
    UnknownPhotograph
        There is none of this digest.
    """
    with store.reading() as connection:
        found = connection.execute(select(table.c.jpeg).where(table.c.digest == digest)).scalar_one_or_none()
    if found is None:
        raise UnknownPhotograph(digest)
    return bytes(found)


def _places(connection: Connection, key: int) -> list[str]:
    its = sheet_photographs
    return list(connection.execute(select(its.c.digest).where(its.c.sheet == key).order_by(its.c.place)).scalars())


def _arrange(connection: Connection, key: int, digests: Sequence[str]) -> None:
    connection.execute(delete(sheet_photographs).where(sheet_photographs.c.sheet == key))
    if digests:
        placed = [{"sheet": key, "place": i, "digest": digest} for i, digest in enumerate(digests, 1)]
        connection.execute(insert(sheet_photographs), placed)
