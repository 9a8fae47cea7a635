"""Quotes in progress: kept as typed, whoever else writes."""

import dataclasses
import multiprocessing
import threading
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy.exc import StatementError

from webapp.store import TextRefused, TooLarge, UnknownDraft, drafts, open_store, states
from webapp.store.database import Store
from webapp.store.entries import LARGEST

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
TYPED = [("weighing.dry_g", "412.55"), ("weighing.dry_g", ""), ("title", "Pebble"), ("weighing.dry_g", " 412.6 ")]
A, B = drafts.fresh_id(), drafts.fresh_id()


def minutes(count: int) -> datetime:
    return AT + timedelta(minutes=count)


def text_of(draft: drafts.Draft | drafts.State) -> str:
    return draft.entries[0][1]


# ---- as typed


@pytest.mark.parametrize(
    "text",
    [
        "",
        " \t leading, trailing and only blanks  ",
        "line one\nline two\r\nline three\rline four",
        "1,234.50 \u00a0\u202f١٢٣",
        "\u202eright to left\u202c שלום مرحبا",
        "👩🏽‍🔬🪨 \U0001f3f4\U000e0067\U000e0062\U000e007f",
        "e\u0301 and \u00e9 stay two things",
        "'; DROP TABLE drafts; -- \" \\ \\u0000 %s :x ?",
        '<script>alert("x")</script> {{ 7*7 }} ]]>',
        "\x01\x08\x1b\x7f\x85\u2028\u2029\ufeff\ufffe\uffff\U0010ffff",
        "9" * 200_000,
        "金" * 66_000,
    ],
    ids=lambda text: ascii(text[:12]),
)
def test_texts_come_back_as_typed(store: Store, text: str) -> None:
    typed = [("note", text), ("title", "x"), ("note", text[:1000])]
    made = drafts.new(store, "quote", typed, text, AT)
    store.close()
    found = drafts.get(open_store(store.file.parent), made.id)
    assert found == made
    assert list(found.entries) == typed
    assert found.title == text[:200]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(
        st.tuples(
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20),
            st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0")),
        )
    )
)
def test_any_form_comes_back_as_typed(store: Store, typed: list[tuple[str, str]]) -> None:
    made = drafts.new(store, "ask", typed, "", AT)
    assert list(drafts.get(store, made.id).entries) == typed


@pytest.mark.parametrize(("bad", "word"), [("a\0b", "NUL"), ("\ud83d", "half a character")])
@pytest.mark.parametrize("place", ["name", "text", "title"])
def test_what_cannot_be_kept_is_refused_and_changes_nothing(store: Store, bad: str, word: str, place: str) -> None:
    made = drafts.new(store, "quote", TYPED, "Pebble", AT)
    pair = {"name": (bad, "1"), "text": ("note", bad)}.get(place, ("note", "1"))
    with pytest.raises(TextRefused, match=word) as refused:
        drafts.keep(store, made.id, [pair], bad if place == "title" else "Pebble", minutes(1))
    assert refused.value.field == {"name": bad, "text": "note"}.get(place, "")
    assert drafts.get(store, made.id) == made
    assert drafts.earlier(store, made.id) == ()


