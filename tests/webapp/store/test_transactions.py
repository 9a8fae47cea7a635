"""All or nothing: errors inside a transaction, a full disk, another program that holds the file."""

import errno
import multiprocessing
import os
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import event
from sqlalchemy.exc import IntegrityError, OperationalError

from tests.webapp.store.sample_sheet import over, written
from webapp.store import (
    DamagedStore,
    FolderRefused,
    StoreBusy,
    StoreError,
    StoreFull,
    deeds,
    drafts,
    open_store,
    photographs,
    revisions,
    sheets,
)
from webapp.store.database import Store, told
from webapp.store.faults import chain_faults
from webapp.store.opening import FILE

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


def texts(store: Store) -> list[str]:
    return sorted(drafts.get(store, draft.id).entries[0][1] for draft in drafts.open_drafts(store).drafts)


def add(store: Store, text: str) -> str:
    return drafts.new(store, "quote", [("a", text)], "", AT).id


# ---- together


def test_several_calls_commit_together(store: Store) -> None:
    other = open_store(store.file.parent)
    with store.writing():
        add(store, "one")
        add(store, "two")
        assert texts(store) == ["one", "two"]
        assert texts(other) == []
    assert texts(other) == ["one", "two"]


def test_an_error_undoes_all_of_them(store: Store) -> None:
    kept = add(store, "before")
    with pytest.raises(ZeroDivisionError), store.writing():  # noqa: PT012
        drafts.keep(store, kept, [("a", "changed")], "", AT)
        drafts.close(store, kept, AT)
        add(store, "one")
        raise ZeroDivisionError
    assert texts(store) == ["before"]
    assert drafts.earlier(store, kept) == ()
    add(store, "after")
    assert texts(store) == ["after", "before"]


def test_an_error_that_is_caught_undoes_its_own_part_only(store: Store) -> None:
    with store.writing():
        add(store, "one")
        with pytest.raises(ZeroDivisionError), store.writing():  # noqa: PT012
            add(store, "two")
            raise ZeroDivisionError
        add(store, "three")
    assert texts(store) == ["one", "three"]


@pytest.mark.parametrize("statement", range(6))
def test_a_keep_that_stops_anywhere_changes_nothing(store: Store, statement: int) -> None:
    """Each statement of a `keep` in turn is the one at which the program stops."""
    name = add(store, "0")
    for i in range(1, 60):
        drafts.keep(store, name, [("a", str(i))], "", AT)
    before = drafts.get(store, name), drafts.earlier(store, name)
    seen: list[str] = []

    def stop(_connection: object, _cursor: object, sql: str, *_: object) -> None:
        seen.append(sql.partition(" ")[0])
        if len(seen) == statement + 2:  # after BEGIN and one more
            raise KeyboardInterrupt

    event.listen(store._engine, "after_cursor_execute", stop)
    with pytest.raises(KeyboardInterrupt):
        drafts.keep(store, name, [("a", "new")], "title", AT, seen_revision=1)
    event.remove(store._engine, "after_cursor_execute", stop)
    assert seen == ["BEGIN", "SELECT", "DELETE", "INSERT", "DELETE", "UPDATE", "SELECT"][: statement + 2]
    assert (drafts.get(store, name), drafts.earlier(store, name)) == before


def test_a_mistake_of_ours_is_not_told_as_the_persons(store: Store) -> None:
    with pytest.raises(OperationalError, match="no such table"), store.writing() as connection:
        connection.exec_driver_sql("SELECT * FROM nowhere")
    with pytest.raises(IntegrityError, match="FOREIGN KEY"), store.writing() as connection:
        connection.exec_driver_sql("INSERT INTO draft_history VALUES ('none', 1, '', '[]', '', '', '', 0)")


# ---- no room


def fill(store: Store, text: str = "x" * 20_000) -> list[str]:
    """Write until there is no room; what was acknowledged."""
    done: list[str] = []
    with pytest.raises(StoreFull, match=r"no room to write .*Make room"):  # noqa: PT012
        for i in range(2000):
            done.append(text + str(i))
            add(store, done[-1])
    return done[:-1]


def limit_pages(store: Store, count: int) -> None:
    def limited(connection: sqlite3.Connection, _record: object) -> None:
        connection.execute(f"PRAGMA max_page_count = {count}")

    store.close()
    event.listen(store._engine, "connect", limited)


def test_a_full_database_refuses_and_keeps_all_before(store: Store) -> None:
    limit_pages(store, 150)
    done = fill(store)
    assert len(done) > 10
    assert set(texts(store)) <= set(done)
    assert drafts.open_drafts(store).count == len(done)
    again = open_store(store.file.parent)
    add(again, "room again")
    assert drafts.open_drafts(store).count == len(done) + 1


def test_a_full_database_undoes_the_whole_of_several_calls(store: Store) -> None:
    add(store, "before")
    limit_pages(store, 60)
    with pytest.raises(StoreFull), store.writing():  # noqa: PT012
        for i in range(100):
            add(store, "x" * 20_000 + str(i))
    assert texts(store) == ["before"]


def test_no_room_is_told_although_the_caller_goes_on(store: Store) -> None:
    """SQLite itself may undo everything when there is no room; then nothing of the outer transaction may stay."""
    limit_pages(store, 60)
    with pytest.raises(StoreError), store.writing():  # noqa: PT012
        add(store, "one")
        for i in range(100):
            try:
                add(store, "x" * 20_000 + str(i))
            except StoreFull:
                break
        add(store, "y" * 100_000)
    assert texts(store) == []


