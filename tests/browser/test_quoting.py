"""Quoting in a real browser, with scripts and without."""

import re
import threading
import time
from pathlib import Path

import pytest
from flask import Flask, request
from playwright.sync_api import Page, expect

from tests.browser.conftest import PHONE, WIDE, Watched, first_start
from webapp.store import drafts

pytestmark = pytest.mark.browser


def enter(page: Page) -> None:
    page.locator('[id="f-weighing.dry_g.0"]').fill("412.60")
    page.locator('[id="f-weighing.submerged_g.0"]').fill("271.35")
    page.get_by_label("Readability").fill("0.05")
    page.get_by_label("Gold spot").fill("4100")


def test_a_quote_from_a_first_start_to_its_price(watched: Watched) -> None:
    page = watched.page()
    first_start(page)
    expect(page.locator("#answer .figure").first).to_contain_text("$")
    page.get_by_role("link", name="Start with an empty form").click()
    expect(page.locator("#answer")).to_contain_text("Still needed")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    expect(page.locator(".axis-picture")).to_be_visible()


def test_the_same_without_scripts(watched: Watched) -> None:
    page = watched.page(scripts=False)
    page.goto("/quotes/new")
    expect(page.locator("#answer")).to_contain_text("Still needed")
    enter(page)
    page.get_by_role("button", name="Recalculate").click()
    expect(page.locator("#answer")).to_contain_text("Fair price")
    address = page.url
    page.get_by_label("Gold spot").fill("nothing")
    page.keyboard.press("Enter")
    expect(page.locator('[id="p-spot.gold"]')).to_be_visible()
    expect(page.get_by_label("Gold spot")).to_have_value("nothing")
    page.goto(address)
    expect(page.get_by_label("Gold spot")).to_have_value("nothing")


def test_only_the_fields_of_the_chosen_branch_are_seen_without_scripts(watched: Watched) -> None:
    page = watched.page(scripts=False)
    page.goto("/quotes/new")
    expect(page.get_by_label("Kind of rock")).to_be_visible()
    page.get_by_role("radio", name="Density").check()
    expect(page.get_by_label("Kind of rock")).to_be_hidden()
    page.get_by_role("radio", name="Measured elsewhere").check()
    expect(page.locator('[id="f-weighing.dry_g.0"]')).to_be_hidden()
    expect(page.locator('[id="f-gold.measured.basis"]')).to_be_visible()


