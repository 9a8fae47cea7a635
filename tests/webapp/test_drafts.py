"""Quotes in progress: kept as typed from the first field, by every tab, through a kill."""

import os
import re
import signal
import subprocess
import sys
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from flask import Flask

from scenarios import FIRST, scenario
from tests.webapp.conftest import Page, Visitor
from webapp.store import drafts

ROOT = Path(__file__).parent.parent.parent


def address_of(page: Page) -> str:
    return str(page.one("#quote-form")["action"])


def test_the_first_field_is_kept_even_if_nothing_can_be_worked_out(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {"weighing.dry_g": ["41"]})
    assert page.status == 200
    again = visitor.open(address_of(page))
    assert [tag["value"] for tag in again.all('[name="weighing.dry_g"]')] == ["41", "", ""]


def test_what_is_wrong_is_kept_too(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {"spot.gold": "4,100?", "title": "  Blue tin "})
    assert page.status == 422
    again = visitor.open(address_of(page))
    assert again.status == 200
    assert again.field("spot.gold")["value"] == "4,100?" and again.field("title")["value"] == "  Blue tin "
    assert again.field("spot.gold")["aria-invalid"] == "true"


def test_looking_keeps_nothing(app: Flask, visitor: Visitor) -> None:
    for address in ("/", "/quotes/new", "/asks/new", f"/demos/{FIRST}", "/quotes", "/demos"):
        assert visitor.open(address).status == 200
    assert drafts.open_drafts(app.extensions["store"]).count == 0


def test_a_later_start_opens_on_the_list(visitor: Visitor) -> None:
    page = visitor.send(visitor.start(), {"title": "From a tin"})
    assert "A demo" in page.words("#demo")
    listed = visitor.open("/")
    (link,) = listed.all(".drafts th a")
    assert link.get_text() == "From a tin" and link["href"] == address_of(page)
    assert scenario(FIRST).shows in visitor.open(str(link["href"])).words("#demo")


@pytest.mark.parametrize(
    ("typed", "called"),
    [
        ({"specimen.description": "Rusty lump"}, "Rusty lump"),
        ({"weighing.dry_g": ["", "412.60"]}, "Clean vein quartz, 412.60 g"),
        ({"weighing.dry_g": "412.6", "choose.rock": "chip"}, "Rock, 412.6 g"),
        ({"choose.gold": "claimed", "seller.asks.price": "5200"}, "Asked 5200"),
        ({"choose.gold": "claimed", "seller.claim.mass": "1.9"}, "Claimed 1.9 ozt"),
    ],
)
def test_a_quote_without_a_title_is_listed_by_what_is_known(
    visitor: Visitor, typed: dict[str, str | list[str]], called: str
) -> None:
    visitor.send(visitor.open("/quotes/new"), typed)
    assert visitor.open("/quotes").words(".drafts th a") == called


def test_a_quote_of_which_nothing_is_known_is_listed_by_its_time(visitor: Visitor) -> None:
    visitor.send(visitor.open("/quotes/new"), {"buyer.margin_frac": "12"})
    assert re.match(r"Started .*\d{4}", visitor.open("/quotes").words(".drafts th a"))


def test_the_ask_page_wants_the_asking_price_and_says_that_a_claim_will_do(visitor: Visitor) -> None:
    page = visitor.open("/asks/new")
    assert [a.get_text() for a in page.all(".todo a")] == ["Asking price", "Claimed gold", "Gold spot"]
    assert "will do" in page.words("#g-gold .if-claimed")
    page = visitor.send(page, {"choose.gold": "weighed"})
    assert page.all(".todo a")[0].get_text() == "Asking price"
    assert "what the seller says will do" in page.words("#g-gold > .group-body > .if-weighed > .help")


