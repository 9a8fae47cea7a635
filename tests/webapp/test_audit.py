"""`lodeworth audit`: what was done behind the program's back, and what no chain without a secret can show."""

import re
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from tests.webapp.conftest import Visitor
from tests.webapp.store.sample_sheet import AT, minutes, over, written
from tests.webapp.test_sheet_command import Run, run
from webapp import create_app
from webapp.settings import Settings
from webapp.store import backup, deeds, open_store, photographs, sheets
from webapp.store.chain import FIRST, digest_of
from webapp.store.faults import chain_faults
from webapp.store.frozen import digests
from webapp.store.opening import FILE
from webapp.store.tables import deeds as table
from webapp.store.tables import revisions as frozen_revisions
from webapp.store.witness import head

__all__ = ["run"]


def busy(folder: Path) -> None:
    """Three sheets: one with two revisions, agreed; one handed over; one being written."""
    store = open_store(folder)
    names = [written(store, str(i)) for i in range(3)]
    shot = photographs.add(store, names[0], b"\xff\xd8 one", 64, 48, AT).digest
    over(store, names[0], photographs=(shot,))
    over(store, names[0], seen=1, at=minutes(1), photographs=(shot,), offer="4200.00")
    deeds.record(store, names[0], 2, "agreed", minutes(2), "shaken on", gold_per_g={})
    over(store, names[1], at=minutes(3))
    store.close()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    busy(tmp_path / "data")
    return tmp_path / "data"


def by_other_means(folder: Path, *changes: str) -> None:
    """Change the file as somebody with a database tool would, and put the guards back so that nothing shows of it."""
    with closing(sqlite3.connect(folder / FILE)) as direct:
        guards = direct.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            direct.execute(f"DROP TRIGGER {name}")
        for change in changes:
            assert direct.execute(change).rowcount > 0, change
        for _, sql in guards:
            direct.execute(sql)
        direct.commit()


# ---- what shows


def test_what_the_program_did_fits(run: Run, folder: Path) -> None:
    code, out, err = run("audit", "--data", folder)
    assert (code, err) == (0, "")
    assert out.startswith("The ledger fits: 8 deeds")
    assert re.search(r"^Head: [0-9a-f]{64}$", out, re.MULTILINE)
    assert "Note it now and then" in out


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (["UPDATE revisions SET offer = '9999.00' WHERE sheet = 2"], "2026-0002, revision 1, handed_over.*was changed"),
        (
            ["UPDATE revisions SET offer = '9.00' WHERE sheet = 2", "UPDATE sheets SET offer = '9.00' WHERE key = 2"],
            "2026-0002, revision 1, handed_over.*was changed",
        ),
        (
            ["UPDATE contents SET content = CAST(content || x'20' AS BLOB) WHERE sheet = 2 AND kind = 'seller_pdf'"],
            "2026-0002, revision 1, handed_over.*was changed",
        ),
        (
            ["UPDATE contents SET content = zeroblob(length(content)) WHERE revision = 1 AND kind = 'house_pdf'"],
            "2026-0001, revision 1, handed_over.*was changed",
        ),
        (["UPDATE deeds SET at = '2026-11-25 09:30:00.000001' WHERE key = 4"], "Deed 4 .*was changed"),
        (["DELETE FROM deeds WHERE key = 8"], "2026-0002, revision 1: there is no deed of its handing over"),
        (
            [
                "DELETE FROM deeds WHERE sheet = 1 AND revision = 1",
                "DELETE FROM revisions WHERE revision = 1 AND sheet = 1",
            ],
            "a deed is missing",
        ),
        (["DELETE FROM contents WHERE sheet = 1 AND revision = 1"], "2026-0001, revision 1, handed_over.*was changed"),
        (["UPDATE photographs SET jpeg = x'ffd8'"], "Photograph [0-9a-f]{16} was changed"),
        (["UPDATE sheets SET state = 'turned_down' WHERE key = 1"], "2026-0001 says turned_down"),
        (["UPDATE deeds SET at = 'yesterday' WHERE key = 4"], "in a form that the program never writes"),
        (["UPDATE deeds SET note = x'ff' WHERE key = 7"], "in a form that the program never writes"),
        (
            ["UPDATE contents SET content = 'text' WHERE kind = 'result'"],
            "in a form that the program never writes|changed",
        ),
    ],
)
def test_a_change_behind_its_back_is_found(run: Run, folder: Path, change: list[str], message: str) -> None:
    by_other_means(folder, *change)
    code, out, err = run("audit", "--data", folder)
    assert (code, err) == (1, "")
    assert out.startswith("The ledger does not fit")
    assert re.search(message, out), out


