"""A folder -> the store in it: looked at before anything is touched, then brought to the newest layout."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path
from urllib.parse import quote

from webapp.store.database import BUSY_TIMEOUT_MS, Store, told
from webapp.store.errors import DamagedStore, FolderRefused, NewerStore
from webapp.store.layout import known_layouts, upgrade

FILE = "lodeworth.sqlite3"
# Looked through wholly at each opening, so that nothing is written on top of damage; a larger file would hold up the
# start, and tells of its damage where it is read.
LARGEST_CHECKED = 64 * 1024 * 1024


def opened(folder: Path) -> Store:
    """The store in a folder; see `webapp.store.open_store`."""
    file = folder.absolute() / FILE
    try:
        _make_folder(folder)
        _make_file(file)
    except (FileExistsError, NotADirectoryError, IsADirectoryError) as error:
        raise FolderRefused(folder, f"{Path(error.filename).name} is in the way") from error
    except OSError as error:
        raise FolderRefused(folder, error.strerror or str(error)) from error
    try:
        layout = _look(file)
        _log_ahead(file)
    except sqlite3.Error as error:
        raise told(file, error) or DamagedStore(file, str(error)) from error
    store = Store(file)
    try:
        upgrade(store)
        if layout == "0001":
            # What was deleted then is still in free pages, where no erasure would reach it (PRAGMA secure_delete).
            store.rewrite()
    except BaseException:
        store.close()
        raise
    return store


def _make_folder(folder: Path) -> None:
    if not folder.is_dir():
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)


def _make_file(file: Path) -> None:
    """Make the file for this user alone, before SQLite would make it for everyone; its companions follow it.

    A file that is there is not opened: closing it would drop the locks that SQLite holds on it in this process.
    SQLite documentation, "How To Corrupt An SQLite Database File", 2.2.
    """
    if not file.is_file():
        try:
            os.close(os.open(file, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600))
        except FileExistsError:
            if not file.is_file():  # else another process was faster
                raise


def _look(file: Path) -> str | None:
    """Layout of the file, None if new; seen, without writing, to be ours, sound, and no newer than the program."""
    try:
        return _look_by(file, "ro")
    except sqlite3.OperationalError as error:
        # A kill at the very beginning leaves a journal that SQLite must undo first, which is writing.
        if error.sqlite_errorcode & 0xFF != sqlite3.SQLITE_READONLY:
            raise
        return _look_by(file, "rw")


def _look_by(file: Path, mode: str) -> str | None:
    address = f"file:{quote(str(file))}?mode={mode}"
    with closing(sqlite3.connect(address, uri=True, timeout=BUSY_TIMEOUT_MS / 1000)) as look:
        names = {name for (name,) in look.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}
        if not names:
            return None
        if "alembic_version" not in names:
            raise DamagedStore(file, "it holds the tables of another program")
        layouts = [revision for (revision,) in look.execute("SELECT version_num FROM alembic_version")]
        if len(layouts) != 1:
            raise DamagedStore(file, "it does not say which layout it has")
        if layouts[0] not in known_layouts():
            raise NewerStore(file, layouts[0])
        if file.stat().st_size <= LARGEST_CHECKED:
            (found,) = look.execute("PRAGMA quick_check(1)").fetchone()
            if found != "ok":
                raise DamagedStore(file, found)
    return str(layouts[0])


def _log_ahead(file: Path) -> None:
    """Set write-ahead logging, which the file remembers, and see that the file can be written."""
    with closing(sqlite3.connect(file, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute("BEGIN IMMEDIATE")  # which a file that is read-only still allows
        connection.execute("PRAGMA user_version = 0")
        connection.execute("ROLLBACK")
