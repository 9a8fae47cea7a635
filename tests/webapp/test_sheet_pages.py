"""Offer sheets without scripts: from a quote by one button to papers that never change, and what becomes of them."""

import json
import re
from datetime import datetime, timedelta
from io import BytesIO
from typing import Any

import pytest
from flask import Flask
from freezegun import freeze_time
from PIL import Image
from pypdf import PdfReader
from werkzeug.datastructures import MultiDict

from scenarios import FIRST
from tests.webapp.conftest import Page, Visitor
from tests.webapp.test_counter import PRIVATE
from webapp.sheet_copy import checked
from webapp.store import deeds, drafts, prices, revisions, sheets
from webapp.store.database import Store
from webapp.store.prices import Price

AT = "2026-03-14 17:30:00"  # in UTC; 11:30 in the shop. The demo's price was seen an hour before.


@pytest.fixture(autouse=True)
def clock() -> Any:
    with freeze_time(AT, tick=False) as frozen:
        yield frozen


@pytest.fixture
def store(app: Flask) -> Store:
    kept: Store = app.extensions["store"]
    return kept


def begin(visitor: Visitor, changes: dict[str, Any] | None = None, demo: str = FIRST) -> Page:
    """The form of a sheet, come to from a quote by its one button; the quote bears no mark of a demo."""
    quote = visitor.open(f"/demos/{demo}")
    quote.one("[name=demo]").decompose()
    return from_quote(visitor, quote, changes)


def from_quote(visitor: Visitor, quote: Page, changes: dict[str, Any] | None = None) -> Page:
    button = next(b for b in quote.all("button") if "Save as an offer sheet" in b.get_text())
    assert button["form"] == "quote-form"
    texts = quote.typed()
    for name, value in (changes or {}).items():
        texts.setlist(name, value if isinstance(value, list) else [value])
    return Page(visitor.client.post(str(button["formaction"]), data=texts, follow_redirects=True))


def test_the_offer_of_a_sheet_follows_the_quote_that_has_moved_on(visitor: Visitor) -> None:
    quote = visitor.open(f"/demos/{FIRST}")
    quote.one("[name=demo]").decompose()
    assert from_quote(visitor, quote, {"buyer.offer": "4200"}).field("offer")["value"] == "4200"
    again = from_quote(visitor, quote, {"buyer.offer": "4310"})
    assert again.field("offer")["value"] == "4310"
    assert "Our offer is now 4310, as in the quote; here it was 4200." in again.words()


def press(visitor: Visitor, page: Page, do: str, changes: dict[str, Any] | None = None) -> Page:
    return visitor.send(page, {"do": do, **(changes or {})}, "#sheet-form")


def hand_over(visitor: Visitor, page: Page, changes: dict[str, Any] | None = None) -> Page:
    looked = press(visitor, page, "preview", changes)
    assert looked.status == 200, looked.words()
    return visitor.send(looked, {}, ".decide form")


def sheet_id(page: Page) -> str:
    form = page.all("#sheet-form, .deed, .decide form, main form")[0]
    found = re.search(r"/sheets/([\w-]{16,})", str(form["action"]))
    assert found is not None
    return found[1]


def address(page: Page, words: str) -> str:
    return next(str(a["href"]) for a in page.all("main a") if words in a.get_text(" ", strip=True))


def text_of(pdf: bytes) -> str:
    return " ".join("".join(page.extract_text() for page in PdfReader(BytesIO(pdf)).pages).split())


def picture(colour: tuple[int, int, int] = (200, 160, 40), kind: str = "JPEG") -> bytes:
    out = BytesIO()
    Image.new("RGB", (300, 200), colour).save(out, kind)
    return out.getvalue()


def upload(visitor: Visitor, page: Page, *files: tuple[str, bytes]) -> Page:
    texts: MultiDict[str, Any] = MultiDict(page.typed("#sheet-form").items(multi=True))
    texts.poplist("photograph")
    texts["do"] = "add"
    texts.setlist("photograph", [(BytesIO(data), name) for name, data in files])
    answer = visitor.client.post(
        str(page.one("#sheet-form")["action"]), data=texts, follow_redirects=True, content_type="multipart/form-data"
    )
    return Page(answer)


# ---- from a quote to a paper


