"""The page of the house's settings in a real browser: typed, saved, felt in a new quote; two tabs; usable by all."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Watched
from webapp.house_file import FILE, house_in

pytestmark = pytest.mark.browser


def unfold(page: Page) -> None:
    page.evaluate("document.querySelectorAll('details').forEach(fold => { fold.open = true; })")


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_from_nothing_to_a_new_quote(watched: Watched, tmp_path: Path, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/")
    page.get_by_role("navigation", name="Main").get_by_role("link", name="House").click()
    page.get_by_label("Currency", exact=True).fill("eur")
    page.get_by_label("Margin", exact=True).fill("much")
    page.get_by_text("Usual refiner").click()
    page.get_by_label("Assay fee").fill("120")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_text("That is not a number").first).to_be_visible()
    expect(page.get_by_label("Currency", exact=True)).to_have_value("eur")
    assert not (tmp_path / FILE).exists()
    page.get_by_label("Margin", exact=True).fill("22")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status").first).to_contain_text("Saved")
    entries = {"currency": "EUR", "buyer": {"margin_frac": 0.22}, "refiner": {"assay_fee": 120.0}}
    assert house_in(tmp_path).house.entries() == entries
    page.get_by_role("link", name="New quote").click()
    expect(page.locator('[name="spot.currency"]')).to_have_value("EUR")
    expect(page.locator('[name="buyer.margin_frac"]')).to_have_value("22")
    expect(page.locator("#g-buyer > summary")).to_contain_text("margin 22 %")


def test_two_tabs(watched: Watched, tmp_path: Path) -> None:
    watched.expected = ("status of 409",)
    first, second = watched.page(), watched.page()
    for page in (first, second):
        page.goto("/house")
    first.get_by_label("Handling").fill("60")
    first.get_by_role("button", name="Save").click()
    expect(first.get_by_role("status")).to_contain_text("Saved")
    second.get_by_label("Cash step").fill("25")
    second.get_by_role("button", name="Save").click()
    expect(second.get_by_role("alert")).to_contain_text("Handling: empty became 60. Taken over here.")
    second.get_by_role("button", name="Save").click()
    expect(second.get_by_role("status")).to_contain_text("Saved")
    assert house_in(tmp_path).house.entries() == {"buyer": {"handling_cost": 60.0, "cash_increment": 25.0}}


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [WIDE, PHONE], ids=["wide", "phone"])
def test_no_state_of_the_page_has_a_violation(
    watched: Watched, axe: Callable[[Page], list[str]], tmp_path: Path, scheme: str, size: tuple[int, int]
) -> None:
    watched.expected = ("status of 409", "status of 422")
    page = watched.page(size, scheme)

    def looked_at(state: str) -> None:
        unfold(page)
        # As high as the page, so that the line at the foot of a phone's screen hides nothing from axe.
        page.set_viewport_size({"width": size[0], "height": page.evaluate("document.documentElement.scrollHeight")})
        assert (state, axe(page)) == (state, [])
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0], state
        page.set_viewport_size({"width": size[0], "height": size[1]})

    page.goto("/house")
    looked_at("empty")
    page.get_by_label("Time zone").fill("Nowhere")
    page.locator('[name="refiner.recovery_frac.low"]').fill("90")
    page.get_by_label("Name of the house").fill("W" * 121)
    page.get_by_role("button", name="Save").click()
    looked_at("mistakes")
    (tmp_path / FILE).write_text("[buyer]\nmargin_frac = 'muchtoomuchtobeashareofanything'\n[refiner]\nfreight = -1\n")
    page.goto("/quotes/new")
    looked_at("new quote, broken file")
    page.goto("/house")
    looked_at("broken file")
    page.get_by_label("Margin", exact=True).fill("20")
    (tmp_path / FILE).write_text("[buyer]\nmargin_frac = 0.3\n")
    page.get_by_role("button", name="Save").click()
    looked_at("changed meanwhile")
    page.get_by_role("button", name="Save").click()
    expect(page.get_by_role("status").first).to_contain_text("Saved")
    looked_at("saved")


def test_a_link_to_a_mistake_opens_its_group(watched: Watched) -> None:
    page = watched.page()
    page.goto("/house")
    page.get_by_text("Usual refiner").click()
    page.get_by_label("Freight").fill("x")
    page.get_by_role("button", name="Save").click()
    page.locator("#problems").get_by_role("link", name="Refiner, Freight").click()
    expect(page.get_by_label("Freight")).to_be_focused()
