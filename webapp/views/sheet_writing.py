"""A sheet being written: from the quote by one button to its offer, its photographs, a look at it, handing over."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from datetime import datetime

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.datastructures import FileStorage
from werkzeug.wrappers import Response as AnyResponse

from webapp.book_use import versions_used
from webapp.faces import QUOTE
from webapp.handing_over import Prepared, frozen, preview
from webapp.naming import named_plan
from webapp.noted_prices import DEMO, keep_entered
from webapp.paper import PaperError, pictures
from webapp.photographs import PhotographRefused, clean
from webapp.rendering import house, house_file, page, settings, store
from webapp.sheet_form import FIELDS, OfferForm, age_words, first_entries, usual_validity
from webapp.sheet_writing import Desk, Writing, writing
from webapp.store import (
    AlreadyHandedOver,
    NotAllowed,
    StoreError,
    UnknownDraft,
    UnknownSheet,
    books,
    drafts,
    photographs,
    sheets,
)
from webapp.store.photographs import MOST
from webapp.store.revisions import hand_over
from webapp.store.sheets import Sheet
from webapp.titles import title_of
from webapp.views import drafts as drafting
from webapp.worked import worked

views = Blueprint("sheet_writing", __name__)
REFERENCE = "specimen.seller_reference"
OFFER_LIMIT = "house_offer_limit"


@views.post("/quotes/<name>/sheet")
def begun(name: str) -> AnyResponse:
    """A quote becomes a sheet: what stands on the page is kept, and the sheet starts from it."""
    typed, now = drafting.as_sent(), settings().now()
    try:
        kept = drafting.kept_as_sent(QUOTE, name, typed)
    except StoreError as trouble:
        return drafting.answered(QUOTE, name, typed, drafting.seen_revision() or 0, posted=True, unkept=str(trouble))
    done = worked(typed, now, settings().zone, settings().written_in)
    if done.quote is None or kept.overtook:
        return drafting.answered(
            QUOTE, name, typed, kept.revision, posted=True, closed=kept.closed, overtook=kept.overtook is not None
        )
    last = next(iter(sheets.of_draft(store(), name)), None)
    if last is not None and last.kept_state not in ("agreed", "settled") and not request.args.get("another"):
        _follow(sheets.get(store(), last.id), typed.text("buyer.offer").strip(), now)
        return redirect(url_for("sheet_writing.written", sheet=last.id), 303)
    made = sheets.new(
        store(),
        draft_id=name,
        title=title_of(typed),
        description=typed.text("specimen.description"),
        reference=typed.text(REFERENCE),
        at=now,
        entries=first_entries(done.quote, typed.text("buyer.offer"), house()),
    )
    return redirect(url_for("sheet_writing.written", sheet=made), 303)


def _follow(sheet: Sheet, offer: str, now: datetime) -> None:
    """Let the sheet's offer be the one that the quote has come to since, and say so."""
    before = next((text for name, text in sheet.entries if name == "offer"), "")
    if not offer or offer == before:
        return
    rest = [(name, text) for name, text in sheet.entries if name != "offer"]
    sheets.keep_entries(store(), sheet.id, [("offer", offer), *rest], now)
    if before:
        flash(f"Our offer is now {offer}, as in the quote; here it was {before}.")


@views.get("/sheets/<sheet>/write")
def written(sheet: str) -> Response:
    """The sheet with its form."""
    return _shown(_writing(sheet))


@views.post("/sheets/<sheet>/write")
def typed_in(sheet: str) -> AnyResponse:
    """Keep what was typed; then do what the button says."""
    todo, told = request.form.get("do", ""), []
    try:
        _keep(sheet)
        told = list(_photographed(sheet, todo))
    except UnknownSheet:
        abort(404, "There is no such sheet.")
    except StoreError as trouble:
        return _shown(_as_sent(_writing(sheet)), 422, unkept=str(trouble))
    made = _writing(sheet)
    if told or (todo == "preview" and made.terms is None):
        return _shown(made, 422, judged=todo == "preview", told=told)
    if "HX-Request" in request.headers:
        return _shown(made, judged=True)
    goal = "previewed" if todo == "preview" else "written"
    return redirect(url_for(f"sheet_writing.{goal}", sheet=sheet), 303)


