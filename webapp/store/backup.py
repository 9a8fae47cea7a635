"""Everything that is kept, as one file, and back from it.

A backup is a ZIP archive: the database as SQLite copied it out (sound even while the program writes), the house's
settings if there are any, and a manifest with the digest of each. It is looked through wholly before anything that is
kept is touched; then SQLite takes it in as one transaction, which other connections, also of other processes, see whole
or not at all. What was there before is set aside in a backup of its own.
"""

from __future__ import annotations

import json
import os
import secrets
import shutil
import sqlite3
import tempfile
import time
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import IO, Any

from webapp.store.chain import FIRST
from webapp.store.database import BUSY_TIMEOUT_MS, Store, told
from webapp.store.errors import DamagedStore, FolderRefused, NewerStore, StoreBusy, StoreError, StoreFull
from webapp.store.opening import FILE, opened

FORM = "lodeworth/backup/1"
MANIFEST = "manifest.json"
HOUSE = "house.toml"
_NAMES = (FILE, HOUSE)
_LARGEST_MANIFEST = 64 * 1024
_CHUNK = 1024 * 1024
_MOST_TRIES = 20
_ROOM, _DAY_S = ".lodeworth-at-work-", 24 * 3600
_UNPACKING = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError)
_PAUSE_S = BUSY_TIMEOUT_MS / 1000 / _MOST_TRIES


class NotABackup(StoreError):  # noqa: N818
    """A file that cannot be put back; nothing was changed."""

    def __init__(self, why: str) -> None:
        super().__init__(f"This backup cannot be put back: {why}. Nothing was changed.")


@dataclass(frozen=True)
class Manifest:
    """What a backup says of itself.

    Parameters
    ----------
    layout : str
        Of its database.
    digests : dict
        SHA-256 of each file in it.
    head : str
        Of its ledger of deeds, which a later state of the store can be held against; empty in older backups.
    """

    made_at: datetime
    layout: str
    digests: dict[str, str]
    sizes: dict[str, int]
    head: str = ""


