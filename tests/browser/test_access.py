"""Every page is usable by all: axe finds nothing, in both themes, wide and on a phone; nothing is cut off."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page

from tests.browser.conftest import PHONE, WIDE, Watched

pytestmark = pytest.mark.browser

PAGES = [
    "/",
    "/quotes/new",
    "/asks/new",
    "/demos/claim-only-ask",
    "/demos/no-fair-cash-price",
    "/demos/comparable-sales",
    "/demos/below-detection",
    "/demos",
    "/demos/leaf-gold-walk-in/working",
    "/method",
    "/open",
    "/quotes",
    "/nowhere",
]


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
def test_no_page_has_a_violation(
    watched: Watched, axe: Callable[[Page], list[str]], scheme: str, size: tuple[int, int]
) -> None:
    watched.expected = ("status of 404", "status of 422")
    page = watched.page(size, scheme)
    for address in PAGES:
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
        # As high as the page, so that the line at the foot of a phone's screen hides nothing from axe.
        page.set_viewport_size({"width": size[0], "height": page.evaluate("document.documentElement.scrollHeight")})
        assert (address, axe(page)) == (address, [])
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], address
        page.set_viewport_size({"width": size[0], "height": size[1]})


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_view_turned_to_the_seller_has_no_violation(
    watched: Watched, axe: Callable[[Page], list[str]], scheme: str
) -> None:
    page = watched.page(PHONE, scheme)
    page.goto("/demos/leaf-gold-walk-in")
    page.locator("#g-said > summary").click()
    page.get_by_label("Our offer").fill("4300")
    page.get_by_role("link", name="Turn to the seller", exact=True).click()
    page.get_by_role("heading", name="Our offer").wait_for()
    assert axe(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
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