def test_the_limit_is_on_all_texts_together_and_exact(store: Store) -> None:
    fits = [("a", "x" * 1000), ("b", "é" * ((LARGEST - 1000 - 2 * 3) // 2))]
    made = drafts.new(store, "quote", fits, "", AT)
    assert list(drafts.get(store, made.id).entries) == fits
    with pytest.raises(TooLarge, match="at most 256 kB of text; this one comes to 257 kB"):
        drafts.keep(store, made.id, [*fits, ("c", "")], "", minutes(1))
    assert list(drafts.get(store, made.id).entries) == fits


def test_moments_come_back_in_utc_whatever_their_zone(store: Store) -> None:
    there = datetime(2026, 3, 1, 1, 2, 3, 456789, tzinfo=timezone(timedelta(hours=5, minutes=45)))
    made = drafts.new(store, "quote", TYPED, "", there)
    drafts.close(store, made.id, there)
    found = drafts.get(store, made.id)
    assert found.created_at == found.changed_at == found.closed_at == there
    assert found.created_at.tzinfo is UTC
    with pytest.raises(StatementError, match="time zone"):
        drafts.new(store, "quote", TYPED, "", datetime(2026, 3, 1))


# ---- one tab


def test_each_change_makes_a_revision_and_an_earlier_state(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "1")], "one", AT)
    assert drafts.keep(store, made.id, [("a", "2")], "two", minutes(1), seen_revision=1) == drafts.Kept(2)
    assert drafts.keep(store, made.id, [("a", "3")], "three", minutes(2)) == drafts.Kept(3)
    now = drafts.get(store, made.id)
    assert (text_of(now), now.title, now.revision, now.changed_at) == ("3", "three", 3, minutes(2))
    assert drafts.earlier(store, made.id) == (
        drafts.Earlier(2, "two", minutes(1), False),
        drafts.Earlier(1, "one", AT, False),
    )
    assert text_of(drafts.state(store, made.id, 1)) == "1"


def test_the_same_texts_again_change_nothing_but_the_title(store: Store) -> None:
    made = drafts.new(store, "quote", TYPED, "Pebble", AT)
    assert drafts.keep(store, made.id, TYPED, "Stone", minutes(5)) == drafts.Kept(1)
    assert drafts.get(store, made.id) == dataclasses.replace(made, title="Stone")
    assert drafts.keep(store, made.id, TYPED[::-1], "Stone", minutes(5)) == drafts.Kept(2)


def test_a_form_sent_twice_makes_one_draft(store: Store) -> None:
    name = drafts.fresh_id()
    for text in ("4", "41"):  # the answer to the first was lost
        drafts.keep(store, name, [("a", text)], "", AT, seen_revision=0, writer=A, kind="quote")
    assert [draft.id for draft in drafts.open_drafts(store).drafts] == [name]
    assert text_of(drafts.get(store, name)) == "41"
    assert drafts.keep(store, name, [("a", "412")], "", AT, seen_revision=0, writer=A, kind="ask").overtook is None
    assert drafts.get(store, name).kind == "quote"


@pytest.mark.parametrize("name", ["", "short", "x" * 22, "x" * 65, "a/../b" * 4, "\0" * 20, "\ud800" * 20, "é" * 20])
def test_a_draft_that_is_not_there(store: Store, name: str) -> None:
    calls: list[Callable[[], object]] = [
        lambda: drafts.get(store, name),
        lambda: drafts.earlier(store, name),
        lambda: drafts.state(store, name, 1),
        lambda: drafts.close(store, name, AT),
        lambda: drafts.reopen(store, name),
        lambda: drafts.turn_into(store, name, "ask"),
        lambda: drafts.keep(store, name, TYPED, "", AT),
    ]
    for call in calls:
        with pytest.raises(UnknownDraft, match="no quote in progress"):
            call()
    if name != "x" * 22:
        with pytest.raises(UnknownDraft):
            drafts.keep(store, name, TYPED, "", AT, kind="quote")
    assert drafts.open_drafts(store).count == 0


@pytest.mark.parametrize("revision", [-1, 0, 1, 3, 2**63, 10**30])
def test_a_state_that_is_not_there(store: Store, revision: int) -> None:
    made = drafts.new(store, "quote", TYPED, "", AT)
    with pytest.raises(UnknownDraft, match=str(revision)):
        drafts.state(store, made.id, revision)


def test_history_is_bounded_and_holds_no_state_twice(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "0")], "", AT)
    for i in range(1, 80):
        drafts.keep(store, made.id, [("a", str(i))], "", minutes(i))
    assert [e.revision for e in drafts.earlier(store, made.id)] == list(range(79, 79 - states.MOST, -1))
    for i in range(20):
        drafts.keep(store, made.id, [("a", "back" if i % 2 else "forth")], "", minutes(100 + i))
    texts = [text_of(drafts.state(store, made.id, e.revision)) for e in drafts.earlier(store, made.id)]
    assert len(texts) == len(set(texts)) == states.MOST
    assert texts[:3] == ["forth", "back", "79"]


# ---- two tabs


