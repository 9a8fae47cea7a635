"""A quote saved to a file and opened again is the same quote."""

import io
import tomllib
from typing import Any

import pytest

from scenarios import FIRST, names, scenario
from tests.webapp.conftest import Page, Visitor
from valuation import QuoteRequest, read_request
from webapp.toml_text import toml_of


@pytest.mark.parametrize("name", names())
def test_a_saved_demo_is_the_same_request(visitor: Visitor, name: str) -> None:
    page = visitor.send(visitor.open(f"/demos/{name}"), {})
    address = str(page.one("#quote-form")["action"]).replace("/asks/", "/quotes/")
    text = visitor.client.get(f"{address}/file").text
    request = read_request(tomllib.loads(text))
    assert request == scenario(name).request()
    assert stated(request) == stated(scenario(name).request())


def stated(request: QuoteRequest) -> dict[str, Any]:
    """What was not left to a default; the form shows the method chosen, so there it is stated."""
    told = request.model_dump(exclude_unset=True)
    (told.get("weighing") or {}).pop("method", None)
    return told


def sent(visitor: Visitor, text: str | bytes, name: str = "piece.toml") -> Page:
    token = visitor.open("/open").field("token")["value"]
    data = text.encode() if isinstance(text, str) else text
    form = {"token": token, "file": (io.BytesIO(data), name)}
    return Page(visitor.client.post("/open", data=form, content_type="multipart/form-data", follow_redirects=True))


def test_a_file_is_opened_as_a_new_quote(visitor: Visitor) -> None:
    page = sent(visitor, scenario(FIRST).text)
    assert page.status == 200 and "Fair price" in page.words("#answer")
    assert page.field("title")["value"] == scenario(FIRST).title
    assert scenario(FIRST).title in visitor.open("/quotes").words()


def test_mistakes_in_a_file_are_told_beside_the_fields_it_opens_in(visitor: Visitor) -> None:
    page = sent(visitor, '[spot]\ngold = "much"\n[weighing]\ndry_g = [4.1]\n')
    assert page.status == 200
    assert page.field("spot.gold")["value"] == "much" and page.field("spot.gold")["aria-invalid"] == "true"


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("spot = [", "line 1"),
        (b"\xff\xfe\x00", "UTF-8"),
        ("[spott]\ngold = 1\n", "spott"),
        ("[spot]\ngold = 1\nsilverr = 2\n", "silver"),
        ("weighing = 3\n", "weighing"),
    ],
)
def test_what_a_form_could_not_show_is_refused(visitor: Visitor, text: str | bytes, told: str) -> None:
    page = sent(visitor, text)
    assert page.status == 422 and told in page.words(".todo-wrong")


def test_no_file_chosen(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/open"), {}, "#open-form")
    assert page.status == 422 and "Choose" in page.words(".todo-wrong")


def test_every_text_survives_toml() -> None:
    texts = ['"', "\\", "a\nb\tc\r", "\x07\x7f", "金 ’ é", "[x]", "'''", '"""', "", "#"]
    entries = {"title": "".join(texts), "specimen": {"description": texts[2]}, "odd key.": {"": 1}}
    assert tomllib.loads(toml_of(entries)) == entries


def test_a_half_filled_quote_can_be_saved(visitor: Visitor) -> None:
    page = visitor.send(visitor.open("/quotes/new"), {"spot.gold": "abc", "weighing.dry_g": ["4,1"]})
    address = str(page.one("#quote-form")["action"])
    saved = tomllib.loads(visitor.client.get(f"{address}/file").text)
    assert saved["spot"]["gold"] == "abc" and saved["weighing"]["dry_g"] == [4.1]
    assert "quoted_at" in saved
