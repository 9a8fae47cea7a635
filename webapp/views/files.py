"""A quote saved to a file and opened from one: TOML, laid out like the scenarios."""

from __future__ import annotations

import re

from flask import Blueprint, Response, abort, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from valuation import RequestRefused, read_request
from webapp.forms import Reading
from webapp.rendering import page, settings, store
from webapp.request_file import FileRefused, parsed
from webapp.retyped import typed_from
from webapp.store import StoreError, UnknownDraft, drafts
from webapp.titles import title_of
from webapp.toml_text import toml_of
from webapp.typed import Typed

views = Blueprint("files", __name__)


@views.get("/quotes/<name>/file")
def saved(name: str) -> Response:
    """The draft as a TOML file, finished or not."""
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Type something into the quote first.")
    reading = Reading(Typed(MultiDict(kept.entries)), settings().now(), settings().zone, settings().written_in)
    answer = Response(toml_of(reading.entries), mimetype="application/toml")
    stem = re.sub(r"[^a-z0-9]+", "-", kept.title.lower())[:60].strip("-") or "quote"
    answer.headers["Content-Disposition"] = f'attachment; filename="{stem}.toml"'
    return answer


@views.get("/open")
def opening() -> Response:
    """Where a file is chosen."""
    return page("files/open.html", problems=())


@views.post("/open")
def opened() -> AnyResponse:
    """A new draft from a file; refused if it holds what no form could show."""
    file = request.files.get("file")
    if file is None or not file.filename:
        return page("files/open.html", 422, problems=("Choose a TOML or JSON file first.",))
    name = file.filename[-80:]
    try:
        text = file.read().decode("utf-8-sig")
        entries = parsed(text, name, is_json=name.lower().endswith(".json"))
    except UnicodeDecodeError:
        return page("files/open.html", 422, problems=(f"{name} is not UTF-8 text. Save it as UTF-8.",))
    except FileRefused as refused:
        return page("files/open.html", 422, problems=(str(refused),))
    unknown = _unknown_in(entries)
    if unknown:
        return page("files/open.html", 422, problems=unknown)
    typed = typed_from(entries)
    try:
        made = drafts.new(store(), "quote", typed.texts.items(multi=True), title_of(typed), settings().now())
    except StoreError as trouble:
        return page("files/open.html", 422, problems=(str(trouble),))
    return redirect(url_for("drafts.draft", address="quotes", name=made.id), 303)


def _unknown_in(entries: dict[str, object]) -> tuple[str, ...]:
    """What the form could not show; other mistakes are told beside the fields once it is open."""
    misshapen = ("extra_forbidden", "model_type", "model_attributes_type", "dict_type", "tuple_type", "list_type")
    try:
        read_request(entries)
    except RequestRefused as refused:
        return tuple(f"{p.field}: {p.message}" for p in refused.problems if p.code in misshapen)
    return ()
