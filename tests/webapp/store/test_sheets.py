"""Offer sheets: written, numbered without gaps, handed over, revised, agreed; whoever else does the same at once."""

import multiprocessing
import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from tests.webapp.store.sample_sheet import AT, DENVER, frozen, making, minutes, over, written
from webapp.store import (
    AlreadyHandedOver,
    NotAllowed,
    StoreError,
    TextRefused,
    TooLarge,
    UnknownSheet,
    deeds,
    faults,
    open_store,
    revisions,
    sheets,
)
from webapp.store.database import Store
from webapp.store.revisions import Frozen, Numbered

TYPED = [("offer", "4,100"), ("reason", " it's\nso "), ("offer", "")]


def kinds(store: Store, sheet_id: str) -> list[tuple[int, str]]:
    return [(deed.revision, deed.kind) for deed in deeds.history(store, sheet_id)]


# ---- written


def test_a_written_sheet_has_no_number_and_comes_back_as_it_was(store: Store) -> None:
    name = sheets.new(
        store,
        draft_id="d",
        title="Pebble 金",
        description="white\nquartz",
        reference=" book 114 ",
        at=AT,
        entries=TYPED,
    )
    store.close()
    found = sheets.get(open_store(store.file.parent), name)
    assert (found.number, found.revision, found.kept_state, found.offer, found.validity) == (
        None,
        0,
        "written",
        None,
        None,
    )
    assert (found.title, found.description, found.reference) == ("Pebble 金", "white\nquartz", "book 114")
    assert found.entries == tuple(TYPED)
    assert found.written_at == AT
    assert kinds(store, name) == [(0, "written")]


def test_a_draft_has_one_sheet_that_is_only_written(store: Store) -> None:
    first = written(store, "d", title="one")
    sheets.keep_entries(store, first, TYPED, AT)
    assert written(store, "d", title="two", reference="book 2", at=minutes(1)) == first
    there = sheets.get(store, first)
    assert (there.title, there.reference, there.entries, there.written_at) == ("two", "book 2", tuple(TYPED), AT)
    assert kinds(store, first) == [(0, "written")]
    over(store, first)
    second = written(store, "d")
    assert second != first
    assert [sheet.id for sheet in sheets.of_draft(store, "d")] == [second, first]


def test_the_writing_form_is_kept_as_typed_before_and_after_handing_over(store: Store) -> None:
    name = written(store)
    sheets.keep_entries(store, name, TYPED, AT)
    over(store, name)
    assert sheets.get(store, name).entries == tuple(TYPED)
    sheets.keep_entries(store, name, [("offer", "4,200")], minutes(1))
    found = sheets.get(store, name)
    assert (found.entries, found.offer) == ((("offer", "4,200"),), "4100.00")


@pytest.mark.parametrize("bad", ["a\0b", "\ud83d"])
def test_what_cannot_be_kept_is_refused(store: Store, bad: str) -> None:
    name = written(store)
    texts = {"title": "", "description": "", "reference": ""}
    for field in texts:
        with pytest.raises(TextRefused):
            sheets.new(store, draft_id="other", at=AT, **{**texts, field: bad})
    with pytest.raises(TextRefused):
        sheets.keep_entries(store, name, [("offer", bad)], AT)
    with pytest.raises(TextRefused):
        over(store, name, reason=bad)
    with pytest.raises(TooLarge):
        sheets.new(store, draft_id="other", at=AT, **{**texts, "description": "x" * 70_000})
    assert sheets.of_draft(store, "other") == ()
    assert kinds(store, name) == [(0, "written")]


@pytest.mark.parametrize(
    "name", ["", "short", "x" * 22, "a/../b" * 4, "\0" * 20, "\ud800" * 20, "2026-0001", "2026-99999999999"]
)
def test_a_sheet_that_is_not_there(store: Store, name: str) -> None:
    calls: list[Callable[[], object]] = [
        lambda: sheets.get(store, name),
        lambda: sheets.by_number(store, name),
        lambda: sheets.keep_entries(store, name, TYPED, AT),
        lambda: sheets.refer(store, name, "x", AT),
        lambda: over(store, name),
        lambda: revisions.revision(store, name, 1),
        lambda: revisions.papers(store, name, 1),
        lambda: deeds.record(store, name, 1, "agreed", AT, gold_per_g={}),
        lambda: deeds.history(store, name),
    ]
    for call in calls:
        with pytest.raises(UnknownSheet, match="no offer sheet"):
            call()