def test_a_quote_becomes_two_papers_without_retyping(visitor: Visitor) -> None:
    page = begin(visitor)
    assert page.field("offer")["value"] == "4170"  # the plan's opening
    assert page.field("valid")["value"] == "24 hours"
    looked = press(visitor, page, "preview")
    assert "No name of the house" in looked.words(".decide") and looked.all(".decide a[href='/house']")
    assert "holds until Mar 15, 2026" in looked.words() and "Only time ends it." in looked.words()
    leaf = visitor.client.get(str(looked.one("img.leaf")["src"]))
    assert leaf.mimetype == "image/png" and Image.open(BytesIO(leaf.data)).width > 600
    done = visitor.send(looked, {}, ".decide form")
    assert "Sheet 2026-0001, revision 1" in done.words("h1") and done.words(".state") == "open"
    seller = visitor.client.get(address(done, "The seller's paper"))
    assert seller.mimetype == "application/pdf" and seller.headers["Content-Disposition"].startswith("inline")
    text = text_of(seller.data)
    assert "2026-0001" in text and "$4,170" in text and "White quartz, leaf gold on two faces" in text
    house = text_of(visitor.client.get(address(done, "working papers")).data)
    assert "$5,2" in house and len(house) > len(text)
    digest = done.words("code")
    assert digest in text and checked(visitor.client.get(address(done, "The seller's copy")).data).digest.startswith(
        digest.replace(" ", "")
    )


def test_our_offer_of_the_quote_is_taken_over_and_printed(visitor: Visitor) -> None:
    page = begin(visitor, {"buyer.offer": "4321"})
    assert page.field("offer")["value"] == "4321"
    done = hand_over(visitor, page)
    assert "$4,321" in done.words(".figure")


def test_a_quote_that_is_not_finished_stays_a_quote(visitor: Visitor) -> None:
    name = drafts.fresh_id()
    quote = visitor.open(f"/quotes/{name}")
    assert not [b for b in quote.all("button") if "offer sheet" in b.get_text()]
    answer = visitor.client.post(f"/quotes/{name}/sheet", data=quote.typed(), follow_redirects=True)
    assert Page(answer).one("#quote-form")


def test_the_button_again_goes_on_with_the_same_sheet_until_it_is_agreed(visitor: Visitor) -> None:
    page = begin(visitor)
    quote = visitor.open(address(page, "The quote"))
    assert sheet_id(from_quote(visitor, quote)) == sheet_id(page)
    done = hand_over(visitor, page)
    again = from_quote(visitor, quote)
    assert sheet_id(again) == sheet_id(page) and "Revision 2 of sheet 2026-0001" in again.words("h1")
    agreed = next(b for b in done.all(".deed button") if "Agreed" in b.get_text())
    visitor.client.post(str(agreed["formaction"]), data={"token": done.typed(".deed")["token"], "sure": "yes"})
    assert sheet_id(from_quote(visitor, quote)) != sheet_id(page)


def test_what_is_typed_is_kept_also_where_it_is_wrong(visitor: Visitor) -> None:
    page = begin(visitor)
    typed = {"offer": "much", "reason": "a long story", "valid": "someday", "spot_move": "lots"}
    refused = press(visitor, page, "preview", typed)
    assert refused.status == 422
    for name, text in typed.items():
        again = visitor.open(str(page.one("#sheet-form")["action"])).field(name)
        assert (again.get("value") or again.get_text()) == text
    for name in ("offer", "valid", "spot_move"):
        field = refused.field(name)
        assert field["aria-invalid"] == "true"
        words = refused.one(f"#p-{name}").get_text()
        assert typed[name] in words and f"p-{name}" in field["aria-describedby"]


def test_outside_the_plan_the_reason_stays_private(visitor: Visitor) -> None:
    page = begin(visitor)
    refused = press(visitor, page, "preview", {"offer": "6000"})
    assert refused.status == 422 and "outside our plan" in refused.words("#p-reason")
    done = hand_over(visitor, page, {"offer": "6000", "reason": "a gift for an old friend"})
    files = [visitor.client.get(address(done, words)).data for words in ("The seller's paper", "The seller's copy")]
    assert "old friend" not in text_of(files[0]) and b"old friend" not in files[1]
    assert "old friend" in text_of(visitor.client.get(address(done, "working papers")).data)


def test_private_figures_change_no_byte_of_the_sellers_papers(visitor: Visitor, app: Flask) -> None:
    made = []
    for private in ({}, PRIVATE):
        page = begin(visitor, {"buyer.offer": "4300", **private})
        looked = press(visitor, page, "preview", {"reason": "private words"})
        leaf = visitor.client.get(str(looked.one("img.leaf")["src"])).data
        done = visitor.send(looked, {}, ".decide form")
        files = [visitor.client.get(address(done, words)).data for words in ("The seller's paper", "The seller's copy")]
        made.append((leaf, *files))
    first, second = made
    assert first[0] == second[0]
    copies = [json.loads(one[2]) for one in made]
    for copy in copies:  # the two are two sheets
        assert copy.pop("number").startswith("2026-000") and copy.pop("digest")
    assert copies[0] == copies[1]
    assert not re.search(r"777|2222|1111|1333|9999|6543|Private Second|private words", text_of(second[1]))


