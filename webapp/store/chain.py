"""What happened to sheets: append-only, each chained to the one before it by its digest.

The chain is one for the whole store, so that a deed, a sheet or a revision that somebody takes out or changes by other
means does not go unnoticed: `chain_faults` walks it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256

from sqlalchemy import Connection, insert, select

from webapp.canonical_json import canonical
from webapp.sheet_life import Kind
from webapp.store.tables import deeds as table

FIRST = "0" * 64  # what the first deed of a store follows
_LAST = select(table.c.key, table.c.digest).order_by(table.c.key.desc()).limit(1)


@dataclass(frozen=True)
class Deed:
    """One thing that happened to a sheet; `revision` 0 is the writing before the first handing over."""

    revision: int
    kind: Kind
    at: datetime
    note: str
    digest: str


def digest_of(
    *,
    previous: str,
    id: str,  # noqa: A002
    number: str,
    revision: int,
    kind: str,
    at: datetime,
    note: str,
    frozen: Mapping[str, str],
) -> str:
    """SHA-256 of a deed: of the one before it, of what happened when, and of the digests of all that it froze."""
    told = {
        "previous": previous,
        "sheet": id,
        "number": number,
        "revision": revision,
        "kind": kind,
        "at": at.astimezone(UTC).isoformat(timespec="microseconds"),
        "note": sha256(note.encode()).hexdigest(),
        "frozen": dict(frozen),
    }
    return sha256(canonical(told)).hexdigest()


def add(
    connection: Connection,
    *,
    sheet: int,
    id: str,  # noqa: A002
    number: str,
    revision: int,
    kind: Kind,
    at: datetime,
    note: str = "",
    frozen: Mapping[str, str] | None = None,
) -> Deed:
    """The next deed of the chain, of the sheet with this key, id and number; commits nothing."""
    last = connection.execute(_LAST).one_or_none()
    key, previous = (1, FIRST) if last is None else (last.key + 1, last.digest)
    digest = digest_of(
        previous=previous, id=id, number=number, revision=revision, kind=kind, at=at, note=note, frozen=frozen or {}
    )
    made = {"key": key, "sheet": sheet, "revision": revision, "kind": kind, "at": at, "note": note}
    connection.execute(insert(table), {**made, "previous": previous, "digest": digest})
    return Deed(revision, kind, at, note, digest)
