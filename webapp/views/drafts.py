"""Quotes and asks in progress: kept as typed, worked out, looked at with either face."""

from __future__ import annotations

from flask import Blueprint, Response, abort, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from scenarios import UnknownScenario, scenario
from webapp.faces import FACES, QUOTE, Face
from webapp.rendering import house, page, settings, store
from webapp.retyped import blank_form, typed_from
from webapp.said_rows import added
from webapp.store import StoreError, UnknownDraft, drafts, sheets
from webapp.titles import title_of
from webapp.typed import Typed
from webapp.views import first
from webapp.worked import shown, worked

views = Blueprint("drafts", __name__)
BESIDE_THE_FORM = frozenset({"token", "seen", "writer", "use", "say", "they_say"})
FACED = '/<any("quotes", "asks"):address>'


@views.get("/")
def start() -> AnyResponse:
    """A first start asks three questions and opens on a worked demo; later ones open on what is being worked at."""
    if first.is_first():
        return redirect(url_for("first.shown"))
    mostly = house().mostly
    if mostly == "sheets" and not sheets.is_empty(store()):
        return redirect(url_for("sheets.listed"))
    if drafts.open_drafts(store()).count:
        return redirect(url_for("drafts.listed"))
    return first.to_demo(mostly)


@views.get("/quotes")
def listed() -> Response:
    """The open quotes and asks, last changed first."""
    number = request.args.get("page", "1")
    listing = drafts.open_drafts(store(), int(number) if number.isascii() and number.isdigit() and int(number) else 1)
    return page("drafts/list.html", listing=listing, closed=request.args.get("closed", ""), zone=settings().zone)


@views.get(f"{FACED}/new")
def new(address: str) -> AnyResponse:
    """A blank form under a name of its own; nothing is kept before something is typed."""
    return redirect(url_for("drafts.draft", address=address, name=drafts.fresh_id()))


@views.get(f"{FACED}/<name>")
def draft(address: str, name: str) -> AnyResponse:
    """A draft as typed; a name that nothing is kept under shows a demo or a blank form."""
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        return answered(FACES[address], name, _unkept(FACES[address]), revision=0)
    if kept.kind == "lot":
        return redirect(url_for("lots.lot", name=name))
    typed = Typed(MultiDict(kept.entries))
    return answered(FACES[address], name, typed, revision=kept.revision, closed=kept.closed_at is not None)


@views.post(f"{FACED}/<name>")
def typed_in(address: str, name: str) -> AnyResponse:
    """Keep what was typed, then work it out."""
    face, typed = FACES[address], as_sent()
    try:
        kept = kept_as_sent(face, name, typed)
    except StoreError as trouble:
        return answered(face, name, typed, revision=seen_revision() or 0, posted=True, unkept=str(trouble))
    overtook = kept.overtook is not None
    return answered(face, name, typed, kept.revision, posted=True, closed=kept.closed, overtook=overtook)


@views.post(f"{FACED}/<name>/kept")
def left(address: str, name: str) -> AnyResponse:
    """Keep what was typed and answer nothing: for a page that is being left."""
    kept_as_sent(FACES[address], name, as_sent(complete=False))
    return Response(status=204)


