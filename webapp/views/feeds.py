"""The house's price feeds: which addresses prices are looked up at."""

from __future__ import annotations

from datetime import UTC, datetime

from flask import Blueprint, Response, abort, flash, redirect, request, url_for
from werkzeug.datastructures import MultiDict
from werkzeug.wrappers import Response as AnyResponse

from webapp.feed import found, thing
from webapp.feed_answer import FetchRefused
from webapp.feed_form import FeedForm, form_of, read
from webapp.feed_settings import MOST_FEEDS, Feed
from webapp.house_file import ChangedMeanwhile, NotSaved
from webapp.price_now import price_age_words
from webapp.price_round import Told, last_in
from webapp.rendering import house_file, page, store
from webapp.security import TOKEN
from webapp.views.prices import told_words

views = Blueprint("feeds", __name__, url_prefix="/house/feeds")
BESIDE_THE_FORM = frozenset({TOKEN, "seen", "do"})
CATEGORY = "feeds"


@views.get("")
def shown() -> Response:
    """The feeds in their order."""
    now = house_file().read()
    return page(
        "prices/feeds.html", feeds=now.house.feeds, seen=now.seen, most=MOST_FEEDS, thing=thing, category=CATEGORY
    )


@views.get("/new")
def new() -> Response:
    """A form for one more."""
    now = house_file().read()
    return _form(FeedForm(MultiDict({"format": "json"})), now.seen, None)


@views.get("/<int:position>")
def one(position: int) -> Response:
    """The form of one of them."""
    now = house_file().read()
    return _form(form_of(_there(now.house.feeds, position)), now.seen, position)


@views.post("/new")
def added() -> AnyResponse:
    """Try or add a feed."""
    return _sent(None)


@views.post("/<int:position>")
def changed(position: int) -> AnyResponse:
    """Try or change a feed."""
    return _sent(position)


@views.post("/<int:position>/moved")
def moved(position: int) -> AnyResponse:
    """Move a feed up, or take it off the list."""
    feeds = list(house_file().read().house.feeds)
    feed = _there(tuple(feeds), position)
    feeds.pop(position)
    if request.form.get("do") == "up":
        feeds.insert(max(position - 1, 0), feed)
        words = f"{feed.name} is asked before."
    else:
        words = f"{feed.name} was taken off the list. The prices that it told are kept."
    return _saved(tuple(feeds), words)


def _there(feeds: tuple[Feed, ...], position: int) -> Feed:
    if position >= len(feeds):
        abort(404, "There is no such feed any more. Look at the list.")
    return feeds[position]


def _sent(position: int | None) -> AnyResponse:
    texts = MultiDict((name, text) for name, text in request.form.items(multi=True) if name not in BESIDE_THE_FORM)
    now, seen = house_file().read(), request.form.get("seen", "")
    feeds = now.house.feeds
    before = None if position is None else _there(feeds, position)
    feed = read(FeedForm(texts), before)
    if isinstance(feed, FeedForm):
        return _form(feed, seen, position, 422)
    if request.form.get("do") == "try":
        return _form(FeedForm(texts), seen, position, tried=_tried(feed))
    if position is None and len(feeds) >= MOST_FEEDS:
        return _form(FeedForm(texts), seen, position, 422, unsaved=f"There are {MOST_FEEDS} feeds already.")
    kept = (*feeds, feed) if position is None else (*feeds[:position], feed, *feeds[position + 1 :])
    return _saved(kept, f"{feed.name} is saved.", FeedForm(texts), position)


def _tried(feed: Feed) -> Told:
    now = datetime.now(UTC)
    try:
        return Told(feed, now, found(feed, None, last_in(store(), now), now))
    except FetchRefused as refused:
        return Told(feed, now, None, str(refused))


def _saved(
    feeds: tuple[Feed, ...], words: str, form: FeedForm | None = None, position: int | None = None
) -> AnyResponse:
    now, seen = house_file().read(), request.form.get("seen", "")
    try:
        aside = house_file().save(now.house.model_copy(update={"feeds": feeds}), seen)
    except ChangedMeanwhile as meanwhile:
        told = "The settings of the house were changed elsewhere meanwhile. Look at the feeds, then try again."
        if form is None:
            flash(told, CATEGORY)
            return redirect(url_for("feeds.shown"), 303)
        return _form(form, meanwhile.now.seen, position, 409, unsaved=told)
    except NotSaved as trouble:
        if form is None:
            abort(503, str(trouble))
        return _form(form, seen, position, 503, unsaved=str(trouble))
    flash(words + (f" The file before was edited by hand; it is kept as {aside}." if aside else ""), CATEGORY)
    return redirect(url_for("feeds.shown"), 303)


def _form(
    form: FeedForm,
    seen: str,
    position: int | None,
    status: int = 200,
    *,
    tried: Told | None = None,
    unsaved: str = "",
) -> Response:
    feeds = house_file().read().house.feeds
    before = feeds[position] if position is not None and position < len(feeds) else None
    seen_words = ""
    if tried is not None and tried.found is not None:
        seen_words = f"The price was seen {price_age_words(tried.found.seen_at, tried.at)}."
    return page(
        "prices/feed.html",
        status,
        form=form,
        seen=seen,
        position=position,
        has_key=before is not None and bool(before.header_value),
        tried=tried,
        tried_words=told_words(tried) if tried is not None else "",
        seen_words=seen_words,
        unsaved=unsaved,
    )
