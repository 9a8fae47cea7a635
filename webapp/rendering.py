"""Templates -> answers. One template serves the whole page; htmx takes the part that it shows from the same page."""

from __future__ import annotations

import re
from datetime import datetime
from typing import Any

from flask import Flask, Response, current_app, make_response, render_template
from jinja2.ext import Extension

from webapp.house import House
from webapp.house_file import HouseFile
from webapp.settings import Settings
from webapp.store.database import Store
from webapp.wording import Wording

# Ends of lines before tags of blocks, where no space can be seen.
_BLOCKS = "div|p|fieldset|details|summary|legend|option|tr|th|td|li|ul|dl|dd|dt|section|table|thead|tbody|select|svg"
_JOINTS = re.compile(rf"\n+(?=</?(?:{_BLOCKS})\b)")


class Unindented(Extension):
    """Templates without the indentation of their lines, which is for those who read them."""

    def preprocess(self, source: str, name: str | None, filename: str | None = None) -> str:
        """The source, each line from its first sign on; none holds text in which spaces count."""
        return re.sub(r"^[ \t]+", "", source, flags=re.MULTILINE)


def prepare(app: Flask) -> None:
    """Give the templates what all of them use."""
    app.jinja_env.trim_blocks = True
    app.jinja_env.add_extension(Unindented)
    app.jinja_env.globals["house_trouble"] = house_trouble
    app.jinja_env.globals["has_feeds"] = lambda: bool(house().feeds)
    app.jinja_env.filters["as_sentence"] = as_sentence
    app.jinja_env.filters["unit_words"] = unit_words
    app.jinja_env.filters["wall_time"] = wall_time


def settings() -> Settings:
    """Settings of the running app, the house's among them."""
    return settings_given().under(house())


def settings_given() -> Settings:
    """Settings of the running app as they were at its start."""
    kept = current_app.config["SETTINGS"]
    assert isinstance(kept, Settings)
    return kept


def house_file() -> HouseFile:
    """The file of the house's settings."""
    kept: HouseFile = current_app.extensions["house"]
    return kept


def house() -> House:
    """The house's settings as they are now."""
    return house_file().read().house


def house_trouble() -> tuple[str, ...]:
    """What in the house's settings does not count, and why."""
    trouble, currency = house_file().read().trouble, settings().currency
    if house().is_in(currency):
        return trouble
    words = f"Amounts of money in the house's settings are in {house().currency}, this copy was started in {currency}"
    return (*trouble, f"{words}: they are left out.")


def store() -> Store:
    """The store of the running app."""
    kept: Store = current_app.extensions["store"]
    return kept


def page(template: str, status: int = 200, **values: Any) -> Response:
    """A page with its status."""
    return make_response(_JOINTS.sub("", render_template(template, **values)), status)


def unit_words(unit: str, currency: str) -> str:
    """Unit as shown beside an input; amounts in the quote's currency."""
    return unit.replace("money", currency or "money")


def as_sentence(message: str) -> str:
    """A message of the engine, which follows a field's name elsewhere, as a sentence of its own."""
    ended = message if message.endswith((".", "?", "!")) else f"{message}."
    return ended[:1].upper() + ended[1:]


def wall_time(at: datetime) -> str:
    """A moment as the house's clock shows it."""
    return Wording(settings().written_in, settings().currency).moment(at.astimezone(settings().zone))
