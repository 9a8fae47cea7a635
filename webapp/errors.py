"""What went wrong with a request -> a page, or JSON for the JSON interface."""

from __future__ import annotations

import logging
import secrets

from flask import Flask, Response, jsonify, request
from werkzeug.exceptions import HTTPException, SecurityError
from werkzeug.routing import RoutingException
from werkzeug.sansio.response import Response as AnyResponse

from webapp import fault_log
from webapp.rendering import page
from webapp.store import (
    AlreadyHandedOver,
    NotAllowed,
    StoreError,
    TextRefused,
    TooLarge,
    UnknownDraft,
    UnknownPhotograph,
    UnknownSheet,
)

TITLES = {
    400: "That request cannot be read",
    403: "Refused",
    404: "There is no such page",
    405: "That cannot be done here",
    409: "That was done already, or is over",
    413: "Too much at once",
    415: "Not in that format",
    422: "That cannot be answered",
    500: "Something went wrong here",
    503: "That cannot be kept now",
}
WHAT_TO_DO = {
    400: "Go back and try again. If it happens again, open the page anew.",
    404: "Check the address, or start from the beginning.",
    405: "Go back and use the buttons of the page.",
    413: "A quote holds at most 256 kB: shorten what you typed or pasted. Of photographs, send at most 48 MB at once.",
}
# What is wrong with what was sent; anything else is wrong with what keeps it.
REFUSED: dict[type[StoreError], int] = {
    UnknownDraft: 404,
    UnknownSheet: 404,
    UnknownPhotograph: 404,
    TextRefused: 422,
    TooLarge: 413,
    NotAllowed: 409,
    AlreadyHandedOver: 409,
}
log = logging.getLogger(__name__)


def handle(app: Flask) -> None:
    """Answer every error of the app with its page."""
    app.register_error_handler(HTTPException, told)
    app.register_error_handler(StoreError, unkept)
    app.register_error_handler(Exception, bug)


def told(error: HTTPException) -> AnyResponse:
    """An expected error: its status, and what to do."""
    if isinstance(error, SecurityError):  # no page: the name of the host in its links would be the foreign one
        return Response("Open Lodeworth at the address that it printed when it started.", 400, mimetype="text/plain")
    if isinstance(error, RoutingException):  # a redirect, not an error
        return error.get_response()
    status = error.code or 500
    spoken = type(error).description != error.description
    return _answer(status, str(error.description) if spoken else WHAT_TO_DO.get(status, str(error.description)))


def unkept(trouble: StoreError) -> Response:
    """What the store refuses, where a page has nothing better to say about it."""
    return _answer(next((status for kind, status in REFUSED.items() if isinstance(trouble, kind)), 503), str(trouble))


def bug(error: Exception) -> Response:
    """A mistake of ours: logged under a reference that the page names."""
    reference = secrets.token_hex(4)
    log.error("reference %s: %s %s\n%s", reference, request.method, request.path, fault_log.told(error))
    return _answer(
        500,
        f"This is a mistake of the program, not yours. The log names it under the reference {reference}. "
        "What you typed is still on the page before this one: go back.",
    )


def _answer(status: int, message: str) -> Response:
    if request.path.startswith("/api/"):
        answer = jsonify(error=TITLES.get(status, "Error"), message=message)
        answer.status_code = status
        return answer
    return page("error.html", status, title=TITLES.get(status, "Error"), message=message)
