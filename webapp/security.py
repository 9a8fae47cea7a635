"""Who may ask this server for anything: pages of its own, in a browser on this machine.

Cookies and SameSite take no notice of ports, so a page of another local server counts as the same site: requests that
change or compute something must show that they come from this very origin, and carry a token that only its pages hold.
"""

from __future__ import annotations

import hmac
import os
import secrets
from pathlib import Path

from flask import Flask, Request, Response, abort, request, session

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
TOKEN = "token"
LARGEST_BODY = 256 * 1024
MOST_PARTS = 1000
# Of those that take files: a few photographs at once, a copy of a sheet, a backup.
LARGEST_BODIES = {
    "sheet_writing.typed_in": 48 * 1024 * 1024,
    "sheet_copies.checked": 48 * 1024 * 1024,
    "backup.restored": 1024**4,
}
KEY_BYTES = 32

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
    app.before_request(refuse_strangers)
    app.after_request(with_headers)
    app.jinja_env.globals["form_token"] = form_token


def secret_key(data: Path) -> bytes:
    """Key that signs the cookie; made once, readable by this user only."""
    data.mkdir(parents=True, exist_ok=True)
    kept = data / "cookie.key"
    fresh = data / f"cookie.key.{os.getpid()}.{secrets.token_hex(4)}"
    if not kept.is_file() or kept.stat().st_size != KEY_BYTES:
        with os.fdopen(os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:
            file.write(secrets.token_bytes(KEY_BYTES))
        os.replace(fresh, kept)
    return kept.read_bytes()


def form_token() -> str:
    """Token of this browser's session, for the forms of the page."""
    if TOKEN not in session:
        session[TOKEN] = secrets.token_urlsafe(24)
    return str(session[TOKEN])


def refuse_strangers() -> None:
    """Refuse what other pages send here."""
    if request.method in SAFE_METHODS:
        return
    if request.endpoint in LARGEST_BODIES:
        request.max_content_length = LARGEST_BODIES[request.endpoint]
    if not is_own_page(request):
        abort(403, "This came from a page of another address. Open Lodeworth's own page and try again.")
    # Only a page of this origin can send JSON: another's needs a permission that is never given.
    if request.mimetype == "application/json":
        return
    held, sent = str(session.get(TOKEN, "")), request.form.get(TOKEN, "")
    if not held or not hmac.compare_digest(held.encode(), sent.encode("utf-8", "surrogatepass")):
        abort(
            403,
            "This page was opened before the server last forgot its visitors, or cookies are switched off. "
            "Go back, copy what you typed if it matters, reload the page and send it again.",
        )


def is_own_page(asked: Request) -> bool:
    """Whether a request comes from a page of this origin, or from no page at all."""
    if asked.headers.get("Sec-Fetch-Site", "none") not in ("same-origin", "none"):
        return False
    origin = asked.headers.get("Origin")
    return origin is None or origin == asked.host_url.rstrip("/")


def with_headers(answer: Response) -> Response:
    """The answer with its security headers; pages are never stored, files of a version may be."""
    for name, value in HEADERS.items():
        answer.headers.setdefault(name, value)
    if request.endpoint != "static":
        answer.headers["Cache-Control"] = "no-store"
    return answer
