"""The counter view: what is turned to the seller."""

from __future__ import annotations

from flask import Blueprint, Response, abort, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from valuation import QuoteRequest, RequestRefused, ValuationError, quote
from webapp.counter_sheet import CounterSheet, counter_sheet
from webapp.forms import Reading
from webapp.rendering import page, settings, store
from webapp.store import UnknownDraft, drafts
from webapp.typed import Typed
from webapp.wording import Wording

views = Blueprint("counter", __name__, url_prefix="/quotes/<name>")


@views.get("/counter")
def shown(name: str) -> Response:
    """The page for the seller; with ``fair=shown``, on the house's deliberate click, the fair range too."""
    wanted = _request_of(name)
    sheet = None if wanted is None else _sheet(wanted)
    if wanted is None or sheet is None:
        return page("counter/unready.html", 422)
    fair = quote(wanted).fair if request.args.get("fair") == "shown" else None
    return page("counter/counter.html", sheet=sheet, fair=fair)


@views.get("/counter.json")
def figures(name: str) -> Response:
    """The same as JSON."""
    sheet = _needed(name)
    return jsonify(sheet.as_json())


@views.get("/counter.svg")
def picture(name: str) -> Response:
    """The same as a picture alone."""
    sheet = _needed(name)
    if sheet.axis is None:
        abort(404, "There is nothing to draw: nothing was weighed and no offer was made.")
    answer = make_response(render_template("counter/picture.svg", axis=sheet.axis).strip())
    answer.mimetype = "image/svg+xml"
    return answer


@views.get("/house")
def house(name: str) -> AnyResponse:
    """Back to the house's side; an address that does not name the quote, so that no counter page differs by it."""
    return redirect(url_for("drafts.draft", address="quotes", name=name))


def _needed(name: str) -> CounterSheet:
    wanted = _request_of(name)
    sheet = None if wanted is None else _sheet(wanted)
    if sheet is None:
        abort(422, "Something is still missing or wrong in this quote.")
    return sheet


def _request_of(name: str) -> QuoteRequest | None:
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Type something into the quote first.")
    try:
        return Reading(Typed(MultiDict(kept.entries)), settings().now(), settings().zone).request()
    except RequestRefused:
        return None


def _sheet(wanted: QuoteRequest) -> CounterSheet | None:
    try:
        return counter_sheet(wanted, Wording(settings().written_in, wanted.spot.currency))
    except ValuationError:
        return None
