"""Papers and copies of a sheet as they were handed over, and whether one that is brought back is unchanged."""

from __future__ import annotations

from flask import Blueprint, Response, abort, request

from webapp.noted_prices import newest_gold
from webapp.rendering import page, settings, store
from webapp.sheet_copy import as_file
from webapp.sheet_found import looked_up
from webapp.store import UnknownSheet, revisions, sheets
from webapp.store.frozen import Content

views = Blueprint("sheet_copies", __name__, url_prefix="/sheets")
# Name of the file: what of it is kept, and its type.
FILES: dict[str, tuple[Content, str]] = {
    "offer-sheet.pdf": ("seller_pdf", "application/pdf"),
    "working-papers.pdf": ("house_pdf", "application/pdf"),
    "offer-sheet.json": ("seller", "application/json"),
    "house-copy.json": ("house", "application/json"),
}


@views.get(
    "/<sheet>/<int:revision>/<any('offer-sheet.pdf','working-papers.pdf','offer-sheet.json','house-copy.json'):file>"
)
def file(sheet: str, revision: int, file: str) -> Response:
    """One of them, byte for byte as it was handed over; ``save`` in the address saves it instead of showing it."""
    kind, mimetype = FILES[file]
    try:
        number = sheets.get(store(), sheet).number
        content = revisions.content(store(), sheet, revision, kind)
    except UnknownSheet:
        abort(404, "There is no such sheet, or it has no such revision.")
    if mimetype == "application/json":
        content = as_file(content).encode()
    answer = Response(content, mimetype=mimetype)
    how = "attachment" if "save" in request.args or mimetype == "application/json" else "inline"
    answer.headers["Content-Disposition"] = f'{how}; filename="{number}-revision-{revision}-{file}"'
    return answer


@views.get("/check")
def checking() -> Response:
    """Where a copy is chosen."""
    return page("sheets/check.html", answer=None, name="", problem="")


@views.post("/check")
def checked() -> Response:
    """What is known of a copy."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return page("sheets/check.html", 422, answer=None, name="", problem="Choose a PDF or a JSON file first.")
    answer = looked_up(store(), sent.read(), settings().now(), newest_gold(store()), settings())
    return page("sheets/check.html", answer=answer, name=sent.filename[-80:], problem="")
