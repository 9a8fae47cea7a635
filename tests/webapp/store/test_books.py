"""Books in the store: versions that stay, names that are unique, and what sheets used."""

from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import exc

from tests.webapp.store.sample_sheet import over, written
from tests.webapp.store.test_opening import folder_of
from webapp.store import TextRefused, books, open_store, sheets
from webapp.store.books import ChangedInBetween, Content, NameTaken, UnknownEntry
from webapp.store.database import Store
from webapp.store.layout import known_layouts

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def content(name: str = "Refiner «1» 金", fee: float = 120.0000000000001) -> Content:
    return Content(name, "USD", "a letter", {"name": name, "payable": [{"from_ozt": 0.0, "frac": 0.95}], "fee": fee})


def test_an_entry_comes_back_as_it_was_kept(store: Store) -> None:
    made = books.add(store, "refiners", content(), NOON)
    assert books.newest(store, "refiners", made.entry) == made
    assert (made.version, made.content, made.kept_at, made.is_retired) == (1, content(), NOON, False)
    assert books.entries(store, "rocks") == ()


def test_an_edit_makes_a_new_version_and_the_old_one_stays(store: Store) -> None:
    made = books.add(store, "refiners", content(), NOON)
    later = NOON + timedelta(days=9)
    changed = books.change(store, "refiners", made.entry, content(fee=130), later, 1)
    assert books.versions(store, "refiners", made.entry) == (changed, made)
    assert (changed.version, changed.kept_at) == (2, later)
    assert books.entries(store, "refiners") == (changed,)


def test_the_same_again_is_no_new_version(store: Store) -> None:
    made = books.add(store, "refiners", content(), NOON)
    assert books.change(store, "refiners", made.entry, content(), NOON + timedelta(days=1), 1) == made


def test_of_two_who_edit_one_wins_and_the_other_is_told(store: Store) -> None:
    made = books.add(store, "refiners", content(), NOON)
    books.change(store, "refiners", made.entry, content(fee=1), NOON, 1)
    with pytest.raises(ChangedInBetween) as told:
        books.change(store, "refiners", made.entry, content(fee=2), NOON, 1)
    assert told.value.newest.content.terms["fee"] == 1
    assert len(books.versions(store, "refiners", made.entry)) == 2


def test_what_is_retired_stays_and_comes_back(store: Store) -> None:
    made = books.add(store, "refiners", content(), NOON)
    gone = books.retire(store, "refiners", made.entry, NOON)
    assert gone.is_retired and gone.content == made.content
    assert books.retire(store, "refiners", made.entry, NOON) == gone
    assert books.offered(store, "refiners") == () and books.entries(store, "refiners") == (gone,)
    assert not books.put_back(store, "refiners", made.entry, NOON).is_retired
    assert [one.version for one in books.versions(store, "refiners", made.entry)] == [3, 2, 1]


def test_names_are_unique_among_those_offered(store: Store) -> None:
    first = books.add(store, "refiners", content("Ore Desk"), NOON)
    for name in ("Ore Desk", "ORE DESK"):
        with pytest.raises(NameTaken):
            books.add(store, "refiners", content(name), NOON)
    books.add(store, "rocks", content("Ore Desk"), NOON)  # another book
    books.retire(store, "refiners", first.entry, NOON)
    second = books.add(store, "refiners", content("ore desk"), NOON)
    with pytest.raises(NameTaken):
        books.put_back(store, "refiners", first.entry, NOON)
    with pytest.raises(NameTaken):
        books.change(store, "refiners", first.entry, content("Ore desk"), NOON, 2)
    assert [one.entry for one in books.offered(store, "refiners")] == [second.entry]
    nameless = [books.add(store, "sales", Content("", "USD", "", {"price": 1}), NOON).entry for _ in range(2)]
    assert [one.entry for one in books.entries(store, "sales")] == nameless


@pytest.mark.parametrize("deed", ["change", "retire", "put_back", "newest", "versions"])
def test_what_is_not_there_is_refused(store: Store, deed: str) -> None:
    made = books.add(store, "refiners", content(), NOON)
    more = {"change": (content(), NOON, 1), "retire": (NOON,), "put_back": (NOON,)}.get(deed, ())
    for book, entry in (("rocks", made.entry), ("refiners", "nothing-of-that-name")):
        with pytest.raises(UnknownEntry):
            getattr(books, deed)(store, book, entry, *more)


def test_a_text_that_cannot_be_kept_keeps_nothing(store: Store) -> None:
    for wrong in (content("a\0b"), content("\ud800"), Content("x", "USD", "a\0", {})):
        with pytest.raises((TextRefused, UnicodeEncodeError)):
            books.add(store, "refiners", wrong, NOON)
    assert books.entries(store, "refiners") == ()


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE book_versions SET terms = '{}'",
        "DELETE FROM book_versions",
        "INSERT OR REPLACE INTO book_versions SELECT * FROM book_versions",
        "INSERT OR REPLACE INTO book_versions SELECT 99, book, entry, version, 'x', currency, source, kept_at,"
        " retired_at, terms FROM book_versions",
        "UPDATE revision_books SET version = 2",
        "DELETE FROM revision_books",
        "INSERT OR REPLACE INTO revision_books SELECT sheet, revision, place, entry, 1 FROM revision_books",
        "INSERT INTO revision_books SELECT sheet, revision, 'other', entry, 77 FROM revision_books",
    ],
)
def test_what_was_kept_never_changes_whatever_is_tried(store: Store, statement: str) -> None:
    made, sheet = books.add(store, "refiners", content(), NOON), written(store, "a")
    over(store, sheet)
    books.remember(store, sheet, 1, [("refiner", made)])
    with pytest.raises(exc.IntegrityError), store.writing() as connection:
        connection.exec_driver_sql(statement)
    assert books.versions(store, "refiners", made.entry) == (made,)
    assert books.used_by(store, sheet, 1) == (("refiner", made),)


def test_a_sheet_remembers_the_version_that_it_used(store: Store) -> None:
    made, sheet = books.add(store, "refiners", content(), NOON), written(store, "a")
    over(store, sheet)
    books.remember(store, sheet, 1, [("refiner", made)])
    books.change(store, "refiners", made.entry, content(fee=1), NOON, 1)
    books.retire(store, "refiners", made.entry, NOON)
    assert books.used_by(store, sheet, 1) == (("refiner", made),)
    assert books.sheets_using(store, made.entry) == 1
    assert books.used_by(store, written(store, "b"), 1) == ()


@pytest.mark.parametrize("layout", [layout for layout in known_layouts() if layout >= "0004"])
def test_books_of_an_earlier_layout_are_brought_up(tmp_path_factory: pytest.TempPathFactory, layout: str) -> None:
    store = open_store(folder_of(layout, tmp_path_factory.mktemp("folder")))
    at = datetime(2026, 1, 7, 8, 0, 0, 123456, tzinfo=UTC)
    (refiner,) = books.offered(store, "refiners")
    terms = {"name": "Demo refiner – 金", "payable": [{"from_ozt": 0.0, "frac": 0.96}], "assay_fee": 120.0}
    assert refiner.content == Content("Demo refiner – 金", "USD", "", terms)
    assert [(one.version, one.kept_at) for one in books.versions(store, "refiners", refiner.entry)] == [
        (2, at),
        (1, at),
    ]
    (rock,) = books.entries(store, "rocks")
    assert (rock.retired_at, rock.content.source) == (at, "weighed here, it's so")
    assert books.used_by(store, sheets.by_number(store, "2026-0001").id, 2) == (("refiner", refiner),)
