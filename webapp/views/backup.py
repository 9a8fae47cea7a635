"""Everything that is kept as one file, and back from it."""

from __future__ import annotations

import tempfile

from flask import Blueprint, Response, flash, redirect, request, send_file, url_for
from werkzeug.wrappers import Response as AnyResponse

from webapp.rendering import page, settings, store
from webapp.store import StoreError, backup

views = Blueprint("backup", __name__, url_prefix="/backup")


@views.get("")
def shown() -> Response:
    """Where a backup is made and put back."""
    return _shown()


@views.post("/file")
def made() -> AnyResponse:
    """A backup to keep elsewhere."""
    now = settings().now()
    out = tempfile.TemporaryFile()  # noqa: SIM115 - the answer closes it when it is sent
    try:
        backup.write(store(), out, now)
    except StoreError as trouble:
        out.close()
        return _shown(503, str(trouble))
    out.seek(0)
    name = f"lodeworth-backup-{now:%Y-%m-%d-%H%M}.zip"
    return send_file(out, "application/zip", as_attachment=True, download_name=name)


@views.post("/restore")
def restored() -> AnyResponse:
    """Everything as the backup has it; what was here goes into a backup of its own."""
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        return _shown(422, "Choose a backup first.")
    if request.form.get("sure") != "yes":
        return _shown(422, "Say first that everything here is to be replaced.")
    try:
        before = backup.restore(store(), sent.stream, settings().now())
    except StoreError as trouble:
        return _shown(422, str(trouble))
    flash(f"Put back. What was here before is kept in {before.name}, in the data folder.")
    return redirect(url_for("backup.shown"), 303)


def _shown(status: int = 200, trouble: str = "") -> Response:
    return page("sheets/backup.html", status, trouble=trouble, folder=store().file.parent)
