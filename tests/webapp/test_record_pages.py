"""Outcomes on a sheet, and the page and command that count them, without scripts."""

import json
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from freezegun import freeze_time

from tests.simulator.shop import Shop, pieces
from tests.webapp.conftest import Page, Visitor
from tests.webapp.test_sheet_pages import AT, begin, deed, hand_over, sheet_id
from webapp import outcome
from webapp.cli import main
from webapp.handing_over import Prepared, frozen, request_of
from webapp.house import House
from webapp.paper import Printed
from webapp.sheet_form import OfferTerms
from webapp.store import books, deeds, revisions, sheets
from webapp.store.database import Store


@pytest.fixture(autouse=True)
def clock() -> Any:
    with freeze_time(AT, tick=False) as frozen:
        yield frozen


@pytest.fixture
def store(app: Flask) -> Store:
    kept: Store = app.extensions["store"]
    return kept


def agreed(visitor: Visitor) -> Page:
    return deed(visitor, hand_over(visitor, begin(visitor)), "Agreed")


REFINED = {"kind": "refined", "fine_gold_g": "39.2", "paid": "4688.10", "days": "16"}
SOLD = {"kind": "sold", "price": "7,400", "costs": "250", "gold_price": "4150", "unit": "ozt", "sold_days": "60"}


def settle(visitor: Visitor, page: Page, following: str = "", **typed: str) -> Page:
    button = "Settled" if page.words("h1 .state") == "agreed" else "Note this correction"
    return deed(visitor, page, button, **{"following": following, **typed})


# ---- on the sheet


def test_gold_may_be_typed_in_ounces_and_amounts_are_kept_in_coins(visitor: Visitor, store: Store) -> None:
    page = settle(visitor, agreed(visitor), **{**REFINED, "fine_gold_g": "1.25", "fine_gold_unit": "ozt"})
    assert page.words("h1 .state") == "settled"
    note = json.loads(deeds.history(store, sheet_id(page))[-1].note)
    assert note["fine_gold_g"] == pytest.approx(1.25 * 31.1034768) and note["paid"] == "4688.10"
    assert "38.87" in page.words(".next .figures")


def test_a_sale_asks_for_the_gold_price_of_the_day(visitor: Visitor) -> None:
    told = settle(visitor, agreed(visitor), **{**SOLD, "gold_price": "", "sold_days": "soon"})
    assert told.status == 422
    assert "premium is what was paid over the gold of the day" in told.words("#p-gold_price")
    assert "soon" in told.words("#p-sold_days") and told.field("price")["value"] == "7,400"
    assert told.one("input[value=sold]").has_attr("checked")


def test_a_correction_is_a_further_deed_and_loses_nothing(visitor: Visitor, store: Store) -> None:
    first = settle(visitor, agreed(visitor), **REFINED)
    form = first.one(".deed")
    assert form.select_one("[name=fine_gold_g]")["value"] == "39.2"  # type: ignore[index]
    following = first.typed(".deed")["following"]
    second = settle(visitor, first, following, **{**REFINED, "fine_gold_g": "38.6", "note": "umpire assay"})
    assert second.status == 200 and "38.6 g" in second.words(".next .figures")
    assert "Corrected once" in second.words(".next")
    history = second.words(".history")
    assert "39.2 g of fine gold" in history and "38.6 g of fine gold" in history and "umpire assay" in history
    kinds = [one.kind for one in deeds.history(store, sheet_id(second))]
    assert kinds[-2:] == ["settled", "settled"]
    late = settle(visitor, first, following, **{**REFINED, "fine_gold_g": "11"})  # from a tab that saw the first
    assert late.status == 409 and "was noted meanwhile" in late.words() and late.field("fine_gold_g")["value"] == "11"


def test_an_outcome_cannot_be_noted_twice_as_the_first(visitor: Visitor) -> None:
    page = agreed(visitor)
    settle(visitor, page, **REFINED)
    assert settle(visitor, page, **REFINED).status == 409


