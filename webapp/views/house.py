"""The house's settings."""

from __future__ import annotations

from flask import Blueprint, Response, flash, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from webapp.house import House
from webapp.house_file import ChangedMeanwhile, NotSaved
from webapp.house_form import Change, HouseForm, form_of, read, rebased
from webapp.rendering import house_file, house_trouble, page, settings, settings_given
from webapp.security import TOKEN
from webapp.wording import Wording

views = Blueprint("house", __name__, url_prefix="/house")
BESIDE_THE_FORM = frozenset({TOKEN, "seen"})


@views.get("")
def shown() -> Response:
    """The settings as they stand in the file."""
    now = house_file().read()
    return _shown(form_of(now.house), now.seen)


@views.post("")
def saved() -> AnyResponse:
    """Keep what was typed, if it is right and nobody changed the file meanwhile."""
    texts = MultiDict((name, text) for name, text in request.form.items(multi=True) if name not in BESIDE_THE_FORM)
    form, seen = HouseForm(texts), request.form.get("seen", "")
    house = read(form, settings().written_in)
    if isinstance(house, HouseForm):
        return _shown(house, seen, 422)
    before = house_file().read().house
    house = house.model_copy(update={"feeds": before.feeds})
    try:
        aside = house_file().save(house, seen)
    except ChangedMeanwhile as meanwhile:
        rebased_form, changes = rebased(form, meanwhile.now.house, meanwhile.before)
        return _shown(rebased_form, meanwhile.now.seen, 409, changes)
    except NotSaved as trouble:
        return _shown(form, seen, 503, unsaved=str(trouble))
    for words in _told(before, house, aside):
        flash(words)
    return redirect(url_for("house.shown"), 303)


def _told(before: House, house: House, aside: str) -> list[str]:
    told = ["Saved. New quotes start from these settings; those already open stay as they are."]
    if before.currency != house.currency and house.has_amounts:
        told.append(f"The currency is now {settings().currency}, and so is every amount on this page: look them over.")
    if aside:
        told.append(f"The file before this one was edited by hand; it is kept beside it as {aside}.")
    return told


def _shown(
    form: HouseForm, seen: str, status: int = 200, changes: list[Change] | None = None, unsaved: str = ""
) -> Response:
    told, now = settings(), settings().now()
    w = Wording(told.written_in, told.currency)
    return page(
        "house/house.html",
        status,
        form=form,
        seen=seen,
        changes=changes,
        unsaved=unsaved,
        trouble=house_trouble(),
        is_mended=not house_file().read().trouble,
        path=str(house_file().path),
        given=settings_given().given,
        currency=form.text("currency").strip().upper()[:3] or told.currency,
        sample=f"{w.money(1234.5)} · {w.grams(1412.6)} · {w.moment(now)}",
    )