# ---- handed over


def test_handing_over_freezes_what_was_made_under_a_number(store: Store) -> None:
    name = written(store, reference="book 114")
    made: list[Frozen] = []

    def make(numbered: Numbered) -> Frozen:
        assert numbered == Numbered("2026-0001", 1, None, AT)
        made.append(frozen(numbered, reason="a regular", notes=("a glyph",), stale_price_confirmation="seen"))
        return made[0]

    revision = revisions.hand_over(store, name, make, at=AT, zone=DENVER, expected_revision=0)
    store.close()
    again = open_store(store.file.parent)
    assert revisions.revision(again, name, 1) == revision
    for field in ("title", "description", "offer", "reason", "gold_price", "silver_price", "seed", "price_seen_at"):
        assert getattr(revision, field) == getattr(made[0], field), field
    for field in ("valid_until", "time_zone", "spot_move_frac", "notes", "stale_price_confirmation", "validity"):
        assert getattr(revision, field) == getattr(made[0], field), field
    assert revisions.papers(again, name, 1) == (made[0].seller_pdf, made[0].house_pdf)
    for kind in ("request", "result", "seller", "house"):
        assert revisions.content(again, name, 1, kind) == getattr(made[0], f"{kind}_json").encode()
    sheet = sheets.by_number(again, "2026-0001")
    assert (sheet.id, sheet.title, sheet.offer, sheet.kept_state) == (name, made[0].title, "4100.00", "handed_over")
    assert (sheet.validity, sheet.reference) == (made[0].validity, "book 114")
    assert kinds(again, name) == [(0, "written"), (1, "handed_over")]
    assert faults.chain_faults(again) == ()


def test_a_new_revision_names_the_old_one_and_keeps_the_number(store: Store) -> None:
    name = written(store)
    first = over(store, name)
    second = over(store, name, seen=1, at=minutes(60), offer="4300.50", title="Other")
    assert (second.number, second.revision, second.replaces) == ("2026-0001", 2, 1)
    assert revisions.revision(store, name, 1).replaced
    assert not second.replaced
    assert revisions.papers(store, name, 1) == (b"%PDF seller 2026-0001 1", "%PDF house 2026-0001 1\0\xff".encode())
    assert [r.revision for r in revisions.of_sheet(store, name)] == [2, 1]
    sheet = sheets.get(store, name)
    assert (sheet.revision, sheet.offer, sheet.title, sheet.handed_over_at) == (2, "4300.50", "Other", minutes(60))
    assert kinds(store, name) == [(0, "written"), (1, "handed_over"), (1, "replaced"), (2, "handed_over")]
    assert first.offer == revisions.revision(store, name, 1).offer == "4100.00"
    for missing in (-1, 0, 3, 2**63, 10**30):
        with pytest.raises(UnknownSheet):
            revisions.revision(store, name, missing)


def test_a_making_that_fails_uses_up_no_number(store: Store) -> None:
    name, other = written(store, "a"), written(store, "b")

    def fail(_numbered: Numbered) -> Frozen:
        raise ZeroDivisionError

    before = sheets.get(store, name)
    with pytest.raises(ZeroDivisionError):
        revisions.hand_over(store, name, fail, at=AT, zone=DENVER, expected_revision=0)
    assert sheets.get(store, name) == before
    assert over(store, other).number == "2026-0001"
    assert over(store, name).number == "2026-0002"


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"request_json": '{"specimen":{"seller_reference":"book 114"}}'}, "holds the seller's reference"),
        ({"house_json": '{"a":[{"seller_reference":""}]}'}, "holds the seller's reference"),
        ({"seller_digest": "0" * 64}, "digest"),
        ({"seller_pdf": b""}, "empty"),
        ({"offer": "NaN"}, "no decimal"),
        ({"gold_price": "4,100"}, "no decimal"),
        ({"result_json": "{"}, "delimiter|property name"),
        ({"valid_until": datetime(2026, 12, 1)}, "time zone"),
    ],
)
def test_what_the_program_must_not_freeze(store: Store, changes: dict[str, Any], message: str) -> None:
    name = written(store)
    with pytest.raises(ValueError, match=message):
        over(store, name, **changes)
    assert sheets.get(store, name).number is None
    over(store, name, request_json='{"title":"the \\"seller_reference\\": is a field"}')