def test_a_page_that_is_left_is_kept_without_an_answer(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    address = address_of(page)
    texts = page.typed()
    texts["title"] = "Left in a hurry"
    answer = visitor.client.post(f"{address}/kept", data=texts)
    assert (answer.status_code, answer.data) == (204, b"")
    assert visitor.open(address).field("title")["value"] == "Left in a hurry"
    texts["title"] = "nul\0here"
    assert visitor.client.post(f"{address}/kept", data=texts).status_code == 422
    texts.poplist("token")
    assert visitor.client.post(f"{address}/kept", data=texts).status_code == 403


def test_a_save_that_fails_keeps_what_this_tab_has_seen(visitor: Visitor) -> None:
    """Otherwise the next save would take this tab's own last state for another's."""
    page = visitor.send(visitor.open("/quotes/new"), {"title": "one"})
    page = visitor.send(visitor.open(address_of(page)), {"title": "two"})
    seen = page.field("seen")["value"]
    page.one("#quote-form [name=writer]")["value"] = ""
    failed = visitor.send(page, {"title": "nul\0here"})
    assert failed.all("#unkept") and failed.field("seen")["value"] == seen != "0"
    assert not visitor.send(failed, {"title": "three"}).all("#overtook")


def test_an_empty_list_says_so(visitor: Visitor) -> None:
    assert "Nothing is open" in visitor.open("/quotes").words()


def test_close_undo_and_put_back(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {"title": "Closed one"})
    listed = visitor.send(visitor.open("/quotes"), {}, ".drafts form")
    assert "its text is kept" in listed.words() and not listed.all(".drafts th a")
    assert visitor.open(address_of(page)).all("#closed")
    back = visitor.send(listed, {}, "form.banner")
    assert back.field("title")["value"] == "Closed one" and not back.all("#closed")


def test_a_quote_is_an_ask_and_back_without_retyping(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/asks/new"), {"seller.asks.price": "900", "spot.gold": "4100"})
    assert page.all(".group")[0]["id"] == "g-ask"
    (over,) = [a for a in page.all(".ways a") if a.get_text() == "Make it a full quote"]
    quote = visitor.open(str(over["href"]))
    assert quote.all(".group")[0]["id"] == "g-specimen" and quote.field("seller.asks.price")["value"] == "900"
    (back,) = [a for a in quote.all(".ways a") if "asking price" in a.get_text()]
    assert back["href"] == address_of(page)


def test_an_ask_may_start_with_only_a_claim(visitor: Visitor) -> None:
    facts: dict[str, str | list[str]] = {
        "choose.gold": "claimed",
        "seller.asks.price": "5200",
        "seller.claim.mass": "1.9",
        "spot.gold": "4100",
    }
    page = visitor.send(visitor.open("/asks/new"), facts)
    assert page.status == 200
    assert page.words(".headline-verdict").startswith("Asked $5,200 ")
    assert "Nothing was weighed" in page.words("#answer")


def test_two_tabs_lose_nothing(visitor: Visitor) -> None:
    first = visitor.send(visitor.open("/quotes/new"), {"title": "one"})
    left, right = visitor.open(address_of(first)), visitor.open(address_of(first))
    visitor.send(left, {"title": "left"})
    page = visitor.send(right, {"title": "right"})
    assert "Another tab changed this" in page.words("#overtook")
    earlier = visitor.open(f"{address_of(first)}/earlier")
    assert "left" in earlier.words(".drafts") and "another tab" in earlier.words(".drafts")
    back = visitor.send(earlier, {}, ".drafts tbody tr:first-child form")
    assert back.field("title")["value"] == "left"
    assert "right" in visitor.open(f"{address_of(first)}/earlier").words(".drafts")


def test_the_same_tab_does_not_overtake_itself(visitor: Visitor) -> None:
    page = visitor.open("/quotes/new")
    visitor.send(page, {"title": "a"})
    assert not visitor.send(page, {"title": "ab"}).all("#overtook")


@pytest.mark.parametrize("name", ["short", "x" * 65, "has%20a%20space%20in%20it"])
def test_a_name_that_no_draft_can_have(visitor: Visitor, name: str) -> None:
    page = visitor.open("/quotes/new")
    page.one("#quote-form")["action"] = f"/quotes/{name}"
    assert visitor.send(page, {"title": "x"}).status == 404


def test_a_text_that_cannot_be_kept_is_told_and_stays_on_the_page(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {"title": "nul\0here"})
    assert page.status == 200 and "NUL" in page.words("#unkept")
    enough = {"weighing.dry_g": ["412.60"], "weighing.submerged_g": ["271.35"], "weighing.readability_g": ["0.05"]}
    page = visitor.send(visitor.open("/quotes/new"), {**enough, "spot.gold": "4100", "title": "nul\0here"})
    assert "NUL" in page.words("#unkept") and "Fair price" in page.words("#answer")


@pytest.mark.parametrize("kill", [signal.SIGTERM, getattr(signal, "SIGKILL", signal.SIGTERM)])
def test_what_was_typed_survives_the_death_of_the_server(tmp_path: Path, kill: signal.Signals) -> None:
    def start() -> tuple[subprocess.Popen[str], str]:
        command = [sys.executable, "-m", "webapp.cli", "serve", "--no-browser", "--data", str(tmp_path)]
        env = {**os.environ, "LODEWORTH_NO_BROWSER": "1"}
        server = subprocess.Popen(command, cwd=ROOT, env=env, stdout=subprocess.PIPE, text=True)
        assert server.stdout is not None
        return server, server.stdout.readline().split()[-1].rstrip("/")

    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(CookieJar()))
    server, base = start()
    try:
        with browser.open(f"{base}/quotes/new") as answer:
            address, text = answer.url, answer.read().decode()
        token = re.search(r'name="token" value="([^"]+)"', text)
        assert token is not None
        typed = urllib.parse.urlencode({"token": token[1], "title": "Typed before the crash", "spot.gold": "41"})
        with browser.open(address, typed.encode()) as answer:
            assert answer.status == 200
    finally:
        server.send_signal(kill)
        server.communicate(timeout=20)
    server, base = start()
    try:
        moved = base + urllib.parse.urlsplit(address).path
        with browser.open(moved) as answer:
            page = answer.read().decode()
        assert 'value="Typed before the crash"' in page and 'value="41"' in page
        with browser.open(base) as answer:
            assert "Typed before the crash" in answer.read().decode()
    finally:
        server.send_signal(signal.SIGTERM)
        server.communicate(timeout=20)
