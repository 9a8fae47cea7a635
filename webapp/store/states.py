"""Earlier states of a draft; which go, and which another tab has not seen."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, delete, insert, select

from webapp.store import entries
from webapp.store.tables import draft_history as table

MOST = 50  # of each sort
_LISTED = (table.c.revision, table.c.title, table.c.kept_at, table.c.overtaken)


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
    its_sort = (table.c.draft_id == now.id, table.c.overtaken == overtaken)
    connection.execute(delete(table).where(*its_sort, table.c.digest == digest))
    connection.execute(
        insert(table).values(
            draft_id=now.id,
            revision=now.revision,
            title=now.title,
            entries=now.entries,
            digest=digest,
            writer=now.writer,
            kept_at=now.changed_at,
            overtaken=overtaken,
        )
    )
    newest = select(table.c.revision).where(*its_sort).order_by(table.c.revision.desc()).limit(MOST)
    connection.execute(delete(table).where(*its_sort, table.c.revision.not_in(newest)))


def newest_overtaken(connection: Connection, draft_id: str, tab: Tab) -> Earlier | None:
    """The newest state by another tab that `tab` has not been told of, and that was written over; writes nothing."""
    if tab.seen_revision is None:
        return None
    unseen = [table.c.draft_id == draft_id, table.c.overtaken, table.c.revision > tab.seen_revision]
    if tab.writer:
        unseen.append(table.c.writer != tab.writer)
    wanted = select(*_LISTED).where(*unseen).order_by(table.c.revision.desc()).limit(1)
    row = connection.execute(wanted).one_or_none()
    return None if row is None else Earlier(*row)


def of_draft(connection: Connection, draft_id: str) -> tuple[Earlier, ...]:
    """The earlier states of a draft, newest first; writes nothing."""
    wanted = select(*_LISTED).where(table.c.draft_id == draft_id).order_by(table.c.revision.desc())
    return tuple(Earlier(*row) for row in connection.execute(wanted))


def one_of_draft(connection: Connection, draft_id: str, revision: int) -> State | None:
    """One earlier state with its texts; writes nothing."""
    if not 0 < revision < 2**63:  # more than the database can ask for
        return None
    wanted = select(*_LISTED, table.c.entries).where(table.c.draft_id == draft_id, table.c.revision == revision)
    row = connection.execute(wanted).one_or_none()
    return None if row is None else State(*row[:-1], entries=entries.read(row.entries))
