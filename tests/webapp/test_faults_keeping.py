"""No room, held by another program, read-only: whatever a person does then says so, and nothing is lost."""

import os
import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from hashlib import sha256
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from werkzeug.datastructures import MultiDict
from werkzeug.test import TestResponse

from tests.webapp.conftest import Page, Visitor
from tests.webapp.test_sheet_pages import begin, hand_over, picture, press, sheet_id, upload
from webapp import create_app
from webapp.settings import Settings
from webapp.store.opening import FILE

if sys.platform != "win32":
    import resource

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="rights and limits as POSIX systems have them")
MARKED = "Typed under trouble 金"
NOBODY = 65534


@dataclass
class Shop:
    """An app in a folder of its own, and a person at it."""

    app: Flask
    visitor: Visitor
    folder: Path

    def dump(self) -> dict[str, str]:
        """All that is kept: the database row by row, and every other file that is to last."""
        with closing(sqlite3.connect(self.folder / FILE)) as look:
            assert look.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            of_all = "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sheet_words%'"
            names = [name for (name,) in look.execute(of_all).fetchall()]
            rows = repr({name: look.execute(f"SELECT * FROM {name} ORDER BY rowid").fetchall() for name in names})
        files = {one.name: one.read_bytes() for one in self.folder.iterdir() if one.is_file() and FILE not in one.name}
        return {"rows": rows, **{name: sha256(data).hexdigest() for name, data in files.items()}}


@pytest.fixture
def shop() -> Iterator[Shop]:
    with tempfile.TemporaryDirectory() as name:  # not below pytest's own, where nobody else may look
        folder = Path(name).resolve()
        folder.chmod(0o755)
        settings = Settings(locale="en_US", time_zone="America/Denver", data=folder)
        app = create_app(folder, settings)
        yield Shop(app, Visitor(app.test_client()), folder)
        app.extensions["store"].close()


# ---- the troubles