def test_the_last_writer_wins_and_is_told_whom_it_overtook(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "start")], "", AT, writer=A)
    assert drafts.keep(store, made.id, [("a", "from A")], "", minutes(1), seen_revision=1, writer=A).overtook is None
    told = drafts.keep(store, made.id, [("a", "from B")], "", minutes(2), seen_revision=1, writer=B)
    assert told == drafts.Kept(3, drafts.Earlier(2, "", minutes(1), True))
    assert text_of(drafts.get(store, made.id)) == "from B"
    assert text_of(drafts.state(store, made.id, 2)) == "from A"
    # B now knows; A does not yet.
    assert drafts.keep(store, made.id, [("a", "B again")], "", minutes(3), seen_revision=3, writer=B).overtook is None
    told = drafts.keep(store, made.id, [("a", "A again")], "", minutes(4), seen_revision=2, writer=A)
    assert told.overtook == drafts.Earlier(4, "", minutes(3), True)


def test_a_tab_whose_answers_were_lost_overtakes_nobody(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "4")], "", AT, writer=A)
    for i, text in enumerate(("41", "412", "412.5"), 2):
        kept = drafts.keep(store, made.id, [("a", text)], "", minutes(i), seen_revision=1, writer=A)
        assert kept == drafts.Kept(i)
    assert not any(e.overtaken for e in drafts.earlier(store, made.id))


def test_what_was_overtaken_is_told_until_an_answer_arrives(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "start")], "", AT, writer=A)
    drafts.keep(store, made.id, [("a", "from B")], "", minutes(1), seen_revision=1, writer=B)
    for text in ("from A", "from A", "from A, more"):  # as when the page gives up on an answer
        kept = drafts.keep(store, made.id, [("a", text)], "", minutes(2), seen_revision=1, writer=A)
        assert kept.overtook == drafts.Earlier(2, "", minutes(1), True)
    told = drafts.keep(store, made.id, [("a", "on")], "", minutes(3), seen_revision=kept.revision, writer=A)
    assert told.overtook is None


@pytest.mark.parametrize("writer", ["", "short", "\0" * 20, "\ud800" * 20, "x" * 100_000])
def test_tabs_without_a_name_are_taken_for_different_ones(store: Store, writer: str) -> None:
    made = drafts.new(store, "quote", [("a", "1")], "", AT, writer=writer)
    drafts.keep(store, made.id, [("a", "2")], "", minutes(1), seen_revision=1, writer=writer)
    told = drafts.keep(store, made.id, [("a", "3")], "", minutes(2), seen_revision=1, writer=writer)
    assert told.overtook == drafts.Earlier(2, "", minutes(1), True)


@pytest.mark.parametrize("seen", [-5, 99, 10**30])
def test_a_revision_that_cannot_have_been_seen_counts_as_none(store: Store, seen: int) -> None:
    made = drafts.new(store, "quote", [("a", "1")], "", AT, writer=A)
    told = drafts.keep(store, made.id, [("a", "2")], "", minutes(1), seen_revision=seen, writer=B)
    assert told.overtook == drafts.Earlier(1, "", AT, True)


def test_fast_typing_does_not_push_out_what_was_overtaken(store: Store) -> None:
    made = drafts.new(store, "quote", [("a", "start")], "", AT, writer=A)
    drafts.keep(store, made.id, [("a", "a long note in B")], "", minutes(1), seen_revision=1, writer=B)
    for i in range(3 * states.MOST):
        drafts.keep(store, made.id, [("a", str(i))], "", minutes(2), seen_revision=1, writer=A)
    overtaken = [e.revision for e in drafts.earlier(store, made.id) if e.overtaken]
    assert [text_of(drafts.state(store, made.id, revision)) for revision in overtaken] == ["a long note in B"]


# ---- the list


def test_the_list_has_the_last_changed_first_without_the_closed(store: Store) -> None:
    one, two, three = (drafts.new(store, "quote", [("a", str(i))], str(i), minutes(i)) for i in range(3))
    drafts.keep(store, one.id, [("a", "x")], "0", minutes(9))
    drafts.close(store, three.id, minutes(10))
    page = drafts.open_drafts(store)
    assert [draft.id for draft in page.drafts] == [one.id, two.id]
    assert (page.count, page.last) == (2, 1)
    drafts.reopen(store, three.id)
    assert drafts.open_drafts(store).count == 3
    assert drafts.get(store, three.id) == three


