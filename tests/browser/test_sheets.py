"""The third job: from a first start to a priced offer sheet as a PDF in hand, with scripts and without."""

import re
import time
from collections.abc import Callable
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from tests.browser.conftest import PHONE, WIDE, Watched, first_start
from tests.browser.test_jobs import recalculated, weigh

pytestmark = pytest.mark.browser

both = pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
FIVE_MINUTES_S = 300


def begin(page: Page) -> None:
    """The form of an offer sheet, from the demo."""
    page.goto("/demos/leaf-gold-walk-in")
    page.get_by_role("button", name="Save as an offer sheet").click()
    page.locator("#f-stale_price").fill("a demo")


def look(page: Page) -> None:
    page.get_by_role("button", name="See it as it will be printed").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Before you hand it over")
    freed = page.get_by_role("button", name="It is no demo any more: take the mark off")
    if freed.count():
        freed.click()
        expect(page.get_by_role("button", name="Hand over")).to_be_visible()


@both
def test_from_a_first_start_to_a_pdf_in_hand(watched: Watched, tmp_path: Path, scripts: bool) -> None:
    picture = tmp_path / "piece.jpg"
    Image.new("RGB", (800, 600), (205, 190, 160)).save(picture)
    started = time.monotonic()
    page = watched.page(scripts=scripts)
    first_start(page)
    page.get_by_role("link", name="Start with an empty form").click()
    weigh(page)
    page.get_by_label("Gold spot").fill("4100")
    recalculated(page, scripts)
    page.get_by_role("button", name="Save as an offer sheet").click()

    expect(page.get_by_label("Our offer")).not_to_have_value("")
    expect(page.get_by_label("Holds until")).to_have_value("24 hours")
    page.get_by_label("Holds until").fill("2 days")
    page.get_by_label("The quote does not say when the price was seen").fill("read off the board just now")
    page.get_by_label("Add photographs of the piece").set_input_files(picture)
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.get_by_role("img", name="Photograph 1 of the piece")).to_be_visible()
    expect(page.get_by_label("Holds until")).to_have_value("2 days")
    look(page)
    expect(page.get_by_role("img", name="Page 1 of 1 of the seller's paper")).to_be_visible()
    page.get_by_role("button", name="Hand over").click()

    expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(r"Sheet \d{4}-0001, revision 1"))
    with page.expect_download() as waiting:
        page.get_by_role("link", name="save The seller's paper, revision 1").click()
    pdf = waiting.value.path().read_bytes()
    assert time.monotonic() - started < FIVE_MINUTES_S
    text = "".join(one.extract_text() for one in PdfReader(BytesIO(pdf)).pages)
    assert re.search(r"\d{4}-0001", text) and "412.60" in text and "4,100" in text
    assert waiting.value.suggested_filename.endswith("-0001-revision-1-offer-sheet.pdf")


def test_what_is_typed_on_the_form_is_kept_as_it_is_typed(watched: Watched) -> None:
    page = watched.page()
    begin(page)
    page.get_by_label("Our offer").fill("6000")
    expect(page.locator("#p-reason")).to_contain_text("outside our plan")
    expect(page.get_by_label("Our offer")).to_be_focused()
    page.get_by_label("Reason, if").fill("they were firm")
    expect(page.locator("#p-reason")).to_have_count(0)
    page.get_by_label("Your reference").fill("book 114")
    page.reload()  # at once, before the pause after which it is sent
    expect(page.get_by_label("Our offer")).to_have_value("6000")
    expect(page.get_by_label("Reason, if")).to_have_value("they were firm")
    expect(page.get_by_label("Your reference")).to_have_value("book 114")


def test_two_tabs_hand_over_at_once_and_one_wins(watched: Watched) -> None:
    first = watched.page()
    begin(first)
    look(first)
    second = watched.watch(first.context.new_page())
    second.goto(first.url)
    # Both are sent before either is answered.
    for page in (first, second):
        page.evaluate("document.querySelector('.decide form').submit()")
    for page in (first, second):
        expect(page.get_by_role("heading", level=1)).to_have_text(re.compile(r"Sheet \d{4}-0001, revision 1"))
    told = [page.locator(".banner").inner_text() for page in (first, second)]
    assert sorted("in the meantime" in words for words in told) == [False, True]
    first.goto("/sheets")
    expect(first.locator("tbody tr")).to_have_count(1)


def test_by_keys_alone_a_sheet_is_handed_over(watched: Watched) -> None:
    page = watched.page()
    begin(page)
    page.locator("#f-offer").focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Before you hand it over")
    for button in ("It is no demo any more: take the mark off", "Hand over"):
        expect(page.get_by_role("button", name=button)).to_be_visible()
        for _ in range(30):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.textContent") == button:
                break
        page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("revision 1")


def test_each_page_of_a_sheet_is_usable_by_all(watched: Watched, axe: Callable[[Page], list[str]]) -> None:
    watched.expected = ("status of 422", "status of 404")
    page = watched.page()
    begin(page)
    stages = [("form", "See it as it will be printed"), ("demo", "It is no demo any more"), ("preview", "Hand over")]
    stages += [("open", "Agreed at"), ("asked", "Yes, agreed")]
    page.get_by_label("Your reference to the seller").fill("book 7")
    page.get_by_label("Our offer").fill("much")
    expect(page.locator("#p-offer")).to_be_visible()
    usable(page, axe, "mistake")
    page.get_by_label("Our offer").fill("4300")
    expect(page.locator("#p-offer")).to_have_count(0)
    for name, button in stages:
        usable(page, axe, name)
        page.get_by_role("button", name=button).click()
        page.wait_for_load_state()
    usable(page, axe, "agreed")
    page.goto("/sheets")
    usable(page, axe, "list")
    page.locator("tbody a").first.click()
    page.get_by_role("link", name="erase everywhere").click()
    usable(page, axe, "reference")


def usable(page: Page, axe: Callable[[Page], list[str]], name: str) -> None:
    for width, height in (WIDE, PHONE):
        page.set_viewport_size({"width": width, "height": height})
        assert (name, page.evaluate("document.documentElement.scrollWidth") <= width) == (name, True)
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
            assert (name, width, scheme, axe(page)) == (name, width, scheme, [])