def test_typing_goes_on_while_the_page_is_worked_out(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    gold = page.get_by_label("Gold spot")
    gold.click()
    page.keyboard.press("End")
    page.keyboard.press("ArrowLeft")
    page.keyboard.type("55", delay=180)
    page.wait_for_timeout(700)
    expect(gold).to_have_value("410550")
    expect(gold).to_be_focused()
    assert gold.evaluate("field => field.selectionStart") == 5
    page.locator('[id="f-weighing.dry_g.2"]').fill("412.55")
    page.locator('[id="f-weighing.dry_g.1"]').click()
    page.keyboard.type("412.65", delay=90)
    expect(page.locator('[id="f-weighing.dry_g.3"]')).to_be_visible()
    expect(page.locator('[id="f-weighing.dry_g.1"]')).to_have_value("412.65")


def test_two_fast_edits_end_on_the_newest_figures(watched: Watched, app: Flask) -> None:
    slow = threading.Event()

    def delay() -> None:
        if request.method == "POST" and request.form.get("spot.gold") == "1000":
            slow.set()
            time.sleep(1.2)

    app.before_request(delay)
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    gold = page.get_by_label("Gold spot")
    gold.fill("1000")
    assert slow.wait(5)
    gold.fill("2000")
    page.get_by_label("Readability").focus()
    figure = page.locator("#brief .brief-figure")
    melt = page.locator(".axis-figure").first
    expect(melt).to_have_text(re.compile(r"\$2,\d\d0"))
    page.wait_for_timeout(1500)
    expect(melt).to_have_text(re.compile(r"\$2,\d\d0"))
    expect(gold).to_have_value("2000")
    expect(figure).to_contain_text("$")


def test_a_typed_text_is_not_put_back_by_an_older_answer(watched: Watched, app: Flask) -> None:
    begun = threading.Event()

    def delay() -> None:
        if request.method == "POST" and request.form.get("spot.gold") == "4":
            begun.set()
            time.sleep(0.4)

    app.before_request(delay)
    page = watched.page()
    page.goto("/quotes/new")
    gold = page.get_by_label("Gold spot")
    gold.fill("4")
    assert begun.wait(5)
    gold.fill("4100")
    page.get_by_label("Readability").focus()
    page.wait_for_timeout(1500)
    expect(gold).to_have_value("4100")


def test_folds_stay_as_they_were_put(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    page.locator("#g-buyer > summary").click()
    page.get_by_label("Margin").fill("20")
    expect(page.locator("#g-buyer .group-line")).to_have_text(re.compile("margin 20 %"))
    expect(page.locator("#g-buyer")).to_have_attribute("open", "")


def test_folds_stay_as_they_were_put_after_reload_and_back(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    page.locator("#g-refiner > summary").click()
    page.locator('[id="m-refiner.charges"] > summary').press("Enter")
    page.locator("#g-spot > summary").click()
    page.reload()
    expect(page.get_by_label("Lot fee")).to_be_visible()
    expect(page.get_by_label("Gold spot")).to_be_hidden()
    page.goto("/demos")
    page.go_back()
    expect(page.get_by_label("Lot fee")).to_be_visible()
    expect(page.get_by_label("Gold spot")).to_be_hidden()
    page.goto("/quotes/new")
    expect(page.get_by_label("Lot fee")).to_be_hidden()
    expect(page.get_by_label("Gold spot")).to_be_visible()


def test_a_fold_with_a_mistake_is_open_however_it_was_put(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    page.get_by_label("Gold spot").fill("much")
    expect(page.locator('[id="p-spot.gold"]')).to_be_visible()
    page.locator("#g-spot > summary").click()
    page.reload()
    expect(page.locator('[id="p-spot.gold"]')).to_be_visible()


@pytest.mark.parametrize("late", [False, True], ids=["kept in time", "kept too late"])
def test_the_last_key_before_a_reload_is_not_lost(watched: Watched, app: Flask, late: bool) -> None:
    """Whether the page is asked for after what was typed reached the server, or before."""
    here = threading.Event()

    def delay() -> None:
        if request.path.endswith("/kept"):
            if late:
                time.sleep(0.5)
            here.set()

    app.before_request(delay)
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    gold = page.get_by_label("Gold spot")
    gold.press("End")
    page.keyboard.press("7")
    page.reload()
    assert here.wait(5)
    expect(page.get_by_label("Gold spot")).to_have_value("41007")
    page.wait_for_timeout(1000)
    expect(page.locator("#overtook")).to_have_count(0)
    page.reload()
    expect(page.get_by_label("Gold spot")).to_have_value("41007")


def test_a_working_that_loads_does_not_pass_for_what_was_typed(watched: Watched, app: Flask) -> None:
    """What is typed while the server is slow is sent on leaving, whatever else was answered meanwhile."""
    slowly = threading.Event()

    def slow() -> None:
        if slowly.is_set() and request.method == "POST" and not request.path.endswith("/kept"):
            time.sleep(2.0)

    app.before_request(slow)
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    slowly.set()
    page.get_by_label("Gold spot").fill("41007")
    page.locator("#d-native_gold_g > summary").click()
    expect(page.locator("#w-fine_gold_g .sum").first).to_be_visible()
    page.reload()
    expect(page.get_by_label("Gold spot")).to_have_value("41007")


def test_the_last_key_before_the_tab_is_closed_is_kept(watched: Watched, app: Flask) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    context, address = page.context, page.url
    page.get_by_label("Gold spot").press("End")
    page.keyboard.press("9")
    page.close(run_before_unload=True)
    again = watched.watch(context.new_page())
    for _ in range(20):
        again.goto(address)
        if again.get_by_label("Gold spot").input_value() == "41009":
            break
        again.wait_for_timeout(100)
    expect(again.get_by_label("Gold spot")).to_have_value("41009")


def test_what_another_tab_typed_later_is_not_typed_over_on_coming_back(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    address = page.url
    page.get_by_label("Gold spot").press("End")
    page.keyboard.press("5")
    page.goto("/demos")
    other = watched.watch(page.context.new_page())
    other.goto(address)
    other.get_by_label("Gold spot").fill("3900")
    expect(other.locator("#brief, #answer").first).to_be_attached()
    other.wait_for_timeout(700)
    page.go_back()
    expect(page.get_by_label("Gold spot")).to_have_value("3900")
    page.wait_for_timeout(600)
    expect(page.get_by_label("Gold spot")).to_have_value("3900")


def test_a_phone_has_one_row_of_navigation_and_a_way_to_the_answer_and_back(watched: Watched) -> None:
    for scripts in (True, False):
        page = watched.page(PHONE, scripts=scripts)
        page.goto("/asks/new")
        assert page.locator(".masthead").evaluate("e => e.offsetHeight") < 60
        expect(page.get_by_role("link", name="House", exact=True)).to_be_hidden()
        page.get_by_role("button", name="Menu").click()
        expect(page.get_by_role("link", name="House", exact=True)).to_be_visible()
        page.keyboard.press("Escape")
        page.get_by_label("Asking price", exact=True).fill("5200")
        page.get_by_label("Claimed gold").fill("1.9")
        page.get_by_label("Gold spot").fill("4100")
        if not scripts:
            page.get_by_role("button", name="Recalculate").click()
        to_answer = page.locator('#brief [href="#answer"]')
        expect(to_answer).to_contain_text("asked $5,200")
        to_answer.click()
        expect(page.locator(".headline-verdict")).to_be_in_viewport()
        back = page.get_by_role("link", name="Form", exact=True)
        expect(back).to_be_in_viewport()
        back.click()
        goal = page.get_by_label("Gold spot") if scripts else page.locator("#g-ask > summary")
        expect(goal).to_be_in_viewport()
        if scripts:
            expect(goal).to_be_focused()


def test_the_list_of_quotes_fits_a_phone(watched: Watched) -> None:
    page = watched.page(PHONE)
    page.goto("/quotes/new")
    page.locator("#g-specimen > summary").click()
    page.get_by_label("Title").fill("A long lump with a long title, as people are wont to write them")
    expect(page.locator("#g-specimen .group-line")).to_contain_text("long lump")
    page.goto("/quotes")
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]
    assert page.locator(".drafts").evaluate("e => e.scrollWidth <= e.clientWidth + 1")
    assert page.locator(".drafts th").last.evaluate("e => e.offsetWidth") > 250
    expect(page.get_by_role("button", name="Close")).to_be_in_viewport()


def test_without_scripts_the_button_that_recalculates_stays_in_view(watched: Watched) -> None:
    for size in (WIDE, PHONE):
        page = watched.page(size, scripts=False)
        page.goto("/quotes/new")
        expect(page.get_by_role("button", name="Recalculate")).to_be_in_viewport(ratio=1)
        page.locator('[id="f-weighing.dry_g.0"]').focus()
        expect(page.get_by_role("button", name="Recalculate")).to_be_in_viewport(ratio=1)


def test_a_link_to_what_is_needed_goes_to_its_field(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    page.locator("#g-spot > summary").click()
    page.get_by_role("link", name="Gold spot").click()
    expect(page.get_by_label("Gold spot")).to_be_focused()
    page.get_by_role("link", name="Dry").click()
    expect(page.locator('[id="f-weighing.dry_g.0"]')).to_be_focused()


def test_a_mistake_is_told_beside_its_field_and_goes_when_mended(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    gold = page.get_by_label("Gold spot")
    gold.fill("4,100")
    expect(page.locator("#g-spot")).to_contain_text("Read as 4,100.")
    gold.fill("41,00,")
    expect(page.locator('[id="p-spot.gold"]')).to_contain_text("not a number")
    expect(gold).to_have_attribute("aria-invalid", "true")
    gold.fill("4100")
    expect(page.locator('[id="p-spot.gold"]')).to_have_count(0)
    expect(page.locator("#answer")).to_contain_text("Fair price")


def test_reload_back_and_forward_find_what_was_typed(watched: Watched) -> None:
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    page.locator("#g-specimen > summary").click()
    page.get_by_label("Title").fill("Tin from the attic")
    expect(page.locator("#g-specimen .group-line")).to_contain_text("attic")
    page.reload()
    expect(page.get_by_label("Gold spot")).to_have_value("4100")
    expect(page.locator("#answer")).to_contain_text("Fair price")
    page.goto("/demos")
    page.go_back()
    expect(page.get_by_label("Gold spot")).to_have_value("4100")
    page.go_forward()
    page.get_by_role("link", name="Open quotes").click()
    page.get_by_role("link", name="Tin from the attic").click()
    expect(page.get_by_label("Gold spot")).to_have_value("4100")


def test_a_lost_server_is_told_and_nothing_is_lost(watched: Watched) -> None:
    watched.expected = ("Failed to load resource", "htmx", "Failed to fetch")
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    page.route("**/quotes/**", lambda route: route.abort())
    page.get_by_label("Gold spot").fill("4200")
    expect(page.locator("#lost")).to_contain_text("does not answer")
    expect(page.get_by_label("Gold spot")).to_have_value("4200")
    page.unroute("**/quotes/**")
    page.get_by_label("Gold spot").fill("4300")
    expect(page.locator("#lost")).to_be_hidden()
    expect(page.locator("#answer")).to_contain_text("Fair price")


def test_a_bug_on_the_way_leaves_the_page_as_it_is(watched: Watched, app: Flask) -> None:
    watched.expected = ("status of 500", "htmx")

    def fail() -> None:
        if request.form.get("spot.gold") == "13":
            raise RuntimeError("for the test")

    app.before_request(fail)
    page = watched.page()
    page.goto("/quotes/new")
    enter(page)
    expect(page.locator("#answer")).to_contain_text("Fair price")
    page.get_by_label("Gold spot").fill("13")
    expect(page.locator("#lost")).to_contain_text("Something went wrong")
    expect(page.get_by_label("Gold spot")).to_have_value("13")


def test_a_phone_has_the_answer_always_in_view(watched: Watched) -> None:
    page = watched.page(PHONE)
    page.goto("/quotes/new")
    enter(page)
    brief = page.locator("#brief [href='#answer']")
    expect(brief).to_contain_text("$")
    expect(brief).to_be_in_viewport()
    page.mouse.wheel(0, 600)
    expect(brief).to_be_in_viewport()
    brief.click()
    expect(page.locator("#answer .headline")).to_be_in_viewport()


def test_a_wide_page_keeps_the_answer_in_view(watched: Watched) -> None:
    page = watched.page()
    first_start(page)
    page.locator("#g-seller").scroll_into_view_if_needed()
    expect(page.locator("#answer .headline")).to_be_in_viewport()


def test_checking_an_asking_price_from_a_claim_to_a_weighing(watched: Watched) -> None:
    page = watched.page()
    page.goto("/asks/new")
    page.get_by_label("Asking price", exact=True).fill("5200")
    page.get_by_label("Claimed gold").fill("1.9")
    page.get_by_label("Gold spot").fill("4100")
    page.get_by_role("radio", name="Only claimed").check()
    expect(page.locator(".headline-verdict")).to_contain_text("Asked $5,200")
    expect(page.locator("#answer")).to_contain_text("first weigh the piece")
    page.get_by_role("radio", name="Weighed here").check()
    page.locator('[id="f-weighing.dry_g.0"]').fill("412.60")
    page.locator('[id="f-weighing.submerged_g.0"]').fill("271.35")
    page.get_by_label("Readability").fill("0.05")
    expect(page.locator("#answer")).not_to_contain_text("first weigh the piece")
    expect(page.locator(".headline-verdict")).to_contain_text("Asked $5,200")
    page.get_by_role("link", name="Make it a full quote").click()
    expect(page.get_by_label("Gold spot")).to_have_value("4100")


def test_two_tabs_on_one_quote_lose_nothing(watched: Watched, app: Flask, tmp_path: Path) -> None:
    left = watched.page()
    left.goto("/quotes/new")
    enter(left)
    expect(left.locator("#answer")).to_contain_text("Fair price")
    right = watched.watch(left.context.new_page())
    right.goto(left.url)
    left.get_by_label("Gold spot").fill("3900")
    expect(left.locator(".axis-figure").first).not_to_have_text("")
    left.wait_for_timeout(600)
    right.get_by_label("Gold spot").fill("3800")
    expect(right.locator("#overtook")).to_be_visible()
    store = app.extensions["store"]
    (draft,) = drafts.open_drafts(store).drafts
    states = [drafts.state(store, draft.id, e.revision) for e in drafts.earlier(store, draft.id)]
    assert "3900" in {dict(state.entries).get("spot.gold") for state in states}
