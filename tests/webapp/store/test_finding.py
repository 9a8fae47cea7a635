"""Sheets found by parts of words in any script, by state and date, in order, page by page; whatever is typed."""

import random
from datetime import datetime, timedelta
from itertools import product

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.webapp.store.sample_sheet import AT, minutes, over, written
from webapp.sheet_life import STATES, price_per_g
from webapp.store import deeds, finding, sheets
from webapp.store.database import Store
from webapp.store.finding import LAST, PER_PAGE, Found, Wanted, found
from webapp.store.words import asked, folded

PRICES = {"USD": 4100 / 31.1034768}


def ids(store: Store, wanted: Wanted, now: datetime = AT, prices: dict[str, float] = PRICES) -> list[str]:
    """All pages, one after the other; each looked at for what it says of itself."""
    pages = [found(store, wanted, now, prices)]
    while pages[-1].next:
        pages.append(found(store, wanted, now, prices, pages[-1].next))
    back = [found(store, wanted, now, prices, LAST)]
    while back[-1].previous:
        back.append(found(store, wanted, now, prices, back[-1].previous))
    forwards = [sheet.id for page in pages for sheet in page.sheets]
    assert forwards == [sheet.id for page in reversed(back) for sheet in page.sheets]
    seen = 0
    for page in pages:
        assert page.first == (seen + 1 if page.sheets else None)
        seen += len(page.sheets)
        assert page.count == seen or page.next or not page.is_counted
    assert pages[0].previous is None
    return forwards


# ---- words

TEXTS = {
    "quartz": "Walk-in: fist-sized vein quartz",
    "accents": "Crème brûlée Øresund Łódź Straße ﬁne",
    "cjk": "金鉱石の標本 白石英",
    "korean": "금광석 표본",
    "arabic": "حَجَر فيه ذهب ١٢٣",
    "greek": "Χαλαζίας ΧΡΥΣΌΣ",
    "emoji": "🪨 in a box 👩🏽‍🔬",
    "figures": "412.95 g, lot 7/88, 1,204 in stock",
    "long": "x" * 30 + "end" + "y" * 30,
    "signs": '50% "leaf" AND (gold) NOT *wire* ^col: -x a\'b c;d {e} [f] \\g C++ C#',
}


@pytest.fixture
def found_by(store: Store) -> dict[str, str]:
    """Sheets of these titles, not handed over, by name; and one by its number, description and reference."""
    names = {name: written(store, f"draft {name}", title=title) for name, title in TEXTS.items()}
    all_of_it = written(store, "draft of all", reference="Book 114, Müller")
    over(store, all_of_it, title="Pebble", description="milky, with a rusty seam")
    return {sheet_id: name for name, sheet_id in names.items()} | {all_of_it: "all"}


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("quartz", {"quartz"}),
        ("UART", {"quartz"}),
        ("q", {"quartz"}),
        ("vein fist", {"quartz"}),
        ("fist-sized", {"quartz"}),
        ("vein nothing", set()),
        ("creme", {"accents"}),
        ("BRÛLÉE", {"accents"}),
        ("oresund lodz", {"accents"}),
        ("strasse fine", {"accents"}),
        ("石", {"cjk"}),
        ("鉱石", {"cjk"}),
        ("白石英", {"cjk"}),
        ("광석", {"korean"}),
        ("حجر", {"arabic"}),
        ("123", {"arabic"}),
        ("χρυσος", {"greek"}),
        ("🪨", {"emoji"}),
        ("412.95", {"figures"}),
        ("7/88 1,204", {"figures"}),
        ("xend", {"long"}),
        ("x" * 30 + "end" + "y" * 30, {"long"}),
        ("x" * 30 + "end" + "y" * 29, {"long"}),
        ("x" * 31 + "end", set()),
        ("x" * 30 + "e" + "y" * 30, set()),
        ("c++", {"signs"}),
        ("2026-0001", {"all"}),
        ("0001", {"all"}),
        ("2026-00", {"all"}),
        ("26-000", {"all"}),
        ("2026-0002", set()),
        ("rusty pebble", {"all"}),
        ("muller 114", {"all"}),
        ("book pebble seam 2026", {"all"}),
        ("", set(TEXTS) | {"all"}),
        ("   ", set(TEXTS) | {"all"}),
        ("'\"()", set()),
    ],
)
def test_found_by_any_part_of_every_word(store: Store, found_by: dict[str, str], text: str, names: set[str]) -> None:
    assert {found_by[sheet] for sheet in ids(store, Wanted(text=text))} == names


