"""Whether a file that somebody brings is a copy of a sheet as it was handed over here, and what has become of that."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Literal

from webapp.canonical_json import short
from webapp.settings import Settings
from webapp.sheet_copy import Checked, checked
from webapp.sheet_life import lapses
from webapp.sheet_words import ENDED, day_and_time
from webapp.store import UnknownSheet, revisions, sheets
from webapp.store.database import Store
from webapp.store.sheets import Sheet

Verdict = Literal["unchanged", "changed", "unknown", "not_a_copy"]
# Titles of the papers as the PDF's metadata hold them; PDF/A keeps these readable (ISO 19005-2, 6.6.2).
_TITLED = re.compile(rb"(\d{4}-\d{4,15}), revision (\d{1,6})")
_PAPERS = {"seller": "the seller's paper", "house": "the house's working papers"}


@dataclass(frozen=True)
class Answer:
    """What is said of a file, in sentences; `unknown` is a copy that nothing here can confirm."""

    verdict: Verdict
    sentences: tuple[str, ...]


def looked_up(
    store: Store | None, sent: bytes, now: datetime, gold_per_g: Mapping[str, float], settings: Settings
) -> Answer:
    """What is known of a file: a copy in JSON, or a paper in PDF; without a store, only what it shows by itself."""
    told = _Told(store, now, gold_per_g, settings)
    return told.of_pdf(sent) if sent.startswith(b"%PDF-") else told.of_json(checked(sent))


@dataclass(frozen=True)
class _Told:
    store: Store | None
    now: datetime
    gold_per_g: Mapping[str, float]
    settings: Settings

    def of_json(self, found: Checked) -> Answer:
        if found.verdict == "not_a_copy":
            return Answer("not_a_copy", (f"This is no copy of an offer sheet: {found.why}.",))
        whose = "The seller's" if found.form == "seller" else "The house's"
        name = f"{whose} copy of {_named(found.number, found.revision)}"
        if found.verdict == "changed":
            return Answer("changed", (f"{name} was changed after it was made: its contents do not fit its digest.",))
        sheet = self._sheet(found.number, found.revision)
        if sheet is None:
            words = (
                "Its contents fit the digest that it states, but no such sheet was handed over here, and anyone can "
                f"write such a file. Compare its digest with the paper: {short(found.digest)}."
            )
            return Answer("unknown", (f"{name} cannot be confirmed.", words))
        kept = revisions.content(self._kept, sheet.id, found.revision, found.form or "seller")
        if sha256(kept).hexdigest() != found.digest:
            return Answer("changed", (f"{name} is not as it was handed over: the one kept here has another digest.",))
        private = (
            ("It is for the house alone: it holds what the seller must not see.",) if found.form == "house" else ()
        )
        return Answer("unchanged", (f"{name} is unchanged.", *self._since(sheet, found.revision), *private))

    def of_pdf(self, sent: bytes) -> Answer:
        titled = _TITLED.search(sent)
        if titled is None:
            return Answer("not_a_copy", ("This PDF does not say that it is the paper of an offer sheet.",))
        number, revision = titled[1].decode(), int(titled[2])
        sheet = self._sheet(number, revision)
        if sheet is None:
            words = f"This PDF says that it is of {_named(number, revision)}, which was not handed over here."
            return Answer("unknown", (words, "It cannot be confirmed."))
        for kind, kept in zip(_PAPERS, revisions.papers(self._kept, sheet.id, revision), strict=True):
            if kept == sent:
                words = f"This is {_PAPERS[kind]} of {_named(number, revision)}, unchanged."
                return Answer("unchanged", (words, *self._since(sheet, revision)))
        words = f"This PDF says that it is of {_named(number, revision)}, but it is not as it was handed over."
        return Answer(
            "changed", (words, "Programs that save a PDF anew change it too: compare it with the one kept here.")
        )

    @property
    def _kept(self) -> Store:
        assert self.store is not None
        return self.store

    def _sheet(self, number: str, revision: int) -> Sheet | None:
        try:
            sheet = None if self.store is None else sheets.by_number(self.store, number)
        except UnknownSheet:
            return None
        return sheet if sheet is not None and 1 <= revision <= sheet.revision else None

    def _since(self, sheet: Sheet, revision: int) -> tuple[str, ...]:
        """What has become of the revision."""
        if revision < sheet.revision:
            return (f"It no longer holds: revision {sheet.revision} replaces it.",)
        state = sheet.state(self.now, self.gold_per_g)
        offer = sheet.validity
        assert offer is not None
        until = day_and_time(offer.until, self.settings)
        if state == "lapsed":
            ended = lapses(offer, self.now, self.gold_per_g)
            return (f"The offer has lapsed. {ENDED[ended] if ended else ''}".strip(),)
        said = {
            "handed_over": f"The offer holds until {until}.",
            "agreed": "It was agreed.",
            "turned_down": "It was turned down.",
            "settled": "It was agreed and is settled.",
        }
        return (said[state],)


def _named(number: str, revision: int) -> str:
    return f"sheet {number[:20]}, revision {revision}" if number else "a sheet without a number"