def save(store: Store, file: Path, at: datetime) -> Manifest:
    """Write everything that is kept to a new file, for this user alone; whole, or not there.

    Raises
    ------
    StoreError
        There is a file of that name, no room, or no right to write there.
    """
    if file.exists():
        raise StoreError(f"{file} is there already and was left as it is. Name another file.")
    made = file.with_name(f".{file.name}.{secrets.token_hex(4)}")
    try:
        with os.fdopen(os.open(made, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "w+b") as out:
            manifest = write(store, out, at)
            out.flush()
            os.fsync(out.fileno())
        os.rename(made, file)
    except OSError as error:
        words = "Name a file in a folder that is there, that has room, and that you may write to."
        raise StoreError(f"{file} cannot be written ({error.strerror or error}). {words}") from error
    finally:
        made.unlink(missing_ok=True)
    return manifest


def write(store: Store, out: IO[bytes], at: datetime) -> Manifest:
    """Write everything that is kept as one archive.

    Raises
    ------
    StoreError
        It could not be read or written.
    """
    with _room_in(store.file) as folder:
        copy = folder / FILE
        with closing(_connected(store.file)) as connection:
            connection.execute("VACUUM INTO ?", (str(copy),))
        with closing(sqlite3.connect(copy)) as connection:
            ((layout,),) = connection.execute("SELECT version_num FROM alembic_version").fetchall()
            last = connection.execute("SELECT digest FROM deeds ORDER BY key DESC LIMIT 1").fetchone()
        files = {FILE: copy}
        house = Path(os.path.realpath(store.file.with_name(HOUSE)))
        if house.is_file():
            shutil.copyfile(house, folder / HOUSE)
            files[HOUSE] = folder / HOUSE
        digests = {name: _digest(file) for name, file in files.items()}
        sizes = {name: file.stat().st_size for name, file in files.items()}
        manifest = Manifest(at, layout, digests, sizes, last[0] if last else FIRST)
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
            archive.writestr(MANIFEST, _manifest_text(manifest))
            for name, one in files.items():
                archive.write(one, name)
    return manifest


def restore(store: Store, backup: IO[bytes], at: datetime) -> Path:
    """Put back what a backup holds in place of everything that is kept, which goes into a backup of its own.

    Returns the file of that. A database of an older layout is brought to the newest first.

    Raises
    ------
    NotABackup
        It is none, is damaged, or is newer than this program.
    StoreError
        What is kept is held by another program or cannot be written.
    """
    with _room_in(store.file) as taken:
        _taken_out(backup, taken)
        _brought_up(taken)
        before = _free_name(store.file.parent, at)
        save(store, before, at)
        house = Path(os.path.realpath(store.file.with_name(HOUSE)))
        ready = house.with_name(f".{HOUSE}.{secrets.token_hex(4)}")
        try:
            if (taken / HOUSE).is_file():
                shutil.copy(taken / HOUSE, ready)  # with its rights: it may hold the key of a feed
            _take_in_or_forget(store, taken / FILE, before)
            if ready.is_file():
                os.replace(ready, house)
            else:
                house.unlink(missing_ok=True)
        finally:
            ready.unlink(missing_ok=True)
    return before


def restore_into(folder: Path, backup: IO[bytes], at: datetime) -> Path:
    """`restore` into a folder whose store may not open: one that is damaged or newer is moved aside as it is.

    Returns the file, or the folder, that holds what was there before.

    Raises
    ------
    StoreError
        As `restore`.
    """
    try:
        store = opened(folder)
    except (DamagedStore, NewerStore):
        return _in_place_of(folder, backup, at)
    try:
        return restore(store, backup, at)
    finally:
        store.close()


def _in_place_of(folder: Path, backup: IO[bytes], at: datetime) -> Path:
    with _room_in(folder.absolute() / FILE) as taken:
        _taken_out(backup, taken)
        _brought_up(taken)
        aside = _free_name(folder, at, ending="")
        aside.mkdir(mode=0o700)
        for old in (FILE, f"{FILE}-wal", f"{FILE}-shm", HOUSE):
            with suppress(FileNotFoundError):
                os.replace(folder / old, aside / old)
        for fresh in _NAMES:
            with suppress(FileNotFoundError):
                os.replace(taken / fresh, folder / fresh)
    return aside


def manifest_of(archive: zipfile.ZipFile) -> Manifest:
    """What the archive says of itself.

    Raises
    ------
    NotABackup
        It says nothing that could be true.
    """
    try:
        if archive.getinfo(MANIFEST).file_size > _LARGEST_MANIFEST:
            raise NotABackup("its manifest is too large")
        entries = json.loads(archive.read(MANIFEST))
        if entries["form"] != FORM:
            raise NotABackup("it was not made by a version of Lodeworth that this one knows")
        files: dict[str, Any] = entries["files"]
        digests = {str(name): str(one["sha256"]) for name, one in files.items()}
        sizes = {str(name): int(one["size"]) for name, one in files.items()}
        made_at = datetime.fromisoformat(entries["made_at"])
        made = Manifest(made_at, str(entries["layout"]), digests, sizes, str(entries.get("head", "")))
    except (KeyError, TypeError, ValueError, AttributeError, zipfile.BadZipFile, NotImplementedError, RuntimeError):
        raise NotABackup("it has no manifest that can be read") from None
    if FILE not in made.digests or not set(made.digests) <= set(_NAMES):
        raise NotABackup("it does not hold what a backup of Lodeworth holds")
    return made


def _taken_out(backup: IO[bytes], folder: Path) -> None:
    """Write the files of the backup to a folder, each as its manifest says, or none counts."""
    try:
        with zipfile.ZipFile(backup) as archive:
            manifest = manifest_of(archive)
            if sorted(archive.namelist()) != sorted([MANIFEST, *manifest.digests]):
                raise NotABackup("it holds other files than its manifest says")
            for name, digest in manifest.digests.items():
                found = _unpacked(archive, name, folder / name, manifest.sizes[name])
                if found != digest:
                    raise NotABackup(f"{name} in it is not as it was when the backup was made")
    except (zipfile.BadZipFile, EOFError, NotImplementedError, RuntimeError) as error:
        raise NotABackup("it is no backup, or a damaged one") from error


def _unpacked(archive: zipfile.ZipFile, name: str, to: Path, size: int) -> str:
    """Write a file out, never more than its manifest says; its digest."""
    found, written = sha256(), 0
    try:
        with archive.open(name) as packed, os.fdopen(os.open(to, os.O_WRONLY | os.O_CREAT, 0o600), "wb") as out:
            while chunk := packed.read(_CHUNK):
                written += len(chunk)
                if written > size:
                    raise NotABackup(f"{name} in it is larger than its manifest says")
                found.update(chunk)
                out.write(chunk)
    except _UNPACKING as error:
        raise NotABackup(f"{name} in it is damaged") from error
    return found.hexdigest()


def _brought_up(folder: Path) -> None:
    """See that the database taken out is sound throughout, and bring it to the newest layout."""
    file = folder / FILE
    try:
        with closing(sqlite3.connect(file)) as connection:
            found = [words for (words,) in connection.execute("PRAGMA integrity_check(1)")]
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.Error as error:
        raise NotABackup(f"the database in it is damaged ({error})") from error
    if found != ["ok"] or orphans:
        raise NotABackup(f"the database in it is damaged ({found[0]})")
    try:
        opened(folder).close()
    except NewerStore:
        raise NotABackup("it was made by a later version of Lodeworth; start that version") from None
    except DamagedStore:
        raise NotABackup("the database in it is not Lodeworth's, or damaged") from None
    with closing(sqlite3.connect(file)) as connection:
        connection.execute("PRAGMA journal_mode = DELETE")  # all of it in the one file


def _take_in_or_forget(store: Store, taken: Path, before: Path) -> None:
    """Take it in; where nothing was taken in, what was set aside is still in its place, and its copy goes."""
    try:
        _take_in(store, taken)
    except (StoreBusy, sqlite3.Error):
        before.unlink(missing_ok=True)
        raise


def _take_in(store: Store, taken: Path) -> None:
    """The database taken out in place of the one that is kept, as one transaction."""
    tries = 0

    def waited(_status: int, _remaining: int, _total: int) -> None:
        nonlocal tries
        tries += 1
        if tries > _MOST_TRIES:
            raise StoreBusy(store.file)

    with closing(sqlite3.connect(taken)) as source, closing(_connected(store.file)) as kept:
        kept.execute("PRAGMA synchronous = FULL")
        source.backup(kept, progress=waited, sleep=_PAUSE_S)
        (found,) = kept.execute("PRAGMA quick_check(1)").fetchone()
        if found != "ok":
            raise DamagedStore(store.file, found)


def _connected(file: Path) -> sqlite3.Connection:
    return sqlite3.connect(file, timeout=BUSY_TIMEOUT_MS / 1000, isolation_level=None)


def _manifest_text(manifest: Manifest) -> str:
    files = {name: {"sha256": digest, "size": manifest.sizes[name]} for name, digest in manifest.digests.items()}
    told = {"form": FORM, "made_at": manifest.made_at.isoformat(), "layout": manifest.layout, "head": manifest.head}
    return json.dumps({**told, "files": files}, indent=2) + "\n"


def _digest(file: Path) -> str:
    with file.open("rb") as opened_file:
        found = sha256()
        while chunk := opened_file.read(_CHUNK):
            found.update(chunk)
    return found.hexdigest()


def _free_name(folder: Path, at: datetime, ending: str = ".zip") -> Path:
    stem = f"before-restore-{at:%Y-%m-%d-%H%M%S}"
    names = (folder / f"{stem}{f'-{i}' if i else ''}{ending}" for i in range(1000))
    return next(name for name in names if not name.exists())


@contextmanager
def _room_in(file: Path) -> Iterator[Path]:
    """A folder beside the database that goes at the end; troubles of files and of SQLite as sentences."""
    try:
        for left in file.parent.glob(f"{_ROOM}*"):  # by a kill; nothing that was erased may stay in it
            if left.stat().st_mtime < time.time() - _DAY_S:
                shutil.rmtree(left, ignore_errors=True)
        with tempfile.TemporaryDirectory(dir=file.parent, prefix=_ROOM) as folder:
            yield Path(folder)
    except sqlite3.Error as error:
        raise told(file, error) or DamagedStore(file, str(error)) from error
    except (FileNotFoundError, NotADirectoryError, PermissionError) as error:
        raise FolderRefused(file.parent, error.strerror or str(error)) from error
    except OSError as error:
        raise StoreFull(file, error.strerror or str(error)) from error
