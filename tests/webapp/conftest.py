"""A fresh app for each test, and a person without JavaScript."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from bs4 import BeautifulSoup, Tag
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.datastructures import MultiDict
from werkzeug.test import TestResponse

from webapp import create_app
from webapp.settings import Settings


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Flask]:
    settings = Settings(locale="en_US", time_zone="America/Denver", data=tmp_path)
    made = create_app(tmp_path, settings)
    yield made
    made.extensions["store"].close()


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


@dataclass
class Page:
    """An answer as a person without JavaScript sees it."""

    answer: TestResponse

    def __post_init__(self) -> None:
        self.status = self.answer.status_code
        self.soup = BeautifulSoup(self.answer.text, "html.parser")

    def one(self, selector: str) -> Tag:
        (found,) = self.soup.select(selector)
        return found

    def all(self, selector: str) -> list[Tag]:
        return list(self.soup.select(selector))

    def words(self, selector: str = "main") -> str:
        return " ".join(self.one(selector).get_text(" ", strip=True).replace("\u00a0", " ").split())

    def field(self, name: str) -> Tag:
        return next(tag for tag in self.all("input, select, textarea") if tag.get("name") == name)

    def typed(self, selector: str = "#quote-form") -> MultiDict[str, str]:
        """What a browser would send of the form, hidden fields included."""
        texts: MultiDict[str, str] = MultiDict()
        for tag in self.one(selector).select("input, select, textarea"):
            name = str(tag.get("name", ""))
            if not name or tag.has_attr("disabled"):
                continue
            if tag.name == "select":
                chosen = tag.select_one("option[selected]") or tag.select_one("option")
                texts.add(name, str(chosen["value"]) if chosen else "")
            elif tag.get("type") in ("radio", "checkbox"):
                if tag.has_attr("checked"):
                    texts.add(name, str(tag.get("value", "on")))
            else:
                texts.add(name, str(tag.get("value", "")) if tag.name == "input" else tag.get_text())
        return texts


@dataclass
class Visitor:
    """Opens pages, types, and sends forms as a browser without JavaScript does."""

    client: FlaskClient

    def open(self, address: str) -> Page:
        return Page(self.client.get(address, follow_redirects=True))

    def start(self) -> Page:
        """The demo of a first start whose questions were skipped."""
        return self.send(self.open("/"), {"do": "skip"}, "#first-form")

    def send(self, page: Page, changes: dict[str, str | list[str]], selector: str = "#quote-form") -> Page:
        texts = page.typed(selector)
        for name, value in changes.items():
            texts.setlist(name, value if isinstance(value, list) else [value])
        form = page.one(selector)
        return Page(self.client.post(str(form["action"]), data=texts, follow_redirects=True))


@pytest.fixture
def visitor(client: FlaskClient) -> Visitor:
    return Visitor(client)
