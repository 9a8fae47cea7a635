"""The gallery of demo specimens."""

from __future__ import annotations

from flask import Blueprint, Response, abort, redirect, url_for
from werkzeug.wrappers import Response as AnyResponse

from scenarios import UnknownScenario, all_scenarios, scenario
from webapp.rendering import page
from webapp.store import drafts

views = Blueprint("demos", __name__, url_prefix="/demos")


@views.get("")
def gallery() -> Response:
    """Every demo with what it shows."""
    return page("demos/gallery.html", demos=list(all_scenarios()))


@views.get("/<name>")
def opened(name: str) -> AnyResponse:
    """A demo under a name of its own; nothing is kept before it is changed."""
    try:
        entries = scenario(name).entries
    except UnknownScenario as unknown:
        abort(404, str(unknown))
    asked = "weighing" not in entries and "measured" not in entries.get("gold", {})
    address = "asks" if asked else "quotes"
    return redirect(url_for("drafts.draft", address=address, name=drafts.fresh_id(), demo=name))
