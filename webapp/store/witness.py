"""What can be held against the ledger of deeds from outside it: its head, noted elsewhere, and the database's guards.

Who can write the file can also work out every digest anew: a ledger that was cut off or written anew as a whole fits in
itself. It cannot fit a head that was noted elsewhere before.
"""

from __future__ import annotations

import re
import sqlite3
import tempfile
import zipfile
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func, select, text

from webapp.store.backup import NotABackup, manifest_of
from webapp.store.chain import FIRST
from webapp.store.database import Store
from webapp.store.errors import StoreError
from webapp.store.opening import FILE, opened
from webapp.store.tables import deeds

LEAST_DIGITS = 16  # of a head that is noted by hand: nobody can make another that begins so
_HEAD = re.compile(rf"[0-9a-f]{{{LEAST_DIGITS},64}}")
_GUARDS = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"


@dataclass(frozen=True)
class Head:
    """The newest deed of a ledger: its digest, and how many there are."""

    digest: str
    deeds: int


def head(store: Store) -> Head:
    """The head of the ledger as it is. Writes nothing."""
    with store.reading() as connection:
        count = connection.execute(select(func.count()).select_from(deeds)).scalar_one()
        last = connection.execute(select(deeds.c.digest).order_by(deeds.c.key.desc()).limit(1)).scalar_one_or_none()
    return Head(last or FIRST, count)


def noted_head(typed: str) -> str:
    """A head as somebody noted it: the file of a backup, or the digits, at least the first sixteen.

    Raises
    ------
    StoreError
        It is neither.
    """
    with suppress(StoreError):
        return digits_of(typed)
    what = f"the {LEAST_DIGITS} to 64 digits (0 to 9, a to f) that lodeworth audit --head printed, or a backup"
    file = Path(typed)
    if not file.is_file():
        raise StoreError(f"{typed[:80]!r} is no head of a ledger. Give {what}.")
    try:
        with zipfile.ZipFile(file) as archive:
            found = manifest_of(archive).head
    except OSError as error:
        raise StoreError(f"{file} cannot be read ({error.strerror or error}).") from error
    except (zipfile.BadZipFile, NotABackup):
        raise StoreError(f"{file} is no backup of Lodeworth. Give {what}.") from None
    if not found:
        raise StoreError(f"{file} was made before backups noted the head of the ledger. Give {what}.")
    return found


def digits_of(typed: str) -> str:
    """The digits of a head as somebody noted them, at least the first sixteen.

    Raises
    ------
    StoreError
        They are none.
    """
    digits = "".join(typed.split()).lower()
    if not _HEAD.fullmatch(digits):
        raise StoreError(f"A head has {LEAST_DIGITS} to 64 digits, 0 to 9 and a to f. Type it as it was noted.")
    return digits


def place_of(store: Store, noted: str) -> int | None:
    """Which deed of the ledger has this head, 0 for the beginning; None if none has. Writes nothing."""
    if FIRST.startswith(noted):
        return 0
    with store.reading() as connection:
        its = func.substr(deeds.c.digest, 1, len(noted)) == noted
        place: int | None = connection.execute(select(deeds.c.key).where(its)).scalar()
    return place


def missing_guards(store: Store) -> tuple[str, ...]:
    """Names of what in the database forbids changes, and is not in this one as the program put it there."""
    with tempfile.TemporaryDirectory() as fresh:
        opened(Path(fresh)).close()
        with closing(sqlite3.connect(Path(fresh) / FILE)) as connection:
            due = dict(connection.execute(_GUARDS).fetchall())
    with store.reading() as connection:
        there = {row.name: row.sql for row in connection.execute(text(_GUARDS))}
    return tuple(sorted(name for name in due if there.get(name) != due[name]))
