"""Errors are pages with something to do, never tracebacks."""

import logging

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.webapp.conftest import Page
from tests.webapp.test_security import token_of


def test_a_page_that_is_not_there(client: FlaskClient) -> None:
    page = Page(client.get("/nowhere"))
    assert page.status == 404
    assert page.one("main a")["href"] == "/"


def test_a_wrong_method(client: FlaskClient) -> None:
    assert Page(client.get("/api/quote")).status == 405
    assert "buttons" in Page(client.delete("/quotes", data={"token": token_of(client)})).words()


def test_a_bug_has_a_reference_that_the_log_names(app: Flask, caplog: pytest.LogCaptureFixture) -> None:
    def broken() -> str:
        raise RuntimeError("secret detail")

    app.add_url_rule("/broken", view_func=broken)
    with caplog.at_level(logging.ERROR):
        page = Page(app.test_client().get("/broken"))
    assert page.status == 500 and "secret detail" not in page.answer.text
    reference = next(word for word in page.words().split() if len(word.strip(".")) == 8 and word.strip(".").isalnum())
    assert "RuntimeError" in caplog.text and "test_errors.py" in caplog.text
    assert reference
    assert any(record.args and record.args[0] in page.words() for record in caplog.records if record.args)  # type: ignore[index]


@pytest.mark.parametrize(
    "path", ["/quotes/½/kept", "/lots/1.234,5/kept", "/sheets/½/write/kept", "/lots/½", "/lots/½/price"]
)
def test_an_address_that_names_nothing_is_not_there(client: FlaskClient, path: str) -> None:
    assert client.post(path, data={"token": token_of(client), "title": "x"}).status_code == 404


@pytest.mark.parametrize("path", ["/quotes/{name}/kept", "/lots/{name}/kept", "/lots/{name}"])
def test_what_cannot_be_kept_is_the_senders_to_mend(client: FlaskClient, path: str) -> None:
    page = Page(client.post(path.format(name="x" * 20), data={"token": token_of(client), "title": "a\0b"}))
    assert page.status == 422 and "NUL" in page.words()


def test_a_lot_has_no_house_side_but_its_page(client: FlaskClient) -> None:
    client.post("/lots/a-lot-of-pieces-here/kept", data={"token": token_of(client), "title": "x"})
    answer = client.get("/quotes/a-lot-of-pieces-here/house")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/lots/a-lot-of-pieces-here")
