"""What somebody changes by other means, triggers dropped, shows in the chain of deeds."""

import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.webapp.store.sample_sheet import AT, minutes, over, written
from webapp.store import deeds, open_store, photographs
from webapp.store.faults import chain_faults


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    store = open_store(tmp_path)
    names = [written(store, str(i)) for i in range(3)]
    digest = photographs.add(store, names[0], b"\xff\xd8 one", 64, 48, AT).digest
    over(store, names[0], photographs=(digest,))
    over(store, names[0], seen=1, at=minutes(1), photographs=(digest,), offer="4200.00")
    over(store, names[1])
    deeds.record(store, names[0], 2, "agreed", minutes(2), "shaken on", gold_per_g={})
    store.close()
    return tmp_path


def test_what_the_program_did_fits(folder: Path) -> None:
    assert chain_faults(open_store(folder)) == ()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ("UPDATE deeds SET note = 'shaken off' WHERE kind = 'agreed'", "2026-0001, revision 2, agreed.*was changed"),
        ("UPDATE deeds SET at = '2026-11-24 00:00:00.000000' WHERE key = 4", "Deed 4 .*was changed"),
        ("UPDATE deeds SET kind = 'turned_down' WHERE kind = 'agreed'", "was changed"),
        ("DELETE FROM deeds WHERE key = 5", "Deed 6 .*a deed is missing"),
        ("DELETE FROM deeds WHERE kind = 'agreed'", "Sheet 2026-0001 says agreed, revision 2, which its last deed"),
        ("DELETE FROM deeds WHERE sheet = 2 AND kind = 'handed_over'", "2026-0002, revision 1: there is no deed"),
        ("UPDATE revisions SET offer = '4300.00' WHERE revision = 2", "Deed 6 .*was changed"),
        ("UPDATE revisions SET reason = 'none' WHERE sheet = 2", "was changed"),
        ("UPDATE revisions SET valid_until = '2030-01-01 00:00:00.000000' WHERE sheet = 2", "was changed"),
        ("UPDATE contents SET content = x'00' WHERE sheet = 1 AND kind = 'seller_pdf'", "was changed"),
        ("UPDATE contents SET kind = 'x' WHERE sheet = 1 AND kind = 'result'", "was changed"),
        ("DELETE FROM contents WHERE sheet = 2 AND kind = 'house'", "was changed"),
        ("DELETE FROM revisions WHERE sheet = 2", "what was handed over is missing"),
        ("DELETE FROM revision_photographs WHERE revision = 1", "was changed"),
        ("UPDATE photographs SET jpeg = x'00'", "Photograph .* was changed"),
        ("UPDATE sheets SET number = '2026-0007', running = 7 WHERE key = 2", "is not the next of its year"),
        ("UPDATE sheets SET id = 'another-sheet-altogether' WHERE key = 2", "was changed"),
        ("UPDATE sheets SET state = 'settled' WHERE key = 1", "says settled"),
        ("UPDATE sheets SET offer = '1.00' WHERE key = 1", "something else than its newest revision"),
        ("DELETE FROM sheets WHERE key = 3", "Deed 3 .*was changed"),
    ],
)
def test_a_change_by_other_means_shows(folder: Path, change: str, message: str) -> None:
    file = open_store(folder).file
    with closing(sqlite3.connect(file)) as direct:
        for (name,) in direct.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
            direct.execute(f"DROP TRIGGER {name}")
        assert direct.execute(change).rowcount > 0
        direct.commit()
    found = chain_faults(open_store(folder))
    assert any(re.search(message, fault) for fault in found), found


def test_a_deed_made_up_to_fit_the_one_before_it_shows(folder: Path) -> None:
    store = open_store(folder)
    with store.writing() as connection:
        connection.exec_driver_sql(
            "INSERT INTO deeds SELECT key + 1, 2, 1, 'agreed', at, '', digest, 'forged' FROM deeds"
            " WHERE key = (SELECT max(key) FROM deeds)"
        )
    assert any("2026-0002" in fault for fault in chain_faults(store))
    assert len(chain_faults(store, most=1)) == 1
