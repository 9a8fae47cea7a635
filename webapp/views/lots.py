"""Lots: many pieces pasted or uploaded, valued in the background, their totals and their table."""

from __future__ import annotations

import re
from copy import copy
from typing import Any

from flask import Blueprint, Response, abort, current_app, redirect, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from scenarios import demo_lot
from valuation import materials
from valuation.errors import shown as plain
from webapp import lot_told
from webapp.charts import money_axis
from webapp.lot_columns import COLUMNS, SHORT, template
from webapp.lot_file import LotProblem, LotRefused
from webapp.lot_form import FIELDS, LABELS, USUAL_ROCK, LotForm, field_of, wrong_rows
from webapp.lot_jobs import Job, LotJobs, TooManyLots
from webapp.price_now import PriceNow, taken_over
from webapp.rendering import house, page, settings, store
from webapp.retold import retold
from webapp.sentences import LIMITS, assumed
from webapp.sheet_table import csv_of
from webapp.store import StoreError, TextRefused, TooLarge, UnknownDraft, drafts
from webapp.store.prices import GOLD
from webapp.views.prices import newest_kept, offer_words
from webapp.wording import Wording

views = Blueprint("lots", __name__, url_prefix="/lots")
MOST_ROWS = 300


def jobs() -> LotJobs:
    """The lots that this app is valuing."""
    kept: LotJobs = current_app.extensions["lots"]
    return kept


@views.get("")
def new() -> AnyResponse:
    """A blank lot under a name of its own; nothing is kept before something is typed."""
    return redirect(url_for("lots.lot", name=drafts.fresh_id(), demo=request.args.get("demo")))


@views.get("/template.csv")
def empty_table() -> Response:
    """A table of pieces to fill in."""
    mark = request.args.get("mark", ",")
    columns = SHORT if "short" in request.args else COLUMNS
    return _file("\ufeff" + template(mark if mark in (",", ";") else ",", columns), "pieces.csv")


@views.get("/<name>")
def lot(name: str) -> AnyResponse:
    """A lot as typed, with how far it is or what it comes to."""
    form, is_kept = _kept(name)
    job = jobs().of(name, form.digest)
    if "HX-Request" in request.headers:
        return page("lots/outcome.html", **_shown(name, form, job, is_kept=is_kept))
    return page("lots/lot.html", **_shown(name, form, job, is_kept=is_kept))


@views.post("/<name>")
def valued(name: str) -> AnyResponse:
    """Keep what was typed and start to value it."""
    form, unread = _as_sent()
    try:
        form = _keep(name, form)
    except UnknownDraft:
        abort(404, "That address names no lot. Start a new one.")
    except StoreError as trouble:
        status = 422 if isinstance(trouble, TextRefused | TooLarge) else 503
        return page("lots/lot.html", status, unkept=str(trouble), **_shown(name, form, None, is_kept=False))
    try:
        if unread:
            raise LotRefused([LotProblem(0, 0, "pieces", "", unread)])
        text = form.read(house(), settings().currency, settings().now())
        lot_request = text.request()
    except LotRefused as refused:
        values = _shown(name, form, None, is_kept=True, problems=refused.problems)
        return page("lots/lot.html", 422, **values)
    try:
        jobs().start(name, form.digest, text, lot_request)
    except TooManyLots:
        words = "Several lots are waiting to be valued already. What you typed is kept: try again in a moment."
        return page("lots/lot.html", 503, unkept=words, **_shown(name, form, None, is_kept=True))
    return redirect(url_for("lots.lot", name=name), 303)


@views.post("/<name>/price")
def price_taken(name: str) -> AnyResponse:
    """Keep what was typed, with the newest price of gold that is kept."""
    form, _ = _as_sent()
    now = _offer(form)
    if now is not None:
        form = form.with_price(plain(taken_over(now.price)), now.seen_at)
    try:
        _keep(name, form)
    except UnknownDraft:
        abort(404, "That address names no lot. Start a new one.")
    except StoreError as trouble:
        status = 422 if isinstance(trouble, TextRefused | TooLarge) else 503
        return page("lots/lot.html", status, unkept=str(trouble), **_shown(name, form, None, is_kept=False))
    return redirect(url_for("lots.lot", name=name), 303)


@views.post("/<name>/kept")
def left(name: str) -> AnyResponse:
    """Keep what was typed and answer nothing."""
    form, _ = _as_sent()
    _keep(name, form)
    return Response(status=204)


@views.post("/<name>/stop")
def stopped(name: str) -> AnyResponse:
    """Stop valuing; what was typed stays."""
    jobs().stop(name)
    return redirect(url_for("lots.lot", name=name), 303)