# ---- handing over


def test_what_was_handed_over_stays_as_it_is_byte_for_byte(visitor: Visitor, clock: Any) -> None:
    done = hand_over(visitor, begin(visitor))
    where = {words: address(done, words) for words in ("The seller's paper", "working papers", "The house's copy")}
    before = {words: visitor.client.get(one).data for words, one in where.items()}
    clock.move_to("2026-03-14 18:30:00")
    visitor.send(visitor.open(address(done, "The quote")), {"spot.gold": "4500", "title": "Another title"})
    again = hand_over(visitor, visitor.open(address(done, "New revision")), {"offer": "4700", "reason": "a new price"})
    assert "revision 2" in again.words("h1") and "Revision 1: $4,170" in again.words("#m-1")
    assert {words: visitor.client.get(one).data for words, one in where.items()} == before
    newer = text_of(visitor.client.get(address(again, "The seller's paper")).data)
    assert "Replaces revision 1" in newer and "Another title" in newer and "$4,500 per ozt" in newer


def test_it_is_not_handed_over_unless_it_is_what_was_seen(visitor: Visitor, store: Store) -> None:
    page = begin(visitor)
    looked = press(visitor, page, "preview")
    quote = visitor.open(address(page, "The quote"))
    quote = visitor.send(quote, {"spot.gold": "4400"})  # now the offer is outside the plan as well
    refused = visitor.send(looked, {}, ".decide form")
    assert refused.status == 422 and "Something changed after you looked" in refused.words()
    visitor.send(quote, {"spot.gold": "4100", "title": "Another title"})
    back = visitor.send(looked, {}, ".decide form")
    assert back.status == 409 and "Something changed after you looked" in back.words()
    assert sheets.get(store, sheet_id(page)).revision == 0
    done = visitor.send(back, {}, ".decide form")
    assert "2026-0001" in done.words("h1")


@pytest.mark.parametrize("change", ["form", "photograph", "house"])
def test_any_change_after_the_look_asks_for_another(visitor: Visitor, store: Store, app: Flask, change: str) -> None:
    page = begin(visitor)
    looked = press(visitor, page, "preview")
    if change == "form":
        press(visitor, page, "keep", {"valid": "2 days"})
    elif change == "photograph":
        upload(visitor, page, ("a.jpg", picture()))
    else:
        app.extensions["house"].path.write_text('name = "Another name"\n', "utf-8")
    assert visitor.send(looked, {}, ".decide form").status == 409
    assert sheets.get(store, sheet_id(page)).revision == 0


def test_time_alone_does_not_ask_for_another_look(visitor: Visitor, clock: Any) -> None:
    looked = press(visitor, begin(visitor), "preview")
    clock.tick(timedelta(minutes=20))
    done = visitor.send(looked, {}, ".decide form")
    assert "Mar 15, 2026, 11:50" in done.words("dl")


def test_of_two_tabs_one_hands_over(visitor: Visitor, store: Store) -> None:
    page = begin(visitor)
    first, second = press(visitor, page, "preview"), press(visitor, page, "preview")
    assert "revision 1" in visitor.send(first, {}, ".decide form").words("h1")
    loser = visitor.send(second, {}, ".decide form")
    assert "handed over in the meantime" in loser.words() and "revision 1" in loser.words("h1")
    assert len(revisions.of_sheet(store, sheet_id(page))) == 1


def test_numbers_follow_each_other(visitor: Visitor) -> None:
    for i in (1, 2, 3):
        assert f"2026-000{i}" in hand_over(visitor, begin(visitor)).words("h1")


def test_an_old_price_is_confirmed_in_words_that_are_printed(visitor: Visitor, clock: Any) -> None:
    page = begin(visitor)
    clock.move_to("2026-03-16 17:30:00")
    refused = press(visitor, page, "preview")
    assert refused.status == 422 and "2 days ago" in refused.words("label[for=f-stale_price]")
    done = hand_over(visitor, refused, {"stale_price": "fixed with the refiner"})
    text = text_of(visitor.client.get(address(done, "The seller's paper")).data)
    assert "2 days old. The house confirms it: fixed with the refiner." in text
    revised = visitor.open(address(done, "New revision"))
    assert not revised.field("stale_price").get("value")  # to be said anew


def test_the_house_sets_how_old_a_price_may_be(visitor: Visitor, app: Flask) -> None:
    app.extensions["house"].path.write_text("[limits]\nspot_age_hours = 0.1\n", "utf-8")
    refused = press(visitor, begin(visitor), "preview")
    assert refused.status == 422 and "10 minutes ago" in refused.words("label[for=f-stale_price]")


