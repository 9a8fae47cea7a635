"""The first start: three questions, then a worked demo."""

from __future__ import annotations

from flask import Blueprint, Response, redirect, request, url_for
from pydantic import ValidationError
from werkzeug.wrappers import Response as AnyResponse

from scenarios import FIRST
from webapp.first_start import ASK_DEMO, answered, choices, currencies, likely_answers
from webapp.house_file import ChangedMeanwhile, NotSaved
from webapp.rendering import house_file, page, settings, settings_given, store
from webapp.store import drafts

views = Blueprint("first", __name__)


def is_first() -> bool:
    """Whether nothing was ever set or typed here."""
    return not house_file().read().seen and drafts.is_empty(store())


def to_demo(mostly: str) -> AnyResponse:
    """The worked demo that shows what somebody mostly does."""
    is_ask = mostly == "asks"
    address, demo = ("asks", ASK_DEMO) if is_ask else ("quotes", FIRST)
    return redirect(url_for("drafts.draft", address=address, name=drafts.fresh_id(), demo=demo), 303)


@views.get("/first")
def shown() -> Response:
    """The questions, with what is likely chosen."""
    return _shown()


@views.post("/first")
def told() -> AnyResponse:
    """Keep the answers, or that nobody wants to be asked; then the demo."""
    now = house_file().read()
    try:
        is_skipped = request.form.get("do") == "skip"
        house = now.house if is_skipped else answered(request.form, now.house)
    except ValidationError:
        return _shown(422, "Choose from what is listed. Everything can be changed later under House.")
    try:
        if not (is_skipped and now.seen):
            house_file().save(house, now.seen)
    except ChangedMeanwhile:
        return redirect(url_for("drafts.start"), 303)
    except NotSaved as trouble:
        if not is_skipped:
            return _shown(503, f"{trouble} Skip this to go on without.")
    return to_demo(house.mostly)


def _shown(status: int = 200, trouble: str = "") -> Response:
    locale = settings().written_in
    likely = likely_answers(locale, settings().currency, is_given="currency" in settings_given().given)
    kept = {name: str(value) for name, value in house_file().read().house.entries().items() if name in likely}
    return page(
        "first/first.html",
        status,
        trouble=trouble,
        currencies=currencies(locale),
        units=choices("spot_unit"),
        jobs=choices("mostly"),
        chosen={**likely, **kept, **{name: text for name, text in request.form.items() if name in likely}},
    )
