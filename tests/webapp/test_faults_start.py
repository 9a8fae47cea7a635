"""Found at a start: damage, an upgrade that was killed, a held file, a clock set back, another time zone."""

import random
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.proofs.load import Refused, Tab, serving
from tests.webapp.conftest import Visitor
from tests.webapp.store.sample_sheet import AT
from tests.webapp.test_sheet_command import Run, run
from tests.webapp.test_sheet_pages import begin, hand_over, sheet_id
from webapp import create_app
from webapp.settings import Settings
from webapp.store import drafts, open_store, revisions, sheets
from webapp.store.faults import chain_faults
from webapp.store.layout import known_layouts
from webapp.store.opening import FILE

__all__ = ["run"]
ROOT = Path(__file__).parents[2]
LAYOUTS = Path(__file__).parent / "store/layouts"
SEED = 20261125


# ---- damage


def kept(folder: Path) -> Path:
    store = open_store(folder)
    for i in range(150):
        drafts.new(store, "quote", [("title", f"{i} " * 200)], f"Draft {i}", AT)
    store.close()
    return folder / FILE


def header(data: bytes) -> bytes:
    return b"\0" * 100 + data[100:]


def middle(data: bytes) -> bytes:
    return data[: 20 * 4096] + random.Random(SEED).randbytes(4 * 4096) + data[24 * 4096 :]


