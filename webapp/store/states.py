"""Earlier states of a draft; which go, and which another tab has not seen."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, bindparam, delete, insert, select

from webapp.store import entries
from webapp.store.tables import draft_history as table

MOST = 50  # of each sort
_LISTED = (table.c.revision, table.c.title, table.c.kept_at, table.c.overtaken)
# Built once: building and naming a statement takes longer than running it.
_DRAFT = table.c.draft_id == bindparam("draft")
_SORT = (_DRAFT, table.c.overtaken == bindparam("sort"))
_NEWEST = select(table.c.revision).where(*_SORT).order_by(table.c.revision.desc()).limit(MOST)
_FORGET_TWIN = delete(table).where(*_SORT, table.c.digest == bindparam("twin"))
_FORGET_OLD = delete(table).where(*_SORT, table.c.revision.not_in(_NEWEST))
_OVERTAKEN = (
    select(*_LISTED)
    .where(_DRAFT, table.c.overtaken, table.c.revision > bindparam("seen"))
    .where((bindparam("tab") == "") | (table.c.writer != bindparam("tab")))
    .order_by(table.c.revision.desc())
    .limit(1)
)
_OF_DRAFT = select(*_LISTED).where(_DRAFT).order_by(table.c.revision.desc())
_ONE_OF_DRAFT = select(*_LISTED, table.c.entries).where(_DRAFT, table.c.revision == bindparam("revision"))


@dataclass(frozen=True)
class Earlier:
    """An earlier state of a draft, without its texts; `overtaken` by a tab that had not seen it."""

    revision: int
    title: str
    kept_at: datetime
    overtaken: bool


@dataclass(frozen=True)
class State(Earlier):
    """An earlier state with its texts."""

    entries: entries.Entries


@dataclass(frozen=True)
class Tab:
    """What a tab that writes is called, and the newest revision that it has been told of, where these are known."""

    writer: str
    seen_revision: int | None

    def overtakes(self, revision: int, writer: str) -> bool:
        """Whether it writes over a revision that it had not seen and did not write."""
        if self.seen_revision is None or (self.writer and self.writer == writer):
            return False
        return revision != self.seen_revision


def tab(writer: str, seen_revision: int | None, revision: int) -> Tab:
    """A tab that writes to a draft of this revision; what it cannot have seen, it has not seen."""
    if seen_revision is not None and not 0 <= seen_revision <= revision:
        seen_revision = 0  # from before a backup was put back, or made up
    return Tab(writer, seen_revision)


def remember(connection: Connection, now: Row[Any], tab: Tab) -> None:
    """Put the state that `tab` is about to replace among the earlier ones; commits nothing.

    The oldest of its sort beyond `MOST` goes, and so does its own twin.
    """
    overtaken = tab.overtakes(now.revision, now.writer)
    digest = hashlib.sha256(now.entries.encode()).hexdigest()
    its_sort = {"draft": now.id, "sort": overtaken}
    connection.execute(_FORGET_TWIN, {**its_sort, "twin": digest})
    state = {
        "draft_id": now.id,
        "revision": now.revision,
        "title": now.title,
        "digest": digest,
        "writer": now.writer,
        "kept_at": now.changed_at,
        "overtaken": overtaken,
        "entries": now.entries,
    }
    connection.execute(insert(table), state)
    connection.execute(_FORGET_OLD, its_sort)


def newest_overtaken(connection: Connection, draft_id: str, tab: Tab) -> Earlier | None:
    """The newest state by another tab that `tab` has not been told of, and that was written over; writes nothing."""
    if tab.seen_revision is None:
        return None
    asked = {"draft": draft_id, "seen": tab.seen_revision, "tab": tab.writer}
    row = connection.execute(_OVERTAKEN, asked).one_or_none()
    return None if row is None else Earlier(*row)


def of_draft(connection: Connection, draft_id: str) -> tuple[Earlier, ...]:
    """The earlier states of a draft, newest first; writes nothing."""
    return tuple(Earlier(*row) for row in connection.execute(_OF_DRAFT, {"draft": draft_id}))


def one_of_draft(connection: Connection, draft_id: str, revision: int) -> State | None:
    """One earlier state with its texts; writes nothing."""
    if not 0 < revision < 2**63:  # more than the database can ask for
        return None
    row = connection.execute(_ONE_OF_DRAFT, {"draft": draft_id, "revision": revision}).one_or_none()
    return None if row is None else State(*row[:-1], entries=entries.read(row.entries))