def test_a_guard_that_was_taken_away_or_loosened_is_found(run: Run, folder: Path) -> None:
    with closing(sqlite3.connect(folder / FILE)) as direct:
        direct.execute("DROP TRIGGER deeds_remain")
        direct.execute("DROP TRIGGER contents_stay")
        direct.execute("CREATE TRIGGER contents_stay BEFORE UPDATE ON contents WHEN 0 BEGIN SELECT 1; END")
        direct.commit()
    code, out, _ = run("audit", "--data", folder)
    assert code == 1
    assert "guard contents_stay is missing" in out and "guard deeds_remain is missing" in out


# ---- what shows only against a head that was noted elsewhere


def rewritten(folder: Path) -> None:
    """All digests worked out anew, as somebody who knows the program could."""
    store = open_store(folder)
    made = {}
    with store.reading() as connection:
        previous = FIRST
        for row in connection.execute(table.select().order_by(table.c.key)).all():
            sheet = connection.exec_driver_sql("SELECT id, number FROM sheets WHERE key = ?", (row.sheet,)).one()
            froze = {}
            if row.kind == "handed_over":
                its = frozen_revisions.c.sheet == row.sheet, frozen_revisions.c.revision == row.revision
                froze = dict(digests(connection, connection.execute(frozen_revisions.select().where(*its)).one()))
            last, previous = (
                previous,
                digest_of(
                    previous=previous,
                    id=sheet.id,
                    number=sheet.number if row.revision else "",
                    revision=row.revision,
                    kind=row.kind,
                    at=row.at,
                    note=row.note,
                    frozen=froze,
                ),
            )
            made[row.key] = last, previous
    store.close()
    by_other_means(
        folder,
        *(
            f"UPDATE deeds SET previous = '{last}', digest = '{new}' WHERE key = {key}"
            for key, (last, new) in made.items()
        ),
    )


def cut_off(folder: Path) -> None:
    """The agreement taken out with all that it left; nothing came after it."""
    at = "(SELECT handed_over_at FROM revisions WHERE sheet = 1 AND revision = 2)"
    by_other_means(
        folder,
        "DELETE FROM deeds WHERE kind = 'agreed'",
        f"UPDATE sheets SET state = 'handed_over', changed_at = {at} WHERE key = 1",
    )


@pytest.fixture
def agreed_last(tmp_path: Path) -> Path:
    store = open_store(tmp_path / "data")
    name = written(store)
    over(store, name)
    over(store, name, seen=1, at=minutes(1))
    deeds.record(store, name, 2, "agreed", minutes(2), gold_per_g={})
    store.close()
    return tmp_path / "data"


def test_the_newest_deed_cut_off_shows_against_a_noted_head_alone(run: Run, agreed_last: Path) -> None:
    code, noted, _ = run("audit", "--head", "--data", agreed_last)
    assert code == 0 and re.fullmatch(r"[0-9a-f]{64}\n", noted)
    cut_off(agreed_last)
    assert run("audit", "--data", agreed_last)[0] == 0, "no chain can show it by itself: say so, and note heads"
    code, out, _ = run("audit", "--since", noted.strip(), "--data", agreed_last)
    assert code == 1
    assert f"The head {noted.strip()} is not in the ledger" in out


def test_a_ledger_written_anew_shows_against_a_noted_head_alone(run: Run, folder: Path) -> None:
    noted = run("audit", "--head", "--data", folder)[1].strip()
    by_other_means(
        folder,
        "UPDATE revisions SET offer = '1.00' WHERE sheet = 2",
        "UPDATE sheets SET offer = '1.00', offer_order = 1 WHERE key = 2",
    )
    assert run("audit", "--data", folder)[0] == 1
    rewritten(folder)
    assert run("audit", "--data", folder)[0] == 0
    assert run("audit", "--data", folder, "--since", noted)[0] == 1


def test_a_deed_added_at_the_end_as_the_program_would_never_shows(run: Run, folder: Path) -> None:
    noted = run("audit", "--head", "--data", folder)[1].strip()
    store = open_store(folder)
    name = sheets.by_number(store, "2026-0002").id
    deeds.record(store, name, 1, "agreed", minutes(9), "never said", gold_per_g={})
    store.close()
    code, out, _ = run("audit", "--since", noted, "--data", folder)
    assert code == 0 and "is deed 8 of 9: nothing up to it was changed since." in out
    assert "cannot be told from the program's" in run("audit", "--data", folder)[1]