# ---- numbers


@pytest.mark.parametrize(
    ("at", "zone", "number"),
    [
        ("2026-12-31T23:59:59-07:00", "America/Denver", "2026-0001"),
        ("2027-01-01T06:59:59+00:00", "America/Denver", "2026-0001"),
        ("2027-01-01T07:00:00+00:00", "America/Denver", "2027-0001"),
        ("2026-12-31T10:00:00+00:00", "Pacific/Kiritimati", "2027-0001"),
        ("2027-01-01T11:59:00+00:00", "Etc/GMT+12", "2026-0001"),
    ],
)
def test_the_year_of_a_number_is_the_shops(store: Store, at: str, zone: str, number: str) -> None:
    """Kiritimati is 14 hours ahead of UTC, Etc/GMT+12 12 hours behind: IANA time zone database."""
    when = datetime.fromisoformat(at)
    made = revisions.hand_over(store, written(store), making(), at=when, zone=ZoneInfo(zone), expected_revision=0)
    assert made.number == number


def test_a_revision_in_another_year_keeps_the_number(store: Store) -> None:
    names = [written(store, str(i)) for i in range(4)]
    for name in names[:2]:
        over(store, name)
    next_year = AT + timedelta(days=60)
    assert over(store, names[2], at=next_year).number == "2027-0001"
    assert over(store, names[0], seen=1, at=next_year).number == "2026-0001"
    assert over(store, names[3], at=next_year).number == "2027-0002"


def test_more_than_9999_in_a_year(store: Store) -> None:
    for i in range(2):
        written(store, str(i))
    with store.writing() as connection:  # as if so many had been handed over
        connection.exec_driver_sql("DROP TRIGGER sheets_numbered")
        connection.exec_driver_sql(
            "UPDATE sheets SET year = 2026, running = 9998, number = '2026-9998', number_order = 20260000009998"
            " WHERE key = 1"
        )
    names = [sheets.of_draft(store, "1")[0].id, *(written(store, str(i)) for i in range(2, 4))]
    assert [over(store, name).number for name in names] == ["2026-9999", "2026-10000", "2026-10001"]
    assert sheets.by_number(store, "2026-10000").id == names[1]
    orders = [o for (o,) in store._engine.connect().exec_driver_sql("SELECT number_order FROM sheets ORDER BY running")]
    assert orders == sorted(orders)


def _hand_over_many(folder: Path, worker: int, count: int) -> None:
    store = open_store(folder)
    for i in range(count):
        over(store, written(store, f"{worker}-{i}"))


def numbers(store: Store) -> list[str]:
    with store.reading() as connection:
        return list(connection.exec_driver_sql("SELECT number FROM sheets ORDER BY number").scalars())


