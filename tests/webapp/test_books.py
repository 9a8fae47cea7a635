"""The books: their pages, their use in quotes and sheets, without scripts."""

from datetime import UTC, datetime
from io import BytesIO

import pytest

from tests.webapp.conftest import Page, Visitor
from valuation import materials
from webapp.book_kinds import BOOKS
from webapp.book_table import template
from webapp.store import books
from webapp.store.books import Content, Version
from webapp.store.database import Store

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
TERMS = {
    "name": "Ore Desk (invented)",
    "payable": [{"from_ozt": 0.0, "frac": 0.93}, {"from_ozt": 5.0, "frac": 0.965}],
    "assay_fee": 77.5,
    "recovery_frac": {"low": 0.9, "likely": 0.95, "high": 0.97},
}
QUOTE = {
    "weighing.dry_g": ["412.9"],
    "weighing.submerged_g": ["271.5"],
    "weighing.readability_g": "0.05",
    "spot.gold": "4000",
}
PLAIN = {"1,077.5": "1077.5", "4,200.00": "4200", "18,4": "18.4", "2,64": "2.64"}
CHIP = {"choose.rock": "chip", "rock.chip.dry_g": ["38.42"], "rock.chip.submerged_g": ["23.85"]}


@pytest.fixture
def kept(visitor: Visitor) -> Store:
    store: Store = visitor.client.application.extensions["store"]
    return store


def refiner(store: Store, currency: str = "USD", **changes: object) -> Version:
    terms = {**TERMS, **changes}
    return books.add(store, "refiners", Content(str(terms["name"]), currency, "", terms), NOON)


def sale(store: Store, day: str = "2026-03-14", currency: str = "USD", **changes: object) -> Version:
    terms = {"date": day, "price": 4200.0, "fine_g": 18.4, "spot": 3900.0, **changes}
    return books.add(store, "sales", Content("", currency, "", terms), NOON)


def rock(store: Store, name: str = "Ledge quartz (invented)") -> Version:
    terms = {"density_g_cm3": {"low": 2.61, "likely": 2.64, "high": 2.66}}
    return books.add(store, "rocks", Content(name, "", "weighed here", terms), NOON)


def pressed(visitor: Visitor, page: Page, take: str, changes: dict[str, str | list[str]]) -> Page:
    """The page after one of its buttons for the books was pressed."""
    texts = page.typed()
    for name, value in changes.items():
        texts.setlist(name, value if isinstance(value, list) else [value])
    (button, *_) = [tag for tag in page.all("button[formaction]") if tag.get("value") == take]
    texts["take"] = take
    return Page(visitor.client.post(str(button["formaction"]), data=texts, follow_redirects=True))


# ---- pages


def test_an_empty_book_says_how_it_fills(visitor: Visitor) -> None:
    page = visitor.open("/books")
    assert [tag.get_text() for tag in page.all("h2")] == [book.title for book in BOOKS.values()]
    for key in BOOKS:
        assert "Nothing yet." in visitor.open(f"/books/{key}").words()
        assert visitor.open(f"/books/{key}/import").status == 200


@pytest.mark.parametrize(
    ("key", "typed", "seen"),
    [
        (
            "refiners",
            {"refiner.name": "Ore Desk", "refiner.payable.0.frac": "93", "refiner.assay_fee": "1,077.5"},
            "93 %",
        ),
        (
            "sales",
            {
                "collector.comparables.0.date": "2026-03-14",
                "collector.comparables.0.price": "4,200.00",
                "collector.comparables.0.fine_g": "18,4",
                "collector.comparables.0.spot": "3900",
            },
            "$4,200",
        ),
        ("rocks", {"name": "Ledge", "rock.density_g_cm3.likely": "2,64", "rock.density_g_cm3.sd": "0.01"}, "± 0.01"),
        ("tests", {"tests.0.kind": "chip", "tests.0.cost": "15"}, "$15"),
    ],
)
def test_add_edit_retire_and_put_back(
    visitor: Visitor, kept: Store, key: str, typed: dict[str, str | list[str]], seen: str
) -> None:
    page = visitor.send(visitor.open(f"/books/{key}/new"), typed, "#book-form")
    assert page.status == 200 and seen in page.words("#of-house ~ .scroll") and "is in the book" in page.words()
    (made,) = books.offered(kept, key)
    form = visitor.open(f"/books/{key}/{made.entry}")
    shown = {name: str(form.typed("#book-form")[name]) for name in typed}
    assert shown == {name: PLAIN.get(str(text), str(text)) for name, text in typed.items()}
    changes: dict[str, str | list[str]] = {"source": "another letter"} if "source" in BOOKS[key].own else {}
    page = visitor.send(form, changes or {"currency": "EUR"}, "#book-form")
    assert "is saved as version 2" in page.words()
    page = visitor.send(page, {}, ".book-table form")
    assert "is retired" in page.words() and books.offered(kept, key) == ()
    page = visitor.send(page, {}, "#retired form")
    assert "is offered again" in page.words()
    assert [one.version for one in books.versions(kept, key, made.entry)] == [4, 3, 2, 1]