@views.get("/<name>/table.csv")
def as_table(name: str) -> Response:
    """Every piece of a lot that has been valued."""
    form, _ = _kept(name)
    job = jobs().of(name, form.digest)
    if job is None or job.quote is None:
        abort(404, "This lot has not been valued as it is typed now. Value it first.")
    stem = re.sub(r"[^a-z0-9]+", "-", job.quote.title.lower())[:60].strip("-") or "lot"
    return _file(csv_of(lot_told.HEAD, lot_told.table(job.quote)), f"{stem}.csv")


def _file(text: str, name: str) -> Response:
    answer = Response(text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _kept(name: str) -> tuple[LotForm, bool]:
    """What is kept under a name, or a blank form or the demo."""
    try:
        kept = drafts.get(store(), name)
    except UnknownDraft:
        return LotForm({"pieces": demo_lot()} if request.args.get("demo") else {}), False
    if kept.kind != "lot":
        abort(404, "That address names a quote, not a lot. Open it from the list of open quotes.")
    return LotForm.of(kept.entries), True


def _as_sent() -> tuple[LotForm, str]:
    """What was sent, an uploaded file in place of the pasted pieces, and why that file could not be read."""
    texts = {name: request.form.get(name, "").replace("\r\n", "\n") for name in FIELDS if name != "gold_seen_at"}
    file = request.files.get("file")
    if file is None or not file.filename:
        return LotForm(texts), ""
    name, data = file.filename[-80:], file.read()
    try:
        uploaded = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        return LotForm(texts), f"{name} is not UTF-8 text. Save it as CSV in UTF-8, or paste the table."
    if "\0" in uploaded:
        return LotForm(texts), f"{name} is no text file. Save the table as CSV, or paste it."
    return LotForm({**texts, "pieces": uploaded}), ""


def _keep(name: str, form: LotForm) -> LotForm:
    """Keep what was typed. The form as it is kept."""
    before, is_kept = _kept(name)
    form = form.seen_after(before, settings().now())
    if is_kept or form.entries:
        title = form.text("title").strip() or _first_title(form)
        drafts.keep(store(), name, form.entries, title, settings().now(), kind="lot")
    return form


def _offer(form: LotForm) -> PriceNow | None:
    """The newest price of gold in the house's currency and unit, if the lot has another."""
    currency = settings().currency
    now = newest_kept(GOLD, currency, house().quote_entries(currency)["spot"]["unit"])
    return None if now is None or form.text("gold").strip() == plain(taken_over(now.price)) else now


def told_rock(job: Job | None) -> str:
    """The rock that was taken for a lot, as nobody named one; empty if somebody did."""
    return materials.rocks()[USUAL_ROCK].label if job is not None and job.text.is_usual_rock else ""


def _first_title(form: LotForm) -> str:
    named = re.search(r'^title\s*=\s*"([^"\n]+)"', form.text("pieces"), re.MULTILINE)
    return named[1] if named and form.text("pieces").find("[[") > named.start() else "Lot of pieces"


def _shown(
    name: str, form: LotForm, job: Job | None, *, is_kept: bool, problems: tuple[LotProblem, ...] = ()
) -> dict[str, Any]:
    job = copy(job)  # it may end while the page is being written, which would then show neither progress nor outcome
    told, quote = settings(), None if job is None else job.quote
    w = Wording(told.written_in, told.currency if quote is None else quote.currency)
    problems = problems or (() if job is None else job.problems)
    rows = wrong_rows(problems, form.text("pieces"))
    own = [problem for problem in problems if not (problem.row or problem.line)]
    offer = None if request.args.get("demo") and not is_kept else _offer(form)
    unit = house().quote_entries(told.currency)["spot"]["unit"]
    return {
        "name": name,
        "form": form,
        "job": job,
        "quote": quote,
        "w": w,
        "is_kept": is_kept,
        "labels": LABELS,
        "beside": {field_of(p): p for p in own if field_of(p)},
        "elsewhere": [problem for problem in own if not field_of(problem)],
        "wrong": rows[:MOST_ROWS],
        "wrong_count": len(rows),
        "columns": COLUMNS,
        "offer": offer and offer_words(offer),
        "assumed_rock": told_rock(job),
        "rocks": [(key, rock.label) for key, rock in materials.rocks().items()],
        "usual_rock": materials.rocks()[USUAL_ROCK].label,
        "price_unit": f"{told.currency}/{unit}",
        "currency": told.currency,
        "told": lot_told,
        "assumed": assumed,
        "limits": LIMITS,
        "retold": retold,
        "axis": None if quote is None else money_axis(lot_told.marks(quote, w), w),
        "piece_rows": [] if quote is None else lot_told.piece_rows(quote, w)[:MOST_ROWS],
    }
