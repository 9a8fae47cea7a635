"""The books and the first start in a real browser, with scripts and without."""

from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, Watched

pytestmark = pytest.mark.browser
both = pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])


def weigh(page: Page) -> None:
    page.locator('[id="f-weighing.dry_g.0"]').fill("412.60")
    page.locator('[id="f-weighing.submerged_g.0"]').fill("271.35")
    page.get_by_label("Readability").fill("0.05")
    page.get_by_label("Gold spot").fill("4100")


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")


@both
def test_a_refiner_is_entered_once_and_used_in_a_quote(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/books")
    page.get_by_role("link", name="Refiners").click()
    page.get_by_role("link", name="Add a refiner").click()
    page.get_by_role("button", name="Save").click()
    expect(page.locator("#problems")).to_contain_text("Needed here")
    page.get_by_label("Name").fill("Ore Desk (invented)")
    page.get_by_label("Payable", exact=True).first.fill("93,5")
    page.get_by_label("Assay fee").fill("77.50")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status")).to_contain_text("Ore Desk (invented) is in the book")

    page.goto("/quotes/new")
    weigh(page)
    page.locator("#g-refiner > summary").click()
    page.get_by_label("From the book").select_option(label="Ore Desk (invented): pays 93.5 %")
    page.locator("#book-refiner").get_by_role("button", name="Fill in").click()
    expect(page.locator("#book-refiner")).to_contain_text("version 1, filled in")
    expect(page.locator('[id="f-refiner.assay_fee"]')).to_have_value("77.5")
    expect(page.locator('[id="f-weighing.dry_g.0"]')).to_have_value("412.60")
    expect(page.locator("#answer")).to_contain_text("Fair price")

    page.locator('[id="f-refiner.assay_fee"]').fill("80")
    page.get_by_role("button", name="Keep these terms for later quotes").click()
    expect(page.locator("#book-refiner")).to_contain_text("as version 2")
    page.goto("/books/refiners")
    expect(page.locator(".book-table")).to_contain_text("assay $80")


@both
def test_a_chip_that_was_weighed_becomes_a_rock_of_the_house(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/quotes/new")
    weigh(page)
    page.locator('[name="choose.rock"][value="chip"]').check(force=True)
    if not scripts:
        page.locator("#recalculate").click()
    page.locator('[id="f-rock.chip.dry_g.0"]').fill("38.42")
    page.locator('[id="f-rock.chip.submerged_g.0"]').fill("23.85")
    page.get_by_label("Save this chip as a rock").fill("Grey ledge")
    page.get_by_role("button", name="Save to the book").click()
    expect(page.locator("#book-rock")).to_contain_text("Grey ledge is in the book")
    page.get_by_label("A rock of the house", exact=True).select_option(index=1)
    page.locator("#book-rock").get_by_role("button", name="Fill in").click()
    expect(page.locator('[name="choose.rock"][value="density_g_cm3"]')).to_be_checked()
    page.goto("/books/rocks")
    expect(page.locator("#of-house ~ .scroll")).to_contain_text("weighed here")


def test_enter_in_a_field_of_the_quote_recalculates_and_presses_no_book(watched: Watched) -> None:
    page = watched.page(scripts=False)
    page.goto("/quotes/new")
    weigh(page)
    page.get_by_label("Gold spot").press("Enter")
    expect(page.locator("#answer")).to_contain_text("Fair price")
    expect(page.locator("#book-refiner .banner")).to_have_count(0)


@both
def test_a_table_is_imported_and_mistakes_are_told_by_row(watched: Watched, scripts: bool, tmp_path: Path) -> None:
    watched.expected = ("status of 422",)
    page = watched.page(PHONE, scripts=scripts)
    page.goto("/books/sales/import")
    table = "date;price;fine_g;spot\n2026-03-14;4200;18,4;3900\n14.3.2026;4200;18,4;3900\n"
    page.get_by_role("textbox", name="Table").fill(table)
    page.get_by_role("button", name="Import").click()
    expect(page.locator("#problems")).to_contain_text("Must be a day such as 2026-03-14")
    expect(page.get_by_role("textbox", name="Table")).to_have_value(table)
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    page.get_by_role("textbox", name="Table").fill(table.replace("14.3.2026", "2026-03-15"))
    page.get_by_role("button", name="Import").click()
    expect(page.get_by_role("status")).to_contain_text("2 added")
    with page.expect_download() as got:
        page.get_by_role("link", name="Export as CSV").click()
    file = tmp_path / "sales.csv"
    got.value.save_as(file)
    page.goto("/books/sales/import")
    page.get_by_label("Or a file").set_input_files(file)
    page.get_by_role("button", name="Import").click()
    expect(page.get_by_role("status")).to_contain_text("2 as they stood already")


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_entry_with_versions_and_mistakes_has_no_violation(watched: Watched, axe, scheme: str) -> None:  # type: ignore[no-untyped-def]
    watched.expected = ("status of 422",)
    page = watched.page(PHONE, scheme)
    page.goto("/books/refiners/new")
    page.get_by_label("Name").fill("Ore Desk (invented)")
    page.get_by_role("button", name="Save").click()
    page.get_by_role("link", name="Ore Desk").click()
    unfold(page)
    assert axe(page) == []
    page.get_by_label("Assay fee").fill("much")
    page.get_by_role("button", name="Save as version 2").click()
    page.locator("#problems").wait_for()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]


@both
def test_a_first_start_asks_three_things_and_shows_the_demo(watched: Watched, scripts: bool) -> None:
    page = watched.page(PHONE, scripts=scripts)
    page.goto("/")
    page.get_by_label("Your currency").select_option("CHF")
    page.get_by_role("radio", name="Gram", exact=True).check()
    page.get_by_role("button", name="Save, and show the example").click()
    expect(page.locator("#demo")).to_be_visible()
    page.goto("/quotes/new")
    expect(page.locator('[id="f-spot.unit"]')).to_have_value("g")
