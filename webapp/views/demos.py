"""The gallery of demo specimens."""

from __future__ import annotations

from flask import Blueprint, Response

from scenarios import all_scenarios
from webapp.rendering import page

views = Blueprint("demos", __name__, url_prefix="/demos")


@views.get("")
def gallery() -> Response:
    """Every demo with what it shows."""
    return page("demos/gallery.html", demos=list(all_scenarios()))