def test_mistakes_stand_beside_their_fields_and_nothing_typed_is_lost(visitor: Visitor, kept: Store) -> None:
    typed: dict[str, str | list[str]] = {
        "refiner.name": "",
        "currency": "dollars",
        "refiner.payable.0.frac": "120",
        "refiner.assay_fee": "-3",
        "source": "kept all the same",
    }
    page = visitor.send(visitor.open("/books/refiners/new"), typed, "#book-form")
    assert page.status == 422 and books.entries(kept, "refiners") == ()
    wrong = {str(tag["name"]) for tag in page.all("[aria-invalid]")}
    assert wrong == {"refiner.name", "currency", "refiner.payable.0.frac", "refiner.assay_fee"}
    assert "at most 100" in page.words('[id="p-refiner.payable.0.frac"]')
    assert {name: page.field(name).get("value", "") for name in typed} == typed


def test_a_name_that_is_taken_is_told_beside_it(visitor: Visitor, kept: Store) -> None:
    refiner(kept)
    page = visitor.send(visitor.open("/books/refiners/new"), {"refiner.name": "ORE DESK (invented)"}, "#book-form")
    assert page.status == 422 and "stands in this book already" in page.words('[id="p-refiner.name"]')


def test_of_two_tabs_the_later_one_is_told_and_keeps_its_text(visitor: Visitor, kept: Store) -> None:
    made = refiner(kept)
    first, second = (visitor.open(f"/books/refiners/{made.entry}") for _ in range(2))
    visitor.send(first, {"refiner.assay_fee": "80"}, "#book-form")
    page = visitor.send(second, {"refiner.assay_fee": "90"}, "#book-form")
    assert page.status == 409 and page.field("refiner.assay_fee")["value"] == "90"
    page = visitor.send(page, {}, "#book-form")
    assert books.newest(kept, "refiners", made.entry).content.terms["assay_fee"] == 90.0


def test_every_version_is_shown_with_its_date_and_terms(visitor: Visitor, kept: Store) -> None:
    made = refiner(kept)
    visitor.send(visitor.open(f"/books/refiners/{made.entry}"), {"refiner.assay_fee": "80"}, "#book-form")
    page = visitor.open(f"/books/refiners/{made.entry}")
    assert "Nov 25, 2026" in page.words("#version-1") and "Assay fee 77.5" in page.words("#version-1")
    assert "Assay fee 80" in page.words("#version-2")


def test_the_sourced_rocks_stand_beside_the_houses_with_their_sources(visitor: Visitor) -> None:
    page = visitor.open("/books/rocks")
    words = page.words("#of-table ~ .scroll")
    for row in materials.rocks().values():
        assert row.label in words and " ".join(row.source.split()) in words
    assert page.all("#of-table ~ .scroll input") == []


def test_what_is_not_there_is_told(visitor: Visitor) -> None:
    for address in ("/books/nothing", "/books/refiners/nothing-of-that-name"):
        assert visitor.open(address).status == 404


# ---- tables


def pasted(page: Page) -> str:
    """What stands in the text area; a browser leaves out the first end of line."""
    return page.one("textarea").get_text().removeprefix("\n")


def test_a_table_is_pasted_or_uploaded_and_comes_out_again(visitor: Visitor, kept: Store) -> None:
    for key, book in BOOKS.items():
        page = visitor.send(visitor.open(f"/books/{key}/import"), {"table": template(book)}, "#import-form")
        assert "1 added" in page.words()
        out = visitor.client.get(f"/books/{key}.csv")
        assert (out.text, out.mimetype) == (template(book), "text/csv")
        again = visitor.client.get(f"/books/{key}/import")
        sent = {**Page(again).typed("#import-form"), "table": "", "file": (BytesIO(out.data), "b.csv")}
        page = Page(visitor.client.post(f"/books/{key}/import", data=sent, follow_redirects=True))
        assert "1 as they stood already" in page.words() and len(books.entries(kept, key)) == 1


def test_a_wrong_row_is_told_with_line_column_value_and_all_that_was_sent_stays(visitor: Visitor, kept: Store) -> None:
    table = "name;payable;assay_fee;freight\nGood;0,95;120;45\nBad;1,95;a lot;45\n;0,9;1;1\n"
    page = visitor.send(visitor.open("/books/refiners/import"), {"table": table}, "#import-form")
    assert page.status == 422 and books.entries(kept, "refiners") == ()
    rows = [[cell.get_text(strip=True) for cell in row.select("th, td")] for row in page.all("#problems tbody tr")]
    assert [row[:3] for row in rows] == [["3", "payable", "1.95"], ["3", "assay_fee", "a lot"], ["4", "name", ""]]
    assert all(row[3].endswith((".", "?")) for row in rows)
    assert pasted(page) == table


