"""Opening a folder: every earlier layout, and every file that had better be left alone."""

import multiprocessing
import os
import sqlite3
import stat
import subprocess
import sys
import tempfile
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import Connection

from webapp.store import (
    DamagedStore,
    FolderRefused,
    NewerStore,
    StoreBusy,
    deeds,
    drafts,
    open_store,
    photographs,
    revisions,
    sheets,
)
from webapp.store.database import Store
from webapp.store.layout import known_layouts, scripts, upgrade
from webapp.store.opening import FILE
from webapp.store.tables import metadata

LAYOUTS = Path(__file__).with_name("layouts")
AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
POSIX = pytest.mark.skipif(os.name != "posix", reason="rights of files are POSIX's")


def folder_of(layout: str, folder: Path) -> Path:
    """A folder with the database that a program of this layout left."""
    folder.mkdir(exist_ok=True)
    with closing(sqlite3.connect(folder / FILE)) as connection:
        connection.executescript((LAYOUTS / f"{layout}.sql").read_text("utf-8"))
        connection.execute("PRAGMA journal_mode = WAL")
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    """Every file of a folder in which no store is open."""
    return {file.name: file.read_bytes() for file in folder.iterdir()}


# ---- a new folder


@POSIX
def test_what_is_made_is_for_this_user_alone(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        store = open_store(tmp_path / "new" / "data")
        drafts.new(store, "quote", [("a", "1")], "", AT)
    finally:
        os.umask(before)
    folder = store.file.parent
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {file.name.removeprefix(FILE): stat.S_IMODE(file.stat().st_mode) for file in folder.iterdir()} == {
        "": 0o600,
        "-wal": 0o600,
        "-shm": 0o600,
    }


@pytest.mark.parametrize("name", ["with blank", "?mode=memory", "100%25", "#x", "день", "a'b"])
def test_any_folder_name_will_do(tmp_path: Path, name: str) -> None:
    made = drafts.new(open_store(tmp_path / name), "quote", [("a", "1")], "", AT)
    assert drafts.get(open_store(tmp_path / name), made.id) == made
    assert (tmp_path / name / FILE).is_file()


def test_every_connection_is_set_up_to_lose_nothing(store: Store) -> None:
    with store.writing() as first, store._engine.connect() as second:
        for connection in (first, second):
            asked = (
                "journal_mode",
                "synchronous",
                "foreign_keys",
                "busy_timeout",
                "recursive_triggers",
                "secure_delete",
            )
            found = [connection.exec_driver_sql(f"PRAGMA {name}").scalar_one() for name in asked]
            assert found == ["wal", 2, 1, 5000, 1, 1]


def _open_and_write(folder: Path) -> None:
    drafts.new(open_store(folder), "quote", [("a", "1")], "", AT)


def test_processes_that_open_a_new_folder_at_once_all_can(tmp_path: Path) -> None:
    fork = multiprocessing.get_context("spawn")
    openers = [fork.Process(target=_open_and_write, args=(tmp_path / "data",)) for _ in range(4)]
    for opener in openers:
        opener.start()
    for opener in openers:
        opener.join(60)
    assert [opener.exitcode for opener in openers] == [0] * 4
    assert drafts.open_drafts(open_store(tmp_path / "data")).count == 4


def test_the_command_line_loads_no_database_library() -> None:
    code = "import sys, webapp.cli, webapp.store; print({'sqlalchemy', 'alembic', 'sqlite3'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout == "set()\n"


# ---- layouts


def test_each_layout_has_a_database_of_its_time() -> None:
    assert {file.stem for file in LAYOUTS.glob("*.sql")} == set(known_layouts())


@pytest.mark.parametrize("layout", known_layouts())
def test_an_earlier_layout_is_brought_up_with_what_it_holds(tmp_path: Path, layout: str) -> None:
    store = open_store(folder_of(layout, tmp_path))
    (pebble, stone), closed = drafts.open_drafts(store).drafts, drafts.get(store, "kept-in-0001-closed")
    assert (pebble.id, pebble.title, pebble.revision) == ("kept-in-0001-open-b", "Pebble – 金 👩🏽‍🔬", 3)
    assert (stone.id, stone.kind, stone.changed_at) == ("kept-in-0001-open-a", "ask", datetime(2026, 1, 2, tzinfo=UTC))
    assert closed.closed_at == datetime(2026, 1, 5, 0, 0, 0, 123456, tzinfo=UTC)
    assert drafts.get(store, pebble.id).entries == (("note", "it's\n3"), ("note", ""), ("title", "Pebble – 金 👩🏽‍🔬"))
    assert [(e.revision, e.overtaken) for e in drafts.earlier(store, pebble.id)] == [(2, True), (1, False)]
    assert drafts.state(store, pebble.id, 2).entries == (("note", "2"),)
    assert drafts.keep(store, pebble.id, [("note", "4")], "", AT).revision == 4


def not_of_the_full_text_index(name: str | None, kind: str, _parents: object) -> bool:
    return not (kind == "table" and str(name).startswith("sheet_words"))


def unseen_by_alembic(connection: Connection) -> set[tuple[str, str]]:
    """Names and texts of triggers, partial indexes and virtual tables."""
    wanted = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' OR sql LIKE '%WHERE%' OR sql LIKE '%VIRTUAL%'"
    return {(name, sql) for name, sql in connection.exec_driver_sql(wanted)}


@pytest.mark.parametrize("layout", [layout for layout in known_layouts() if layout >= "0002"])
def test_sheets_of_an_earlier_layout_are_brought_up(tmp_path: Path, layout: str) -> None:
    store = open_store(folder_of(layout, tmp_path))
    settled = sheets.by_number(store, "2026-0001")
    assert (settled.kept_state, settled.revision, settled.reference) == ("settled", 2, "counter book 114")
    assert settled.entries == (("offer", "4,000"), ("reason", "it's\nso"))
    first, second = (revisions.revision(store, settled.id, n) for n in (1, 2))
    assert (first.offer, first.replaced, len(first.photographs), first.notes) == (
        "4000.00",
        True,
        2,
        ("a glyph was replaced",),
    )
    assert (second.offer, second.reason, second.photographs) == ("4100.00", "a regular", first.photographs[1:])
    assert revisions.papers(store, settled.id, 2) == (b"%PDF seller\x00\xff 2026-0001", b"%PDF house\x00")
    assert photographs.jpeg(store, first.photographs[0]) == b"\xff\xd8 photograph 1"
    kinds = [deed.kind for deed in deeds.history(store, settled.id)]
    assert kinds == ["written", "handed_over", "replaced", "handed_over", "agreed", "settled"]
    with store.reading() as connection:
        found = connection.exec_driver_sql('SELECT rowid FROM sheet_words(\'"114" * AND "uartz" *\')').all()
    assert found == [(1,)]
    written = sheets.of_draft(store, "kept-in-0001-closed")[0]
    assert (written.number, written.kept_state, sheets.get(store, written.id).reference) == (
        None,
        "written",
        "book 115",
    )
    assert sheets.by_number(store, "2026-0002").validity.gold_low_per_g is None
    assert sheets.by_number(store, "2026-0003").kept_state == "lapsed"
    assert sheets.by_number(store, "2027-0001").kept_state == "turned_down"


@pytest.mark.parametrize("layout", [None, *known_layouts()])
def test_the_newest_layout_is_the_tables(tmp_path: Path, layout: str | None) -> None:
    store = open_store(folder_of(layout, tmp_path) if layout else tmp_path)
    with store.reading() as connection, open_store(tmp_path / "new").reading() as new:
        assert unseen_by_alembic(connection) == unseen_by_alembic(new)
        opts = {"compare_type": True, "include_name": not_of_the_full_text_index}
        context = MigrationContext.configure(connection, opts=opts)
        assert context.get_current_revision() == known_layouts()[-1]
        assert compare_metadata(context, metadata) == []
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []


STEP = """
import sqlalchemy as sa
from alembic import op

revision, down_revision = "{0}", "{1}"

def upgrade() -> None:
    op.add_column("drafts", sa.Column("added_{0}", sa.Text))
    op.execute("UPDATE drafts SET added_{0} = title")
    {2}
"""


@pytest.fixture
def steps(tmp_path: Path) -> Path:
    """The migrations with two more, as a later version would have; the last one fails half-way."""
    folder = tmp_path / "migrations"
    folder.mkdir()
    for script in scripts().walk_revisions():
        (folder / Path(script.path).name).write_bytes(Path(script.path).read_bytes())
    newest = known_layouts()[-1]
    (folder / "m9001_more.py").write_text(STEP.format("9001", newest, ""))
    (folder / "m9002_fails.py").write_text(STEP.format("9002", "9001", "raise RuntimeError('half-way')"))
    return folder


def test_a_step_that_fails_is_undone_and_the_one_before_it_stays(store: Store, steps: Path) -> None:
    made = drafts.new(store, "quote", [("a", "1")], "Pebble", AT)
    with pytest.raises(RuntimeError, match="half-way"):
        upgrade(store, directory=scripts(steps))
    with store.reading() as connection:
        assert MigrationContext.configure(connection).get_current_revision() == "9001"
        columns = [row.name for row in connection.exec_driver_sql("PRAGMA table_info(drafts)")]
        assert "added_9001" in columns
        assert "added_9002" not in columns
        assert connection.exec_driver_sql("SELECT added_9001 FROM drafts").scalar_one() == "Pebble"
    assert drafts.get(store, made.id) == made


@pytest.mark.parametrize("in_log_only", [False, True], ids=["closed", "crashed"])
def test_a_newer_layout_is_refused_and_untouched(store: Store, steps: Path, in_log_only: bool) -> None:
    drafts.new(store, "quote", [("a", "1")], "Pebble", AT)
    upgrade(store, "9001", scripts(steps))
    folder = store.file.parent
    if in_log_only:  # what a kill would leave: the step is in the log, not yet in the file
        copy = folder.with_name("crashed")
        copy.mkdir()
        for file in folder.iterdir():
            if not file.name.endswith("-shm"):
                subprocess.run(["cp", str(file), str(copy)], check=True)  # not here: it would drop SQLite's locks
        store.close()
        folder = copy
    else:
        store.close()
    before = contents(folder)
    assert (f"{FILE}-wal" in before) == in_log_only
    with pytest.raises(NewerStore, match=r"later version of Lodeworth \(layout 9001\).*left untouched.*--data"):
        open_store(folder)
    after = contents(folder)
    assert {name: after[name] for name in before} == before
    assert not any(data for name, data in after.items() if name not in before and not name.endswith("-shm"))


CUT_OFF = """
import os, signal, sqlite3, sys
c = sqlite3.connect(sys.argv[1], isolation_level=None)
c.execute("PRAGMA journal_mode = DELETE")
c.execute("PRAGMA cache_size = 2")
c.execute("BEGIN")
c.execute("UPDATE drafts SET title = 'half', entries = ''")
os.kill(os.getpid(), signal.SIGKILL)
"""


@POSIX
def test_what_a_kill_left_half_written_before_the_log_was_set_is_undone(tmp_path: Path) -> None:
    whole(tmp_path)
    subprocess.run([sys.executable, "-c", CUT_OFF, str(tmp_path / FILE)])
    assert (tmp_path / f"{FILE}-journal").stat().st_size > 0
    store = open_store(tmp_path)
    page = drafts.open_drafts(store)
    assert (page.count, page.drafts[0].title) == (200, "")
    with store.reading() as connection:
        assert connection.exec_driver_sql("PRAGMA journal_mode").scalar_one() == "wal"


# ---- files that are not sound


def whole(folder: Path) -> bytearray:
    store = open_store(folder)
    for i in range(200):
        drafts.new(store, "quote", [("a", f"{i} " * 200)], "", AT)
    store.close()
    return bytearray((folder / FILE).read_bytes())


def test_a_damaged_file_is_refused_and_kept(tmp_path: Path) -> None:
    sound = whole(tmp_path)
    assert len(sound) > 40 * 4096
    random = bytes(i * 97 % 251 for i in range(4096))
    damaged = {
        "not a database": b"what a text editor left" * 500,
        "header gone": bytes(100) + sound[100:],
        "cut": sound[: len(sound) // 2],
        "cut in a page": sound[: len(sound) // 2 + 777],
        "pages overwritten": sound[: 20 * 4096] + random * 5 + sound[25 * 4096 :],
        "first page overwritten": sound[:100] + random[100:] + sound[4096:],
    }
    for name, data in damaged.items():
        (tmp_path / FILE).write_bytes(data)
        with pytest.raises(DamagedStore, match="left as it is") as refused:
            open_store(tmp_path)
        assert str(tmp_path / FILE) in str(refused.value), name
        assert (tmp_path / FILE).read_bytes() == data, name
    (tmp_path / FILE).write_bytes(sound)
    assert drafts.open_drafts(open_store(tmp_path)).count == 200


def test_damage_that_comes_later_is_told_where_it_is_met(tmp_path: Path) -> None:
    sound = whole(tmp_path)
    store = open_store(tmp_path)
    code = f"import sys; f = open(sys.argv[1], 'r+b'); f.seek(8192); f.write(b'x' * {len(sound) - 8192})"
    subprocess.run([sys.executable, "-c", code, str(tmp_path / FILE)], check=True)
    with pytest.raises(DamagedStore, match="damaged"):
        _ = [drafts.get(store, draft.id) for draft in drafts.open_drafts(store).drafts]


def test_the_database_of_another_program_is_refused_and_kept(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / FILE)) as other:
        other.execute("CREATE TABLE drafts (x)")
    before = contents(tmp_path)
    with pytest.raises(DamagedStore, match="tables of another program"):
        open_store(tmp_path)
    with closing(sqlite3.connect(tmp_path / FILE)) as other:
        other.execute("CREATE TABLE alembic_version (version_num)")
    with pytest.raises(DamagedStore, match="which layout"):
        open_store(tmp_path)
    assert contents(tmp_path).keys() == before.keys()


def test_an_empty_file_is_a_new_store(tmp_path: Path) -> None:
    (tmp_path / FILE).touch()
    assert drafts.open_drafts(open_store(tmp_path)).count == 0


def test_a_file_that_another_program_holds(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("webapp.store.opening.BUSY_TIMEOUT_MS", 50)
    open_store(tmp_path).close()
    with closing(sqlite3.connect(tmp_path / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreBusy, match="Close the other program"):
            open_store(tmp_path)


# ---- folders that cannot be used


@pytest.mark.parametrize("place", ["file", "file/below", "folder"])
def test_something_in_the_way(tmp_path: Path, place: str) -> None:
    (tmp_path / "file").write_text("a note")
    (tmp_path / "folder" / FILE).mkdir(parents=True)
    with pytest.raises(FolderRefused, match=r"cannot keep anything in .*in the way.*--data"):
        open_store(tmp_path / place)
    assert (tmp_path / "file").read_text() == "a note"


def _refused_as_a_guest(folder: Path) -> None:
    """In a process of its own, as a user without rights, exit with 0 if the folder is refused."""
    if os.getuid() == 0:
        os.setgroups([])
        os.setgid(65534)
        os.setuid(65534)
    with pytest.raises(FolderRefused, match="right to write there"):
        open_store(folder)


@POSIX
@pytest.mark.parametrize("case", ["missing", "new", "old", "file"])
def test_a_folder_without_the_right_to_write(case: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        top = Path(name)
        folder = top / "data" if case == "missing" else top
        if case in ("old", "file"):
            drafts.new(store := open_store(folder), "quote", [("a", "1")], "", AT)
            store.close()
            (folder / FILE).chmod(0o666 if case == "old" else 0o444)
        before = contents(top)
        top.chmod(0o777 if case == "file" else 0o555)
        fork = multiprocessing.get_context("fork")  # a guest could not read the program from a home folder
        guest = fork.Process(target=_refused_as_a_guest, args=(folder,))
        guest.start()
        guest.join(60)
        top.chmod(0o700)
        assert guest.exitcode == 0
        assert {file: data for file, data in contents(top).items() if data and "-shm" not in file} == before
