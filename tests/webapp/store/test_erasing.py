"""A seller's reference is gone from every byte that is kept; the sheets stay as they were handed over."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.webapp.store.sample_sheet import AT, frozen, minutes, over, written
from tests.webapp.store.test_opening import folder_of
from webapp.store import NotAllowed, deeds, drafts, faults, finding, open_store, revisions, sheets
from webapp.store.database import Store
from webapp.store.erasing import FIELD, erase_reference
from webapp.store.opening import FILE
from webapp.store.words import indexed

SECRET = "Zyxwind Qorvath 7719"
# Parts that no other text of the tests holds: as typed, as folded for the search, and endings of words.
TRACES = [b"Zyxwind", b"zyxwind", b"Qorvath", b"qorvath", b"orvath", b"yxwin", b"7719"]


def type_into(store: Store, draft_id: str, text: str) -> None:
    """As a page does: the state after every letter."""
    for i in range(1, len(text) + 1):
        typed = [("title", "Walk-in"), (FIELD, text[:i]), ("note", "kept")]
        drafts.keep(store, draft_id, typed, "Walk-in", minutes(i), kind="quote")


def raw(store: Store) -> bytes:
    store.close()
    return b"".join(file.read_bytes() for file in store.file.parent.iterdir() if not file.name.endswith("-shm"))


def filled(store: Store) -> tuple[str, str, str]:
    """A draft with a sheet of the reference, handed over twice; another sheet of it; a sheet of another seller."""
    draft = "draft-of-the-seller-1"
    type_into(store, draft, SECRET)
    first = written(store, draft, reference=SECRET)
    sheets.keep_entries(store, first, [("offer", "4,100"), (FIELD, SECRET)], AT)
    over(store, first)
    over(store, first, seen=1, at=minutes(1))
    second = written(store, "b", reference=f"  {SECRET.upper()} ")
    other = written(store, "c", reference="book 114")
    over(store, other)
    return first, second, other


def test_nothing_of_a_reference_is_left_in_the_file_or_its_log(store: Store) -> None:
    first, second, other = filled(store)
    before = [revisions.of_sheet(store, first), revisions.papers(store, first, 1), revisions.papers(store, first, 2)]
    there = raw(store)
    assert all(trace in there for trace in TRACES[:2]), "the test would see nothing"
    done = erase_reference(store, SECRET.lower(), minutes(9))
    assert set(done.sheets) == {first, second}
    assert (done.drafts, done.left_in, done.is_wiped) == (1, (), True)
    left = (store.file.parent / f"{FILE}-wal").stat().st_size  # looking at its size opens nothing
    assert left == 0
    assert [trace for trace in TRACES if trace in raw(store)] == []
    assert [
        revisions.of_sheet(store, first),
        revisions.papers(store, first, 1),
        revisions.papers(store, first, 2),
    ] == before
    assert [sheets.get(store, name).reference for name in (first, second, other)] == ["", "", "book 114"]
    assert [deed.kind for deed in deeds.history(store, first)][-1] == "reference_erased"
    assert faults.chain_faults(store) == ()


def test_what_else_was_typed_stays(store: Store) -> None:
    first, _, other = filled(store)
    earlier = len(drafts.earlier(store, "draft-of-the-seller-1"))
    erase_reference(store, SECRET, minutes(9))
    draft = drafts.get(store, "draft-of-the-seller-1")
    assert draft.entries == (("title", "Walk-in"), (FIELD, ""), ("note", "kept"))
    assert draft.revision == len(SECRET) + 1, "a tab that is open is to see that it has not seen this"
    states = [drafts.state(store, draft.id, e.revision) for e in drafts.earlier(store, draft.id)]
    assert len(states) == earlier
    assert {state.entries for state in states} == {draft.entries}
    assert sheets.get(store, first).entries == (("offer", "4,100"), (FIELD, ""))
    found = finding.found(store, finding.Wanted(text="book 114"), AT, {})
    assert [sheet.id for sheet in found.sheets] == [other]
    for text in ("zyx", "7719", "vath"):
        assert finding.found(store, finding.Wanted(text=text), AT, {}).count == 0
    assert finding.found(store, finding.Wanted(text="quartz"), AT, {}).count == 2
    with store.writing() as connection:
        connection.exec_driver_sql("INSERT INTO sheet_words (sheet_words) VALUES ('integrity-check')")


def test_an_open_tab_that_writes_after_the_erasure_is_told(store: Store) -> None:
    filled(store)
    seen, tab = drafts.get(store, "draft-of-the-seller-1").revision, drafts.fresh_id()
    erase_reference(store, SECRET, minutes(9))
    kept = drafts.keep(store, "draft-of-the-seller-1", [("a", "1")], "", AT, seen_revision=seen, writer=tab)
    assert kept.overtook is not None


def test_a_reference_that_replaced_it_stays(store: Store) -> None:
    type_into(store, "draft-of-two-sellers", SECRET)
    drafts.keep(store, "draft-of-two-sellers", [(FIELD, "book 9")], "", AT)
    name = written(store, reference=SECRET)
    sheets.refer(store, name, "book 9", AT)
    erase_reference(store, SECRET, minutes(9))
    assert drafts.get(store, "draft-of-two-sellers").entries == ((FIELD, "book 9"),)
    assert sheets.get(store, name).reference == "book 9"
    assert [trace for trace in TRACES if trace in raw(store)] == []


def test_where_the_same_words_are_left_is_told(store: Store) -> None:
    name = written(store, reference=SECRET)
    over(store, name, title=f"Stone of {SECRET}")
    other = written(store, "other", reference=SECRET)
    over(store, other, reason=f"{SECRET} insisted")
    drafts.keep(store, "draft-with-a-note", [("note", SECRET), (FIELD, SECRET)], "Noted", AT, kind="quote")
    assert erase_reference(store, SECRET, minutes(9)).left_in == ("2026-0001", "2026-0002", "Noted")
    assert erase_reference(store, "7", minutes(9)).left_in == (), "7719 and 2026-0007 hold no 7 as a word"


@pytest.mark.parametrize("blank", ["", " \n "])
def test_no_reference_is_not_every_reference(store: Store, blank: str) -> None:
    filled(store)
    with pytest.raises(NotAllowed, match="Type the reference"):
        erase_reference(store, blank, AT)
    assert erase_reference(store, "somebody else", AT).sheets == ()
    assert drafts.get(store, "draft-of-the-seller-1").entries[1] == (FIELD, SECRET)


def test_while_another_reads_the_log_cannot_be_emptied_and_that_is_told(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webapp.store.database.PRAGMAS", ("PRAGMA busy_timeout = 50",))
    store.close()
    filled(store)
    with closing(sqlite3.connect(store.file, isolation_level=None)) as other:
        other.execute("BEGIN")
        other.execute("SELECT count(*) FROM sheets").fetchone()
        assert not erase_reference(store, SECRET, AT).is_wiped
    assert erase_reference(store, SECRET, AT).is_wiped


def test_what_was_deleted_before_sheets_came_is_written_over_at_the_change_of_layout(tmp_path: Path) -> None:
    """A program of layout 0001 left what it deleted in free pages."""
    folder = folder_of("0001", tmp_path)
    with closing(sqlite3.connect(folder / FILE)) as connection:
        connection.execute("PRAGMA secure_delete = OFF")
        draft = ("gone", "quote", "", 1, "", "2026-01-01", "2026-01-01", None, f'[["{FIELD}","{SECRET} "]]' * 500)
        connection.execute("INSERT INTO drafts VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)", draft)
        connection.commit()
        connection.execute("DELETE FROM drafts WHERE id = 'gone'")
        connection.commit()
    assert SECRET.encode() in (folder / FILE).read_bytes()
    store = open_store(folder)
    assert SECRET.encode() not in raw(store)
    assert drafts.open_drafts(store).count == 2


def test_a_copy_with_the_reference_is_never_frozen(store: Store) -> None:
    name = written(store, reference=SECRET)
    made = revisions.Numbered("2026-0001", 1, None, AT)
    assert SECRET not in repr(frozen(made))
    assert SECRET.split()[0].casefold() in indexed(SECRET.casefold())
    assert sheets.get(store, name).reference == SECRET