HOSTILE = [
    '"', '""', "'", "*", "^", "-", "--", ":", "words:", "words: x", "rowid:1", "AND", "OR", "NOT", "NEAR(a b)", "a AND",
    "(a", "a)", '"a', 'a"b', "a*b", "{a b}:c", "+a", "a + b", "sheet_words", "%", "_", "\\", "\0", "a\0b", "\ud800",
    "\udfff a", "' OR 1=1 --", "; DROP TABLE sheets; --", "?", ":words", "\u202e", "\ue000\ue001", "x" * 100_000,
    "a " * 50_000, "e\u0301" * 500,
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: ascii(text[:12]))
def test_no_text_is_a_command(store: Store, found_by: dict[str, str], text: str) -> None:
    ids(store, Wanted(text=text))
    assert len(ids(store, Wanted())) == len(found_by)


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=40),
    st.integers(0, 40),
    st.integers(1, 40),
)
def test_every_part_of_a_title_finds_it_whatever_its_script(store: Store, title: str, start: int, length: int) -> None:
    name = sheets.new(store, draft_id=f"draft {title}", title=title, description="", reference="", at=AT)
    words = folded(title)
    part = words[start : start + length]
    if asked(part):
        assert name in ids(store, Wanted(text=part))
    assert found(store, Wanted(text=title), AT, {}).count >= bool(asked(title))


