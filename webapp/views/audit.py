"""Whether anything that was handed over was changed behind the program's back."""

from __future__ import annotations

from flask import Blueprint, Response, request

from webapp.audit import audited
from webapp.rendering import page, store
from webapp.store import StoreError
from webapp.store.witness import digits_of, head

views = Blueprint("audit", __name__, url_prefix="/sheets/audit")


@views.get("")
def shown() -> Response:
    """The head of the ledger, and where it is checked."""
    return _shown()


@views.post("")
def checked() -> Response:
    """Walk the whole ledger, and hold it against a head that was noted, if one was typed."""
    typed = request.form.get("noted", "").strip()
    try:
        noted = [digits_of(typed)] if typed else []
    except StoreError as refused:
        return _shown(422, typed=typed, problem=str(refused))
    return _shown(found=audited(store(), noted), typed=typed)


def _shown(status: int = 200, **values: object) -> Response:
    told = {"found": None, "typed": "", "problem": "", **values}
    return page("sheets/audit.html", status, head=head(store()), **told)
