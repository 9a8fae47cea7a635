"""The life of a sheet in words, the same on every screen."""

from __future__ import annotations

from datetime import datetime

from babel.dates import format_date, format_time

from webapp.settings import Settings

STATE_WORDS = {
    "written": "being written",
    "handed_over": "open",
    "agreed": "agreed",
    "turned_down": "turned down",
    "lapsed": "lapsed",
    "settled": "settled",
}
DEED_WORDS = {
    "written": "Written",
    "handed_over": "Handed over",
    "replaced": "Replaced by the next one",
    "agreed": "Agreed",
    "turned_down": "Turned down",
    "lapsed": "Noted as lapsed",
    "settled": "Settled",
    "by_mistake": "The last was noted by mistake",
    "reference_erased": "Seller's reference erased",
}
ENDED = {
    "time": "Its time is over.",
    "price": "The price of gold has moved further than the offer allows.",
}


def day_and_time(at: datetime, settings: Settings) -> str:
    """A moment on the shop's clock, short enough for a table."""
    there = at.astimezone(settings.zone)
    day = format_date(there.date(), "medium", settings.written_in)
    return f"{day}, {format_time(there.time(), 'short', locale=settings.written_in)}"
