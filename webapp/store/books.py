"""The house's books: entries of which every version stays, and which versions a sheet used.

An edit, a retirement and a return are each a further version; nothing is ever changed or removed.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Row, Select, func, insert, select

from webapp.store import sheets
from webapp.store.database import Store
from webapp.store.drafts import fresh_id
from webapp.store.entries import sound
from webapp.store.errors import StoreError
from webapp.store.tables import book_versions as table
from webapp.store.tables import revision_books


class UnknownEntry(StoreError):  # noqa: N818
    """No book holds such an entry, or the entry has no such version."""

    def __init__(self) -> None:
        super().__init__("There is no such entry in this book. Look at the list.")


class NameTaken(StoreError):  # noqa: N818
    """Another entry of the book that is not retired bears the name."""

    def __init__(self, name: str) -> None:
        super().__init__(f"“{name}” stands in this book already: change that entry, or choose another name.")


class ChangedInBetween(StoreError):  # noqa: N818
    """The entry has a newer version than the one that was seen."""

    def __init__(self, newest: Version) -> None:
        super().__init__("This entry was changed elsewhere meanwhile. Look at it as it is now, then save again.")
        self.newest = newest


@dataclass(frozen=True)
class Content:
    """What an entry says; `name` tells it from the others of its book and is empty where entries bear none."""

    name: str
    currency: str
    source: str
    terms: Mapping[str, Any]


@dataclass(frozen=True)
class Version:
    """An entry as it was from a moment on."""

    book: str
    entry: str
    version: int
    content: Content
    kept_at: datetime
    retired_at: datetime | None

    @property
    def is_retired(self) -> bool:
        """Whether it is no longer offered."""
        return self.retired_at is not None


def add(store: Store, book: str, content: Content, at: datetime) -> Version:
    """A new entry; committed when this returns.

    Raises
    ------
    NameTaken
        Another one that is not retired bears its name.
    TextRefused, StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    with store.writing() as connection:
        return _write(connection, Version(book, fresh_id(), 1, content, at, None))


