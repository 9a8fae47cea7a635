"""Quotes and asks in progress, with their texts exactly as typed.

A draft is written from its first field on, at every change. The last writer wins; what it wrote over is kept among
the earlier states: the newest 50 that one tab wrote after another state of its own, and apart from these, so that fast
typing cannot push them out, the newest 50 that were overtaken, that is written over by a tab that had not seen them.
"""

from __future__ import annotations

import hashlib
import json
import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, Row, delete, func, insert, select, update

from webapp.store.database import Store
from webapp.store.errors import TextRefused, TooLarge, UnknownDraft
from webapp.store.tables import draft_history as history
from webapp.store.tables import drafts as table

Kind = Literal["quote", "ask"]
Entries = tuple[tuple[str, str], ...]

LARGEST = 256 * 1024  # bytes in UTF-8 of all names and texts, as a form is sent
LONGEST_TITLE = 200
MOST_EARLIER = 50
PER_PAGE = 50
_ID = re.compile(r"[A-Za-z0-9_-]{16,64}")
_SURROGATE = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True)
class Listed:
    """A draft without its texts."""

    id: str
    kind: Kind
    title: str
    revision: int
    created_at: datetime
    changed_at: datetime
    closed_at: datetime | None


@dataclass(frozen=True)
class Draft(Listed):
    """A draft with its texts: field names and texts in the order of typing, repeats included."""

    entries: Entries


