"""Both jobs from a first start to their end, with scripts and without, by keys alone, and on a line that fails."""

import re
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from flask import Flask, request
from playwright.sync_api import Locator, Page, expect

from tests.browser.conftest import Server, Watched, first_start
from webapp import create_app
from webapp.settings import Settings

pytestmark = pytest.mark.browser

both = pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no scripts"])
DRY, WET = '[id="f-weighing.dry_g.0"]', '[id="f-weighing.submerged_g.0"]'
FAIR = re.compile(r"^\$[\d,]+ to \$[\d,]+$")


def recalculated(page: Page, scripts: bool) -> None:
    """Where there are no scripts, a button does what they would."""
    if not scripts:
        page.get_by_role("button", name="Recalculate").click()


def weigh(page: Page) -> None:
    page.locator(DRY).fill("412.60")
    page.locator(WET).fill("271.35")
    page.get_by_label("Readability").fill("0.05")


def group(page: Page, key: str) -> None:
    """See that a group of the form is open."""
    if page.locator(f"#g-{key}").get_attribute("open") is None:
        page.locator(f"#g-{key} > summary").click()


def figure(page: Page) -> Locator:
    return page.locator("#answer .figure").first


@both
def test_a_walk_in_seller_is_quoted(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    first_start(page)
    page.get_by_role("link", name="Start with an empty form").click()
    expect(page.locator("#answer")).to_contain_text("Still needed")
    weigh(page)
    page.get_by_label("Gold spot").fill("4100")
    recalculated(page, scripts)
    expect(figure(page)).to_have_text(FAIR)
    before = figure(page).inner_text()

    group(page, "seller")
    page.get_by_label("Another cash bid").fill("3917")
    group(page, "said")
    page.get_by_label("By", exact=True).first.select_option("Seller")
    page.get_by_label("Figure", exact=True).fill("5017")
    recalculated(page, scripts)
    expect(page.locator("#answer")).to_contain_text("Now asked")
    expect(figure(page)).not_to_have_text(before)
    expect(page.locator("#answer")).to_contain_text("$3,917")

    group(page, "said")
    page.get_by_label("Our offer", exact=True).fill("4321")
    recalculated(page, scripts)
    expect(page.locator("#g-said .group-line")).to_contain_text("offer 4321")
    ours = figure(page).inner_text().split(" to ")
    page.get_by_role("link", name="Turn to the seller", exact=True).click()
    page.get_by_role("button", name="Show $4,321 to the seller").click()
    expect(page.get_by_role("heading", name="Our offer")).to_be_visible()
    shown = page.locator("body").inner_text()
    assert "$4,321" in shown
    assert [secret for secret in (*ours, "$3,917", "$5,017") if secret in shown] == []
    page.get_by_text("For the house").click()
    page.get_by_role("link", name="Show the house's side").click()
    expect(page.get_by_label("Our offer", exact=True)).to_have_value("4321")

    page.get_by_role("link", name="The working of every figure").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("orking")
    page.goto("/")
    expect(page).to_have_url(re.compile("/quotes$"))
    page.locator("main a[href^='/quotes/']").first.click()
    expect(page.get_by_label("Our offer", exact=True)).to_have_value("4321")
    expect(page.locator(DRY)).to_have_value("412.60")


@both
def test_an_asking_price_is_checked_then_made_a_quote_and_back(watched: Watched, scripts: bool) -> None:
    page = watched.page(scripts=scripts)
    page.goto("/")
    page.get_by_role("navigation", name="Main").get_by_role("link", name="Check a price").click()
    page.get_by_label("Asking price", exact=True).fill("5200")
    page.get_by_label("Claimed gold").fill("1.9")
    page.get_by_label("Gold spot").fill("4100")
    page.get_by_role("radio", name="Only claimed").check()
    recalculated(page, scripts)
    verdict = page.locator(".headline-verdict")
    expect(verdict).to_contain_text("Asked $5,200")
    expect(page.locator("#answer")).to_contain_text("first weigh the piece")

    page.get_by_role("radio", name="Weighed here").check()
    weigh(page)
    recalculated(page, scripts)
    expect(page.locator("#answer")).not_to_contain_text("first weigh the piece")
    expect(verdict).to_contain_text("Asked $5,200")

    page.get_by_role("link", name="Make it a full quote").click()
    expect(page).to_have_url(re.compile("/quotes/"))
    expect(page.get_by_label("Gold spot")).to_have_value("4100")
    expect(page.locator("#answer .headline-said").first).to_contain_text("$5,200")
    expect(page.locator(WET)).to_have_value("271.35")
    page.get_by_label("Gold spot").fill("6000")
    recalculated(page, scripts)
    expect(page.locator(".axis-figure").first).to_have_text(re.compile(r"\$7,\d\d0"))

    page.get_by_role("link", name="See it as a check of the asking price").click()
    expect(page).to_have_url(re.compile("/asks/"))
    expect(page.get_by_label("Asking price", exact=True)).to_have_value("5200")
    expect(page.get_by_label("Claimed gold")).to_have_value("1.9")
    expect(page.get_by_label("Gold spot")).to_have_value("6000")
    expect(verdict).to_contain_text("Asked $5,200")
    page.go_back()
    expect(page.locator(DRY)).to_have_value("412.60")
    page.go_forward()
    expect(page.get_by_label("Asking price", exact=True)).to_have_value("5200")


def tab_to(page: Page, goal: str, key: str = "Tab") -> None:
    """Press the key until the focus is there; what can be seen of the focus is checked in test_access."""
    for _ in range(90):
        page.keyboard.press(key)
        if page.evaluate("goal => document.activeElement.matches(goal)", goal):
            return
    raise AssertionError(f"{goal} was not reached")


def test_a_seller_is_quoted_by_keys_alone(watched: Watched) -> None:
    page = watched.page()
    page.goto("/")
    tab_to(page, '#first-form [value="skip"]')
    page.keyboard.press("Enter")
    page.locator("#demo").wait_for()
    tab_to(page, "#demo a")
    page.keyboard.press("Enter")
    expect(page.locator("#answer")).to_contain_text("Still needed")
    for goal, text in ((DRY, "412.60"), (WET, "271.35"), ('[id="f-weighing.readability_g"]', "0.05")):
        tab_to(page, goal)
        page.keyboard.type(text)
    tab_to(page, '[name="choose.rock"]')
    page.keyboard.press("ArrowRight")
    expect(page.get_by_role("radio", name="Density")).to_be_checked()
    page.keyboard.press("ArrowLeft")
    tab_to(page, '[id="f-spot.gold"]')
    page.keyboard.type("4100")
    expect(figure(page)).to_have_text(FAIR)
    expect(page.locator('[id="f-spot.gold"]')).to_be_focused()
    tab_to(page, "#g-said > summary")
    page.keyboard.press("Enter")
    tab_to(page, '[id="f-buyer.offer"]')
    page.keyboard.type("4321")
    expect(page.locator("#g-said .group-line")).to_contain_text("offer 4321")
    tab_to(page, ".turn a[href$='/turn']")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="What do you offer?")).to_be_visible()
    tab_to(page, ".choose-offer button")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Our offer")).to_be_visible()
    expect(page.locator(".counter-offer .figure")).to_have_text("$4,321")


