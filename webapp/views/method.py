"""How the figures come about, with sources, limits and a glossary."""

from __future__ import annotations

from flask import Blueprint, Response

from valuation import materials, method_version
from webapp.glossary import GLOSSARY
from webapp.rendering import page

views = Blueprint("method", __name__)


@views.get("/method")
def method() -> Response:
    """The method page."""
    return page(
        "method/method.html",
        rocks=materials.rocks().values(),
        minerals=materials.minerals().values(),
        references=materials.references().values(),
        glossary=GLOSSARY,
        version=method_version(),
    )
