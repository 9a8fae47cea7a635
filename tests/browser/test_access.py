"""Every page is usable by all: axe finds nothing, in both themes, wide and on a phone; nothing is cut off."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import PHONE, WIDE, Watched

pytestmark = pytest.mark.browser

PAGES = [
    "/",
    "/demos/leaf-gold-walk-in",
    "/quotes/new",
    "/asks/new",
    "/demos/claim-only-ask",
    "/demos/no-fair-cash-price",
    "/demos/comparable-sales",
    "/demos/below-detection",
    "/demos",
    "/demos/leaf-gold-walk-in/working",
    "/demos/refiners-compared/evidence?whole=1",
    "/method",
    "/open",
    "/quotes",
    "/lots",
    "/books",
    "/books/refiners",
    "/books/refiners/new",
    "/books/sales/new",
    "/books/rocks",
    "/books/rocks/new",
    "/books/tests",
    "/books/tests/new",
    "/books/refiners/import",
    "/sheets",
    "/sheets/check",
    "/sheets/audit",
    "/prices",
    "/house",
    "/house/feeds",
    "/first",
    "/backup",
    "/record",
    "/nowhere",
]


@pytest.mark.parametrize("address", PAGES)
def test_no_page_has_a_violation(watched: Watched, axe: Callable[[Page], list[str]], address: str) -> None:
    watched.expected = ("status of 404", "status of 422")
    page = watched.page()
    page.goto(address)
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    for width, height in (WIDE, PHONE):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        # As high as the page, so that the line at the foot of a phone's screen hides nothing from axe.
        page.set_viewport_size({"width": width, "height": page.evaluate("document.documentElement.scrollHeight")})
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert page.evaluate("s => matchMedia(`(prefers-color-scheme: ${s})`).matches", scheme)
            assert (width, scheme, axe(page)) == (width, scheme, [])


def test_what_is_told_of_a_page_that_has_violations(watched: Watched, axe: Callable[[Page], list[str]]) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    page.evaluate("""() => { document.documentElement.removeAttribute('lang');
                             document.querySelector('h1').remove();
                             document.querySelector('#recalculate').textContent = '';
                             document.querySelector('label[for="f-spot.gold"]').style.color = '#ccc'; }""")
    found = {line.partition(":")[0] for line in axe(page)}
    assert {"html-has-lang", "page-has-heading-one", "button-name", "color-contrast"} <= found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_view_turned_to_the_seller_has_no_violation(
    watched: Watched, axe: Callable[[Page], list[str]], scheme: str
) -> None:
    page = watched.page(PHONE, scheme)
    page.goto("/demos/leaf-gold-walk-in")
    page.locator("#g-said > summary").click()
    page.get_by_label("Our offer", exact=True).fill("4300")
    page.get_by_role("link", name="Turn to the seller", exact=True).click()
    shown = page.get_by_role("button", name="Show $4,300 to the seller")
    shown.wait_for()
    assert axe(page) == []
    shown.click()
    page.get_by_role("heading", name="Our offer").wait_for()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    page.go_back()
    page.go_back()
    page.get_by_role("link", name="Earlier states").click()
    page.get_by_role("heading", name="Earlier states").wait_for()
    assert axe(page) == []


def test_a_page_with_mistakes_has_no_violation(watched: Watched, axe: Callable[[Page], list[str]]) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    page.get_by_label("Gold spot").fill("much")
    page.get_by_text("that is not a number").first.wait_for()
    assert axe(page) == []


def test_everything_is_reached_by_keyboard_and_shows_that_it_is(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    reached = set()
    for _ in range(60):
        page.keyboard.press("Tab")
        where, outline = page.evaluate(
            """() => { const e = document.activeElement;
                       const seen = e.matches('.choices input') ? e.nextElementSibling : e;
                       return [e.id || e.textContent.trim(), getComputedStyle(seen).outlineStyle]; }"""
        )
        if page.evaluate("document.activeElement === document.body"):
            continue
        reached.add(where)
        assert outline != "none", where
    assert {"f-weighing.dry_g.0", "f-weighing.readability_g", "f-spot.gold", "Skip to the content"} <= reached
