"""Whether one more test would pay."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, abort, request
from werkzeug.datastructures import MultiDict

from scenarios import UnknownScenario, scenario
from valuation import QuoteRequest, RequestRefused, ValuationError, evidence
from webapp import evidence_words
from webapp.book_use import with_house_tests
from webapp.forms import Reading
from webapp.rendering import page, settings, store
from webapp.store import UnknownDraft, drafts
from webapp.typed import Typed
from webapp.wording import Wording

views = Blueprint("evidence", __name__)


@views.get("/quotes/<name>/evidence")
def of_draft(name: str) -> Response:
    """What one more test of a quote in progress is worth."""
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Type something into the quote first.")
    try:
        read = Reading(
            Typed(MultiDict(kept.entries)), settings().now(), settings().zone, settings().written_in
        ).request()
        return _told(with_house_tests(read, store()), f"/quotes/{name}")
    except (RequestRefused, ValuationError):
        abort(422, "Something is still missing or wrong in this quote, so no test can be weighed against it.")


@views.get("/demos/<name>/evidence")
def of_demo(name: str) -> Response:
    """What one more test of a demo is worth."""
    try:
        read = scenario(name).request()
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    return _told(read, f"/demos/{name}")


def _told(read: QuoteRequest, back: str) -> Response:
    """The page at once, what the tests are worth a little later; where it is asked for, the whole page."""
    w = Wording(settings().written_in, read.spot.currency)
    about: dict[str, Any] = {"title": read.title, "back": back, "say": evidence_words, "w": w}
    if "whole" not in request.args:
        return page("evidence/evidence.html", found=None, whole=f"{request.path}?whole=1", **about)
    name = "evidence/told.html" if "HX-Request" in request.headers else "evidence/evidence.html"
    return page(name, found=evidence(read), **about)