@views.get(f"{FACED}/<name>/earlier")
def earlier(address: str, name: str) -> Response:
    """The earlier states of a draft."""
    try:
        states = drafts.earlier(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address. Start a new quote, or choose an open one.")
    return page("drafts/earlier.html", face=FACES[address], name=name, states=states, zone=settings().zone)


@views.post(f"{FACED}/<name>/earlier/<int:revision>")
def returned(address: str, name: str, revision: int) -> AnyResponse:
    """Go back to an earlier state; the present one becomes an earlier one itself."""
    try:
        state = drafts.state(store(), name, revision)
        drafts.keep(store(), name, state.entries, state.title, settings().now())
    except UnknownDraft:
        abort(404, "That earlier state is no longer kept. Choose another one.")
    return redirect(url_for("drafts.draft", address=address, name=name), 303)


@views.post(f"{FACED}/<name>/close")
def close(address: str, name: str) -> AnyResponse:
    """Take a draft off the list; its text stays."""
    try:
        drafts.close(store(), name, settings().now())
    except UnknownDraft:
        abort(404, "Nothing is kept under that address.")
    return redirect(url_for("drafts.listed", closed=name), 303)


@views.post(f"{FACED}/<name>/reopen")
def reopen(address: str, name: str) -> AnyResponse:
    """Put a draft on the list again."""
    try:
        drafts.reopen(store(), name)
    except UnknownDraft:
        abort(404, "Nothing is kept under that address.")
    return redirect(url_for("drafts.draft", address=address, name=name), 303)


def as_sent(*, complete: bool = True) -> Typed:
    """What was typed, with the offer chosen and the figure that the seller now says, which stand beside the form.

    A figure beside the form counts once it is entered, or with a form that is sent whole: `complete`, and not by htmx.
    """
    sent = request.form.items(multi=True)
    texts = MultiDict((key, text) for key, text in sent if key not in BESIDE_THE_FORM)
    if request.form.get("use"):
        texts["buyer.offer"] = request.form["use"]
    said, whole = request.form.get("they_say", "").strip(), complete and "HX-Request" not in request.headers
    if said and (whole or "say" in request.form):
        texts = added(texts, "seller", said)
    return Typed(texts)


def seen_revision() -> int | None:
    seen = request.form.get("seen", "")
    return int(seen) if seen.isascii() and seen.isdigit() and len(seen) < 10 else None


def kept_as_sent(face: Face, name: str, typed: Typed) -> drafts.Kept:
    try:
        return drafts.keep(
            store(),
            name,
            typed.texts.items(multi=True),
            title_of(typed),
            settings().now(),
            seen_revision=seen_revision(),
            writer=request.form.get("writer", "")[:64],
            kind=face.kind,
        )
    except UnknownDraft:
        abort(404, "That address names no quote. Start a new one.")


def _unkept(face: Face) -> Typed:
    name = request.args.get("demo")
    if name is None:
        return blank_form(house().quote_entries(settings().currency), claimed=face.kind == "ask")
    try:
        demo = scenario(name)
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    typed = typed_from(demo.entries)
    typed.texts["demo"] = demo.name
    return typed


def answered(
    face: Face,
    name: str,
    typed: Typed,
    revision: int,
    *,
    posted: bool = False,
    closed: bool = False,
    overtook: bool = False,
    unkept: str = "",
) -> AnyResponse:
    done = worked(typed, settings().now(), settings().zone, settings().written_in)
    plain = "HX-Request" not in request.headers
    if posted and plain and not (done.is_wrong or overtook or unkept):
        return redirect(_back_to(face, name), 303)
    return page(
        "quotes/quote.html",
        422 if posted and done.is_wrong else 200,
        name=name,
        other=next(other for other in FACES.values() if other is not face),
        demo=_demo(typed),
        revision=revision,
        writer=request.form.get("writer") or drafts.fresh_id(),
        closed=closed,
        overtook=overtook,
        unkept=unkept,
        is_quote=face is QUOTE,
        named_now=bool(request.form.get("use")) or request.args.get("offer") == "now",
        **shown(done, face, settings(), house()),
    )


def _back_to(face: Face, name: str) -> str:
    """The draft, at the answer where the offer was chosen or a figure entered there."""
    offered = "now" if request.form.get("use") else None
    beside = offered or request.form.get("they_say", "").strip()
    return url_for("drafts.draft", address=face.address, name=name, offer=offered, _anchor="answer" if beside else None)


def _demo(typed: Typed) -> str:
    try:
        return scenario(typed.text("demo")).shows
    except UnknownScenario:
        return ""