def test_heads_by_hand_and_by_backup(run: Run, folder: Path, tmp_path: Path) -> None:
    noted = run("audit", "--head", "--data", folder)[1].strip()
    by_hand = " ".join(noted[i : i + 4].upper() for i in range(0, 16, 4))
    assert run("backup", tmp_path / "kept.zip", "--data", folder)[0] == 0
    store = open_store(folder)
    over(store, sheets.by_number(store, "2026-0002").id, seen=1, at=minutes(20))
    store.close()
    code, out, _ = run("audit", "--since", by_hand, "--since", tmp_path / "kept.zip", "--data", folder)
    assert code == 0 and out.count("is deed 8 of 10: nothing up to it was changed since.") == 2
    by_other_means(folder, "UPDATE deeds SET at = '2026-11-25 11:00:00.000000' WHERE key = 8")
    rewritten(folder)
    code, out, _ = run("audit", "--since", tmp_path / "kept.zip", "--data", folder)
    assert code == 1 and "kept.zip is not in the ledger" in out


@pytest.mark.parametrize(
    ("noted", "words"),
    [
        ("abc", "is no head of a ledger"),
        ("x" * 64, "is no head of a ledger"),
        ("f" * 65, "is no head of a ledger"),
        ("", "is no head of a ledger"),
        ("nul\0", "is no head of a ledger"),
    ],
)
def test_what_is_no_head_is_told(run: Run, folder: Path, noted: str, words: str) -> None:
    code, out, err = run("audit", "--since", noted, "--data", folder)
    assert (code, out) == (2, "") and words in err and "lodeworth audit --head" in err


def test_a_file_that_is_no_backup_is_told(run: Run, folder: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.zip"
    other.write_bytes(b"PK no")
    code, out, err = run("audit", "--since", other, "--data", folder)
    assert (code, out) == (2, "") and "is no backup of Lodeworth" in err


def test_a_ledger_with_nothing_in_it(run: Run, tmp_path: Path) -> None:
    open_store(tmp_path).close()
    assert run("audit", "--head", "--data", tmp_path) == (0, FIRST + "\n", "")
    code, out, _ = run("audit", "--since", FIRST, "--data", tmp_path)
    assert code == 0 and "The ledger fits: 0 deeds" in out and "it shows nothing" in out


def test_nothing_kept_and_damage_are_told(run: Run, folder: Path, tmp_path: Path) -> None:
    code, out, err = run("audit", "--data", tmp_path / "nowhere")
    assert (code, out) == (2, "") and "Nothing is kept in" in err
    (folder / FILE).write_bytes(b"not a database" * 1000)
    code, out, err = run("audit", "--data", folder)
    assert (code, out) == (2, "") and "is damaged" in err


# ---- the chain and the clock


def test_the_chain_fits_whatever_the_clock_says(tmp_path: Path) -> None:
    store = open_store(tmp_path)
    first, second = written(store, "1", at=AT), written(store, "2", at=AT - timedelta(days=900))
    over(store, first, at=AT)
    over(store, second, at=AT - timedelta(days=900))
    over(store, first, seen=1, at=AT - timedelta(days=1))
    deeds.record(store, first, 2, "agreed", AT - timedelta(days=2), gold_per_g={})
    assert [deed.kind for deed in deeds.history(store, first)] == [
        "written", "handed_over", "replaced", "handed_over", "agreed",
    ]  # fmt: skip
    assert chain_faults(store) == ()
    assert head(store).deeds == 7
    store.close()


def test_a_backup_says_its_head(tmp_path: Path, folder: Path) -> None:
    store = open_store(folder)
    assert backup.save(store, tmp_path / "kept.zip", AT).head == head(store).digest
    store.close()


# ---- its page


def test_the_page_tells_the_same(tmp_path: Path) -> None:
    busy(tmp_path)
    app = create_app(tmp_path, Settings(locale="en_US", time_zone="America/Denver", data=tmp_path))
    visitor = Visitor(app.test_client())
    page = visitor.open("/sheets")
    page = visitor.open(next(str(a["href"]) for a in page.all("main a") if a.get_text() == "Check the ledger"))
    noted = page.words("code")
    assert noted == head(app.extensions["store"]).digest
    good = visitor.send(page, {"noted": noted[:20].upper()}, "main form")
    assert "The ledger fits: 8 deeds" in good.words(".checked-unchanged") and "is deed 8 of 8" in good.words()
    wrong = visitor.send(page, {"noted": "my cat"}, "main form")
    assert (
        wrong.status == 422
        and "16 to 64 digits" in wrong.words("#p-noted")
        and wrong.field("noted")["value"] == "my cat"
    )
    by_other_means(tmp_path, "UPDATE contents SET content = x'00' WHERE sheet = 2 AND kind = 'seller_pdf'")
    bad = visitor.send(page, {"noted": ""}, "main form")
    assert "2026-0002, revision 1, handed_over" in bad.words(".checked-changed")
    app.extensions["store"].close()
