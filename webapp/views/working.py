"""The arithmetic of every headline figure."""

from __future__ import annotations

from flask import Blueprint, Response, abort
from werkzeug.datastructures import MultiDict

from scenarios import UnknownScenario, scenario
from valuation import RequestRefused, ValuationError, working
from webapp.forms import Reading, Typed
from webapp.rendering import page, settings, store
from webapp.store import UnknownDraft, drafts

views = Blueprint("working", __name__)


@views.get("/quotes/<name>/working")
def of_draft(name: str) -> Response:
    """The working of a quote in progress."""
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Type something into the quote first.")
    typed = Typed(MultiDict(kept.entries))
    try:
        request = Reading(typed, settings().now(), settings().zone).request()
        sheets = working(request)
    except (RequestRefused, ValuationError):
        abort(422, "Something is still missing or wrong in this quote, so there is no figure to show the working of.")
    return page("working/working.html", sheets=sheets, title=request.title, back=f"/quotes/{name}")


@views.get("/demos/<name>/working")
def of_demo(name: str) -> Response:
    """The working of a demo."""
    try:
        request = scenario(name).request()
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    return page("working/working.html", sheets=working(request), title=request.title, back=f"/demos/{name}")
