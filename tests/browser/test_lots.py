"""A lot in a real browser: valued without a reload, its mistakes and its answer without a violation, kept as typed."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Watched

WRONG = "title;dry_g;submerged_g\nWedge;41x;271,2\n"


def looked_at(page: Page, axe: Callable[[Page], list[str]]) -> None:
    """No violation in either theme, wide or on a telephone, and nothing wider than the screen."""
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")
    for width, height in (WIDE, PHONE):
        page.set_viewport_size({"width": width, "height": height})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for scheme in ("light", "dark"):
            page.emulate_media(color_scheme=scheme)
            assert (width, scheme, axe(page)) == (width, scheme, [])


def test_the_demo_lot_is_valued_and_its_answer_has_no_violation(
    watched: Watched, axe: Callable[[Page], list[str]]
) -> None:
    page = watched.page()
    page.goto("/lots?demo=1")
    looked_at(page, axe)
    page.get_by_role("button", name="Value the lot").click()
    expect(page.get_by_text("A fair price for the 12 pieces together is")).to_be_visible(timeout=30_000)
    expect(page.get_by_role("heading", level=1)).to_have_text("Twelve pieces of one vein")
    looked_at(page, axe)


def test_wrong_rows_have_no_violation(watched: Watched, axe: Callable[[Page], list[str]]) -> None:
    watched.expected = ("status of 422",)
    page = watched.page()
    page.goto("/lots")
    page.get_by_label("Pieces: a table").fill(WRONG)
    page.get_by_role("button", name="Value the lot").click()
    expect(page.get_by_text("dry_g (41x)")).to_be_visible()
    looked_at(page, axe)


@pytest.mark.parametrize("scripts", [True, False])
def test_a_lot_is_valued_with_and_without_scripts(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/lots")
    page.get_by_label("Gold price").fill("4100")
    page.get_by_label("Rock").select_option("vein-quartz")
    page.get_by_label("Smallest step of the balance").fill("0.05")
    lines = [f"Piece {i};{100 + i};{65 + 0.65 * i}" for i in range(60)]
    page.get_by_label("Pieces: a table").fill("\n".join(["title;dry_g;submerged_g", *lines]))
    page.get_by_role("button", name="Value the lot").click()
    expect(page.get_by_text("60 pieces together")).to_be_visible(timeout=30_000)
    expect(page.get_by_role("progressbar")).to_have_count(0)


def test_what_is_typed_is_kept_without_sending_it(watched: Watched) -> None:
    page = watched.page()
    page.goto("/lots")
    with page.expect_response(lambda answer: answer.url.endswith("/kept") and answer.status == 204):
        page.get_by_label("Pieces: a table").fill(WRONG)
    page.reload()
    expect(page.get_by_label("Pieces: a table")).to_have_value(WRONG)