def test_what_very_many_sheets_hold_is_found_the_same(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Over `FEW` sheets the way of finding is another; the outcome is not."""
    chance = random.Random(7)
    with store.writing():
        for i in range(160):
            title = " ".join(chance.choices(["quartz", "vein", "leaf", "x" * 30 + "y"], k=2))
            name = written(store, str(i), title=title, at=minutes(i))
            if i % 3:
                over(store, name, at=minutes(i), title=title, offer=f"{chance.randint(1, 40)}.00")
    cases = [
        Wanted(text, states, since, since and minutes(130), order, descending)
        for text, states, since, order, descending in product(
            ("quartz", "ein", "quartz leaf", "x" * 28, ""),
            ((), ("handed_over",)),
            (None, minutes(20)),
            finding._ORDERS,
            (True, False),
        )
    ]
    few = [ids(store, wanted) for wanted in cases]
    monkeypatch.setattr(finding, "FEW", 5)
    monkeypatch.setattr(finding, "_HOLDING", finding.text(str(finding._HOLDING).replace("4001", "6")))
    assert [ids(store, wanted) for wanted in cases] == few
    assert max(map(len, few)) > 2 * PER_PAGE > min(map(len, few)) > 0
    monkeypatch.setattr(finding, "COUNTED", 60)
    many = Wanted("quartz", ("written", "handed_over"))
    assert ids(store, many) == few[0]
    page = found(store, many, AT, {})
    assert (page.count, page.is_counted) == (60, False)
    assert found(store, many, AT, {}, LAST).first is None


# ---- states and dates


def test_each_state_is_found_as_it_is_now(store: Store) -> None:
    now, later = AT, AT + timedelta(days=3, microseconds=1)
    names: dict[str, str] = {}
    for state in ("written", "open", "agreed", "turned_down", "noted", "settled", "euro", "no move"):
        names[state] = written(store, state)
    for state, name in names.items():
        if state != "written":
            over(
                store,
                name,
                currency="EUR" if state == "euro" else "USD",
                spot_move_frac=None if state == "no move" else "0.03",
            )
    for state in ("agreed", "settled"):
        deeds.record(store, names[state], 1, "agreed", now, gold_per_g={})
    deeds.record(store, names["settled"], 1, "settled", now, gold_per_g={})
    deeds.record(store, names["turned_down"], 1, "turned_down", now, gold_per_g={})
    deeds.record(store, names["noted"], 1, "lapsed", later, gold_per_g={})
    low, high = (4100 * move / 31.1034768 for move in (0.9699, 1.0301))
    cases = [
        (now, {}, {"open", "euro", "no move"}),
        (AT + timedelta(days=3), {}, {"open", "euro", "no move"}),
        (later, {}, set()),
        (now, {"USD": low}, {"euro", "no move"}),
        (now, {"USD": high}, {"euro", "no move"}),
        (now, {"EUR": high, "USD": 4100 / 31.1}, {"open", "no move"}),
        (now, {"EUR": high, "USD": low, "CHF": 1.0}, {"no move"}),
        (later, {"USD": 4100 / 31.1}, set()),
    ]
    for moment, prices, still_open in cases:
        for states in [(), *((state,) for state in STATES), ("handed_over", "lapsed"), ("agreed", "lapsed"), STATES]:
            there = set(ids(store, Wanted(states=states), moment, prices))
            told = {
                name for name in names.values() if not states or sheets.get(store, name).state(moment, prices) in states
            }
            assert there == told, (moment, prices, states)
        assert set(ids(store, Wanted(states=("handed_over",)), moment, prices)) == {
            names[state] for state in still_open
        }


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.decimals("0.0001", "99999", places=4),
    st.decimals("0.0001", "0.9", places=4),
    st.sampled_from(["ozt", "g", "kg", "tola"]),
    st.sampled_from([-1, 1]),
    st.integers(-1, 1),
)
def test_the_list_and_the_sheet_never_differ_on_a_move(store: Store, price, move, unit, sign, step) -> None:  # type: ignore[no-untyped-def]
    newest = price_per_g(price * (1 + sign * move) + step * price / 10_000_000, unit)
    if newest <= 0:
        return
    name = written(store, f"{price} {move} {unit} {sign} {step} {random.random()}")
    over(store, name, gold_price=str(price), spot_move_frac=str(move), spot_unit=unit)
    state = sheets.get(store, name).state(AT, {"USD": newest})
    assert state == ("lapsed" if step * sign > 0 else "handed_over")
    assert (name in ids(store, Wanted(states=(state,)), AT, {"USD": newest})) is True


def test_dates_are_of_the_newest_handing_over_and_half_open(store: Store) -> None:
    a, b, c = (written(store, str(i), at=minutes(i)) for i in range(3))
    over(store, b, at=minutes(10))
    over(store, c, at=minutes(11))
    over(store, c, seen=1, at=minutes(20))
    assert ids(store, Wanted()) == [c, b, a]
    assert ids(store, Wanted(since=minutes(10))) == [c, b]
    assert ids(store, Wanted(since=minutes(10), until=minutes(20))) == [b]
    assert ids(store, Wanted(until=minutes(10))) == [a]


# ---- order and pages


def test_each_order_both_ways(store: Store) -> None:
    made = [("Émile", "900.00"), ("alpha", "12000.5"), ("Zebra", "1000"), ("beta", None)]
    names = {}
    for i, (title, offer) in enumerate(made):
        names[title] = written(store, title, title=title, at=minutes(i))
        if offer:
            over(store, names[title], title=title, offer=offer, at=minutes(i))
    orders = {
        "date": ["Émile", "alpha", "Zebra", "beta"],
        "number": ["Émile", "alpha", "Zebra", "beta"],
        "title": ["alpha", "beta", "Émile", "Zebra"],
        "offer": ["beta", "Émile", "Zebra", "alpha"],
    }
    for order, titles in orders.items():
        due = [names[title] for title in titles]
        assert ids(store, Wanted(order=order, descending=False)) == due, order  # type: ignore[arg-type]
        assert ids(store, Wanted(order=order)) == due[::-1], order  # type: ignore[arg-type]


@pytest.mark.parametrize("count", [0, 1, PER_PAGE, PER_PAGE + 1, 2 * PER_PAGE, 2 * PER_PAGE + 7])
@pytest.mark.parametrize("text", ["", "walk"])
def test_pages_hold_every_sheet_once(store: Store, count: int, text: str) -> None:
    with store.writing():
        names = [written(store, str(i), at=minutes(i // 3)) for i in range(count)]
    assert ids(store, Wanted(text=text)) == names[::-1]
    assert ids(store, Wanted(text=text, order="title", descending=False)) == names


def test_a_sheet_that_comes_meanwhile_makes_none_come_twice(store: Store) -> None:
    with store.writing():
        names = [written(store, str(i), at=minutes(i)) for i in range(PER_PAGE + 10)]
    first = found(store, Wanted(), AT, {})
    written(store, "new", at=minutes(1000))
    assert first.next
    second = found(store, Wanted(), AT, {}, first.next)
    assert [sheet.id for sheet in (*first.sheets, *second.sheets)] == names[::-1]


@pytest.mark.parametrize(
    "place",
    ["", "x", "first", "=", "\0", "\ud800", "é", "W10", "bnVsbA", "WzEsWzEsMV0sMSwxXQ", "A" * 5000, "W1tb" * 30_000,
     str(finding._Place(False, ("2026", 10**30), 1, 1)), str(finding._Place(False, (10**30, 1), 1, 1)),
     str(finding._Place(False, (float("inf"), 1), 1, 1)), str(finding._Place(True, (1, 1), 10**30, 1))],
    ids=lambda place: ascii(place[:12]),
)  # fmt: skip
@pytest.mark.parametrize("order", ["date", "number", "title", "offer"])
def test_a_place_that_was_never_told_is_the_first_page(store: Store, place: str, order: finding.Order) -> None:
    name = written(store)
    assert [sheet.id for sheet in found(store, Wanted(order=order), AT, {}, place).sheets] == [name]


def test_a_place_beyond_all_is_an_empty_page(store: Store) -> None:
    written(store)
    beyond = str(finding._Place(False, ("1900", 1), 7, 1))
    assert found(store, Wanted(), AT, {}, beyond) == Found((), 1, True, None, None, None)