def test_a_note_that_cannot_be_read_is_told_and_can_be_put_right(visitor: Visitor, store: Store) -> None:
    page = agreed(visitor)
    sheet, now = sheet_id(page), visitor.client.application.config["SETTINGS"].now()
    deeds.record(store, sheet, 1, "settled", now, '{"paid":"4100.00"}', gold_per_g={})
    told = visitor.open(f"/sheets/{sheet}")
    assert "cannot be read" in told.words(".next") and "figures cannot be read" in told.words(".history")
    assert "cannot be read" in visitor.open("/record").words("#m-left")
    righted = settle(visitor, told, told.typed(".deed")["following"], **REFINED)
    assert "39.2 g" in righted.words(".next .figures")


# ---- own sales in the book


def test_an_own_sale_becomes_a_comparable_by_one_click_and_follows_a_correction(visitor: Visitor, store: Store) -> None:
    bought = agreed(visitor)
    page, sheet = settle(visitor, bought, **SOLD), sheets.get(store, sheet_id(bought))

    def keep(page: Page, words: str) -> Page:
        form = next(form for form in page.all(".next form") if words in form.get_text())
        token = {"token": page.typed(".deed")["token"]}
        return Page(visitor.client.post(str(form["action"]), data=token, follow_redirects=True))

    kept = keep(page, "Keep as a comparable sale")
    assert "stands in the book of comparable sales" in kept.words(".next")
    (entry,) = books.offered(store, "sales")
    quoted = json.loads(revisions.content(store, sheet.id, 1, "result"))
    terms = entry.content.terms
    assert (terms["price"], terms["spot"], terms["date"]) == (7400.0, 4150.0, "2026-05-13")  # 60 days after 14 March
    assert terms["fine_g"] == pytest.approx(quoted["fine_gold_g"]["median"], rel=1e-5)
    assert sheet.number and sheet.number in terms["note"]
    again = settle(visitor, kept, kept.typed(".deed")["following"], **{**SOLD, "price": "7900"})
    keep(again, "up to date")
    (entry,) = books.offered(store, "sales")
    assert (entry.version, entry.content.terms["price"]) == (2, 7900.0)


def test_only_a_sale_can_be_kept_as_one(visitor: Visitor) -> None:
    page = settle(visitor, agreed(visitor), **REFINED)
    assert not [form for form in page.all(".next form") if "comparable" in form.get_text()]
    token = {"token": page.typed(".deed")["token"]}
    assert visitor.client.post(f"/record/sales/{sheet_id(page)}", data=token).status_code == 422
    assert visitor.client.post("/record/sales/nothing-of-the-kind", data=token).status_code == 404


# ---- the page


def test_before_anything_is_settled_the_page_says_so(visitor: Visitor) -> None:
    assert "No sheet has been settled yet" in visitor.open("/record").words()
    agreed(visitor)
    told = visitor.open("/record").words()
    assert "Of 1 sheet handed over, 1 agreed and 0 settled." in told and "No sheet has been settled yet" in told


def test_few_settled_are_too_few_to_say(visitor: Visitor) -> None:
    settle(visitor, agreed(visitor), **REFINED)
    settle(visitor, agreed(visitor), **SOLD)
    page = visitor.open("/record")
    told = page.words()
    assert "Of 2 sheets handed over, 2 agreed and 2 settled." in told
    assert "1 settled: too few to say." in page.words("section[aria-labelledby=of-ranges]")
    assert len(page.all(".record-dot")) == 1 and "piece settled: too few to say" in told
    premium = page.words("section[aria-labelledby=of-premium]")
    assert "1 of 1" in premium or "0 of 1" in premium
    assert "10 to 90 %" in premium and "1 settled: too few to say" in premium
    assert "2 pieces made" in page.words("section[aria-labelledby=of-profit]")
    assert not page.all("main script, main [style]")