def _write_until_the_disk_is_full(folder: Path) -> None:
    import resource
    import signal

    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    store = open_store(folder)
    add(store, "before")
    size = 600_000
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, resource.RLIM_INFINITY))
    done = fill(store)
    assert len(done) > 5
    assert drafts.open_drafts(store).count == len(done) + 1
    resource.setrlimit(resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
    add(store, "room again")
    assert drafts.open_drafts(store).count == len(done) + 2


@pytest.mark.skipif(sys.platform == "win32", reason="a process cannot limit its files there")
def test_a_disk_without_room_refuses_and_keeps_all_before(tmp_path: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    writer = spawn.Process(target=_write_until_the_disk_is_full, args=(tmp_path,))
    writer.start()
    writer.join(120)
    assert writer.exitcode == 0
    with closing(sqlite3.connect(tmp_path / FILE)) as look:
        assert look.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_a_new_folder_without_room_is_told_and_can_be_tried_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    real = os.open

    def full(name: str, *rest: int) -> int:
        if str(name).endswith(FILE):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(name))
        return real(name, *rest)

    with monkeypatch.context() as patched:
        patched.setattr(os, "open", full)
        with pytest.raises(FolderRefused, match="No space left"):
            open_store(tmp_path)
    add(open_store(tmp_path), "room again")


# ---- held by another program


def test_a_file_that_another_program_holds_is_told_and_nothing_is_half_written(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webapp.store.database.PRAGMAS", ("PRAGMA busy_timeout = 50",))
    store.close()
    name = add(store, "before")
    with closing(sqlite3.connect(store.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusy, match="Another program is holding"):
            drafts.keep(store, name, [("a", "after")], "", AT)
        assert texts(store) == ["before"]  # reading goes on
    drafts.keep(store, name, [("a", "after")], "", AT)
    assert texts(store) == ["after"]


def _error(code: int) -> sqlite3.Error:
    error = sqlite3.OperationalError("said by SQLite")
    error.sqlite_errorcode = code
    return error


@pytest.mark.parametrize(
    ("code", "kind"),
    [
        (sqlite3.SQLITE_BUSY_SNAPSHOT, StoreBusy),
        (sqlite3.SQLITE_LOCKED, StoreBusy),
        (sqlite3.SQLITE_FULL, StoreFull),
        (sqlite3.SQLITE_IOERR_FSYNC, StoreFull),
        (sqlite3.SQLITE_CORRUPT_INDEX, DamagedStore),
        (sqlite3.SQLITE_NOTADB, DamagedStore),
        (sqlite3.SQLITE_READONLY_DBMOVED, FolderRefused),
        (sqlite3.SQLITE_CANTOPEN_ISDIR, FolderRefused),
    ],
)
def test_what_sqlite_reports_is_told_in_words(code: int, kind: Callable[..., StoreError]) -> None:
    told_as = told(Path("data") / FILE, _error(code))
    assert type(told_as) is kind
    assert "said by SQLite" in str(told_as) or kind is StoreBusy


@pytest.mark.parametrize("error", [None, ValueError("x"), _error(sqlite3.SQLITE_ERROR), sqlite3.ProgrammingError("x")])
def test_the_rest_is_a_mistake_of_ours(error: BaseException | None) -> None:
    assert told(Path(FILE), error) is None


# ---- handing over


def test_a_handing_over_without_room_is_told_and_takes_no_number(store: Store) -> None:
    names = [written(store, str(i)) for i in range(40)]
    over(store, names[0], seller_pdf=b"x" * 60_000)
    done = 1
    limit_pages(store, 150)
    with pytest.raises(StoreFull, match="nothing was saved"):  # noqa: PT012
        for name in names[1:]:
            over(store, name, seller_pdf=b"x" * 60_000)
            done += 1
    assert 1 < done < 40
    again = open_store(store.file.parent)
    assert sheets.get(again, names[done]).number is None
    assert chain_faults(again) == ()
    assert over(again, names[done]).number == f"2026-{done + 1:04}"
    assert revisions.papers(again, names[0], 1)[0] == b"x" * 60_000


@pytest.mark.parametrize("stop", range(1, 24))
def test_a_handing_over_that_fails_anywhere_changes_nothing(store: Store, stop: int) -> None:
    """Each statement of a second handing over in turn is the one at which it fails."""
    name = written(store)
    picture = photographs.add(store, name, b"\xff\xd8", 1, 1, AT).digest
    over(store, name)
    before = sheets.get(store, name), deeds.history(store, name), revisions.of_sheet(store, name)
    seen: list[str] = []

    def fail(_connection: object, _cursor: object, sql: str, *_: object) -> None:
        seen.append(sql.partition(" ")[0])
        if len(seen) == stop:
            raise ZeroDivisionError

    event.listen(store._engine, "after_cursor_execute", fail)
    with pytest.raises(ZeroDivisionError):
        over(store, name, seen=1, photographs=(picture,), description="other", offer="5000")
    event.remove(store._engine, "after_cursor_execute", fail)
    assert len(seen) == stop
    assert (sheets.get(store, name), deeds.history(store, name), revisions.of_sheet(store, name)) == before
    assert over(store, name, seen=1, photographs=(picture,)).revision == 2
    assert chain_faults(store) == ()


def test_a_folder_that_became_read_only_is_told(store: Store) -> None:
    name = written(store)
    with store.reading() as connection:
        connection.exec_driver_sql("PRAGMA query_only = ON")
        driver = connection.connection.driver_connection
    try:
        with pytest.raises(FolderRefused, match="right to write there"):
            over(store, name)
    finally:
        driver.execute("PRAGMA query_only = OFF")
    assert over(store, name).number == "2026-0001"
