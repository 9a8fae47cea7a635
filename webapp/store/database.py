"""Connections and transactions of the one SQLite file."""

from __future__ import annotations

import logging
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import URL, Connection, Engine, create_engine, event, exc

from webapp.store.errors import DamagedStore, FolderRefused, StoreBusy, StoreError, StoreFull

BUSY_TIMEOUT_MS = 5000
# FULL: a commit is on the disk before it returns, so that a power cut loses nothing acknowledged either.
# SQLite manual, "PRAGMA statements": synchronous.
PRAGMAS = (
    f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}",
    "PRAGMA synchronous = FULL",
    "PRAGMA foreign_keys = ON",
    # So that INSERT OR REPLACE runs the triggers that forbid deleting. SQLite manual, "PRAGMA statements".
    "PRAGMA recursive_triggers = ON",
    # What is deleted is written over, so that an erased reference of a seller is not left in a free page.
    "PRAGMA secure_delete = ON",
)


class Store:
    """The open database.

    Parameters
    ----------
    file : Path
        An SQLite file that exists.
    """

    def __init__(self, file: Path) -> None:
        self.file = file
        self._engine = engine(file)
        self._mine = threading.local()

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that may write: commits when the block ends, undoes everything when it raises.

        Inside another one of this thread it is a part of that one: undone alone if it raises, committed with it.
        """
        outer: Connection | None = getattr(self._mine, "connection", None)
        with self._told():
            if outer is not None:
                with self._part_of(outer):
                    yield outer
                return
            with self._engine.execution_options(writes=True).begin() as connection:
                self._mine.connection = connection
                try:
                    yield connection
                    _still_begun(connection)
                finally:
                    self._mine.connection = None

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One unchanging view of the database; inside `writing`, that transaction's."""
        outer: Connection | None = getattr(self._mine, "connection", None)
        with self._told():
            if outer is not None:
                _still_begun(outer)
                yield outer
                return
            with self._engine.connect() as connection:
                yield connection

    @contextmanager
    def _part_of(self, outer: Connection) -> Iterator[None]:
        _still_begun(outer)
        part = outer.begin_nested()
        try:
            yield
        except BaseException:
            if _is_begun(outer):
                part.rollback()
            raise
        part.commit()

    def empty_log(self) -> bool:
        """Bring all that was committed into the file and empty its log; False if another connection stands in the way.

        Not to be called inside `writing`.
        """
        with self._told(), closing(self._engine.raw_connection()) as connection:
            (busy, *_), *_ = connection.cursor().execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
        return not busy

    def rewrite(self) -> None:
        """Write the file anew without its free pages; while another program uses it, or without room, it stays.

        Not to be called inside `writing`.
        """
        with self._told(), closing(self._engine.raw_connection()) as connection:
            try:
                connection.cursor().execute("VACUUM")
            except sqlite3.OperationalError:
                return
        self.empty_log()

    def close(self) -> None:
        """Close every connection that is not in use."""
        self._engine.dispose()

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except exc.DBAPIError as error:
            trouble = told(self.file, error.orig)
            if trouble is None:
                raise
            raise trouble from error
        except sqlite3.Error as error:
            trouble = told(self.file, error)
            if trouble is None:
                raise
            raise trouble from error
        except exc.TimeoutError as error:
            raise StoreBusy(self.file) from error


def engine(file: Path) -> Engine:
    """Connections to a file, with transactions begun by us and not by the driver."""
    logging.getLogger("sqlalchemy").setLevel(logging.WARNING)  # else all that is read and written could be logged
    made = create_engine(
        URL.create("sqlite", database=str(file)),
        connect_args={"timeout": BUSY_TIMEOUT_MS / 1000},
        hide_parameters=True,  # in the text of its exceptions too
    )
    event.listen(made, "connect", _connected)
    event.listen(made, "begin", _begun)
    return made


def _connected(connection: Any, _record: object) -> None:
    connection.isolation_level = None
    for pragma in PRAGMAS:
        connection.execute(pragma)


def _begun(connection: Connection) -> None:
    # A write that starts as a read can fail half-way, as another may have written in between.
    writes = connection.get_execution_options().get("writes", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def _is_begun(connection: Connection) -> bool:
    """Whether the transaction is still there: SQLite itself undoes the whole of it on some errors.

    What came after would be committed bit by bit. SQLite manual, "Transaction", 3.1.
    """
    return bool(connection.connection.driver_connection.in_transaction)  # type: ignore[union-attr]


def _still_begun(connection: Connection) -> None:
    if not _is_begun(connection):
        raise StoreError("Nothing was saved, as a part of it could not be. See to that first, then try again.")


def told(file: Path, error: BaseException | None) -> StoreError | None:
    """The person's words for an error of SQLite that is no mistake of ours."""
    if not isinstance(error, sqlite3.Error):
        return None
    # The low byte is the primary code. SQLite manual, "Result and error codes".
    primary = getattr(error, "sqlite_errorcode", 0) & 0xFF
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return StoreBusy(file)
    if primary in (sqlite3.SQLITE_FULL, sqlite3.SQLITE_IOERR):
        return StoreFull(file, str(error))
    if primary in (sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB):
        return DamagedStore(file, str(error))
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return FolderRefused(file.parent, str(error))
    return None
