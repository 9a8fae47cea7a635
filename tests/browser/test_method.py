"""The method page in a browser: usable by all, in both themes, wide and on a phone; equations set and not cut off."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Watched
from webapp.equations import stages

pytestmark = pytest.mark.browser


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
def test_the_page_has_no_violation_and_nothing_is_cut_off(
    watched: Watched, axe: Callable[[Page], list[str]], scheme: str, size: tuple[int, int]
) -> None:
    page = watched.page(size, scheme)
    page.goto("/method")
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
    wide = page.evaluate(
        "[...document.querySelectorAll('.equation, .symbols > div, .drawing, .scroll')]"
        ".filter(e => e.scrollWidth > e.clientWidth + 1).map(e => e.textContent)"
    )
    assert wide == []


def test_equations_are_set_as_fractions_not_as_lines_of_text(watched: Watched) -> None:
    page = watched.page()
    page.goto("/method")
    shown = page.evaluate(
        "[...document.querySelectorAll('.equation mfrac')].map(e => { const [over, under] = e.children;"
        " return over.getBoundingClientRect().bottom <= under.getBoundingClientRect().top + 2; })"
    )
    assert len(shown) >= sum("/" in row.text for stage in stages().values() for row in stage.equations) and all(shown)


def test_a_link_to_a_row_in_a_folded_table_opens_it(watched: Watched) -> None:
    page = watched.page()
    page.goto("/method#minerals-pyrite")
    assert page.locator("#minerals-pyrite").is_visible()
    page.goto("/method")
    page.get_by_role("link", name="Glossary", exact=True).click()
    assert page.locator("#word-melt-value").is_visible()
    assert page.url.endswith("#glossary")


def test_a_quote_leads_to_how_its_figures_come_about(watched: Watched) -> None:
    page = watched.page()
    page.goto("/demos/leaf-gold-walk-in")
    page.get_by_role("link", name="how doubt is counted").click()
    page.wait_for_url("**/method#draws")
    assert page.locator("#draws").is_visible()


def test_the_set_up_drawn_beside_the_weighing_follows_the_method(watched: Watched) -> None:
    page = watched.page()
    page.goto("/demos/leaf-gold-walk-in")
    fold = page.locator("details.setup")
    fold.evaluate("fold => { fold.closest('details.group').open = true; }")
    fold.locator("summary").click()
    drawing = fold.locator(".setup-body > svg[role=img]")
    drawn = drawing.text_content() or ""
    page.get_by_label("Vessel on the balance", exact=True).check()
    expect(drawing).not_to_have_text(drawn)
    expect(fold).to_have_attribute("open", "")
    # It stays open when the answer comes back.
    page.get_by_label("Hangs from the balance", exact=True).check()
    expect(drawing).to_have_text(drawn)
    expect(drawing).to_be_visible()


def test_a_printed_page_holds_the_folded_tables(watched: Watched) -> None:
    page = watched.page()
    page.goto("/method")
    page.emulate_media(media="print")
    assert page.locator("#minerals-pyrite").bounding_box() is not None
    assert page.locator("#minerals-pyrite").bounding_box()["height"] > 10
    assert not page.locator(".method-contents").is_visible()


def test_on_a_telephone_sections_are_folded_and_a_link_opens_its_own(watched: Watched) -> None:
    page = watched.page(PHONE)
    page.goto("/method#gold")
    assert page.locator(".method-fold[open]").count() == 1
    assert page.locator("#gold .equation").first.is_visible()
    assert page.locator("#refine .equation").first.is_hidden()
    page.evaluate("location.hash = 'refine'")
    page.locator("#refine .equation").first.wait_for(state="visible")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator(".method-fold:not([open])").count() == 0
    wide = watched.page(WIDE)
    wide.goto("/method")
    assert wide.locator(".method-fold").count() == 0
    assert wide.locator("#refine .equation").first.is_visible()


def test_what_tests_are_worth_comes_after_the_page(watched: Watched) -> None:
    page = watched.page(PHONE)
    page.goto("/demos/no-test-pays/evidence")
    page.locator(".evidence-table").wait_for()
    assert page.locator("h1").count() == 1
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