@dataclass(frozen=True)
class Page:
    """One page of the open drafts, the last changed first; pages count from 1."""

    drafts: tuple[Listed, ...]
    number: int
    count: int

    @property
    def last(self) -> int:
        """Number of the last page."""
        return max(1, -(-self.count // PER_PAGE))


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

    entries: Entries


@dataclass(frozen=True)
class Kept:
    """What became of a `keep`.

    Parameters
    ----------
    revision : int
        Of the draft now; the tab has seen it once the answer reaches it.
    overtook : Earlier or None
        The newest state that another tab wrote, that this tab had not seen, and that is now among the earlier ones.
    closed : bool
        The draft had been closed. It holds the texts all the same, and stays closed.
    """

    revision: int
    overtook: Earlier | None = None
    closed: bool = False


def fresh_id() -> str:
    """A random name for a draft that is not kept yet, such as a blank form's; or for a tab. Writes nothing."""
    return secrets.token_urlsafe(16)


def new(
    store: Store, kind: Kind, entries: Iterable[tuple[str, str]], title: str, at: datetime, *, writer: str = ""
) -> Draft:
    """A draft made of these texts; committed when this returns.

    Raises
    ------
    StoreError
        As `keep`.
    """
    name = fresh_id()
    with store.writing():
        keep(store, name, entries, title, at, writer=writer, kind=kind)
        return get(store, name)


def keep(
    store: Store,
    id: str,  # noqa: A002
    entries: Iterable[tuple[str, str]],
    title: str,
    at: datetime,
    *,
    seen_revision: int | None = None,
    writer: str = "",
    kind: Kind | None = None,
) -> Kept:
    """Keep the texts of a draft in place of its last ones, which become an earlier state; committed when this returns.

    The same texts again change nothing and make no revision.

    Parameters
    ----------
    entries
        Field names and texts, in order, with repeats; leave out what is no field, such as a form token.
    title
        For lists; its first 200 characters are kept.
    seen_revision
        The newest revision that this tab has been told of; 0 for a blank form. None: not known, nothing is overtaken.
    writer
        Random name of the tab, so that its own writes, whose answers it may have missed, are not taken for another's.
    kind
        Makes the draft if there is none of this id, so that a form sent twice makes one draft.

    Raises
    ------
    UnknownDraft
        No draft of this id, and no `kind` given.
    TooLarge
        Over 256 kB in all.
    TextRefused
        A text holds the character NUL or half a character.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    texts = _written(entries)
    title = _sound("", title)[:LONGEST_TITLE]
    with store.writing() as connection:
        now = connection.execute(select(table).where(table.c.id == id)).one_or_none()
        if now is None:
            if kind is None or not _ID.fullmatch(id):
                raise UnknownDraft(id)
            made = {"id": id, "kind": kind, "title": title, "entries": texts, "revision": 1, "writer": writer}
            connection.execute(insert(table).values(**made, created_at=at, changed_at=at))
            return Kept(1)
        closed = now.closed_at is not None
        if now.entries == texts:
            if now.title != title:
                connection.execute(update(table).where(table.c.id == id).values(title=title))
            return Kept(now.revision, closed=closed)
        _remember(connection, now, _unseen(now.revision, now.writer, seen_revision, writer))
        changed = {"title": title, "entries": texts, "revision": now.revision + 1, "writer": writer, "changed_at": at}
        connection.execute(update(table).where(table.c.id == id).values(**changed))
        return Kept(now.revision + 1, _overtook(connection, id, seen_revision, writer), closed)


def get(store: Store, id: str) -> Draft:  # noqa: A002
    """A draft, open or closed. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.reading() as connection:
        row = connection.execute(select(table).where(table.c.id == id)).one_or_none()
    if row is None:
        raise UnknownDraft(id)
    return Draft(*_listed(row), _read(row.entries))


def open_drafts(store: Store, page: int = 1) -> Page:
    """The open drafts, the last changed first, 50 a page; a page beyond the last is empty. Writes nothing."""
    is_open = table.c.closed_at.is_(None)
    columns = [column for column in table.c if column.name not in ("entries", "writer")]
    newest = (table.c.changed_at.desc(), table.c.created_at.desc(), table.c.id)
    wanted = select(*columns).where(is_open).order_by(*newest).limit(PER_PAGE).offset((page - 1) * PER_PAGE)
    with store.reading() as connection:
        rows = connection.execute(wanted).all()
        count = connection.execute(select(func.count()).select_from(table).where(is_open)).scalar_one()
    return Page(tuple(Listed(*_listed(row)) for row in rows), page, count)


def close(store: Store, id: str, at: datetime) -> None:  # noqa: A002
    """Take a draft off the list of open ones, texts and earlier states kept; committed when this returns.

    A closed draft stays as it is.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.writing() as connection:
        _set_closed(connection, id, func.coalesce(table.c.closed_at, at))


def reopen(store: Store, id: str) -> None:  # noqa: A002
    """Put a closed draft on the list again; committed when this returns. An open draft stays as it is.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.writing() as connection:
        _set_closed(connection, id, None)


def earlier(store: Store, id: str) -> tuple[Earlier, ...]:  # noqa: A002
    """The earlier states of a draft, newest first, none twice. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is no draft of this id.
    """
    columns = (history.c.revision, history.c.title, history.c.kept_at, history.c.overtaken)
    with store.reading() as connection:
        rows = connection.execute(
            select(*columns).where(history.c.draft_id == id).order_by(history.c.revision.desc())
        ).all()
        if not rows and connection.execute(select(table.c.id).where(table.c.id == id)).one_or_none() is None:
            raise UnknownDraft(id)
    return tuple(Earlier(*row) for row in rows)


def state(store: Store, id: str, revision: int) -> State:  # noqa: A002
    """An earlier state with its texts; to return to it, `keep` them. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is no such draft, or it has no such earlier state.
    """
    wanted = select(history).where(history.c.draft_id == id, history.c.revision == revision)
    with store.reading() as connection:
        row = connection.execute(wanted).one_or_none()
    if row is None:
        raise UnknownDraft(id, revision)
    return State(row.revision, row.title, row.kept_at, row.overtaken, _read(row.entries))


def _set_closed(connection: Connection, id: str, closed_at: Any) -> None:  # noqa: A002
    done = connection.execute(update(table).where(table.c.id == id).values(closed_at=closed_at))
    if done.rowcount == 0:
        raise UnknownDraft(id)


def _remember(connection: Connection, now: Row[Any], overtaken: bool) -> None:
    """Put the state that is about to be replaced among the earlier ones, and let the oldest of its sort go."""
    digest = hashlib.sha256(now.entries.encode()).hexdigest()
    same_sort = (history.c.draft_id == now.id, history.c.overtaken == overtaken)
    connection.execute(delete(history).where(*same_sort, history.c.digest == digest))
    connection.execute(
        insert(history).values(
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
    newest = select(history.c.revision).where(*same_sort).order_by(history.c.revision.desc()).limit(MOST_EARLIER)
    connection.execute(delete(history).where(*same_sort, history.c.revision.not_in(newest)))


def _unseen(revision: int, by: str, seen_revision: int | None, writer: str) -> bool:
    """Whether a tab had not seen a revision, and did not write it itself."""
    if seen_revision is None or (writer and by == writer):
        return False
    return revision != seen_revision


def _overtook(connection: Connection, id: str, seen_revision: int | None, writer: str) -> Earlier | None:  # noqa: A002
    if seen_revision is None:
        return None
    unseen = [history.c.draft_id == id, history.c.overtaken, history.c.revision > seen_revision]
    if writer:
        unseen.append(history.c.writer != writer)
    columns = (history.c.revision, history.c.title, history.c.kept_at, history.c.overtaken)
    row = connection.execute(select(*columns).where(*unseen).order_by(history.c.revision.desc()).limit(1)).one_or_none()
    return None if row is None else Earlier(*row)


def _listed(row: Row[Any]) -> tuple[Any, ...]:
    return row.id, row.kind, row.title, row.revision, row.created_at, row.changed_at, row.closed_at


def _written(entries: Iterable[tuple[str, str]]) -> str:
    pairs = [(_sound(name, name), _sound(name, text)) for name, text in entries]
    size = sum(len(name.encode()) + len(text.encode()) + 2 for name, text in pairs)
    if size > LARGEST:
        raise TooLarge(size, LARGEST)
    return json.dumps(pairs, ensure_ascii=False, separators=(",", ":"))


def _read(entries: str) -> Entries:
    return tuple((name, text) for name, text in json.loads(entries))


def _sound(field: str, text: str) -> str:
    """A text that the database can give back as it was."""
    if "\0" in text:
        raise TextRefused(field, "holds the character NUL, which cannot be kept. Take it out and type the text again.")
    if _SURROGATE.search(text):
        raise TextRefused(field, "holds half a character, which cannot be kept. Type the text again.")
    return text
