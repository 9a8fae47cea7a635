"""The counter: Lodeworth in a browser and at the command line."""

from __future__ import annotations

import logging
import os
from pathlib import Path
from typing import TYPE_CHECKING

# Read when numpy is loaded. Its matrices are small here: several threads would only wait for each other, and on a busy
# machine a page that takes one second then takes five.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

if TYPE_CHECKING:
    from flask import Flask

    from webapp.settings import Settings


def create_app(data: Path | None = None, settings: Settings | None = None) -> Flask:
    """The app, keeping what it keeps in `data` or the folder that the settings name."""
    # Loaded here so that the command line, which needs no web server, starts fast.
    from flask import Flask

    from webapp import errors, rendering, security, styles
    from webapp.house_file import HouseFile
    from webapp.lot_jobs import LotJobs
    from webapp.price_round import Rounds
    from webapp.settings import Settings
    from webapp.store import open_store
    from webapp.views import (
        api,
        audit,
        backup,
        book_use,
        books,
        counter,
        demos,
        drafts,
        evidence,
        feeds,
        files,
        first,
        house,
        lots,
        method,
        prices,
        record,
        sheet_copies,
        sheet_writing,
        sheets,
        working,
    )

    settings = settings or Settings()
    app = Flask(__name__)
    folder = data or settings.data
    app.config["SETTINGS"] = settings
    app.extensions["store"] = open_store(folder)
    app.extensions["house"] = HouseFile(folder)
    app.extensions["lots"] = LotJobs()
    app.extensions["rounds"] = Rounds(folder)
    for words in app.extensions["house"].read().trouble:
        logging.getLogger(__name__).warning("%s", words)
    security.guard(app, folder)
    rendering.prepare(app)
    styles.serve(app)
    errors.handle(app)
    app.register_blueprint(drafts.views)
    app.register_blueprint(first.views)
    app.register_blueprint(counter.views)
    app.register_blueprint(files.views)
    app.register_blueprint(house.views)
    app.register_blueprint(feeds.views)
    app.register_blueprint(prices.views)
    app.register_blueprint(method.views)
    app.register_blueprint(working.views)
    app.register_blueprint(evidence.views)
    app.register_blueprint(lots.views)
    app.register_blueprint(demos.views)
    app.register_blueprint(sheets.views)
    app.register_blueprint(sheet_writing.views)
    app.register_blueprint(sheet_copies.views)
    app.register_blueprint(record.views)
    app.register_blueprint(books.views)
    app.register_blueprint(book_use.views)
    app.register_blueprint(backup.views)
    app.register_blueprint(audit.views)
    app.register_blueprint(api.views)
    return app
