"""Quotes, asks and lots in progress, with their texts exactly as typed.

A draft is written from its first field on, at every change. The last writer wins; what it wrote over is kept among
the earlier states: the newest 50 that one tab wrote after another state of its own, and apart from these, so that fast
typing cannot push them out, the newest 50 that were overtaken, that is written over by a tab that had not seen them.
"""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from sqlalchemy import Connection, Row, bindparam, func, insert, select, update

from webapp.store import states
from webapp.store.database import Store
from webapp.store.entries import Entries, read, sound, written
from webapp.store.errors import UnknownDraft
from webapp.store.states import Earlier, State
from webapp.store.tables import drafts as table

Kind = Literal["quote", "ask", "lot"]

LONGEST_TITLE = 200
PER_PAGE = 50
_OF_THIS_NAME = table.c.id == bindparam("name")
_ONE, _CHANGE = select(table).where(_OF_THIS_NAME), update(table).where(_OF_THIS_NAME)
_NAME = re.compile(r"[A-Za-z0-9_-]{16,64}")


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
        One that the draft never had counts as 0.
    writer
        Random name of the tab (`fresh_id`), so that its own writes, whose answers it may have missed, are not taken
        for another's.
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
    texts = written(entries)
    title = sound("", title)[:LONGEST_TITLE]
    writer = writer if _NAME.fullmatch(writer) else ""
    with store.writing() as connection:
        now = _row(connection, id)
        if now is None:
            if kind is None or not _NAME.fullmatch(id):
                raise UnknownDraft(id)
            made = {"id": id, "kind": kind, "title": title, "entries": texts, "revision": 1, "writer": writer}
            connection.execute(insert(table), {**made, "created_at": at, "changed_at": at})
            return Kept(1)
        tab = states.tab(writer, seen_revision, now.revision)
        revision = now.revision
        if now.entries != texts:
            states.remember(connection, now, tab)
            revision += 1
            _set(connection, id, title=title, entries=texts, revision=revision, writer=writer, changed_at=at)
        elif now.title != title:
            _set(connection, id, title=title)
        return Kept(revision, states.newest_overtaken(connection, id, tab), closed=now.closed_at is not None)


def get(store: Store, id: str) -> Draft:  # noqa: A002
    """A draft, open or closed. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.reading() as connection:
        row = _there(connection, id)
    return Draft(**_fields(row), entries=read(row.entries))


def open_drafts(store: Store, page: int = 1) -> Page:
    """The open drafts, the last changed first, 50 a page; a page that is not there is empty. Writes nothing."""
    is_open = table.c.closed_at.is_(None)
    columns = [column for column in table.c if column.name not in ("entries", "writer")]
    newest = (table.c.changed_at.desc(), table.c.created_at.desc(), table.c.id.desc())
    wanted = select(*columns).where(is_open).order_by(*newest).limit(PER_PAGE)
    with store.reading() as connection:
        count = connection.execute(select(func.count()).select_from(table).where(is_open)).scalar_one()
        if not 1 <= page <= count // PER_PAGE + 1:
            return Page((), page, count)
        rows = connection.execute(wanted.offset((page - 1) * PER_PAGE)).all()
    return Page(tuple(Listed(**_fields(row)) for row in rows), page, count)


def is_empty(store: Store) -> bool:
    """Whether no draft was ever kept. Writes nothing."""
    with store.reading() as connection:
        return connection.execute(select(table.c.id).limit(1)).first() is None


def close(store: Store, id: str, at: datetime) -> None:  # noqa: A002
    """Take a draft off the list of open ones, texts and earlier states kept; committed when this returns.

    A closed draft stays as it is.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.writing() as connection:
        if _there(connection, id).closed_at is None:
            _set(connection, id, closed_at=at)


def reopen(store: Store, id: str) -> None:  # noqa: A002
    """Put a closed draft on the list again; committed when this returns. An open draft stays as it is.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.writing() as connection:
        _there(connection, id)
        _set(connection, id, closed_at=None)


def turn_into(store: Store, id: str, kind: Kind) -> None:  # noqa: A002
    """Make a quote of an ask in progress, or the other way round, texts untouched; committed when this returns.

    Raises
    ------
    UnknownDraft
        There is none of this id.
    """
    with store.writing() as connection:
        _there(connection, id)
        _set(connection, id, kind=kind)


def earlier(store: Store, id: str) -> tuple[Earlier, ...]:  # noqa: A002
    """The earlier states of a draft, newest first, none twice. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is no draft of this id.
    """
    with store.reading() as connection:
        _there(connection, id)
        return states.of_draft(connection, id)


def state(store: Store, id: str, revision: int) -> State:  # noqa: A002
    """An earlier state with its texts; to return to it, `keep` them. Writes nothing.

    Raises
    ------
    UnknownDraft
        There is no such draft, or it has no such earlier state.
    """
    with store.reading() as connection:
        _there(connection, id)
        found = states.one_of_draft(connection, id, revision)
    if found is None:
        raise UnknownDraft(id, revision)
    return found


def _set(connection: Connection, id: str, **values: Any) -> None:  # noqa: A002
    connection.execute(_CHANGE, {"name": id, **values})


def _row(connection: Connection, id: str) -> Row[Any] | None:  # noqa: A002
    if not _NAME.fullmatch(id):  # may be anything that an address can hold
        return None
    return connection.execute(_ONE, {"name": id}).one_or_none()


def _there(connection: Connection, id: str) -> Row[Any]:  # noqa: A002
    row = _row(connection, id)
    if row is None:
        raise UnknownDraft(id)
    return row


def _fields(row: Row[Any]) -> dict[str, Any]:
    return {name: value for name, value in row._mapping.items() if name not in ("entries", "writer")}
