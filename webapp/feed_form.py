"""What was typed into the page of a feed <-> the feed; problems beside their fields."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import Any

from pydantic import ValidationError
from pydantic_core import PydanticCustomError
from werkzeug.datastructures import MultiDict

from valuation import problems_of
from valuation.errors import shown
from valuation.number import read_number
from webapp.feed_settings import METAL_NAMES, Feed, host_of
from webapp.fields import Field, field_in
from webapp.house import ended
from webapp.per_cent import in_per_cent
from webapp.typed import Typed

KEY = "header_value"
BOUNDS = frozenset({"greater_than", "greater_than_equal", "less_than", "less_than_equal"})


class FeedForm(Typed):
    """The page as typed."""

    def field(self, path: str) -> Field | None:
        """The setting of a name."""
        spec = field_in(Feed, path)
        if spec is None and path in Feed.model_fields:  # a list, typed in one line
            info = Feed.model_fields[path]
            return Field(path, str(info.title), str(info.description), "", "text", False, "", False)
        if spec is not None and path in ("metal", "format"):
            words = {**METAL_NAMES, "json": "JSON", "csv": "CSV"}
            return replace(spec, default_words="", required=True, choices=tuple((v, words[v]) for v, _ in spec.choices))
        return spec

    def label(self, name: str) -> str:
        """Label of a setting."""
        spec = self.field(name)
        return spec.label if spec is not None else "Feed"


def form_of(feed: Feed) -> FeedForm:
    """The page as one would have typed this feed; its key is not shown."""
    texts: MultiDict[str, str] = MultiDict()
    for name, value in feed.model_dump(exclude_unset=True).items():
        if name != KEY and value not in (None, "", ()):
            texts[name] = _text(name, value)
    return FeedForm(texts)


def _text(name: str, value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(value)
    spec = field_in(Feed, name)
    if spec is not None and spec.in_per_cent:
        return f"{(Decimal(repr(value)) * 100).normalize():f}"
    return value if isinstance(value, str) else shown(value)


def read(form: FeedForm, before: Feed | None) -> Feed | FeedForm:
    """The feed that was typed, or the form with its problems.

    A key that was left empty is that of the feed before, if it goes to the same host in the same header.
    """
    entries: dict[str, Any] = {}
    for name in Feed.model_fields:
        text = form.text(name).strip()
        if text:
            entries[name] = _entry(name, text)
    if before is not None and before.header_value and KEY not in entries:
        if entries.get("header") == before.header and _same_host(str(entries.get("address", "")), before):
            entries[KEY] = before.header_value
    try:
        return Feed.model_validate(entries)
    except ValidationError as refused:
        problems = []
        for problem in problems_of(refused, Feed):
            spec = field_in(Feed, problem.field)
            scaled = spec is not None and spec.in_per_cent and problem.code in BOUNDS
            words = in_per_cent(problem.message) if scaled else problem.message
            name = problem.field.partition(".")[0]
            problems.append(problem.model_copy(update={"field": name, "message": ended(words[:1].upper() + words[1:])}))
        return FeedForm(form.texts, tuple(problems))


def _entry(name: str, text: str) -> str | Decimal:
    spec = field_in(Feed, name)
    if spec is None or not spec.in_per_cent:
        return text
    try:
        return Decimal(repr(read_number(text.removesuffix("%")))) / 100
    except PydanticCustomError:
        return text


def _same_host(address: str, before: Feed) -> bool:
    try:
        return host_of(address) == before.host
    except ValueError:
        return False
