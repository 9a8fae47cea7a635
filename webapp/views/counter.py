"""The counter view: what is turned to the seller."""

from __future__ import annotations

from decimal import ROUND_FLOOR

from flask import Blueprint, Response, abort, jsonify, make_response, redirect, render_template, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from valuation import QuoteRequest, RequestRefused, ValuationError, quote
from valuation.extras import Extras
from valuation.money import to_coins
from webapp import figures_said
from webapp.bargaining import choices
from webapp.counter_sheet import CounterSheet, counter_sheet
from webapp.faces import FACES
from webapp.forms import Reading
from webapp.naming import Naming
from webapp.noted_prices import keep_used
from webapp.rendering import page, settings, store
from webapp.retold import retold
from webapp.said_rows import added
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
    keep_used(store(), _kept(name), settings().zone, settings().written_in)
    fair = quote(wanted).fair if request.args.get("fair") == "shown" else None
    return page("counter/counter.html", sheet=sheet, fair=fair, retold=retold)


@views.get("/turn")
def turned(name: str) -> AnyResponse:
    """To the seller's side, at once where the offer is what the house said last; else it is chosen first."""
    wanted = _request_of(name)
    if wanted is None or _sheet(wanted) is None:
        return page("counter/unready.html", 422)
    if _as_said(wanted) is not None and _is_said(wanted):
        return redirect(url_for("counter.shown", name=name))
    return _offer_wanted(name, wanted)


@views.post("/turn")
def offered(name: str) -> AnyResponse:
    """Put the offer into the quote and among the figures said, then turn to the seller."""
    kept, figure = _kept(name), request.form.get("use") or request.form.get("figure", "")
    texts = MultiDict(kept.entries)
    texts["buyer.offer"] = figure.strip()
    reading = Reading(Typed(texts), settings().now(), settings().zone, settings().written_in)
    try:
        wanted = reading.request()
    except RequestRefused as refused:
        wrong = [reading.told(problem).message for problem in refused.problems if problem.field == "buyer.offer"]
        before = _request_of(name)
        if before is None or not wrong:
            return page("counter/unready.html", 422)
        return _offer_wanted(name, before, figure, wrong[0])
    if wanted.buyer.offer is None:
        return _offer_wanted(name, wanted, figure, "Type a figure, or choose one, or turn the screen without an offer.")
    said = _as_said(wanted)
    if said is not None and not _is_said(wanted):
        texts = added(texts, "buyer", figures_said.typed(said))
    drafts.keep(store(), name, texts.items(multi=True), kept.title, settings().now(), kind=kept.kind)
    return redirect(url_for("counter.shown", name=name), 303)


def _as_said(wanted: QuoteRequest) -> float | None:
    """The offer as it is said to the seller, in the currency of the ask."""
    offer, extras = wanted.buyer.offer, Extras.of(wanted.seller.asks, wanted.spot.currency)
    if offer is None or extras.exchange_rate == 1.0:
        return offer
    return float(to_coins(offer / extras.exchange_rate, extras.currency, ROUND_FLOOR))


def _is_said(wanted: QuoteRequest) -> bool:
    """Whether the offer is the last figure that the house has said."""
    ours = [one.figure for one in wanted.said if one.by == "buyer"]
    return bool(ours) and ours[-1] == _as_said(wanted)


def _offer_wanted(name: str, wanted: QuoteRequest, figure: str = "", problem: str = "") -> Response:
    answer, w = quote(wanted), Wording(settings().written_in, wanted.spot.currency)
    shown = {
        "choices": choices(answer, w),
        "naming": Naming(answer, w),
        "typed_figure": figures_said.typed,
        "figure": figure,
        "problem": problem,
    }
    offer = None if figure else wanted.buyer.offer
    return page("counter/offer.html", 422 if problem else 200, name=name, quote=answer, w=w, offer=offer, **shown)


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
    kind = _kept(name).kind
    if kind == "lot":
        return redirect(url_for("lots.lot", name=name))
    address = next(face.address for face in FACES.values() if face.kind == kind)
    return redirect(url_for("drafts.draft", address=address, name=name, _anchor="answer"))


def _needed(name: str) -> CounterSheet:
    wanted = _request_of(name)
    sheet = None if wanted is None else _sheet(wanted)
    if sheet is None:
        abort(422, "Something is still missing or wrong in this quote.")
    return sheet


def _kept(name: str) -> drafts.Draft:
    try:
        return drafts.get(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Type something into the quote first.")


def _request_of(name: str) -> QuoteRequest | None:
    try:
        return Reading(
            Typed(MultiDict(_kept(name).entries)), settings().now(), settings().zone, settings().written_in
        ).request()
    except RequestRefused:
        return None


def _sheet(wanted: QuoteRequest) -> CounterSheet | None:
    try:
        return counter_sheet(wanted, Wording(settings().written_in, wanted.spot.currency))
    except ValuationError:
        return None