@contextmanager
def no_room(_: Shop) -> Iterator[None]:
    """No file takes another byte. Python ignores SIGXFSZ, so that writing fails as it does on a full disk."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@contextmanager
def held(shop: Shop) -> Iterator[None]:
    """Another connection is writing."""
    with closing(sqlite3.connect(shop.folder / FILE, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")


@contextmanager
def read_only(shop: Shop) -> Iterator[None]:
    """The folder and all in it may only be read; root, whom rights do not bind, becomes nobody for the while."""
    shop.app.extensions["store"].close()
    is_root = os.geteuid() == 0
    every = [one for one in shop.folder.iterdir() if one.is_file()]
    for one in every:
        one.chmod(0o444)
    shop.folder.chmod(0o555)
    if is_root:
        os.seteuid(NOBODY)
    try:
        yield
    finally:
        if is_root:
            os.seteuid(0)
        shop.app.extensions["store"].close()
        shop.folder.chmod(0o755)
        for one in every:
            one.chmod(0o600)


Trouble = Callable[[Shop], Any]
WORDS: dict[Trouble, str] = {
    no_room: "no room to write",
    held: "Another program is holding",
    read_only: "right to write there",
}


# ---- what a person does: what goes before it, and the act; the act returns its answer


def demo_draft(shop: Shop) -> Page:
    return shop.visitor.send(shop.visitor.open("/demos/leaf-gold-walk-in"), {"title": "Before"})


def written_sheet(shop: Shop) -> Page:
    return begin(shop.visitor, {"specimen.seller_reference": "book 7"})


def looked_at(shop: Shop) -> Page:
    return press(shop.visitor, written_sheet(shop), "preview", {"stale_price": "The seller insists", "reason": ""})


def handed(shop: Shop) -> Page:
    return hand_over(shop.visitor, written_sheet(shop), {"stale_price": "The seller insists"})


def post(shop: Shop, address: str, page: Page, **fields: str) -> Page:
    token = str(page.all("input[name=token]")[0]["value"])
    return Page(shop.visitor.client.post(address, data={"token": token, **fields}, follow_redirects=True))


def draft_address(page: Page) -> str:
    return str(page.one("#quote-form")["action"])


def file_sent(shop: Shop, address: str, page: Page, data: bytes, **fields: str) -> Page:
    token = str(page.all("input[name=token]")[0]["value"])
    texts: MultiDict[str, Any] = MultiDict({"token": token, **fields})
    texts.setlist("file", [(BytesIO(data), "kept.zip")])
    sent = shop.visitor.client.post(address, data=texts, content_type="multipart/form-data", follow_redirects=True)
    return Page(sent)


def backup_made(shop: Shop, page: Page) -> TestResponse:
    answer = shop.visitor.client.post("/backup/file", data={"token": str(page.all("input[name=token]")[0]["value"])})
    answer.get_data()
    answer.close()
    return answer


def readable(answer: TestResponse) -> TestResponse:
    """A page, or a word in place of an archive."""
    if answer.mimetype == "application/zip":
        answer.set_data(b"<main>an archive</main>")
    return answer


def backup_of(shop: Shop) -> tuple[Page, bytes]:
    demo_draft(shop)
    page = shop.visitor.open("/backup")
    made = backup_made(shop, page)
    assert made.mimetype == "application/zip"
    shop.visitor.send(shop.visitor.open("/demos/leaf-gold-walk-in"), {"title": "After the backup"})
    return page, made.data


def settle(shop: Shop, page: Page) -> Page:
    return shop.visitor.send(page, {"note": MARKED}, ".deed")


ACTS: dict[str, tuple[Callable[[Shop], Any], Callable[[Shop, Any], Page]]] = {
    "typing": (demo_draft, lambda shop, page: shop.visitor.send(page, {"title": MARKED})),
    "typing into a new quote": (
        lambda shop: shop.visitor.open("/demos/leaf-gold-walk-in"),
        lambda shop, page: shop.visitor.send(page, {"title": MARKED}),
    ),
    "leaving a page": (demo_draft, lambda shop, page: post(shop, f"{draft_address(page)}/kept", page, title=MARKED)),
    "taking a quote off the list": (demo_draft, lambda shop, page: post(shop, f"{draft_address(page)}/close", page)),
    "going back to an earlier state": (
        lambda shop: shop.visitor.send(demo_draft(shop), {"title": "Later"}),
        lambda shop, page: post(shop, f"{draft_address(page)}/earlier/1", page),
    ),
    "pasting a lot": (
        lambda shop: shop.visitor.open("/lots"),
        lambda shop, page: shop.visitor.send(page, {"title": MARKED, "gold": "4100"}, "#lot-form"),
    ),
    "beginning a sheet": (
        demo_draft,
        lambda shop, page: Page(
            shop.visitor.client.post(
                f"{draft_address(page)}/sheet", data={**page.typed(), "title": MARKED}, follow_redirects=True
            )
        ),
    ),
    "typing into a sheet": (written_sheet, lambda shop, page: press(shop.visitor, page, "", {"reason": MARKED})),
    "adding a photograph": (written_sheet, lambda shop, page: upload(shop.visitor, page, ("a.jpg", picture()))),
    "handing over": (looked_at, lambda shop, page: shop.visitor.send(page, {}, ".decide form")),
    "noting an end": (handed, settle),
    "erasing a reference": (
        lambda shop: shop.visitor.open(f"/sheets/{sheet_id(handed(shop))}/reference"),
        lambda shop, page: shop.visitor.send(page, {"reference": "book 7"}, "main form"),
    ),
    "saving the house's settings": (
        lambda shop: shop.visitor.open("/house"),
        lambda shop, page: shop.visitor.send(page, {"name": MARKED}, "#house-form"),
    ),
    "entering a price": (
        lambda shop: shop.visitor.open("/prices"),
        lambda shop, page: shop.visitor.send(
            page, {"price": "4123.45", "source": MARKED}, "form.group-body[action='/prices']"
        ),
    ),
    "adding to a book": (
        lambda shop: shop.visitor.open("/books/refiners/new"),
        lambda shop, page: shop.visitor.send(page, {"refiner.name": MARKED}, "#book-form"),
    ),
    "making a backup": (
        lambda shop: shop.visitor.open("/backup"),
        lambda shop, page: Page(readable(backup_made(shop, page))),
    ),
    "putting a backup back": (
        backup_of,
        lambda shop, kept: file_sent(shop, "/backup/restore", kept[0], kept[1], sure="yes"),
    ),
}
# What another program's writing does not stand in the way of.
NOT_HELD = {"saving the house's settings", "making a backup"}
# Where the answer is the form again, with what was typed.
SHOWN_AGAIN = {
    "typing",
    "typing into a new quote",
    "pasting a lot",
    "beginning a sheet",
    "typing into a sheet",
    "noting an end",
    "saving the house's settings",
    "entering a price",
    "adding to a book",
}
# What shows something kept needs to read it, which SQLite cannot in a folder where it may not write its log: the page
# then says why, and what was typed is on the page before it.
UNREAD = {"typing into a sheet", "noting an end", "entering a price", "pasting a lot"}


@pytest.mark.parametrize("trouble", [no_room, held, read_only])
@pytest.mark.parametrize("act", ACTS)
def test_what_cannot_be_kept_is_said_and_nothing_is_lost(
    shop: Shop, act: str, trouble: Trouble, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module, name, value in (
        (
            "database",
            "PRAGMAS",
            ("PRAGMA busy_timeout = 50", "PRAGMA foreign_keys = ON", "PRAGMA recursive_triggers = ON"),
        ),
        ("backup", "_PAUSE_S", 0.01),
        ("backup", "BUSY_TIMEOUT_MS", 50),
    ):
        monkeypatch.setattr(f"webapp.store.{module}.{name}", value)
    shop.app.extensions["store"].close()
    before_it, do = ACTS[act]
    begun = before_it(shop)
    before = shop.dump()
    with trouble(shop):
        page = do(shop, begun)
    if trouble is held and act in NOT_HELD:
        assert page.status == 200
        return
    words = page.soup.get_text(" ", strip=True)
    assert page.status in (200, 409, 422, 503), f"{page.status}: {words[:500]}"
    expected = "cannot be written" if act == "saving the house's settings" else WORDS[trouble]
    assert expected in words, words[:800]
    assert "mistake of the program" not in words
    assert shop.dump() == before
    if act in SHOWN_AGAIN - (UNREAD if trouble is read_only else set()):
        assert MARKED in page.answer.text
    again = do(shop, begun)
    assert again.status in (200, 204) or act == "pasting a lot", again.words()[:500]  # there, pieces are still missing
    assert act == "making a backup" or shop.dump() != before
