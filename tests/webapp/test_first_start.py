"""A first start: three questions, skipped at one press, then the demo; never asked again."""

from pathlib import Path

import pytest
from babel import Locale
from flask import Flask

from scenarios import FIRST, scenario
from tests.webapp.conftest import Page, Visitor
from webapp import create_app
from webapp.first_start import ASK_DEMO, currencies, likely_answers
from webapp.house_file import FILE, house_in
from webapp.settings import Settings


def chosen(page: Page) -> tuple[str, str, str]:
    texts = page.typed("#first-form")
    return texts["currency"], texts["spot_unit"], texts["mostly"]


def test_nothing_set_and_nothing_typed_asks_three_questions(visitor: Visitor) -> None:
    page = visitor.open("/")
    assert page.answer.request.path == "/first"
    assert chosen(page) == ("USD", "ozt", "quotes")
    assert [tag.get_text(strip=True) for tag in page.all("#first-form legend, #first-form .field label")] == [
        "Your currency",
        "The price of gold is per",
        "What you mostly do",
    ]


def test_the_answers_are_kept_and_count(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.send(visitor.open("/"), {"currency": "CHF", "spot_unit": "kg", "do": "start"}, "#first-form")
    assert scenario(FIRST).shows in page.words("#demo")
    house = house_in(tmp_path).house
    assert (house.currency, house.spot_unit, house.mostly) == ("CHF", "kg", "quotes")
    page = visitor.open("/quotes/new")
    assert (page.field("spot.currency")["value"], page.typed()["spot.unit"]) == ("CHF", "kg")
    assert scenario(FIRST).shows in visitor.open("/").words("#demo")  # not asked again
    page = visitor.open("/house")
    assert page.field("currency")["value"] == "CHF" and page.typed("#house-form")["mostly"] in ("", "quotes")


def test_it_is_skipped_at_one_press_and_not_asked_again(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.start()
    assert scenario(FIRST).shows in page.words("#demo")
    assert house_in(tmp_path).house.entries() == {}
    assert scenario(FIRST).shows in visitor.open("/").words("#demo")


def test_who_checks_prices_starts_with_one(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/"), {"mostly": "asks", "do": "start"}, "#first-form")
    assert page.answer.request.path.startswith("/asks/") and scenario(ASK_DEMO).shows in page.words("#demo")
    assert visitor.open("/").answer.request.path.startswith("/asks/")


def test_who_writes_sheets_comes_back_to_them_once_there_are_any(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/"), {"mostly": "sheets", "do": "start"}, "#first-form")
    page = visitor.send(page, {"title": "From a tin"})
    assert visitor.open("/").answer.request.path == "/quotes"
    button = next(tag for tag in page.all("button") if "Save as an offer sheet" in tag.get_text())
    visitor.client.post(str(button["formaction"]), data=page.typed(), follow_redirects=True)
    assert visitor.open("/").answer.request.path == "/sheets"


@pytest.mark.parametrize("kept", ["a file", "a draft", "a closed draft"])
def test_who_has_set_or_typed_anything_is_not_asked(visitor: Visitor, tmp_path: Path, kept: str) -> None:
    if kept == "a file":
        (tmp_path / FILE).write_text('currency = "EUR"\n')
    else:
        page = visitor.send(visitor.open("/quotes/new"), {"title": "From a tin"})
        if kept == "a closed draft":
            token = page.typed()["token"]
            visitor.client.post(f"{page.one('#quote-form')['action']}/close", data={"token": token})
    assert visitor.open("/").answer.request.path != "/first"


def test_what_is_not_offered_is_refused_and_the_rest_stays(visitor: Visitor, tmp_path: Path) -> None:
    page = visitor.open("/")
    sent = {**page.typed("#first-form"), "currency": "XYZ", "mostly": "asks"}
    page = Page(visitor.client.post("/first", data=sent))
    assert page.status == 422 and "Choose from what is listed" in page.words()
    assert page.one("[name=mostly][checked]")["value"] == "asks" and not (tmp_path / FILE).exists()


@pytest.mark.parametrize(
    ("locale", "currency", "unit"),
    [
        ("en_US", "USD", "ozt"),
        ("de_CH", "CHF", "ozt"),
        ("de", "EUR", "ozt"),
        ("fr_CA", "CAD", "ozt"),
        ("en_IN", "INR", "tola"),
        ("ja", "JPY", "ozt"),
    ],
)
def test_the_machines_locale_chooses_beforehand(locale: str, currency: str, unit: str) -> None:
    """Currencies of countries by Unicode CLDR, as Babel brings it."""
    likely = likely_answers(Locale.parse(locale), "USD", is_given=False)
    assert (likely["currency"], likely["spot_unit"]) == (currency, unit)
    assert currency in dict(currencies(Locale.parse(locale)))
    assert likely_answers(Locale.parse(locale), "NZD", is_given=True)["currency"] == "NZD"


def test_a_currency_given_at_the_start_counts_first(tmp_path: Path) -> None:
    app: Flask = create_app(tmp_path, Settings(locale="de_DE", currency="SEK", data=tmp_path))
    assert chosen(Visitor(app.test_client()).open("/"))[0] == "SEK"
    app.extensions["store"].close()


def test_a_folder_that_cannot_be_written_stops_nobody(visitor: Visitor, monkeypatch: pytest.MonkeyPatch) -> None:
    page = visitor.open("/")

    def refuse(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.mkstemp", refuse)
    told = visitor.send(page, {"do": "start"}, "#first-form")
    assert told.status == 503 and "cannot be written" in told.words() and "Skip this" in told.words()
    assert scenario(FIRST).shows in visitor.send(told, {"do": "skip"}, "#first-form").words("#demo")