def test_a_file_that_is_no_text_is_told(visitor: Visitor) -> None:
    page = visitor.open("/books/sales/import")
    sent = {**page.typed("#import-form"), "table": "what I pasted", "file": (BytesIO(b"\xff\xfe\x00"), "x.csv")}
    page = Page(visitor.client.post("/books/sales/import", data=sent))
    assert page.status == 422 and "not UTF-8" in page.words() and pasted(page) == "what I pasted"


# ---- in a quote


def test_a_refiner_of_the_book_fills_the_quote(visitor: Visitor, kept: Store) -> None:
    made = refiner(kept)
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "refiner.freight": "12"})
    page = pressed(visitor, page, "refiner", {"book.refiner": made.entry, "title": "Typed at the last moment"})
    assert page.field("refiner.name")["value"] == TERMS["name"]
    assert page.field("refiner.payable.1.frac")["value"] == "96.5"
    assert page.field("refiner.recovery_frac.low")["value"] == "90"
    assert not page.field("refiner.freight").get("value")  # what stood there was another refiner's
    assert page.field("title")["value"] == "Typed at the last moment"
    assert page.one("#g-refiner").has_attr("open") and "version 1, filled in" in page.words("#book-refiner")
    assert "Assay fee" in page.words("#reasons") and "$77.50" in page.words("#reasons")


def test_another_refiner_is_compared_and_the_first_stays(visitor: Visitor, kept: Store) -> None:
    made = refiner(kept)
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "refiner.freight": "12"})
    for row in (0, 1):
        page = pressed(visitor, page, "other_refiners", {"book.refiner": made.entry})
        assert page.field(f"other_refiners.{row}.assay_fee")["value"] == "77.5"
    assert page.field("refiner.freight")["value"] == "12"


def test_terms_in_another_currency_are_not_offered(visitor: Visitor, kept: Store) -> None:
    refiner(kept, "EUR")
    without = {"name": "Without amounts", "payable": TERMS["payable"]}
    free = books.add(kept, "refiners", Content("Without amounts", "EUR", "", without), NOON)
    page = visitor.open("/quotes/new")
    shown = [str(tag["value"]) for tag in page.one('[name="book.refiner"]').select("option")]
    assert shown == ["", free.entry] and "1 more is in another currency" in page.words("#book-refiner")


def test_what_is_retired_is_not_offered(visitor: Visitor, kept: Store) -> None:
    made = refiner(kept)
    page = visitor.open("/quotes/new")
    books.retire(kept, "refiners", made.entry, NOON)
    page = pressed(visitor, page, "refiner", {**QUOTE, "book.refiner": made.entry})
    assert "not offered any more" in page.words("#book-refiner") and page.field("spot.gold")["value"] == "4000"
    assert not visitor.open("/quotes/new").all('[name="book.refiner"]')


def test_the_refiner_of_a_quote_is_saved_and_a_change_is_a_new_version(visitor: Visitor, kept: Store) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "refiner.freight": "12"})
    page = pressed(visitor, page, "keep refiner", {})
    assert "Give the refiner a name first" in page.words("#book-refiner") and books.entries(kept, "refiners") == ()
    for freight, words in (("12", "version 1"), ("12", "already"), ("1,300", "version 2")):
        page = pressed(visitor, page, "keep refiner", {"refiner.name": "Post route", "refiner.freight": freight})
        assert words in page.words("#book-refiner")
    (made,) = books.offered(kept, "refiners")
    assert (made.version, made.content.currency, made.content.terms["freight"]) == (2, "USD", 1300.0)


def test_a_rock_of_the_house_fills_the_density(visitor: Visitor, kept: Store) -> None:
    made = rock(kept)
    page = visitor.send(visitor.open("/quotes/new"), QUOTE)
    page = pressed(visitor, page, "rock", {"book.rock": made.entry})
    assert page.field("rock.density_g_cm3.likely")["value"] == "2.64"
    assert page.one('[name="choose.rock"][checked]')["value"] == "density_g_cm3" and page.all("#reasons")