@views.post("/sheets/<sheet>/write/kept")
def left(sheet: str) -> AnyResponse:
    """Keep what was typed and answer nothing: for a page that is being left."""
    _keep(sheet)
    return Response(status=204)


def _as_sent(made: Writing) -> Writing:
    """The sheet with what was typed, kept or not."""
    form = OfferForm({name: request.form.get(name, "") for name in FIELDS})
    return replace(made, form=form, sheet=replace(made.sheet, reference=request.form.get(REFERENCE, "")))


def _keep(sheet: str) -> None:
    entries = [(name, request.form.get(name, "")) for name in FIELDS]
    typed = request.form.get(REFERENCE, "").strip()
    with store().writing():
        sheets.keep_entries(store(), sheet, entries, settings().now())
        if typed != sheets.get(store(), sheet).reference:
            sheets.refer(store(), sheet, typed, settings().now())


def _photographed(sheet: str, todo: str) -> list[str]:
    """Put the photographs that were sent on the sheet, or do with one what a button says; what was refused."""
    what, _, digest = todo.partition(" ")
    refused = [words for sent in request.files.getlist("photograph") if (words := _added(sheet, sent))]
    if what == "add" and not any(sent.filename for sent in request.files.getlist("photograph")):
        refused.append("Choose a picture first, then add it.")
    order = [shot.digest for shot in photographs.of_sheet(store(), sheet)]
    if digest in order and what in ("remove", "first"):
        order.remove(digest)
        photographs.arrange(store(), sheet, order if what == "remove" else [digest, *order])
    return refused


def _added(sheet: str, sent: FileStorage) -> str:
    """Put a photograph on the sheet; why not, if it cannot be."""
    if not sent.filename:
        return ""
    try:
        shot = clean(sent.read(), sent.filename)
        photographs.add(store(), sheet, shot.jpeg, shot.width, shot.height, settings().now())
    except (PhotographRefused, NotAllowed) as refused:
        return str(refused)
    return ""


@views.get("/sheets/<sheet>/photographs/<digest>.jpg")
def photograph(sheet: str, digest: str) -> Response:
    """A photograph of the sheet."""
    try:
        sheets.get(store(), sheet)
        answer = Response(photographs.jpeg(store(), digest), mimetype="image/jpeg")
    except StoreError:
        abort(404, "There is no such photograph.")
    return answer


# ---- what will be printed


@views.get("/sheets/<sheet>/preview")
def previewed(sheet: str) -> AnyResponse:
    """What handing over would print, to be looked at first."""
    return _previewed(_writing(sheet))


@views.get("/sheets/<sheet>/preview/<int:number>.png")
def preview_page(sheet: str, number: int) -> Response:
    """A page of it as a picture."""
    made = _writing(sheet)
    if made.prepared is None:
        abort(422, "Something is still missing on this sheet.")
    pages = pictures(preview(made.prepared, made.revision, settings().now()))
    if not 1 <= number <= len(pages):
        abort(404, f"The paper has {len(pages)} pages.")
    return Response(pages[number - 1], mimetype="image/png")


@views.post("/sheets/<sheet>/no-demo")
def no_demo(sheet: str) -> AnyResponse:
    """Take the mark of a demo off the quote; all that was typed stays."""
    made = _writing(sheet)
    kept = drafts.get(store(), made.sheet.draft_id)
    entries = [(name, text) for name, text in kept.entries if name != DEMO]
    drafts.keep(store(), kept.id, entries, kept.title, settings().now(), kind=kept.kind)
    flash("The mark of the demo is off. What is still invented in the quote, such as readings and price, is yours now.")
    return redirect(url_for("sheet_writing.previewed", sheet=sheet), 303)


