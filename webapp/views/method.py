"""How the figures come about: equations, constants, sources, limits, cautions, words."""

from __future__ import annotations

import sys
from importlib.metadata import version

from flask import Blueprint, Response

from valuation import materials, method_version
from valuation.assumptions import NOTICES
from valuation.draws import LOG2_DRAWS
from valuation.rubric import qualities
from webapp import mathml
from webapp.caution_list import CAUTIONS
from webapp.equations import stages
from webapp.glossary import GLOSSARY
from webapp.method_tables import COVERAGE, KNOWN, constants, defaults
from webapp.rendering import page

views = Blueprint("method", __name__)
views.add_app_template_filter(mathml.equation, "equation")
views.add_app_template_filter(mathml.symbol, "symbol")

CONTENTS = (
    ("Start here", (("plain", "In plain words"), ("setups", "How to hang it"))),
    (
        "Step by step",
        (
            ("draws", "How doubt is counted"),
            ("weighing", "Weighing"),
            ("rock", "Rock"),
            ("gold", "Gold"),
            ("seen", "Seen or not"),
            ("price", "Price"),
            ("refine", "Refining"),
            ("intact", "Sold intact"),
            ("offer", "Offer"),
            ("ask", "Asking price and claim"),
            ("deals", "Deals"),
            ("evidence", "One more test"),
            ("checks", "Rules of thumb, look-alikes"),
        ),
    ),
    ("Before you rely on it", (("trust", "How far to trust it"), ("cautions", "Cautions"))),
    (
        "To look up",
        (
            ("constants", "Constants"),
            ("defaults", "Assumptions"),
            ("materials", "Rocks and minerals"),
            ("grades", "Graded qualities"),
            ("sources", "Sources"),
            ("glossary", "Glossary"),
            ("versions", "Version"),
        ),
    ),
)
LIBRARIES = ("numpy", "scipy", "pydantic", "babel", "flask")


@views.get("/method")
def method() -> Response:
    """The method page."""
    cited = materials.references()
    return page(
        "method/method.html",
        contents=CONTENTS,
        draws=f"{1 << LOG2_DRAWS:,}",
        stages=stages(),
        all_cautions=CAUTIONS,
        constants=constants(),
        known_words=KNOWN,
        defaults=defaults(),
        rocks=materials.rocks().values(),
        minerals=materials.minerals().values(),
        lookalikes=materials.lookalikes().values(),
        qualities=qualities().values(),
        references=cited,
        numbers={key: i for i, key in enumerate(cited, start=1)},
        notices=NOTICES,
        coverage=COVERAGE,
        glossary=GLOSSARY,
        versions=_versions(),
    )


def _versions() -> list[tuple[str, str]]:
    own = [("Method", method_version()), ("Lodeworth", version("lodeworth")), ("Python", sys.version.split()[0])]
    return own + [(name, version(name)) for name in LIBRARIES]
