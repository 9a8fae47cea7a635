"""The arithmetic of every headline figure."""

from __future__ import annotations

from flask import Blueprint, Response, abort
from werkzeug.datastructures import MultiDict

from scenarios import UnknownScenario, scenario
from valuation import QuoteRequest, RequestRefused, ValuationError, quote, working
from webapp import sentences
from webapp.forms import Reading
from webapp.rendering import page, settings, store
from webapp.rounded_words import rounded_words
from webapp.store import UnknownDraft, drafts
from webapp.typed import Typed
from webapp.wording import Wording

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
        request = Reading(typed, settings().now(), settings().zone, settings().written_in).request()
        return _told(request, f"/quotes/{name}")
    except (RequestRefused, ValuationError):
        abort(422, "Something is still missing or wrong in this quote, so there is no figure to show the working of.")


@views.get("/demos/<name>/working")
def of_demo(name: str) -> Response:
    """The working of a demo."""
    try:
        request = scenario(name).request()
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    return _told(request, f"/demos/{name}")


def _told(request: QuoteRequest, back: str) -> Response:
    answer = quote(request, with_price_risk=True)
    return page(
        "working/working.html",
        sheets=working(request),
        rounded_words=rounded_words,
        risk=answer.price_risk,
        title=request.title,
        back=back,
        say=sentences,
        w=Wording(settings().written_in, answer.currency),
    )
