"""What was handed over cannot be changed by any statement, not even by one that knows nothing of the program."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.webapp.store.sample_sheet import AT, minutes, over, written
from webapp.store import deeds, open_store, photographs
from webapp.store.opening import FILE


@pytest.fixture
def file(tmp_path: Path) -> Path:
    """A closed database: sheet 1 with two revisions, agreed; sheet 2 handed over; sheet 3 only written."""
    store = open_store(tmp_path)
    names = [written(store, str(i), reference=f"book {i}") for i in range(3)]
    digest = photographs.add(store, names[0], b"\xff\xd8 one", 64, 48, AT).digest
    photographs.add(store, names[0], b"\xff\xd8 two, never handed over", 64, 48, AT)
    over(store, names[0], photographs=(digest,))
    over(store, names[0], seen=1, at=minutes(1), photographs=(digest,))
    over(store, names[1])
    deeds.record(store, names[0], 2, "agreed", minutes(2), gold_per_g={})
    store.close()
    return tmp_path / FILE


@pytest.fixture(params=["as a stranger", "foreign keys", "recursive triggers", "both"])
def direct(file: Path, request: pytest.FixtureRequest) -> Iterator[sqlite3.Connection]:
    """A connection of its own, with SQLite's defaults or stricter."""
    with closing(sqlite3.connect(file, isolation_level=None)) as connection:
        connection.execute(f"PRAGMA foreign_keys = {request.param in ('foreign keys', 'both'):d}")
        connection.execute(f"PRAGMA recursive_triggers = {request.param in ('recursive triggers', 'both'):d}")
        yield connection


def kept(connection: sqlite3.Connection) -> list[tuple[object, ...]]:
    tables = ("sheets", "revisions", "contents", "deeds", "photographs", "revision_photographs")
    return [row for table in tables for row in connection.execute(f"SELECT '{table}', * FROM {table} ORDER BY 2, 3, 4")]


def columns(connection: sqlite3.Connection, table: str) -> list[str]:
    return [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]


FROZEN = ("revisions", "contents", "deeds", "revision_photographs")


def attempts(connection: sqlite3.Connection) -> Iterator[str]:
    for table in FROZEN:
        names = columns(connection, table)
        yield f"DELETE FROM {table}"
        yield f"DELETE FROM {table} WHERE rowid = (SELECT max(rowid) FROM {table})"
        for conflict in ("", "OR REPLACE ", "OR IGNORE ", "OR FAIL ", "OR ROLLBACK "):
            yield f"INSERT {conflict}INTO {table} SELECT * FROM {table} WHERE rowid = 1"
            yield f"REPLACE INTO {table} SELECT * FROM {table} WHERE rowid = 2"
            for name in names:
                yield f"UPDATE {conflict}{table} SET {name} = {name} || 'x'"
                yield f"UPDATE {conflict}{table} SET {name} = (SELECT max({name}) FROM {table})"
        forged = ", ".join("'forged'" if name == names[-1] else name for name in names)
        yield f"INSERT OR REPLACE INTO {table} SELECT {forged} FROM {table}"
        yield (f"INSERT INTO {table} SELECT * FROM {table} WHERE true ON CONFLICT DO UPDATE SET {names[-1]} = 'forged'")
    # Into what was handed over, a further one.
    yield "INSERT INTO contents VALUES (1, 1, 'note', x'00')"
    yield "INSERT INTO revision_photographs SELECT sheet, revision, 2, digest FROM revision_photographs"
    yield "INSERT INTO revision_photographs SELECT 2, 1, 1, digest FROM photographs"
    yield (
        "INSERT INTO revisions SELECT sheet, 9, " + ", ".join(columns(connection, "revisions")[2:]) + " FROM revisions"
    )
    yield "INSERT INTO deeds SELECT key + 90, sheet, revision, kind, at, note, previous, digest || 'x' FROM deeds"
    # Photographs.
    handed = "WHERE digest IN (SELECT digest FROM revision_photographs)"
    yield f"DELETE FROM photographs {handed}"
    yield "UPDATE photographs SET jpeg = x'00'"
    yield "UPDATE OR REPLACE photographs SET digest = (SELECT max(digest) FROM photographs)"
    yield f"INSERT OR REPLACE INTO photographs SELECT digest, 1, 1, added_at, x'00' FROM photographs {handed}"
    # Sheets, their numbers, and what hangs on them.
    yield "DELETE FROM sheets"
    yield "DELETE FROM sheets WHERE key = 3"
    for name in ("id", "draft_id", "written_at", "number", "year", "running", "number_order", "key"):
        for conflict in ("", "OR REPLACE "):
            if name not in ("written_at", "year"):  # the same in both
                yield f"UPDATE {conflict}sheets SET {name} = (SELECT {name} FROM sheets WHERE key = 2) WHERE key = 1"
            yield f"UPDATE {conflict}sheets SET {name} = NULL WHERE key = 1"
    yield "UPDATE sheets SET revision = 1 WHERE key = 1"
    yield "UPDATE sheets SET revision = 0 WHERE key = 1"
    for number, running in (("2026-0001", 1), ("2026-0002", 2), ("2026-0004", 4), ("2026-0001", 3)):
        yield f"UPDATE OR REPLACE sheets SET year = 2026, number = '{number}', running = {running} WHERE key = 3"
    yield "UPDATE sheets SET running = 3 WHERE key = 3"
    for key in (1, 3):
        others = [name for name in columns(connection, "sheets") if name not in ("key", "title")]
        yield (
            f"INSERT OR REPLACE INTO sheets (key, title, {', '.join(others)})"
            f" SELECT key, 'forged', {', '.join(others)} FROM sheets WHERE key = {key}"
        )


def test_no_statement_changes_what_was_handed_over(direct: sqlite3.Connection) -> None:
    before = kept(direct)
    tried = 0
    for statement in attempts(direct):
        with pytest.raises(sqlite3.IntegrityError) as refused:
            direct.execute(statement)
        assert refused.value.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_CONSTRAINT, sqlite3.SQLITE_MISMATCH), statement
        assert kept(direct) == before, statement
        tried += 1
    assert tried > 300
    assert direct.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_what_was_not_handed_over_may_go(direct: sqlite3.Connection) -> None:
    """So that the test above does not pass by a database that refuses everything."""
    direct.execute("DELETE FROM sheet_photographs")
    assert direct.execute("DELETE FROM photographs WHERE instr(jpeg, CAST('two' AS BLOB))").rowcount == 1
    assert direct.execute("UPDATE sheets SET state = 'turned_down' WHERE key = 2").rowcount == 1
    assert direct.execute("DELETE FROM seller_references").rowcount == 3
    numbered = "year = 2026, running = 3, number = '2026-0003', number_order = 20260000000003, revision = 1"
    assert direct.execute(f"UPDATE sheets SET {numbered} WHERE key = 3").rowcount == 1