def test_a_weighed_chip_becomes_a_rock(visitor: Visitor, kept: Store) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, **CHIP})
    page = pressed(visitor, page, "keep rock", {})
    assert "Name the rock first" in page.words("#book-rock")
    page = pressed(visitor, page, "keep rock", {"book.name": "Grey ledge"})
    (made,) = books.offered(kept, "rocks")
    density = made.content.terms["density_g_cm3"]
    # By hand: 38.42 g / (14.57 g / 0.998 g/cm³), water between 15 and 25 °C; in air 0.1 % of the volume's water less.
    assert density["likely"] == pytest.approx(38.42 / 14.57 * 0.998, abs=0.005)
    assert density["low"] < density["likely"] < density["high"] and density["coverage_frac"] == 0.95
    assert 0.01 < density["high"] - density["low"] < 0.08
    assert (made.content.name, made.content.source[:12]) == ("Grey ledge", "weighed here")


def test_a_chip_without_readings_is_not_saved(visitor: Visitor, kept: Store) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "choose.rock": "chip"})
    page = pressed(visitor, page, "keep rock", {"book.name": "Grey ledge"})
    assert "not complete yet" in page.words("#book-rock") and books.entries(kept, "rocks") == ()
    assert page.field("book.name")["value"] == "Grey ledge"


def test_sales_fill_free_rows_once(visitor: Visitor, kept: Store) -> None:
    days = ["2025-01-11", "2026-03-14", "2025-06-30"]
    made = [sale(kept, day, price=4000.0 + i) for i, day in enumerate(days)]
    sale(kept, currency="EUR")
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "choose.collector": "comparables"})
    page = pressed(visitor, page, "sales", {"book.sales": made[0].entry})
    assert page.field("collector.comparables.0.date")["value"] == "2025-01-11"
    page = pressed(visitor, page, "sales", {"book.sales": "every"})
    assert "2 of 3 filled in" in page.words("#book-sales")
    shown = [str(page.field(f"collector.comparables.{i}.date").get("value", "")) for i in range(4)]
    assert shown == ["2025-01-11", "2026-03-14", "2025-06-30", ""]
    assert "1 more is in another currency" in page.words("#book-sales")


def test_a_demo_is_offered_nothing(visitor: Visitor, kept: Store) -> None:
    refiner(kept)
    page = visitor.open("/demos/leaf-gold-walk-in")
    assert not page.all('[name="book.refiner"]') and not page.all('[value="keep refiner"]')


# ---- evidence and sheets


def test_the_houses_own_tests_count_on_the_page_of_evidence(visitor: Visitor, kept: Store) -> None:
    page = visitor.send(visitor.open("/quotes/new"), QUOTE)
    address = f"{page.one('#quote-form')['action']}/evidence?whole=1"
    assert "X-ray the gold" in visitor.open(address).words()
    books.add(kept, "tests", Content("chip", "USD", "", {"kind": "chip", "cost": 4321.0}), NOON)
    made = books.add(kept, "tests", Content("fineness", "USD", "", {"kind": "fineness", "cost": 1.0}), NOON)
    assert "$4,320" in visitor.open(address).words()
    books.retire(kept, "tests", made.entry, NOON)
    words = visitor.open(address).words()
    assert "X-ray the gold" not in words and "Weigh it again" in words
    assert "cost" not in visitor.open(address).words(".evidence-usual").partition("Bare chip")[2].partition(";")[0]


def test_a_sheet_remembers_the_version_whose_terms_it_used(visitor: Visitor, kept: Store) -> None:
    made, ledge = refiner(kept), rock(kept)
    page = visitor.send(visitor.open("/quotes/new"), {**QUOTE, "buyer.offer": "3000"})
    page = pressed(visitor, page, "refiner", {"book.refiner": made.entry})
    page = pressed(visitor, page, "rock", {"book.rock": ledge.entry})
    page = pressed(visitor, page, "other_refiners", {"book.refiner": made.entry})
    page = visitor.send(page, {"other_refiners.0.assay_fee": "78", "spot.seen_at": "now"})
    button = next(tag for tag in page.all("button") if "Save as an offer sheet" in tag.get_text())
    page = Page(visitor.client.post(str(button["formaction"]), data=page.typed(), follow_redirects=True))
    reason = {"do": "preview", "reason": "a regular"}
    page = visitor.send(visitor.send(page, reason, "#sheet-form"), {}, ".decide form")
    assert "Handed over as" in page.words()
    books.change(
        kept, "refiners", made.entry, Content(made.content.name, "USD", "", {**TERMS, "assay_fee": 1.0}), NOON, 1
    )
    books.retire(kept, "rocks", ledge.entry, NOON)
    sheet = page.answer.request.path.rpartition("/")[2]
    assert books.used_by(kept, sheet, 1) == (("refiner", made), ("rock", ledge))  # the other one was changed by hand
    words = visitor.open(f"/sheets/{sheet}").words()
    assert "Ore Desk (invented), version 1" in words and "Ledge quartz (invented), version 1" in words
    assert "used by 1 sheet" in visitor.open(f"/books/refiners/{made.entry}").words()
