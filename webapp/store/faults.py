"""Whether the ledger of deeds fits all that is kept of sheets: what was changed or taken out by other means shows."""

from __future__ import annotations

from collections.abc import Iterator
from hashlib import sha256
from itertools import islice
from typing import Any

from sqlalchemy import Connection, Row, select

from webapp.sheet_life import STATES
from webapp.store import frozen
from webapp.store.chain import FIRST, digest_of
from webapp.store.database import Store
from webapp.store.tables import deeds, photographs, revisions, sheets

MOST = 100


def chain_faults(store: Store, most: int = MOST) -> tuple[str, ...]:
    """What does not fit, as sentences, at most so many; empty if all does. Writes nothing.

    Reads everything that was ever handed over. It cannot show that the newest deeds were taken out together with all
    that they left in the sheets; a digest noted elsewhere, as on the papers, can.
    """
    with store.reading() as connection:
        return tuple(islice(_faults(connection), most))


def _faults(connection: Connection) -> Iterator[str]:
    state: dict[int, tuple[str, int]] = {}
    told: set[tuple[int, int]] = set()
    previous, key = FIRST, 0
    for row in _deeds(connection):
        key += 1
        name = f"Deed {row.key} ({row.number or 'no number'}, revision {row.revision}, {row.kind})"
        if row.key != key or row.previous != previous:
            yield f"{name} does not follow the one before it: a deed is missing or was changed."
            key = row.key
        digest = _digest(connection, row)
        if digest is None:
            yield f"{name}: what was handed over is missing."
        elif digest != row.digest:
            yield f"{name}: it, its sheet or what was handed over was changed."
        previous = row.digest
        if row.kind in STATES:
            state[row.sheet] = row.kind, row.revision
        if row.kind == "handed_over":
            told.add((row.sheet, row.revision))
    yield from _faults_of_sheets(connection, state)
    for sheet, revision, number in connection.execute(
        select(revisions.c.sheet, revisions.c.revision, revisions.c.number).order_by(revisions.c.sheet)
    ):
        if (sheet, revision) not in told:
            yield f"Sheet {number}, revision {revision}: there is no deed of its handing over."
    yield from _faults_of_numbers(connection)
    yield from _faults_of_photographs(connection)


def _deeds(connection: Connection) -> Iterator[Row[Any]]:
    wanted = select(deeds, sheets.c.id, sheets.c.number).outerjoin(sheets, sheets.c.key == deeds.c.sheet)
    yield from connection.execution_options(yield_per=1000).execute(wanted.order_by(deeds.c.key))


def _digest(connection: Connection, row: Row[Any]) -> str | None:
    digests = {}
    if row.kind == "handed_over":
        its = revisions.c.sheet == row.sheet, revisions.c.revision == row.revision
        revision = connection.execute(select(revisions).where(*its)).one_or_none()
        if revision is None:
            return None
        digests = dict(frozen.digests(connection, revision))
    return digest_of(
        previous=row.previous,
        id=row.id or "",
        number=(row.number or "") if row.revision else "",
        revision=row.revision,
        kind=row.kind,
        at=row.at,
        note=row.note,
        frozen=digests,
    )


def _faults_of_sheets(connection: Connection, state: dict[int, tuple[str, int]]) -> Iterator[str]:
    """Sheets that say something else than their last deed and newest revision."""
    same = ("number", "offer", "currency", "valid_until", "time_zone", "handed_over_at")
    columns = [revisions.c[name].label(f"frozen_{name}") for name in same]
    newest = (revisions.c.sheet == sheets.c.key) & (revisions.c.revision == sheets.c.revision)
    for row in connection.execute(select(sheets, *columns).outerjoin(revisions, newest).order_by(sheets.c.key)):
        name = f"Sheet {row.number or row.id}"
        if state.get(row.key) != (row.state, row.revision):
            yield f"{name} says {row.state}, revision {row.revision}, which its last deed does not."
        values = row._mapping
        if any(values[column] != values[f"frozen_{column}"] for column in same):
            yield f"{name} says something else than its newest revision."


def _faults_of_numbers(connection: Connection) -> Iterator[str]:
    year, running = None, 0
    numbered = select(sheets.c.year, sheets.c.running, sheets.c.number).where(sheets.c.number.is_not(None))
    for row in connection.execute(numbered.order_by(sheets.c.year, sheets.c.running)):
        running = running + 1 if row.year == year else 1
        year = row.year
        if row.running != running or row.number != f"{year:04}-{running:04}":
            yield f"Sheet {row.number}: its number is not the next of its year."
            running = row.running


def _faults_of_photographs(connection: Connection) -> Iterator[str]:
    for digest in connection.execute(select(photographs.c.digest)).scalars().all():
        jpeg = connection.execute(select(photographs.c.jpeg).where(photographs.c.digest == digest)).scalar_one()
        if sha256(jpeg).hexdigest() != digest:
            yield f"Photograph {digest[:16]} was changed."
