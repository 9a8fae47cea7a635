"""Prices and feeds in a browser: usable by all, and a price taken over at one press while something is typed."""

import math
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from flask import Flask
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Watched
from webapp.house import House
from webapp.house_file import HouseFile
from webapp.store import prices
from webapp.store.prices import Price

pytestmark = pytest.mark.browser
FEED = {
    "name": "Desk",
    "metal": "gold",
    "address": "https://prices.example/metals.json",
    "price": "/gold",
    "currency": "USD",
    "unit": "ozt",
}


@pytest.fixture
def stocked(app: Flask, tmp_path: Path) -> Flask:
    """Two feeds, six weeks of invented prices, a rate."""
    file = HouseFile(tmp_path)
    house = House.model_validate({"feeds": [FEED, {**FEED, "name": "Table", "metal": "silver", "price": "/silver"}]})
    file.save(house, file.read().seen)
    store, now = app.extensions["store"], datetime.now(UTC)
    for day in range(40, 0, -1):
        at = now - timedelta(days=day)
        prices.keep(store, Price("gold", "USD", "ozt", 3900 + 60 * math.sin(day), at, at, bool(day % 2), "Desk"))
    at = now - timedelta(minutes=4)
    prices.keep(
        store, Price("gold", "USD", "ozt", 3912.4, at, at, is_fed=True, source="Desk", address="https://a.example/p")
    )
    prices.keep(store, Price("exchange_rate", "USD", "EUR", 1.1, at, at, is_fed=False))
    return app


@pytest.mark.parametrize(
    "address", ["/prices", "/prices?metal=silver", "/house/feeds", "/house/feeds/0", "/house/feeds/new"]
)
def test_no_page_has_a_violation(
    stocked: Flask, watched: Watched, axe: Callable[[Page], list[str]], address: str
) -> None:
    page = watched.page()
    page.goto(address)
    for opened in (False, True):
        page.evaluate("open => document.querySelectorAll('details').forEach(fold => { fold.open = open; })", opened)
        for width, height in (WIDE, PHONE):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            widest = "Math.max(...[...document.querySelectorAll('main *')].map(e => e.getBoundingClientRect().right))"
            assert page.evaluate(widest) <= width or page.locator(".scroll").count()
            for scheme in ("light", "dark"):
                page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
                assert (width, scheme, axe(page)) == (width, scheme, [])


def test_a_mistake_on_the_page_has_no_violation(
    stocked: Flask, watched: Watched, axe: Callable[[Page], list[str]]
) -> None:
    page = watched.page(PHONE)
    page.goto("/prices")
    page.locator("#by-hand > summary").click()
    page.get_by_label("Price or rate").fill("much")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_text("That is not a number").wait_for()
    assert axe(page) == []


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
def test_a_price_is_taken_over_at_one_press_and_enter_never_takes_it(
    stocked: Flask, watched: Watched, scripts: bool
) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/quotes/new")
    gold = page.get_by_label("Gold spot")
    if not scripts and not gold.is_visible():
        page.locator("#g-spot > summary").click()
    gold.fill("4000")
    gold.press("Enter")
    offer = page.get_by_role("button", name="Use 3,912.40 from Desk, 4 minutes ago")
    offer.wait_for()
    expect(gold).to_have_value("4000")
    page.get_by_label("Seen at").first.fill("10:20")
    offer.click()
    expect(page.get_by_label("Gold spot")).to_have_value("3912.4")
    expect(offer).to_have_count(0)
    page.get_by_label("Gold spot").fill("4001")
    page.get_by_label("Gold spot").press("Enter")
    offer.wait_for()
    expect(page.get_by_label("Gold spot")).to_have_value("4001")