def test_the_record_is_private_and_links_each_sheet(visitor: Visitor) -> None:
    page = settle(visitor, agreed(visitor), **REFINED)
    told = visitor.open("/record")
    assert "for the house only" in told.words()
    assert f"/sheets/{sheet_id(page)}" in {str(a["href"]) for a in told.all("#m-pieces a")}


# ---- what thirty settled pieces suggest


def shop(visitor: Visitor, store: Store, denser: float, count: int) -> None:
    """Settled sheets of a simulated shop, handed over in the store as the program does it."""
    at = datetime(2026, 3, 14, 17, 30, tzinfo=UTC)
    settings = visitor.client.application.config["SETTINGS"]
    for number, one in enumerate(pieces(Shop(denser), 21, count)):
        name = sheets.new(
            store, draft_id=f"draft-{number:020}", title=f"Piece {number}", description="", reference="", at=at
        )
        terms = OfferTerms(Decimal(1000), "", at + timedelta(days=3), None, "")
        request = request_of(one.typed, terms.offer)
        made = Prepared(request, f"Piece {number}", terms, House(), settings.written_in, settings.zone, None, "", ())
        revisions.hand_over(store, name, partial(frozen, made), at=at, zone=settings.zone, expected_revision=0)
        deeds.record(store, name, 1, "agreed", at, gold_per_g={})
        told, _ = outcome.read({"fine_gold_g": f"{one.recovered_g:.3f}", "paid": "1200", "days": "15"}, "USD")
        assert told is not None
        deeds.record(store, name, 1, "settled", at, outcome.as_note(told), gold_per_g={})


@pytest.fixture
def no_papers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Thirty handings over whose PDFs nobody reads."""
    monkeypatch.setattr("webapp.handing_over.seller_pdf", lambda paper: Printed(b"%PDF seller", ()))
    monkeypatch.setattr("webapp.handing_over.house_pdf", lambda paper: Printed(b"%PDF house", ()))


@pytest.mark.usefixtures("no_papers")
def test_a_suggested_density_is_saved_only_by_the_users_word(visitor: Visitor, store: Store) -> None:
    shop(visitor, store, 0.02, 14)
    page = visitor.open("/record")
    assert not books.entries(store, "rocks")
    rock = page.words(".record-rock")
    assert "denser than it is quoted with" in rock and "To quote with" in rock
    form = page.one(".record-rock form")
    texts = page.typed(".record-rock form")
    wrong = Page(visitor.client.post(str(form["action"]), data={**texts.to_dict(), "density": "{}"}))
    assert wrong.status == 409 and not books.entries(store, "rocks")
    saved = Page(visitor.client.post(str(form["action"]), data=texts, follow_redirects=True))
    (entry,) = books.offered(store, "rocks")
    density = entry.content.terms["density_g_cm3"]
    assert 2.63 < density["likely"] < 2.67 and entry.content.name in saved.words(".banner")
    assert "14 of 14 settled pieces" in entry.content.source
    assert "book of rocks says so already" in saved.words(".record-rock")
    assert not saved.all(".record-rock form")


# ---- the command


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    code = main(list(arguments))
    out, err = capsys.readouterr()
    return code, out, err


def test_the_command_tells_the_same(visitor: Visitor, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    settle(visitor, agreed(visitor), **REFINED)
    code, out, _ = run(capsys, "record", "--data", str(tmp_path))
    assert code == 0 and ("held 1 of 1" in out or "held 0 of 1" in out)
    assert "too few to say" in out and "Only deals that were agreed" in out
    code, out, _ = run(capsys, "record", "--json", "--data", str(tmp_path))
    told = json.loads(out)
    assert code == 0 and (told["settled"], told["held"]["of"]) == (1, 1)
    assert told["refined"][0]["recovered_g"] == 39.2
    assert run(capsys, "record", "--data", str(tmp_path / "none"))[0] == 2


def test_the_command_before_anything_is_settled(
    visitor: Visitor, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    visitor.open("/")
    code, out, _ = run(capsys, "record", "--data", str(tmp_path))
    assert code == 0 and "No sheet has been settled yet." in out