def test_on_a_slow_line_typing_goes_on_and_the_wait_is_shown(watched: Watched, app: Flask) -> None:
    held, let_go = threading.Event(), threading.Event()

    def delay() -> None:
        if request.method == "POST" and request.form.get("spot.gold") == "4100":
            held.set()
            let_go.wait(5)

    app.before_request(delay)
    page = watched.page()
    page.goto("/quotes/new")
    weigh(page)
    page.get_by_label("Gold spot").fill("4100")
    assert held.wait(5)
    expect(page.locator("#busy")).to_have_css("opacity", "1")
    page.locator(DRY).click()
    expect(page.locator(DRY)).to_be_focused()
    expect(page.locator("#lost")).to_be_hidden()
    let_go.set()
    expect(figure(page)).to_have_text(FAIR)
    expect(page.locator("#busy")).to_have_css("opacity", "0")
    expect(page.locator(DRY)).to_be_focused()


@pytest.fixture
def again(app: Flask, server: Server, tmp_path: Path) -> Callable[[], None]:
    """The server started anew, on the folder that the first one left."""

    def start() -> None:
        app.extensions["store"].close()
        fresh = create_app(tmp_path, Settings(locale="en_US", time_zone="America/Denver", data=tmp_path))
        app.extensions["store"] = fresh.extensions["store"]  # which the fixture closes at the end
        server.start(fresh)

    return start


def test_a_server_that_stopped_is_told_and_typing_goes_on_when_it_is_back(
    watched: Watched, server: Server, again: Callable[[], None]
) -> None:
    watched.expected = ("Failed to load resource", "htmx", "Failed to fetch")
    page = watched.page()
    page.goto("/quotes/new")
    weigh(page)
    page.get_by_label("Gold spot").fill("4100")
    expect(figure(page)).to_have_text(FAIR)
    before = figure(page).inner_text()
    server.stop()
    try:
        page.get_by_label("Gold spot").fill("4200")
        expect(page.get_by_role("alert")).to_contain_text("does not answer. What you typed is still here")
        expect(page.get_by_role("alert")).to_be_in_viewport()
        expect(figure(page)).to_have_text(before)
    finally:
        again()
    group(page, "specimen")
    page.get_by_label("Title").fill("Typed while nobody listened")
    expect(page.locator("#lost")).to_be_hidden()
    expect(figure(page)).not_to_have_text(before)
    page.reload()
    expect(page.get_by_label("Gold spot")).to_have_value("4200")
    expect(page.get_by_label("Title")).to_have_value("Typed while nobody listened")


def test_without_scripts_a_server_that_stopped_takes_what_was_typed_when_it_is_back(
    watched: Watched, server: Server, again: Callable[[], None]
) -> None:
    page = watched.page(scripts=False)
    page.goto("/quotes/new")
    weigh(page)
    page.get_by_label("Gold spot").fill("4100")
    server.stop()
    try:
        page.get_by_role("button", name="Recalculate").click()
        page.wait_for_url("chrome-error://**")
    finally:
        again()
    for _ in range(20):
        page.reload()
        if page.locator("#answer").count():
            break
        time.sleep(0.1)
    expect(figure(page)).to_have_text(FAIR)
    expect(page.get_by_label("Gold spot")).to_have_value("4100")
