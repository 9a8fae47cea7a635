"""Who may ask this server for anything: pages of its own, in a browser on this machine.

Cookies and SameSite take no notice of ports, so a page of another local server counts as the same site: requests that
change or compute something must show that they come from this very origin, and carry a token that only its pages hold.
Another page may lead a person here by a link, and nothing else. SECURITY.md says what this is against.
"""

from __future__ import annotations

import hmac
import os
import secrets
from pathlib import Path

from flask import Flask, Request, Response, abort, request, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface
from itsdangerous import BadSignature
from markupsafe import escape
from werkzeug.exceptions import SecurityError
from werkzeug.urls import iri_to_uri

from webapp.accounts import is_of_another_account

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
TOKEN = "token"
LARGEST_BODY = 256 * 1024
MOST_PARTS = 1000
# Of those that take files: a few photographs at once, a copy of a sheet, a backup.
LARGEST_BODIES = {
    "sheet_writing.typed_in": 48 * 1024 * 1024,
    "sheet_copies.checked": 48 * 1024 * 1024,
    "backup.restored": 1024**3,  # the most that waitress takes in; the command line restores any
}
KEY_BYTES = 32
# Where another program sends JSON: it computes and answers, and neither reads nor keeps anything.
TAKES_JSON = frozenset({"api.quoted"})

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}


def guard(app: Flask, data: Path) -> None:
    """Put the checks before every request of the app, and the headers on every answer."""
    app.config.update(
        SECRET_KEY=secret_key(data),
        TRUSTED_HOSTS=["127.0.0.1", "localhost"],
        SESSION_COOKIE_NAME="lodeworth",
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_HTTPONLY=True,
        MAX_CONTENT_LENGTH=LARGEST_BODY,
        MAX_FORM_MEMORY_SIZE=LARGEST_BODY,
        MAX_FORM_PARTS=MOST_PARTS,
    )
    app.session_interface = Sessions()
    app.before_request(refuse_strangers)
    app.after_request(with_headers)
    app.jinja_env.globals["form_token"] = form_token


def secret_key(data: Path) -> bytes:
    """Key that signs the cookie; made once, readable by this user only; made anew where others could read it."""
    data.mkdir(parents=True, exist_ok=True)
    kept = data / "cookie.key"
    fresh = data / f"cookie.key.{os.getpid()}.{secrets.token_hex(4)}"
    if not kept.is_file() or kept.stat().st_size != KEY_BYTES or _seen_by_others(kept):
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(secrets.token_bytes(KEY_BYTES))
        os.replace(fresh, kept)
    return kept.read_bytes()


def _seen_by_others(file: Path) -> bool:
    return os.name == "posix" and bool(file.stat().st_mode & 0o077)


def form_token() -> str:
    """Token of this browser's session, for the forms of the page."""
    if TOKEN not in session:
        session[TOKEN] = secrets.token_urlsafe(24)
    return str(session[TOKEN])


class Sessions(SecureCookieSessionInterface):
    """Sessions by whichever cookie of our name is ours.

    A page of another port can set cookies of any name here, and a narrower path puts its own before ours
    (RFC 6265, 5.4 and 8.5): so one that is not signed by us does not count, instead of shutting everybody out.
    """

    def open_session(self, app: Flask, request: Request) -> SecureCookieSession | None:
        signer = self.get_signing_serializer(app)
        if signer is None:
            return None
        longest = int(app.permanent_session_lifetime.total_seconds())
        for sent in request.cookies.getlist(self.get_cookie_name(app)):
            try:
                return self.session_class(signer.loads(sent, max_age=longest))
            except BadSignature:
                continue
        return self.session_class()


def refuse_strangers() -> Response | None:
    """Refuse what other pages, and other people's programs, ask or send here."""
    if isinstance(request.routing_exception, SecurityError):  # a foreign name of the host: there are no pages for it
        raise request.routing_exception
    if is_of_another_account(request.environ):
        return Response("This Lodeworth is another person's.", 403, mimetype="text/plain")
    if request.method in SAFE_METHODS:
        return None if is_own_page(request) and "Sec-Purpose" not in request.headers else come_by_link()
    if request.endpoint in LARGEST_BODIES:
        request.max_content_length = LARGEST_BODIES[request.endpoint]
    if not is_own_page(request):
        abort(403, "This came from a page of another address. Open Lodeworth's own page and try again.")
    # Only a page of this origin can send JSON: another's needs a permission that is never given.
    if request.mimetype == "application/json" and request.endpoint in TAKES_JSON:
        return None
    held, sent = str(session.get(TOKEN, "")), request.form.get(TOKEN, "")
    if not held or not hmac.compare_digest(held.encode(), sent.encode("utf-8", "surrogatepass")):
        abort(
            403,
            "This page was opened before the server last forgot its visitors, or cookies are switched off. "
            "Go back, copy what you typed if it matters, reload the page and send it again.",
        )
    return None


def come_by_link() -> Response:
    """To where a link of another page leads, as if from a page of our own.

    The cookie is not sent with such a request; a page made now would set another, and what is open in other tabs would
    be refused from then on.
    """
    if not is_link(request):
        abort(403, "Another page asked for this. Open Lodeworth's own page instead.")
    goal = escape(iri_to_uri(request.url))
    return Response(
        f'<!doctype html><html lang="en"><meta charset="utf-8"><title>Lodeworth</title>'
        f'<meta http-equiv="refresh" content="0;url={goal}"><p><a href="{goal}">Open the page</a></p></html>'
    )


def is_own_page(asked: Request) -> bool:
    """Whether a request comes from a page of this origin, or from no page at all."""
    if asked.headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
        return False
    origin = asked.headers.get("Origin")
    return origin is None or origin == asked.host_url.rstrip("/")


def is_link(asked: Request) -> bool:
    """Whether a person followed a link of another page into a tab of its own, not a frame or a script.

    W3C Fetch Metadata Request Headers: `Sec-Fetch-Mode`, `Sec-Fetch-Dest`. Preparing a page unseen names a purpose.
    """
    told = asked.headers
    seen = told.get("Sec-Fetch-Mode") == "navigate" and told.get("Sec-Fetch-Dest") == "document"
    return seen and asked.method == "GET" and "Sec-Purpose" not in told


def with_headers(answer: Response) -> Response:
    """The answer with its security headers; pages are never stored, files of a version may be."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if request.endpoint != "static":
        answer.headers["Cache-Control"] = "no-store"
    return answer