def change(store: Store, book: str, entry: str, content: Content, at: datetime, seen: int) -> Version:
    """A further version of an entry, back among those offered; none if it says what the newest one says.

    Raises
    ------
    ChangedInBetween
        There is a newer version than the one `seen`.
    UnknownEntry, NameTaken
        There is no such entry, or another one bears the name.
    TextRefused, StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    with store.writing() as connection:
        newest = _newest(connection, book, entry)
        if newest.version != seen:
            raise ChangedInBetween(newest)
        if newest.content == content and not newest.is_retired:
            return newest
        return _write(connection, Version(book, entry, seen + 1, content, at, None))


def retire(store: Store, book: str, entry: str, at: datetime) -> Version:
    """Offer an entry no longer. Raises as `change` does."""
    return _turned(store, book, entry, at, at)


def put_back(store: Store, book: str, entry: str, at: datetime) -> Version:
    """Offer a retired entry again. Raises as `change` does."""
    return _turned(store, book, entry, at, None)


def _turned(store: Store, book: str, entry: str, at: datetime, retired_at: datetime | None) -> Version:
    with store.writing() as connection:
        newest = _newest(connection, book, entry)
        if newest.is_retired == (retired_at is not None):
            return newest
        return _write(connection, Version(book, entry, newest.version + 1, newest.content, at, retired_at))


def _write(connection: Connection, made: Version) -> Version:
    content = made.content
    if content.name and not made.is_retired:
        for other in _entries(connection, made.book):
            same = other.content.name.casefold() == content.name.casefold()
            if same and other.entry != made.entry and not other.is_retired:
                raise NameTaken(content.name)
    terms = json.dumps(content.terms, ensure_ascii=False, separators=(",", ":"), sort_keys=True, allow_nan=False)
    connection.execute(
        insert(table),
        {
            "book": made.book,
            "entry": made.entry,
            "version": made.version,
            "name": sound("name", content.name),
            "currency": sound("currency", content.currency),
            "source": sound("source", content.source),
            "kept_at": made.kept_at,
            "retired_at": made.retired_at,
            "terms": sound("terms", terms),
        },
    )
    return made


# ---- reading


def newest(store: Store, book: str, entry: str) -> Version:
    """An entry as it is now. Writes nothing. Raises `UnknownEntry`."""
    with store.reading() as connection:
        return _newest(connection, book, entry)


def entries(store: Store, book: str) -> tuple[Version, ...]:
    """Every entry of a book as it is now, retired ones too, in the order in which they were added. Writes nothing."""
    with store.reading() as connection:
        return _entries(connection, book)


def offered(store: Store, book: str) -> tuple[Version, ...]:
    """The entries of a book that are not retired. Writes nothing."""
    return tuple(one for one in entries(store, book) if not one.is_retired)


def versions(store: Store, book: str, entry: str) -> tuple[Version, ...]:
    """Every version of an entry, the newest first. Writes nothing. Raises `UnknownEntry`."""
    with store.reading() as connection:
        found = _read(connection, select(table).where(table.c.book == book, table.c.entry == entry))
    if not found:
        raise UnknownEntry
    return tuple(reversed(found))


def every_version(store: Store, book: str) -> tuple[Version, ...]:
    """Every version of every entry of a book, the newest first. Writes nothing."""
    with store.reading() as connection:
        return tuple(reversed(_read(connection, select(table).where(table.c.book == book))))


def _newest(connection: Connection, book: str, entry: str) -> Version:
    found = _read(connection, select(table).where(table.c.book == book, table.c.entry == entry))
    if not found:
        raise UnknownEntry
    return found[-1]


def _entries(connection: Connection, book: str) -> tuple[Version, ...]:
    last = select(table.c.entry, func.min(table.c.key).label("first"), func.max(table.c.version).label("version"))
    of_each = last.where(table.c.book == book).group_by(table.c.entry).subquery()
    its = (table.c.entry == of_each.c.entry, table.c.version == of_each.c.version)
    rows = connection.execute(select(table).join(of_each, its[0] & its[1]).order_by(of_each.c.first))
    return tuple(_version(row) for row in rows)


def _read(connection: Connection, wanted: Select[Any]) -> list[Version]:
    return [_version(row) for row in connection.execute(wanted.order_by(table.c.key))]


def _version(row: Row[Any]) -> Version:
    content = Content(row.name, row.currency, row.source, json.loads(row.terms))
    return Version(row.book, row.entry, row.version, content, row.kept_at, row.retired_at)


# ---- what a sheet used


def remember(store: Store, sheet_id: str, revision: int, used: Iterable[tuple[str, Version]]) -> None:
    """Note which versions a revision that was handed over used, each with its place in the request.

    Raises
    ------
    UnknownSheet
        There is no such sheet.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written.
    """
    with store.writing() as connection:
        key = sheets.there(connection, sheet_id).key
        rows = [
            {"sheet": key, "revision": revision, "place": place, "entry": one.entry, "version": one.version}
            for place, one in used
        ]
        if rows:
            connection.execute(insert(revision_books), rows)


def used_by(store: Store, sheet_id: str, revision: int) -> tuple[tuple[str, Version], ...]:
    """Which versions a revision used, each with its place in the request. Writes nothing. Raises `UnknownSheet`."""
    with store.reading() as connection:
        key = sheets.there(connection, sheet_id).key
        its = (table.c.entry == revision_books.c.entry) & (table.c.version == revision_books.c.version)
        wanted = select(revision_books.c.place, *table.c).join(table, its).order_by(revision_books.c.place)
        rows = connection.execute(wanted.where(revision_books.c.sheet == key, revision_books.c.revision == revision))
        return tuple((row.place, _version(row)) for row in rows)


def sheets_using(store: Store, entry: str) -> int:
    """How many sheets used any version of an entry. Writes nothing."""
    with store.reading() as connection:
        counted = select(func.count(revision_books.c.sheet.distinct())).where(revision_books.c.entry == entry)
        return int(connection.execute(counted).scalar_one())
