"""Everything out and in again: the same as it was, or nothing changed."""

import hashlib
import io
import json
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from webapp.store import DamagedStore, StoreError, backup, drafts, open_store
from webapp.store.backup import FILE, HOUSE, MANIFEST, NotABackup
from webapp.store.database import Store
from webapp.store.errors import StoreBusy

AT = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)


def titles(store: Store) -> list[str]:
    return sorted(draft.title for draft in drafts.open_drafts(store).drafts)


def quote_called(store: Store, title: str) -> str:
    return drafts.new(store, "quote", [("title", title), ("weighing.dry_g", "412.6")], title, AT).id


@pytest.fixture
def kept(store: Store, tmp_path: Path) -> Path:
    """A backup with two quotes and the house's settings; afterwards both have changed."""
    quote_called(store, "one")
    quote_called(store, "two")
    house = store.file.with_name(HOUSE)
    house.write_text('name = "Demo house"\n', "utf-8")
    file = tmp_path / "kept.zip"
    backup.save(store, file, AT)
    quote_called(store, "three")
    house.write_text('name = "Another name"\n', "utf-8")
    return file


def everything(store: Store) -> tuple[list[str], str, list[str]]:
    house = store.file.with_name(HOUSE)
    files = sorted(file.name for file in store.file.parent.iterdir() if not file.name.endswith(("-wal", "-shm")))
    return titles(store), house.read_text("utf-8") if house.exists() else "", files


def test_a_backup_brings_everything_back_and_keeps_what_was_there(store: Store, kept: Path) -> None:
    with kept.open("rb") as file:
        before = backup.restore(store, file, AT)
    assert titles(store) == ["one", "two"]  # through connections that were open all the time
    assert store.file.with_name(HOUSE).read_text("utf-8") == 'name = "Demo house"\n'
    quote_called(store, "four")
    with before.open("rb") as file:
        backup.restore(store, file, AT)
    assert titles(store) == ["one", "three", "two"]
    assert store.file.with_name(HOUSE).read_text("utf-8") == 'name = "Another name"\n'


def test_the_file_is_for_this_user_alone_and_says_what_is_in_it(kept: Path) -> None:
    if sys.platform != "win32":
        assert kept.stat().st_mode & 0o777 == 0o600
    with zipfile.ZipFile(kept) as archive:
        assert archive.testzip() is None
        told = json.loads(archive.read(MANIFEST))
        for name, one in told["files"].items():
            assert hashlib.sha256(archive.read(name)).hexdigest() == one["sha256"]
    assert sorted(told["files"]) == [HOUSE, FILE]
    assert told["made_at"] == "2026-03-14T17:30:00+00:00"