def test_an_offer_above_the_houses_limit_asks_for_a_second_person_on_our_side_only(
    visitor: Visitor, app: Flask
) -> None:
    app.extensions["house"].path.write_text('currency = "USD"\n[limits]\ncash_offer = 4000\n', "utf-8")
    looked = press(visitor, begin(visitor), "preview")
    assert "For the house only. Our offer of $4,170 is above the house's limit" in looked.words(".decide")
    done = visitor.send(looked, {}, ".decide form")
    assert "second person" not in text_of(visitor.client.get(address(done, "The seller's paper")).data)
    assert "second person" in text_of(visitor.client.get(address(done, "working papers")).data)


def test_a_quote_that_became_wrong_is_told_and_the_form_kept(visitor: Visitor) -> None:
    page = begin(visitor)
    press(visitor, page, "keep", {"valid": "3 days"})
    visitor.send(visitor.open(address(page, "The quote")), {"spot.gold": "much"})
    again = visitor.open(str(page.one("#sheet-form")["action"]))
    assert "Something in the quote is missing or wrong" in again.words()
    assert again.field("valid")["value"] == "3 days"
    assert press(visitor, again, "preview").status == 422


@pytest.mark.parametrize(
    "typed",
    [
        '#read("/etc/passwd") *b* $x$ <b>{{7*7}}</b>',
        "金と銀 🪙 émail",
        "\u202eמחיר שקל",
        "word " * 400,
        "\\ ' \" ` ~ @ [x]",
    ],
)
def test_whatever_is_typed_is_handed_over_as_text(visitor: Visitor, typed: str) -> None:
    page = begin(visitor, {"title": typed[:200], "specimen.description": typed})
    done = hand_over(visitor, page, {"offer": "6000", "reason": f"why: {typed}"[:2000]})
    assert done.status == 200 and " ".join(typed.split())[:150] in done.words("h1 small")
    text = text_of(visitor.client.get(address(done, "The seller's paper")).data)
    assert "root:" not in text and "49" not in text.partition("Our offer")[0]
    copy = json.loads(visitor.client.get(address(done, "The seller's copy")).data)
    assert copy["description"].strip() == typed.strip()


# ---- photographs


def test_photographs_are_put_on_in_order_and_printed(visitor: Visitor, store: Store) -> None:
    page = begin(visitor)
    page = upload(visitor, page, ("a.jpg", picture()), ("b.png", picture((20, 90, 160), "PNG")))
    assert len(page.all(".shots img")) == 2
    first, second = (str(image["src"]) for image in page.all(".shots img"))
    second_digest = second.rpartition("/")[2].removesuffix(".jpg")
    page = press(visitor, page, f"first {second_digest}")
    assert [str(image["src"]) for image in page.all(".shots img")] == [second, first]
    done = hand_over(visitor, page)
    reader = PdfReader(BytesIO(visitor.client.get(address(done, "The seller's paper")).data))
    assert len([image for one in reader.pages for image in one.images]) >= 2
    shown = visitor.client.get(str(done.one(".shots li:first-child img")["src"]))
    assert shown.mimetype == "image/jpeg" and Image.open(BytesIO(shown.data)).size == (300, 200)


def test_a_photograph_taken_out_stays_where_it_was_handed_over(visitor: Visitor) -> None:
    page = upload(visitor, begin(visitor), ("a.jpg", picture()))
    done = hand_over(visitor, page)
    shot = str(done.one(".shots img")["src"])
    before = visitor.client.get(shot).data
    revised = visitor.open(address(done, "New revision"))
    digest = shot.rpartition("/")[2].removesuffix(".jpg")
    assert not press(visitor, revised, f"remove {digest}").all(".shots img")
    assert visitor.client.get(shot).data == before