@views.post("/sheets/<sheet>/hand-over")
def handed_over(sheet: str) -> AnyResponse:
    """Freeze it, if it is what was looked at."""
    made, now = _writing(sheet), settings().now()
    expected = request.form.get("expected", "")
    if expected != str(made.sheet.revision) and made.sheet.number:
        flash(
            f"Revision {made.sheet.revision} was handed over in the meantime. What you typed is kept; look at it first."
        )
        return redirect(url_for("sheets.shown", sheet=sheet), 303)
    if made.is_demo:
        return _previewed(made, 409, unkept="This is a demo, invented: it takes no number of the house's.")
    is_as_seen = request.form.get("seen") == made.seen
    if made.prepared is None:
        return _shown(made, 422, judged=True, unkept="" if is_as_seen else "Something changed after you looked.")
    if not is_as_seen:
        return _previewed(made, 409, changed=True)
    ready = made.prepared
    assert ready.quote and ready.workings and ready.counter  # worked out before others have to wait
    try:
        with store().writing():
            done = hand_over(
                store(),
                sheet,
                lambda numbered: frozen(ready, numbered),
                at=now,
                zone=settings().zone,
                expected_revision=made.sheet.revision,
            )
            books.remember(store(), sheet, done.revision, versions_used(store(), ready.request))
    except AlreadyHandedOver as meanwhile:
        flash(str(meanwhile))
        return redirect(url_for("sheets.shown", sheet=sheet), 303)
    except (NotAllowed, PaperError) as refused:
        return _shown(made, 422, unkept=str(refused))
    except StoreError as trouble:
        return _previewed(made, 503, unkept=str(trouble))
    with suppress(StoreError):  # it is handed over, whatever becomes of these
        _after(made, ready)
    flash(f"Handed over as {done.number}, revision {done.revision}. It stays as it is from now on.")
    return redirect(url_for("sheets.shown", sheet=sheet), 303)


@views.get("/sheets/<sheet>/hand-over")
@views.get("/sheets/<sheet>/no-demo")
def reloaded(sheet: str) -> AnyResponse:
    """The answer to a refused handing over, loaded again."""
    return redirect(url_for("sheet_writing.written", sheet=sheet))


def _after(made: Writing, ready: Prepared) -> None:
    """An old price is confirmed once, not for ever; and a price that was used is one that the house has noted."""
    entries = [(name, "" if name == "stale_price" else text) for name, text in made.sheet.entries]
    sheets.keep_entries(store(), made.sheet.id, entries, settings().now())
    keep_entered(store(), ready.request.spot, settings().now())


def _writing(sheet: str) -> Writing:
    desk = Desk(store(), house_file().read(), settings(), settings().now())
    try:
        return writing(desk, sheet)
    except UnknownSheet:
        abort(404, "There is no such sheet. Choose one from the list.")
    except UnknownDraft:
        abort(404, "The quote that this sheet was made from is no longer kept.")


def _shown(
    made: Writing, status: int = 200, *, judged: bool = False, told: list[str] | None = None, unkept: str = ""
) -> Response:
    plan = named_plan(made.quote) if made.quote else None
    return page(
        "sheets/write.html",
        status,
        made=made,
        judged=judged,
        told=told or [],
        unkept=unkept,
        most=MOST,
        age_words=age_words,
        usual=usual_validity(house()),
        plan=plan.buyer if plan else None,
        draft_address=url_for("drafts.draft", address="quotes", name=made.sheet.draft_id),
    )


def _previewed(made: Writing, status: int = 200, *, changed: bool = False, unkept: str = "") -> AnyResponse:
    if made.prepared is None:
        return redirect(url_for("sheet_writing.written", sheet=made.sheet.id), 303)
    paper = preview(made.prepared, made.revision, settings().now())
    return page(
        "sheets/preview.html",
        status,
        made=made,
        paper=paper,
        pages=len(pictures(paper)),
        limits=[one.message for one in made.prepared.cautions if one.code == OFFER_LIMIT],
        changed=changed,
        unkept=unkept,
    )