def test_a_house_without_settings_is_one_again(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "kept.zip"
    backup.save(store, file, AT)
    store.file.with_name(HOUSE).write_text('name = "Later"\n', "utf-8")
    with file.open("rb") as opened:
        before = backup.restore(store, opened, AT)
    assert not store.file.with_name(HOUSE).exists()
    with zipfile.ZipFile(before) as archive:
        assert archive.read(HOUSE) == b'name = "Later"\n'


def test_a_file_that_is_there_is_never_written_over(store: Store, kept: Path) -> None:
    before = kept.read_bytes()
    with pytest.raises(StoreError, match="is there already"):
        backup.save(store, kept, AT)
    assert kept.read_bytes() == before


def test_a_folder_that_is_not_there_is_told(store: Store, tmp_path: Path) -> None:
    with pytest.raises(StoreError, match=r"nowhere.*cannot be written.*Name a file in a folder"):
        backup.save(store, tmp_path / "nowhere" / "kept.zip", AT)


def test_a_backup_made_while_others_write_is_sound(store: Store, tmp_path: Path) -> None:
    with store.writing():
        quote_called(store, "not yet")
        with closing(sqlite3.connect(store.file)) as other:
            assert other.execute("SELECT count(*) FROM drafts").fetchone() == (0,)
        backup.save(store, tmp_path / "kept.zip", AT)
    with (tmp_path / "kept.zip").open("rb") as file:
        backup.restore(store, file, AT)
    assert titles(store) == []


# ---- what is refused


def rewritten(kept: Path, change: Callable[[dict[str, bytes]], None]) -> io.BytesIO:
    with zipfile.ZipFile(kept) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    change(files)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    out.seek(0)
    return out


def signed(files: dict[str, bytes]) -> None:
    """A manifest that fits these files."""
    told = json.loads(files[MANIFEST])
    told["files"] = {
        name: {"sha256": hashlib.sha256(data).hexdigest(), "size": len(data)}
        for name, data in files.items()
        if name != MANIFEST
    }
    files[MANIFEST] = json.dumps(told).encode()


def changed_database(statement: str) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        with closing(sqlite3.connect(":memory:")) as database:
            database.deserialize(files[FILE])
            database.executescript(statement)
            files[FILE] = database.serialize()
        signed(files)

    return change


def damaged_page(files: dict[str, bytes]) -> None:
    data = bytearray(files[FILE])
    data[4096 * 2 : 4096 * 2 + 200] = b"\xff" * 200
    files[FILE] = bytes(data)
    signed(files)


def put(name: str, data: bytes, *, sign: bool = False) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        files[name] = data
        if sign:
            signed(files)

    return change


def without(name: str, *, sign: bool = False) -> Callable[[dict[str, bytes]], None]:
    def change(files: dict[str, bytes]) -> None:
        del files[name]
        if sign:
            signed(files)

    return change


def flipped(files: dict[str, bytes]) -> None:
    files[HOUSE] = files[HOUSE].replace(b"Demo", b"Dumo")


BAD: dict[str, tuple[Callable[[dict[str, bytes]], None], str]] = {
    "no manifest": (without(MANIFEST), "no manifest"),
    "no database": (without(FILE, sign=True), "does not hold"),
    "one file less": (without(HOUSE), "other files than"),
    "one file more": (put("more.txt", b"x"), "other files than"),
    "a path": (put("../evil.toml", b"x", sign=True), "does not hold"),
    "another form": (put(MANIFEST, b'{"form": "lodeworth/backup/99"}'), "not made by a version"),
    "nonsense": (put(MANIFEST, b"[1, 2"), "no manifest that can be read"),
    "a list": (put(MANIFEST, b"[]"), "no manifest that can be read"),
    "a changed letter": (flipped, "not as it was"),
    "no SQLite": (put(FILE, b"not a database" * 500, sign=True), "damaged"),
    "damaged page": (damaged_page, "damaged"),
    "newer": (changed_database("UPDATE alembic_version SET version_num = '9999'"), "later version"),
    "foreign": (changed_database("DROP TABLE alembic_version"), "not Lodeworth's"),
    "orphans": (
        changed_database("PRAGMA foreign_keys=OFF; INSERT INTO draft_history VALUES ('x',1,'','','','','',0)"),
        "damaged",
    ),
}


@pytest.mark.parametrize("name", BAD)
def test_a_backup_that_is_not_as_it_was_changes_nothing(store: Store, kept: Path, name: str) -> None:
    change, words = BAD[name]
    before = everything(store)
    with pytest.raises(NotABackup, match=words) as refused:
        backup.restore(store, rewritten(kept, change), AT)
    assert str(refused.value).endswith("Nothing was changed.")
    assert everything(store) == before


def test_no_archive_and_one_cut_short_change_nothing(store: Store, kept: Path) -> None:
    before, whole = everything(store), kept.read_bytes()
    for sent in (b"", b"PK\x03\x04", b"<html>", whole[:-30], whole[: len(whole) // 2]):
        with pytest.raises(NotABackup):
            backup.restore(store, io.BytesIO(sent), AT)
    assert everything(store) == before


@pytest.mark.parametrize("seed", range(30))
def test_a_byte_that_is_changed_anywhere_is_found_or_counts_for_nothing(store: Store, kept: Path, seed: int) -> None:
    data = bytearray(kept.read_bytes())
    rng = random.Random(seed)
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    before = everything(store)
    try:
        backup.restore(store, io.BytesIO(bytes(data)), AT)
    except StoreError:
        assert everything(store) == before
    else:  # the archive's own dates and such
        assert titles(store) == ["one", "two"]


def test_a_file_in_it_that_swells_is_stopped_at_its_stated_size(store: Store, kept: Path) -> None:
    def swollen(files: dict[str, bytes]) -> None:
        told = json.loads(files[MANIFEST])
        told["files"][HOUSE]["size"] = 10
        files[MANIFEST] = json.dumps(told).encode()

    with pytest.raises(NotABackup, match="larger than its manifest says"):
        backup.restore(store, rewritten(kept, swollen), AT)


def test_an_older_layout_is_brought_up_on_the_way_in(store: Store, tmp_path: Path) -> None:
    layouts = Path(__file__).with_name("layouts")
    oldest = sorted(layouts.glob("*.sql"))[0]
    file = tmp_path / FILE
    with closing(sqlite3.connect(file)) as database:
        database.executescript(oldest.read_text("utf-8"))
        count = database.execute("SELECT count(*) FROM drafts").fetchone()[0]
    data = file.read_bytes()
    files = {
        FILE: data,
        MANIFEST: b'{"form": "lodeworth/backup/1", "made_at": "2026-01-01T00:00:00Z", "layout": "0001"}',
    }
    signed(files)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, one in files.items():
            archive.writestr(name, one)
    backup.restore(store, out, AT)
    with store.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM drafts").scalar_one() == count > 0
    store.close()
    open_store(store.file.parent).close()


def test_another_program_that_writes_is_waited_for_and_then_told(
    store: Store, kept: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(backup, "_PAUSE_S", 0.01)
    with closing(sqlite3.connect(store.file, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        before = everything(store)[:2]
        with kept.open("rb") as file, pytest.raises(StoreBusy):
            backup.restore(store, file, AT)
        other.execute("ROLLBACK")
    assert everything(store)[:2] == before


def test_a_damaged_store_is_moved_aside_as_it_is(kept: Path, tmp_path: Path) -> None:
    folder = tmp_path / "broken"
    folder.mkdir()
    (folder / FILE).write_bytes(b"no database at all" * 1000)
    with pytest.raises(DamagedStore):
        open_store(folder)
    with kept.open("rb") as file:
        aside = backup.restore_into(folder, file, AT)
    assert (aside / FILE).read_bytes() == b"no database at all" * 1000
    store = open_store(folder)
    assert titles(store) == ["one", "two"]
    store.close()


def test_restoring_into_an_empty_folder_moves_everything_to_another_machine(kept: Path, tmp_path: Path) -> None:
    with kept.open("rb") as file:
        backup.restore_into(tmp_path / "fresh", file, AT)
    store = open_store(tmp_path / "fresh")
    assert titles(store) == ["one", "two"]
    store.close()
    assert (tmp_path / "fresh" / HOUSE).read_text("utf-8") == 'name = "Demo house"\n'


RESTORING = """
import sys
from datetime import UTC, datetime
from pathlib import Path
from webapp.store import backup, open_store
store = open_store(Path(sys.argv[1]))
print("ready", flush=True)
with open(sys.argv[2], "rb") as file:
    backup.restore(store, file, datetime(2026, 3, 14, tzinfo=UTC))
"""


@pytest.mark.parametrize("part", [0.0, 0.2, 0.4, 0.6, 0.8, 1.0])
def test_a_kill_while_restoring_leaves_all_of_the_old_or_all_of_the_new(
    store: Store, kept: Path, tmp_path: Path, part: float
) -> None:
    for i in range(200):
        quote_called(store, f"many {i}")
    store.close()
    folder = tmp_path / "copied"
    shutil.copytree(store.file.parent, folder)
    command = [sys.executable, "-c", RESTORING, str(folder), str(kept)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE)
    assert process.stdout is not None and process.stdout.readline()
    time.sleep(0.25 * part)
    process.send_signal(signal.SIGKILL)
    process.wait()
    process.stdout.close()
    found = open_store(folder)
    with found.reading() as connection:
        assert connection.exec_driver_sql("SELECT count(*) FROM drafts").scalar_one() in (2, 203)
        assert connection.exec_driver_sql("PRAGMA integrity_check").scalar_one() == "ok"
    found.close()