def test_processes_that_hand_over_at_once_leave_no_gap_and_no_double(tmp_path: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    workers = [spawn.Process(target=_hand_over_many, args=(tmp_path, worker, 15)) for worker in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert [worker.exitcode for worker in workers] == [0] * 3
    store = open_store(tmp_path)
    assert numbers(store) == [f"2026-{i:04}" for i in range(1, 46)]
    assert faults.chain_faults(store) == ()


def test_threads_that_hand_over_at_once_leave_no_gap_and_no_double(store: Store) -> None:
    workers = [threading.Thread(target=_hand_over_many, args=(store.file.parent, i, 10)) for i in range(6)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(120)
    assert numbers(store) == [f"2026-{i:04}" for i in range(1, 61)]
    assert faults.chain_faults(store) == ()


def test_two_tabs_that_hand_over_at_once_make_one_revision(store: Store) -> None:
    name = written(store)
    barrier, outcomes = threading.Barrier(6), []

    def tab(i: int) -> None:
        barrier.wait()
        try:
            outcomes.append(over(store, name, offer=f"{4000 + i}.00").offer)
        except AlreadyHandedOver as lost:
            outcomes.append(lost)

    tabs = [threading.Thread(target=tab, args=(i,)) for i in range(6)]
    for thread in tabs:
        thread.start()
    for thread in tabs:
        thread.join(60)
    (won,) = [outcome for outcome in outcomes if isinstance(outcome, str)]
    lost = [outcome for outcome in outcomes if isinstance(outcome, AlreadyHandedOver)]
    assert {(error.number, error.revision, error.handed_over_at) for error in lost} == {("2026-0001", 1, AT)}
    assert len(lost) == 5
    assert "2026-0001 was handed over as revision 1" in str(lost[0])
    assert [revision.offer for revision in revisions.of_sheet(store, name)] == [won]


def test_one_cannot_have_seen_a_revision_that_is_not_there(store: Store) -> None:
    name = written(store)
    with pytest.raises(UnknownSheet):
        over(store, name, seen=1)


# ---- what became of it


def test_agreed_and_settled(store: Store) -> None:
    name = written(store)
    over(store, name)
    deeds.record(store, name, 1, "agreed", minutes(5), "shaken on", gold_per_g={})
    deeds.record(store, name, 1, "settled", minutes(9), '{"paid":"4100.00"}', gold_per_g={})
    assert sheets.get(store, name).kept_state == "settled"
    assert [(deed.kind, deed.note, deed.at) for deed in deeds.history(store, name)[2:]] == [
        ("agreed", "shaken on", minutes(5)),
        ("settled", '{"paid":"4100.00"}', minutes(9)),
    ]


def test_what_a_state_does_not_allow_is_refused_in_words(store: Store) -> None:
    name = written(store)

    def refused(kind: Any, revision: int, at: datetime = AT, gold_per_g: dict[str, float] | None = None) -> str:
        before = sheets.get(store, name), deeds.history(store, name)
        with pytest.raises(NotAllowed) as told:
            deeds.record(store, name, revision, kind, at, gold_per_g=gold_per_g or {})
        assert (sheets.get(store, name), deeds.history(store, name)) == before
        return str(told.value)

    assert "Hand it over first" in refused("agreed", 0)
    over(store, name)
    assert "is handed over and open, so it cannot be settled" in refused("settled", 1)
    assert "cannot be noted as lapsed" in refused("lapsed", 1)
    late = AT + timedelta(days=3, microseconds=1)
    assert "has lapsed, so it cannot be agreed" in refused("agreed", 1, late)
    moved = {"USD": 4100 * 1.0301 / 31.1034768}
    assert "has lapsed, so it cannot be agreed" in refused("agreed", 1, AT, moved)
    deeds.record(store, name, 1, "lapsed", late, gold_per_g={})
    assert "noted already" in refused("lapsed", 1, late)
    assert "has lapsed" in refused("agreed", 1, AT)  # told is told, even if the clock goes back
    over(store, name, seen=1, at=late)
    deeds.record(store, name, 2, "turned_down", late, gold_per_g={})
    assert "was turned down" in refused("agreed", 2, late)
    over(store, name, seen=2, at=late)
    deeds.record(store, name, 3, "agreed", late, gold_per_g={})
    assert "is agreed" in refused("turned_down", 3, late)
    with pytest.raises(NotAllowed, match="What is agreed stays"):
        over(store, name, seen=3)


def test_what_is_told_of_a_replaced_revision_is_refused(store: Store) -> None:
    name = written(store)
    over(store, name)
    over(store, name, seen=1, at=minutes(1))
    with pytest.raises(AlreadyHandedOver):
        deeds.record(store, name, 1, "agreed", minutes(2), gold_per_g={})
    with pytest.raises(TooLarge):
        deeds.record(store, name, 2, "agreed", minutes(2), "x" * 20_000, gold_per_g={})
    deeds.record(store, name, 2, "agreed", minutes(2), gold_per_g={})


def test_a_lapsed_sheet_says_so_without_anything_being_written(store: Store) -> None:
    name = written(store)
    over(store, name)
    sheet = sheets.get(store, name)
    assert sheet.state(AT + timedelta(days=3), {}) == "handed_over"
    assert sheet.state(AT + timedelta(days=3, microseconds=1), {}) == "lapsed"
    assert sheet.state(AT, {"USD": 4223.01 / 31.1034768}) == "lapsed"
    assert sheet.state(AT, {"EUR": 1.0}) == "handed_over"
    assert sheets.get(store, name) == sheet


def test_several_calls_go_together(store: Store) -> None:
    name = written(store)
    with pytest.raises(StoreError), store.writing():  # noqa: PT012
        over(store, name)
        deeds.record(store, name, 1, "agreed", AT, gold_per_g={})
        deeds.record(store, name, 1, "agreed", AT, gold_per_g={})
    assert kinds(store, name) == [(0, "written")]
    assert numbers(store) == [None]