def test_what_is_no_photograph_is_named_and_nothing_typed_is_lost(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("webapp.photographs.LARGEST", 100 * 1024)  # so that no large body need be sent
    page = begin(visitor)
    texts = page.typed("#sheet-form")
    assert texts["offer"]
    page.field("valid")["value"] = "5 days"
    told = upload(visitor, page, ("good.jpg", picture()), ("bad.pdf", b"%PDF-1.7"), ("big.jpg", b"\xff" * 200 * 1024))
    assert told.status == 422 and told.field("valid")["value"] == "5 days"
    assert "bad.pdf is no JPEG" in told.words() and "big.jpg has 0.2 MB" in told.words()
    assert len(told.all(".shots img")) == 1


def test_adding_without_a_file_says_what_to_do(visitor: Visitor) -> None:
    assert "Choose a picture first" in upload(visitor, begin(visitor), ("", b"")).words()


def test_only_this_form_takes_large_bodies(visitor: Visitor) -> None:
    page = begin(visitor)
    large = {"token": page.typed("#sheet-form")["token"], "title": "x" * 300_000}
    assert visitor.client.post("/quotes/aaaaaaaaaaaaaaaaaaaa", data=large).status_code == 413


# ---- what becomes of a sheet


def deed(visitor: Visitor, page: Page, words: str, **typed: str) -> Page:
    button = next(b for b in page.all(".deed button") if words in b.get_text())
    form = page.one(".deed")
    texts = {"token": page.typed(".deed")["token"], **typed}
    if words == "Agreed":
        texts["sure"] = "yes"  # what the question after it sends
    goal = str(button.get("formaction") or form["action"])
    return Page(visitor.client.post(goal, data=texts, follow_redirects=True))


def test_agreed_then_settled_with_the_refiners_figures(visitor: Visitor) -> None:
    done = hand_over(visitor, begin(visitor))
    agreed = deed(visitor, done, "Agreed", note="shook hands")
    assert agreed.words(".state") == "agreed" and "shook hands" in agreed.words(".history")
    wrong = deed(visitor, agreed, "Settled", fine_gold_g="lots", paid="12 what", days="")
    assert wrong.status == 422 and wrong.field("fine_gold_g")["value"] == "lots"
    assert len(wrong.all(".deed .problem")) == 3
    settled = deed(visitor, wrong, "Settled", fine_gold_g="39.2", paid="4688.10", days="16")
    assert settled.words(".state") == "settled"
    assert "39.2 g" in settled.words(".next") and "$4,688.10" in settled.words(".next")


def test_turned_down_may_be_revised(visitor: Visitor) -> None:
    done = hand_over(visitor, begin(visitor))
    down = deed(visitor, done, "Turned down")
    assert down.words(".state") == "turned down"
    revised = hand_over(visitor, visitor.open(address(down, "New revision")), {"offer": "4400"})
    assert revised.words("h1 .state") == "open" and "revision 2" in revised.words("h1")


def test_a_lapsed_offer_says_so_everywhere_and_cannot_be_agreed(visitor: Visitor, clock: Any) -> None:
    done = hand_over(visitor, begin(visitor))
    token = done.typed(".deed")["token"]
    agree = next(str(b["formaction"]) for b in done.all(".deed button") if "Agreed" in b.get_text())
    copy = visitor.client.get(address(done, "The seller's copy")).data
    clock.move_to("2026-03-15 17:30:01")
    lapsed = visitor.open(f"/sheets/{sheet_id(done)}")
    assert lapsed.words("h1 .state") == "lapsed" and "This offer has lapsed" in lapsed.words("#lapsed")
    assert not [b for b in lapsed.all(".deed button") if "Agreed" in b.get_text()]
    refused = Page(visitor.client.post(agree, data={"token": token}))
    assert refused.status == 409 and "has lapsed" in refused.words() and refused.words("h1 .state") == "lapsed"
    assert visitor.open("/sheets").words("tbody .state") == "lapsed"
    assert ",lapsed," in visitor.client.get("/sheets/list.csv").text
    assert "The offer has lapsed. Its time is over." in check(visitor, "copy.json", copy).words()
    assert not [b for b in lapsed.all(".deed button") if "lapsed" in b.get_text()]  # it says so already


def test_a_move_of_the_newest_price_ends_an_offer_that_says_so(visitor: Visitor, store: Store) -> None:
    done = hand_over(visitor, begin(visitor), {"spot_move": "2"})
    assert done.words("h1 .state") == "open"
    seen = datetime.fromisoformat("2026-03-14T17:20:00+00:00")
    prices.keep(store, Price("gold", "USD", "ozt", 4100 * 1.0199, seen, seen, is_fed=False))
    assert visitor.open(f"/sheets/{sheet_id(done)}").words("h1 .state") == "open"
    later = seen + timedelta(minutes=5)
    prices.keep(store, Price("gold", "USD", "ozt", 4100 * 1.021, later, later, is_fed=False))
    lapsed = visitor.open(f"/sheets/{sheet_id(done)}")
    assert lapsed.words("h1 .state") == "lapsed" and "Ended by gold at $4,186.10 per ozt" in lapsed.words("#lapsed")
    assert "entered by hand" in lapsed.words("#lapsed")


def test_what_was_noted_by_mistake_is_undone_with_a_reason(visitor: Visitor, store: Store) -> None:
    done = hand_over(visitor, begin(visitor))
    name = sheet_id(done)
    agree = next(str(b["formaction"]) for b in done.all(".deed button") if "Agreed" in b.get_text())
    asked = Page(visitor.client.post(agree, data=done.typed(".deed")))
    assert "Agreed by the seller" in asked.words("[role=alert]") and asked.words("h1 .state") == "open"
    assert visitor.client.get(agree).headers["Location"] == f"/sheets/{name}"  # the question, loaded again
    agreed = deed(visitor, done, "Agreed")
    assert agreed.words("h1 .state") == "agreed"
    unsaid = visitor.send(agreed, {}, "#m-mistake form")
    assert unsaid.status == 409 and unsaid.words("h1 .state") == "agreed"
    back = visitor.send(agreed, {"note": "wrong sheet"}, "#m-mistake form")
    assert back.words("h1 .state") == "open" and "noted by mistake: wrong sheet" in back.words(".history")
    down = deed(visitor, back, "Turned down")
    assert visitor.send(down, {"note": "slip"}, "#m-mistake form").words("h1 .state") == "open"
    kinds = [one.kind for one in deeds.history(store, name)]
    assert kinds[-4:] == ["agreed", "by_mistake", "turned_down", "by_mistake"]


def test_an_offer_that_a_price_ended_stays_lapsed(visitor: Visitor, store: Store) -> None:
    done = hand_over(visitor, begin(visitor), {"spot_move": "2"})
    name = sheet_id(done)
    first = {"metal": "gold", "price": "4300", "currency": "USD", "unit": "ozt", "seen_at": "", "source": "Desk"}
    visitor.send(visitor.open("/prices"), first, "form[action='/prices']")
    note = next(deed.note for deed in deeds.history(store, name) if deed.kind == "lapsed")
    assert re.fullmatch(r"gold at 4300.00 USD per ozt, seen 2026-03-14 11:30 .UTC-06:00., entered by hand: Desk", note)
    later = datetime.fromisoformat("2026-03-14T17:31:00+00:00")
    prices.keep(store, Price("gold", "USD", "ozt", 4100.0, later, later, is_fed=False))  # a slip, mended
    lapsed = visitor.open(f"/sheets/{name}")
    assert lapsed.words("h1 .state") == "lapsed" and "Ended by gold at $4,300 per ozt" in lapsed.words("#lapsed")
    texts = {"token": lapsed.one("[name=token]")["value"]}
    assert visitor.client.post(f"/sheets/{name}/1/agreed", data=texts).status_code == 409


def test_a_quotes_price_ends_other_offers_only_after_the_preview_said_so(visitor: Visitor, store: Store) -> None:
    first = sheet_id(hand_over(visitor, begin(visitor), {"spot_move": "2"}))
    dear = {"spot.gold": "4600", "spot.seen_at": "2026-03-14 11:25"}
    other = begin(visitor, dear)
    assert visitor.open(address(other, "The quote") + "/counter").status == 200
    newest = prices.newest(store, "gold", "USD")
    assert newest is not None and newest.price == 4100  # the counter view ends nobody's offer
    looked = press(visitor, other, "preview")
    assert "ends 1 open offer for good: 2026-0001" in looked.words("#ends")
    assert "more than 10 % from the newest" in looked.words(".decide").replace("\u00a0", " ")
    assert visitor.open(f"/sheets/{first}").words("h1 .state") == "open"
    visitor.send(looked, {}, ".decide form")
    assert visitor.open(f"/sheets/{first}").words("h1 .state") == "lapsed"


def test_now_counts_from_when_the_price_was_corrected(visitor: Visitor, store: Store, clock: Any) -> None:
    page = begin(visitor, {"spot.seen_at": "now"})
    quote = address(page, "The quote")
    for minute, changes in (("40", {"spot.gold": "4150"}), ("50", {"title": "Another"})):
        clock.move_to(f"2026-03-14 17:{minute}:00")
        visitor.send(visitor.open(quote), changes, "#quote-form")
    hand_over(visitor, visitor.open(f"/sheets/{sheet_id(page)}/write"), {"offer": "4400"})
    noted = prices.newest(store, "gold", "USD")
    assert noted is not None and (noted.price, noted.seen_at.minute) == (4150.0, 40)


def test_a_price_without_its_time_is_confirmed_and_not_noted(visitor: Visitor, store: Store) -> None:
    page = begin(visitor, {"spot.seen_at": ""})
    refused = press(visitor, page, "preview")
    assert refused.status == 422 and "does not say when" in refused.words("#p-stale_price")
    done = hand_over(visitor, refused, {"stale_price": "read off the board"})
    assert "read off the board" in done.words("dl") and prices.newest(store, "gold", "USD") is None


def test_an_offer_that_would_be_over_at_once_is_not_handed_over(visitor: Visitor, store: Store) -> None:
    seen = datetime.fromisoformat("2026-03-14T17:25:00+00:00")
    prices.keep(store, Price("gold", "USD", "ozt", 4300.0, seen, seen, is_fed=False))
    refused = press(visitor, begin(visitor), "preview", {"spot_move": "2"})
    assert refused.status == 422 and "$4,300 per ozt" in refused.words("#p-spot_move")
    assert press(visitor, refused, "preview", {"spot_move": "5"}).status == 200


def test_a_demo_is_looked_at_but_takes_no_number_until_its_mark_is_off(visitor: Visitor, store: Store) -> None:
    page = from_quote(visitor, visitor.open(f"/demos/{FIRST}"), {"specimen.description": "Typed over"})
    looked = press(visitor, page, "preview", {"offer": "4222"})
    assert "demo, invented" in looked.words(".decide").lower() and not looked.all("button:-soup-contains('Hand over')")
    assert visitor.client.get(str(looked.one("img.leaf")["src"])).mimetype == "image/png"
    assert "being written, demo" in visitor.open("/sheets").words("tbody")
    name = sheet_id(page)
    texts = {"token": looked.one("[name=token]")["value"], "expected": "0", "seen": "x"}
    refused = Page(visitor.client.post(f"/sheets/{name}/hand-over", data=texts))
    assert refused.status == 409 and "takes no number" in refused.words("[role=alert]")
    assert sheets.get(store, name).number is None
    marked = drafts.get(store, sheets.get(store, name).draft_id)
    freed = visitor.send(looked, {}, ".decide form")
    kept = drafts.get(store, marked.id)
    assert [row for row in marked.entries if row[0] != "demo"] == list(kept.entries) and len(kept.entries) > 20
    done = visitor.send(freed, {}, ".decide form")
    assert "Sheet 2026-0001, revision 1" in done.words("h1") and "$4,222" in done.words(".figure")


def test_a_price_that_was_used_is_noted_but_none_of_a_demo(visitor: Visitor, store: Store) -> None:
    press(visitor, from_quote(visitor, visitor.open(f"/demos/{FIRST}")), "preview")
    assert prices.newest(store, "gold", "USD") is None
    done = hand_over(visitor, begin(visitor))
    noted = prices.newest(store, "gold", "USD")
    assert noted is not None and (noted.price, noted.is_fed) == (4100.0, False)
    assert "entered by hand, seen Mar 14" in done.words("dl")


# ---- the list


def test_sheets_are_found_by_words_states_and_dates(visitor: Visitor, clock: Any) -> None:
    hand_over(visitor, begin(visitor, {"title": "Blue Tin"}))
    clock.move_to("2026-03-20 17:30:00")
    begin(visitor, {"title": "Long Seam", "specimen.seller_reference": "book 114"})

    def titles(query: str) -> list[str]:
        return [cell.get_text() for cell in visitor.open(f"/sheets?{query}").all("tbody td:nth-child(2)")]

    assert titles("") == ["Long Seam", "Blue Tin"]
    assert titles("order=title&direction=up") == ["Blue Tin", "Long Seam"]
    assert titles("text=seam") == titles("text=book+114") == titles("state=written") == ["Long Seam"]
    assert titles("text=2026-0001") == titles("state=lapsed") == titles("until=2026-03-14") == ["Blue Tin"]
    assert titles("since=2026-03-15") == ["Long Seam"]
    nothing = visitor.open("/sheets?state=agreed&text=nowhere")
    assert "No sheet is like that" in nothing.words() and nothing.field("text")["value"] == "nowhere"
    wrong = visitor.open("/sheets?since=yesterday")
    assert "is no date" in wrong.words("#p-since") and wrong.status == 200


def test_the_list_as_csv_runs_nothing(visitor: Visitor) -> None:
    begin(visitor, {"title": '=HYPERLINK("http://x/")'})
    answer = visitor.client.get("/sheets/list.csv")
    assert answer.mimetype == "text/csv" and "attachment" in answer.headers["Content-Disposition"]
    assert '"\'=HYPERLINK(""http://x/"")"' in answer.text


@pytest.mark.parametrize(
    "where", ["/sheets/nothing-of-this-name", "/sheets/nothing-of-this-name/write", "/sheets/x/1/offer-sheet.pdf"]
)
def test_what_is_not_there_is_said(visitor: Visitor, where: str) -> None:
    page = visitor.open(where)
    assert page.status == 404 and "There is no such" in page.words()


# ---- copies


def check(visitor: Visitor, name: str, data: bytes) -> Page:
    token = visitor.open("/sheets/check").typed("form.open-file")["token"]
    sent = {"token": token, "file": (BytesIO(data), name)}
    return Page(visitor.client.post("/sheets/check", data=sent, content_type="multipart/form-data"))


def test_a_copy_that_is_brought_back_is_judged(visitor: Visitor) -> None:
    done = hand_over(visitor, begin(visitor))
    pdf = visitor.client.get(address(done, "The seller's paper")).data
    copy = visitor.client.get(address(done, "The seller's copy")).data
    for name, data in (("a.pdf", pdf), ("a.json", copy)):
        page = check(visitor, name, data)
        assert page.words(".checked h2").startswith("Unchanged") and "holds until Mar 15, 2026" in page.words(
            ".checked"
        )
    forged = copy.replace(b'"4170.00"', b'"9999.00"')
    assert forged != copy and check(visitor, "a.json", forged).words(".checked h2").startswith("Changed")
    assert check(visitor, "a.pdf", pdf[:-20] + b"x" * 20).words(".checked h2").startswith("Changed")
    assert check(visitor, "a.txt", b"hello").words(".checked h2").startswith("No copy")
    private = visitor.client.get(address(done, "The house's copy")).data
    assert "for the house alone" in check(visitor, "h.json", private).words(".checked")


def test_a_forged_copy_with_a_digest_that_fits_is_found(visitor: Visitor) -> None:
    from webapp.canonical_json import canonical, digest

    done = hand_over(visitor, begin(visitor))
    told = json.loads(visitor.client.get(address(done, "The seller's copy")).data)
    del told["digest"]
    told["offer"] = "9999.00"
    forged = {**told, "digest": digest(canonical(told))}
    assert "another digest" in check(visitor, "a.json", json.dumps(forged).encode()).words(".checked")
    told["number"] = "2026-0099"
    forged = {**told, "digest": digest(canonical(told))}
    page = check(visitor, "a.json", json.dumps(forged).encode())
    assert page.words(".checked h2").startswith("Cannot be confirmed")


def test_a_copy_of_a_replaced_revision_no_longer_holds(visitor: Visitor) -> None:
    done = hand_over(visitor, begin(visitor))
    copy = visitor.client.get(address(done, "The seller's copy")).data
    hand_over(visitor, visitor.open(address(done, "New revision")), {"offer": "4400"})
    page = check(visitor, "a.json", copy)
    assert page.words(".checked h2").startswith("Unchanged") and "revision 2 replaces it" in page.words(".checked")


# ---- the seller's reference


def test_the_reference_is_on_no_paper_and_is_erased_everywhere(visitor: Visitor, store: Store, app: Flask) -> None:
    page = begin(visitor, {"specimen.seller_reference": "Zebedee Quill 114"})
    assert page.field("specimen.seller_reference")["value"] == "Zebedee Quill 114"
    done = hand_over(visitor, page)
    for words in ("The seller's paper", "working papers"):
        assert "Zebedee" not in text_of(visitor.client.get(address(done, words)).data)
    for words in ("The seller's copy", "The house's copy"):
        assert b"Zebedee" not in visitor.client.get(address(done, words)).data
    before = visitor.client.get(address(done, "working papers")).data
    asked = visitor.open(address(done, "erase everywhere"))
    assert "Backups made before still hold it" in asked.words()
    erased = visitor.send(asked, {}, "form.open-file")
    assert "Erased from 1 sheet and 1 quote" in erased.words()
    assert "Zebedee" not in visitor.open(address(done, "The quote")).answer.text
    assert "No sheet is like that" in visitor.open("/sheets?text=zebedee").words()
    assert visitor.client.get(address(done, "working papers")).data == before
    folder = store.file.parent
    store.close()
    for file in folder.iterdir():
        assert file.is_dir() or b"Zebedee" not in file.read_bytes(), file


# ---- backup


def test_a_backup_by_the_page_brings_sheets_back(visitor: Visitor, store: Store) -> None:
    done = hand_over(visitor, begin(visitor))
    paper = visitor.client.get(address(done, "The seller's paper")).data
    where = visitor.open("/backup")
    token = where.typed("form")["token"] if len(where.all("form")) == 1 else str(where.all("[name=token]")[0]["value"])
    kept = visitor.client.post("/backup/file", data={"token": token}, buffered=True)
    assert kept.mimetype == "application/zip" and "attachment" in kept.headers["Content-Disposition"]
    hand_over(visitor, begin(visitor))

    def restore(data: bytes, **more: str) -> Page:
        sent = {"token": token, "file": (BytesIO(data), "kept.zip"), **more}
        answer = visitor.client.post(
            "/backup/restore", data=sent, content_type="multipart/form-data", follow_redirects=True
        )
        return Page(answer)

    assert "Say first that everything" in restore(kept.data).words()
    assert "Nothing was changed" in restore(kept.data[:-50], sure="yes").words()
    assert len(visitor.open("/sheets").all("tbody tr")) == 2
    back = restore(kept.data, sure="yes")
    assert back.status == 200 and "Put back" in back.words()
    assert len(visitor.open("/sheets").all("tbody tr")) == 1
    assert visitor.client.get(address(done, "The seller's paper")).data == paper
    assert "2026-0002" in hand_over(visitor, begin(visitor)).words("h1")