def truncated(data: bytes) -> bytes:
    return data[: len(data) // 2]


@pytest.mark.parametrize("damage", [header, middle, truncated])
def test_damage_is_found_at_the_start_left_as_it_is_and_a_backup_brings_all_back(
    run: Run, tmp_path: Path, damage: Callable[[bytes], bytes]
) -> None:
    folder, backup = tmp_path / "my data", tmp_path / "kept.zip"
    file = kept(folder)
    assert run("backup", backup, "--data", folder)[0] == 0
    damaged = damage(file.read_bytes())
    file.write_bytes(damaged)
    code, out, err = run("serve", "--no-browser", "--data", folder)
    assert (code, out) == (2, "")
    assert str(file) in err and "left as it is" in err and "Traceback" not in err
    assert f"lodeworth restore BACKUP --data '{folder}'" in err and "kept under another name" in err
    assert file.read_bytes() == damaged, "moved or mended without a word of the person's"
    code, out, _ = run("restore", backup, "--data", folder)
    assert code == 0 and "What was there before is kept in" in out
    assert any(damaged == one.read_bytes() for one in tmp_path.rglob(FILE) if one != file)
    store = open_store(folder)
    assert drafts.open_drafts(store).count == 150
    store.close()


@pytest.mark.parametrize("where", ["whole", "end"])
def test_garbage_in_the_log_loses_no_more_than_what_it_replaced(tmp_path: Path, where: str) -> None:
    """A frame of the log counts only with its checksum (SQLite, "Database File Format", 4.2)."""
    file = kept(tmp_path)
    garbage = random.Random(SEED).randbytes(50_000)
    file.with_name(f"{FILE}-wal").write_bytes(garbage if where == "whole" else garbage[:31])
    store = open_store(tmp_path)
    assert drafts.open_drafts(store).count == 150
    drafts.new(store, "quote", [("title", "after")], "After", AT)
    store.close()
    with closing(sqlite3.connect(file)) as look:
        assert look.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


# ---- an upgrade that was killed

UPGRADING = """
import os, pathlib, signal, sys
from sqlalchemy import event
from sqlalchemy.engine import Engine
left = int(sys.argv[2])
def counted(*_):
    global left
    left -= 1
    if left == 0:
        os.kill(os.getpid(), signal.SIGKILL)
event.listen(Engine, "after_cursor_execute", counted)
from webapp.store import open_store
open_store(pathlib.Path(sys.argv[1])).close()
"""


@pytest.mark.skipif(sys.platform == "win32", reason="no SIGKILL there")
def test_an_upgrade_killed_anywhere_is_finished_at_the_next_start(tmp_path: Path) -> None:
    chance = random.Random(SEED)
    killed = 0
    for i, stop in enumerate((3, *chance.sample(range(8, 90), 6))):
        folder = tmp_path / str(i)
        folder.mkdir()
        with closing(sqlite3.connect(folder / FILE)) as made:
            made.executescript((LAYOUTS / "0001.sql").read_text(encoding="utf-8"))
            before = made.execute("SELECT id, title, entries FROM drafts ORDER BY id").fetchall()
        done = subprocess.run([sys.executable, "-c", UPGRADING, str(folder), str(stop)], cwd=ROOT, check=False)
        killed += done.returncode == -9
        with closing(sqlite3.connect(folder / FILE)) as look:
            assert look.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        open_store(folder).close()
        with closing(sqlite3.connect(folder / FILE)) as look:
            assert look.execute("SELECT version_num FROM alembic_version").fetchall() == [(known_layouts()[-1],)]
            assert look.execute("SELECT id, title, entries FROM drafts ORDER BY id").fetchall() == before
            assert before
    assert killed >= 5, "too few were killed on the way to show anything"


# ---- a held file, for real


def test_a_file_held_for_long_is_told_in_time_and_works_once_it_is_free(tmp_path: Path) -> None:
    with serving(tmp_path / "data") as (port, _):
        tab = Tab(port, SEED)
        try:
            tab.open_quote()
            tab.recalculate()
            holder = "import sqlite3, sys; c = sqlite3.connect(sys.argv[1], isolation_level=None); "
            holder += "c.execute('BEGIN IMMEDIATE'); print('held', flush=True); sys.stdin.readline()"
            with subprocess.Popen(
                [sys.executable, "-c", holder, str(tmp_path / "data" / FILE)],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                text=True,
            ) as other:
                assert other.stdout is not None and other.stdout.readline() == "held\n"
                tab.fields["title"] = "Typed while held"
                page = tab.send(tab.address, tab.fields, by_script=True)
                assert "Not kept." in page and "Another program is holding" in page and "Typed while held" in page
                assert "Typed while held" not in tab.get(tab.address), "reading goes on, and shows what is kept"
                other.communicate("done\n")
            tab.send(tab.address, tab.fields, by_script=True)
            assert "Typed while held" in tab.get(tab.address)
        except Refused as refused:
            pytest.fail(str(refused))
        finally:
            tab.connection.close()


# ---- clocks


def app_of(folder: Path, zone: str = "America/Denver") -> tuple[Visitor, Callable[[], None]]:
    app = create_app(folder, Settings(locale="en_US", time_zone=zone, data=folder))
    return Visitor(app.test_client()), app.extensions["store"].close


def test_a_clock_that_is_set_back_breaks_nothing(run: Run, tmp_path: Path) -> None:
    visitor, close = app_of(tmp_path)
    with freeze_time("2026-03-14 17:30:00", tick=False):
        first = hand_over(visitor, begin(visitor))
        name = sheet_id(first)
        assert "2026-0001" in first.words("h1")
    with freeze_time("2025-03-14 17:30:00", tick=False):
        quote = visitor.send(visitor.open("/demos/leaf-gold-walk-in"), {"title": "In the past", "quoted_at": ""})
        assert "dated after the quote" in quote.words(), quote.words()[:900]
        other = hand_over(visitor, begin(visitor))
        assert "2025-0001" in other.words("h1")
        again = hand_over(visitor, visitor.open(f"/sheets/{name}/write"), {"offer": "4200"})
        assert "2026-0001, revision 2" in again.words("h1") and again.all(".state")[0].get_text() == "open"
        assert "Revision 2" in visitor.send(again, {"note": "in the past"}, ".deed").words(".history")
        for page in ("/sheets", "/quotes", "/prices", f"/sheets/{name}"):
            assert visitor.open(page).status == 200
    with freeze_time("2026-03-14 17:35:00", tick=False):
        assert visitor.open("/sheets?order=date").status == 200
        third = hand_over(visitor, begin(visitor))
        assert "2026-0002" in third.words("h1")
    close()
    assert run("audit", "--data", tmp_path)[0] == 0


def test_another_time_zone_tells_the_same_moments(tmp_path: Path) -> None:
    with freeze_time("2027-01-01 03:30:00", tick=False):  # still 2026 in Denver, and long 2027 in Auckland
        visitor, close = app_of(tmp_path)
        done = hand_over(visitor, begin(visitor), {"stale_price": "The seller insists"})
        assert "2026-0001" in done.words("h1") and "Dec 31, 2026" in done.words()
        name = sheet_id(done)
        close()
        visitor, close = app_of(tmp_path, "Pacific/Auckland")
        shown = visitor.open(f"/sheets/{name}")
        assert "2026-0001" in shown.words("h1") and "Jan 1, 2027" in shown.words()
        assert shown.words(".state") == "open"
        other = hand_over(visitor, begin(visitor), {"stale_price": "The seller insists"})
        assert "2027-0001" in other.words("h1")
        close()
    store = open_store(tmp_path)
    (only,) = revisions.of_sheet(store, sheets.by_number(store, "2026-0001").id)
    assert only.time_zone == "America/Denver" and only.valid_until == datetime(2027, 1, 2, 3, 30, tzinfo=UTC)
    assert chain_faults(store) == ()
    store.close()
