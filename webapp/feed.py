"""Prices looked up at the addresses that the house named, in their order: the first good answer counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from webapp.feed_answer import Answer, AnswerRefused, FetchRefused, LastOf, answer_of, judged
from webapp.feed_settings import METAL_NAMES, Feed, Patience


@dataclass(frozen=True)
class Found:
    """A price that a feed told.

    Parameters
    ----------
    seen_at : datetime
        As the answer says, else when it was answered.
    answered_at : datetime
        When it was answered.
    from_cache : bool
        Whether it is an earlier answer.
    trouble : str
        Why it is an old answer and not a new one; empty if it is fresh.
    """

    feed: Feed
    answer: Answer
    seen_at: datetime
    answered_at: datetime
    from_cache: bool
    trouble: str

    @property
    def is_stale(self) -> bool:
        """Whether it should have been asked anew, which failed."""
        return bool(self.trouble)


@dataclass(frozen=True)
class Refusal:
    """A feed without a good price, and why."""

    feed: Feed
    reason: str


@dataclass(frozen=True)
class Round:
    """What one round through the feeds of one thing brought."""

    found: Found | None
    refusals: tuple[Refusal, ...]


def found(feed: Feed, folder: Path | None, last_of: LastOf, now: datetime, patience: Patience | None = None) -> Found:
    """The price that a feed tells: from the cache in a folder while that is fresh; always anew without a folder.

    Raises
    ------
    FetchRefused
        There is none that can be believed; nothing is changed by it.
    """

    # Loaded at the first look: a start without feeds loads nothing that speaks to the network.
    from webapp.feed_session import got

    def judge(body: bytes, content_type: str) -> Answer:
        answer = answer_of(body, content_type, feed, now)
        return judged(answer, feed, last_of(answer))

    told = got(feed, folder, judge, patience or Patience())
    try:
        answer = judge(told.body, told.content_type)
    except AnswerRefused as refused:
        # Cached for another feed of the same address, or before the settings of this one were changed.
        if told.from_cache and folder is not None:
            return found(feed, None, last_of, now, patience)
        raise FetchRefused(str(refused)) from refused
    return Found(feed, answer, answer.seen_at or told.created_at, told.created_at, told.from_cache, told.trouble)


def first_found(
    feeds: Sequence[Feed], folder: Path | None, last_of: LastOf, now: datetime, patience: Patience | None = None
) -> Round:
    """The first good price of feeds that tell the same thing; an old one only if none of them tells a new one."""
    refusals: list[Refusal] = []
    old: Found | None = None
    for feed in feeds:
        try:
            told = found(feed, folder, last_of, now, patience)
        except FetchRefused as refused:
            refusals.append(Refusal(feed, str(refused)))
            continue
        if not told.is_stale:
            return Round(told, tuple(refusals))
        refusals.append(Refusal(feed, told.trouble))
        if old is None or told.answered_at > old.answered_at:
            old = told
    return Round(old, tuple(refusals))


def by_thing(feeds: Sequence[Feed]) -> dict[str, list[Feed]]:
    """Feeds that tell the same thing, each list in the order of the house: gold, silver, one rate, another rate."""
    sorted_out: dict[str, list[Feed]] = {}
    for feed in feeds:
        sorted_out.setdefault(thing(feed), []).append(feed)
    return sorted_out


def thing(feed: Feed) -> str:
    """What a feed tells, in words."""
    if feed.metal == "exchange_rate":
        return f"{feed.one_of} in {feed.currency or 'another currency'}"
    return METAL_NAMES[feed.metal]
