"""The house's books: refiners, comparable sales, rocks, tests and their costs."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from valuation import materials
from valuation.errors import shown as plain
from valuation.evidence_tests import USUAL
from webapp import book_words
from webapp.book_form import BookForm, form_of, read
from webapp.book_kinds import BOOKS, Book
from webapp.book_table import MOST_PROBLEMS, TableRefused, exported, imported, rows_of, template
from webapp.method_tables import KNOWN
from webapp.rendering import page, settings, store
from webapp.security import TOKEN
from webapp.store import StoreError, books
from webapp.store.books import ChangedInBetween, NameTaken, UnknownEntry, Version
from webapp.text_file import FileRefused, decoded
from webapp.wording import Wording

views = Blueprint("books", __name__, url_prefix="/books")
BESIDE_THE_FORM = frozenset({TOKEN, "seen"})
CATEGORY = "books"
LARGEST_BYTES = 200 * 1024
KEYED = '/<any("refiners", "sales", "rocks", "tests"):key>'


def _w(currency: str = "") -> Wording:
    return Wording(settings().written_in, currency or settings().currency)


# ---- lists


@views.get("")
def overview() -> Response:
    """The books, and how much stands in each."""
    counts = {key: len(books.offered(store(), key)) for key in BOOKS}
    return page("books/overview.html", books=BOOKS.values(), counts=counts, beside=book_words.BESIDE)


@views.get(KEYED)
def listed(key: str) -> Response:
    """The entries of a book."""
    book = BOOKS[key]
    entries = books.entries(store(), key)
    rows = [(one, book_words.cells(book, one.content, _w(one.content.currency))) for one in entries]
    values: dict[str, Any] = {}
    if key == "rocks":
        values = {"rocks": materials.rocks().values(), "known": KNOWN, "references": materials.references()}
    if key == "tests":
        values = {"usual": book_words.usual_tests(_w()), "of_house": {one.content.name for one in entries}}
    return page(
        "books/list.html",
        book=book,
        head=book_words.HEADS[key],
        offered=[(one, cells) for one, cells in rows if not one.is_retired],
        retired=[(one, cells) for one, cells in rows if one.is_retired],
        category=CATEGORY,
        w=_w(),
        plain=plain,
        **values,
    )


# ---- one entry


@views.get(f"{KEYED}/new")
def new(key: str) -> Response:
    """A form for one more."""
    book = BOOKS[key]
    texts = MultiDict({"currency": settings().currency} if "currency" in book.own else {})
    kind = request.args.get("kind", "")
    if key == "tests" and kind in USUAL:
        texts["tests.0.kind"] = kind
    return _form(BookForm(texts, book=book), None)


@views.post(f"{KEYED}/new")
def added(key: str) -> AnyResponse:
    """Add an entry."""
    form = _as_sent(BOOKS[key])
    content = read(form)
    if isinstance(content, BookForm):
        return _form(content, None, 422)
    try:
        made = books.add(store(), key, content, settings().now())
    except NameTaken as taken:
        return _form(_named_wrongly(form, str(taken)), None, 422)
    except StoreError as trouble:
        return _form(form, None, 503, unsaved=str(trouble))
    flash(f"{_said(made)} is in the book.", CATEGORY)
    return redirect(url_for("books.listed", key=key), 303)


@views.get(f"{KEYED}/<entry>")
def one(key: str, entry: str) -> Response:
    """The form of an entry, and its versions."""
    newest = _there(key, entry)
    return _form(form_of(BOOKS[key], newest.content), newest)


@views.post(f"{KEYED}/<entry>")
def changed(key: str, entry: str) -> AnyResponse:
    """Save an entry as a new version."""
    form, newest = _as_sent(BOOKS[key]), _there(key, entry)
    content = read(form)
    sent = request.form.get("seen", "")
    seen = int(sent) if sent.isascii() and sent.isdigit() and len(sent) < 9 else 0
    if isinstance(content, BookForm):
        return _form(content, newest, 422, seen=seen)
    try:
        made = books.change(store(), key, entry, content, settings().now(), seen)
    except ChangedInBetween as meanwhile:
        return _form(form, meanwhile.newest, 409, unsaved=f"{meanwhile} What you typed still stands here.")
    except NameTaken as taken:
        return _form(_named_wrongly(form, str(taken)), newest, 422)
    except StoreError as trouble:
        return _form(form, newest, 503, unsaved=str(trouble))
    if made.version == seen:
        flash(f"{_said(made)} says that already: nothing was changed.", CATEGORY)
    else:
        flash(f"{_said(made)} is saved as version {made.version}. What used an earlier one keeps it.", CATEGORY)
    return redirect(url_for("books.listed", key=key), 303)


@views.post(f'{KEYED}/<entry>/<any("retire", "put-back"):deed>')
def turned(key: str, entry: str, deed: str) -> AnyResponse:
    """Offer an entry no longer, or again."""
    try:
        if deed == "retire":
            made = books.retire(store(), key, entry, settings().now())
            flash(f"{_said(made)} is retired: no longer offered, and nothing of it is lost.", CATEGORY)
        else:
            made = books.put_back(store(), key, entry, settings().now())
            flash(f"{_said(made)} is offered again.", CATEGORY)
    except NameTaken as taken:
        flash(str(taken), CATEGORY)
    except UnknownEntry as unknown:
        abort(404, str(unknown))
    return redirect(url_for("books.listed", key=key), 303)


def _said(version: Version) -> str:
    return book_words.said(BOOKS[version.book], version.content, _w(version.content.currency))


def _there(key: str, entry: str) -> Version:
    try:
        return books.newest(store(), key, entry)
    except UnknownEntry as unknown:
        abort(404, str(unknown))


def _as_sent(book: Book) -> BookForm:
    sent = request.form.items(multi=True)
    texts = MultiDict((name, text) for name, text in sent if name not in BESIDE_THE_FORM)
    return BookForm(texts, book=book, locale=settings().written_in)


def _named_wrongly(form: BookForm, words: str) -> BookForm:
    return book_words.with_problem(form, form.book.name_field(), words)


def _form(
    form: BookForm, newest: Version | None, status: int = 200, *, seen: int | None = None, unsaved: str = ""
) -> Response:
    book = form.book
    earlier = books.versions(store(), book.key, newest.entry) if newest is not None else ()
    return page(
        "books/entry.html",
        status,
        form=form,
        book=book,
        newest=newest,
        seen=seen if seen is not None else newest.version if newest else 0,
        versions=[(one, form_of(book, one.content)) for one in earlier],
        used=books.sheets_using(store(), newest.entry) if newest is not None else 0,
        said=_said,
        told=book_words.told,
        currency=form.text("currency").strip().upper()[:3] or settings().currency,
        unsaved=unsaved,
        kinds=USUAL,
    )


# ---- tables


@views.get(f"{KEYED}.csv")
def saved(key: str) -> Response:
    """Every entry that is offered, as CSV."""
    return _file(exported(BOOKS[key], books.offered(store(), key)), f"{key}.csv")


@views.get(f"{KEYED}/template.csv")
def empty_table(key: str) -> Response:
    """A table to be filled in."""
    return _file(template(BOOKS[key]), f"{key}-template.csv")


def _file(text: str, name: str) -> Response:
    answer = Response(text, mimetype="text/csv")
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


@views.get(f"{KEYED}/import")
def importing(key: str) -> Response:
    """Where a table is pasted or chosen."""
    return _import(BOOKS[key])


@views.post(f"{KEYED}/import")
def taken_in(key: str) -> AnyResponse:
    """Take a table in, all of it or nothing."""
    book, text = BOOKS[key], request.form.get("table", "")
    sent = request.files.get("file")
    if sent is not None and sent.filename:
        try:
            text = decoded(sent.read(LARGEST_BYTES + 1), sent.filename[-80:], LARGEST_BYTES, "a book")
        except FileRefused as refused:
            return _import(book, 422, text, unread=str(refused))
    try:
        told = imported(store(), book, rows_of(book, text, settings().currency), settings().now())
    except TableRefused as refused:
        return _import(book, 422, text, refused)
    except StoreError as trouble:
        return _import(book, 422, text, unread=str(trouble))
    flash(book_words.imported(told), CATEGORY)
    return redirect(url_for("books.listed", key=key), 303)


def _import(
    book: Book, status: int = 200, text: str = "", refused: TableRefused | None = None, unread: str = ""
) -> Response:
    problems = refused.problems if refused is not None else ()
    return page(
        "books/import.html",
        status,
        book=book,
        text=text,
        problems=problems[:MOST_PROBLEMS],
        more=len(problems[MOST_PROBLEMS:]),
        unread=unread,
        currency=settings().currency,
        tips=book_words.TIPS[book.key],
    )
