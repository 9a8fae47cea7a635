"""The JSON interface."""

from __future__ import annotations

from flask import Blueprint, Response, abort, jsonify, request

from valuation import RequestRefused, ValuationError, quote, read_request
from webapp.openapi import description
from webapp.request_file import FileRefused, parsed

views = Blueprint("api", __name__, url_prefix="/api")


@views.post("/quote")
def quoted() -> Response:
    """A request as JSON -> the quote, or 422 with every problem and its field."""
    if request.mimetype != "application/json":
        abort(415, "Send the request as application/json.")
    try:
        entries = parsed(request.get_data().decode("utf-8"), "The request", is_json=True)
    except (FileRefused, UnicodeDecodeError) as unreadable:
        abort(400, f"{unreadable} Send one JSON object in UTF-8, laid out like a scenario file.")
    try:
        answer = quote(read_request(entries))
    except (RequestRefused, ValuationError) as refused:
        told = jsonify(problems=[problem.model_dump() for problem in refused.problems])
        told.status_code = 422
        return told
    return Response(answer.model_dump_json(), mimetype="application/json")


@views.get("/openapi.json")
def described() -> Response:
    """What this interface takes and answers, for other programs."""
    return jsonify(description())