def test_pages_hold_every_draft_once(store: Store) -> None:
    names = {drafts.new(store, "ask", TYPED, "", minutes(i // 3)).id for i in range(2 * drafts.PER_PAGE)}
    first, second, third = (drafts.open_drafts(store, page) for page in (1, 2, 3))
    assert (len(first.drafts), len(second.drafts), len(third.drafts)) == (50, 50, 0)
    assert {draft.id for draft in (*first.drafts, *second.drafts)} == names
    assert first.drafts[0].changed_at > second.drafts[-1].changed_at
    assert first.last == third.last == 2


@pytest.mark.parametrize("page", [-1, 0, 2, 10**30])
def test_a_page_that_is_not_there_is_empty(store: Store, page: int) -> None:
    drafts.new(store, "quote", TYPED, "", AT)
    assert drafts.open_drafts(store, page).drafts == ()


def test_an_empty_list(store: Store) -> None:
    assert drafts.open_drafts(store) == drafts.Page((), 1, 0)
    assert drafts.open_drafts(store).last == 1


def test_a_closed_draft_still_takes_what_is_typed_and_stays_closed(store: Store) -> None:
    made = drafts.new(store, "quote", TYPED, "", AT)
    drafts.close(store, made.id, minutes(1))
    drafts.close(store, made.id, minutes(2))
    assert drafts.keep(store, made.id, [("a", "late")], "", minutes(3)) == drafts.Kept(2, closed=True)
    found = drafts.get(store, made.id)
    assert (text_of(found), found.closed_at) == ("late", minutes(1))


def test_an_ask_turns_into_a_quote_and_back_with_its_texts(store: Store) -> None:
    made = drafts.new(store, "ask", TYPED, "Pebble", AT)
    drafts.turn_into(store, made.id, "quote")
    assert drafts.get(store, made.id) == dataclasses.replace(made, kind="quote")
    drafts.turn_into(store, made.id, "ask")
    assert drafts.get(store, made.id) == made


# ---- several at once


def test_threads_that_write_different_drafts_and_one_together(store: Store) -> None:
    shared = drafts.new(store, "quote", [("a", "start")], "", AT).id
    own = [drafts.new(store, "quote", [("a", "start")], "", AT).id for _ in range(4)]
    faults: list[BaseException] = []
    revisions: list[int] = []

    def type_into(mine: str) -> None:
        try:
            tab = drafts.fresh_id()
            for i in range(20):
                drafts.keep(store, mine, [("a", f"{mine} {i}")], "", AT, writer=tab, seen_revision=1)
                kept = drafts.keep(store, shared, [("a", f"{mine} {i}")], "", AT, writer=tab, seen_revision=1)
                revisions.append(kept.revision)
        except BaseException as fault:
            faults.append(fault)

    threads = [threading.Thread(target=type_into, args=(mine,)) for mine in own]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not faults
    assert sorted(revisions) == list(range(2, 82))
    assert [text_of(drafts.get(store, mine)) for mine in own] == [f"{mine} 19" for mine in own]


def _type_from_another_process(folder: Path, shared: str, word: str) -> None:
    store = open_store(folder)
    tab = drafts.fresh_id()
    for i in range(20):
        drafts.keep(store, shared, [("a", f"{word} {i}")], "", AT, writer=tab, seen_revision=1)
        drafts.new(store, "quote", [("a", f"{word} {i}")], word, AT)


def test_processes_that_write_at_once_lose_nothing(tmp_path: Path) -> None:
    spawn = multiprocessing.get_context("spawn")
    name = drafts.fresh_id()
    store, _second = open_store(tmp_path), open_store(tmp_path)  # opening again must not drop the first one's locks
    drafts.keep(store, name, [("a", "start")], "", AT, kind="quote")
    words = ("left", "right")
    writers = [spawn.Process(target=_type_from_another_process, args=(tmp_path, name, word)) for word in words]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join(60)
    assert [writer.exitcode for writer in writers] == [0, 0]
    assert drafts.get(store, name).revision == 41
    states_held = [text_of(drafts.state(store, name, e.revision)) for e in drafts.earlier(store, name)]
    last = text_of(drafts.get(store, name))
    assert {f"{word} {i}" for word in words for i in range(20)} <= {*states_held, last}
    assert drafts.open_drafts(store).count == 41
