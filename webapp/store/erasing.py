"""Erasing a seller's reference everywhere, and keeping the sheets.

A sheet that was handed over stays byte for byte: the reference was never part of it.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Any

from sqlalchemy import Connection, Row, func, literal, select, text, update

from webapp.store import chain, entries, sheets
from webapp.store.database import Store
from webapp.store.errors import NotAllowed
from webapp.store.tables import deeds, draft_history, drafts, revisions, seller_references, sheet_entries, sheet_texts
from webapp.store.tables import sheets as sheet_table
from webapp.store.words import folded

FIELD = "specimen.seller_reference"
# Merges the full-text index, so that what was taken out of it is gone from its parts too. SQLite manual, "FTS5", 6.8.
_MERGE = text("INSERT INTO sheet_words (sheet_words) VALUES ('optimize')")


@dataclass(frozen=True)
class Erased:
    """What became of an erasure.

    Parameters
    ----------
    sheets : tuple of str
        Ids of those whose reference it was.
    drafts : int
        Quotes in progress in which it stood, now or earlier.
    left_in : tuple of str
        Numbers, else titles, of sheets and quotes that hold the same words where they cannot be erased, or where
        somebody typed them as something else: title, description, reason, note, other fields.
    is_wiped : bool
        Whether the log of the database was emptied as well. False: another program was reading; erase again.
    """

    sheets: tuple[str, ...]
    drafts: int
    left_in: tuple[str, ...]
    is_wiped: bool


def erase_reference(store: Store, reference: str, at: datetime) -> Erased:
    """Erase a seller's reference from sheets, drafts, their earlier states and the search; committed when this returns.

    Case, widths and blanks make no difference. In a draft in which it ever stood, the field is emptied in every
    earlier state, as these hold what was typed letter by letter; the present text only if it is the reference or its
    beginning. Each sheet notes that, and when, its reference was erased. Copies made before, such as backups, still
    hold it. Not to be called inside ``store.writing()``.

    Raises
    ------
    NotAllowed
        There is no reference to erase in the text.
    StoreBusy, StoreFull, FolderRefused, DamagedStore
        It could not be written; nothing was erased.
    """
    wanted = _same(reference)
    if not wanted:
        raise NotAllowed("Type the reference that is to be erased.")
    with store.writing() as connection:
        found = _sheets_of(connection, wanted)
        for row in found:
            sheets.set_reference(connection, row.key, "")
            sheets.change(connection, row.key, changed_at=at)
            its = {"sheet": row.key, "id": row.id, "number": row.number or "", "revision": row.revision}
            chain.add(connection, **its, kind="reference_erased", at=at)
        _erase_in_forms(connection, wanted)
        of_drafts = _drafts_with(connection, wanted, {row.draft_id for row in found})
        for name in of_drafts:
            _erase_in_draft(connection, name, wanted)
        left = _left_in(connection, wanted, [row.key for row in found], of_drafts)
        connection.execute(_MERGE)
    return Erased(tuple(row.id for row in found), len(of_drafts), left, store.empty_log())


def _same(text: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def _sheets_of(connection: Connection, wanted: str) -> list[Row[Any]]:
    references = select(seller_references.c.sheet, seller_references.c.reference)
    keys = [key for key, reference in connection.execute(references) if _same(reference) == wanted]
    return [connection.execute(select(sheet_table).where(sheet_table.c.key == key)).one() for key in keys]


def _texts(typed: str) -> list[str]:
    return [_same(text) for name, text in entries.read(typed) if name == FIELD]


def _without(typed: str, wanted: str = "") -> str:
    """The entries with the field emptied; with `wanted`, only where it is that reference or the beginning of it."""
    return entries.written(
        (name, "" if name == FIELD and (not wanted or wanted.startswith(_same(text))) else text)
        for name, text in entries.read(typed)
    )


def _drafts_with(connection: Connection, wanted: str, of_sheets: set[str]) -> list[str]:
    """Drafts in which the reference stands or stood, and those of the sheets that had it."""
    names = set(connection.execute(select(drafts.c.id).where(drafts.c.id.in_(of_sheets))).scalars())
    holds = f"%{FIELD}%"
    for table, name in ((drafts, drafts.c.id), (draft_history, draft_history.c.draft_id)):
        for draft_id, typed in connection.execute(select(name, table.c.entries).where(table.c.entries.like(holds))):
            if draft_id not in names and wanted in _texts(typed):
                names.add(draft_id)
    return sorted(names)


def _erase_in_draft(connection: Connection, name: str, wanted: str) -> None:
    present = connection.execute(select(drafts.c.entries, drafts.c.revision).where(drafts.c.id == name)).one()
    if (emptied := _without(present.entries, wanted)) != present.entries:
        # A new revision without a writer, so that a tab that is still open is told that it has not seen it.
        values = {"entries": emptied, "revision": present.revision + 1, "writer": ""}
        connection.execute(update(drafts).where(drafts.c.id == name), values)
    its = draft_history
    for revision, typed in connection.execute(
        select(its.c.revision, its.c.entries).where(its.c.draft_id == name)
    ).all():
        if (emptied := _without(typed)) != typed:
            values = {"entries": emptied, "digest": sha256(emptied.encode()).hexdigest()}
            connection.execute(update(its).where(its.c.draft_id == name, its.c.revision == revision), values)


def _erase_in_forms(connection: Connection, wanted: str) -> None:
    its = sheet_entries
    for sheet, typed in connection.execute(
        select(its.c.sheet, its.c.entries).where(its.c.entries.like(f"%{FIELD}%"))
    ).all():
        if (emptied := _without(typed, wanted)) != typed:
            connection.execute(update(its).where(its.c.sheet == sheet), {"entries": emptied})


def _left_in(connection: Connection, wanted: str, keys: list[int], of_drafts: list[str]) -> tuple[str, ...]:
    words = folded(wanted)
    holding: set[int] = set()
    if words:
        whole = literal(" ").concat(sheet_texts.c.words).concat(" ")  # "7" is not left in "2026-0007"
        there = select(sheet_texts.c.sheet).where(func.instr(whole, f" {words} ") > 0)
        holding |= set(connection.execute(there).scalars())
    for table, column in ((revisions, revisions.c.reason), (deeds, deeds.c.note)):
        texts = connection.execute(select(table.c.sheet, column).where(table.c.sheet.in_(keys), column != ""))
        holding |= {sheet for sheet, said in texts if wanted in _same(said)}
    named = select(sheet_table.c.number, sheet_table.c.title).where(sheet_table.c.key.in_(holding))
    told = [number or title for number, title in connection.execute(named.order_by(sheet_table.c.key))]
    for title, typed in connection.execute(select(drafts.c.title, drafts.c.entries).where(drafts.c.id.in_(of_drafts))):
        if any(wanted in _same(said) for _, said in entries.read(typed)):
            told.append(title)
    return tuple(told)
