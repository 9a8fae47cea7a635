"""What a handing over froze: the facts of the revision, its copies and papers as bytes, its photographs."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from hashlib import sha256
from typing import Any, Literal

from sqlalchemy import Connection, Row, insert, select

from valuation.mass import MassUnit
from webapp.canonical_json import canonical
from webapp.sheet_life import Validity, validity
from webapp.store.entries import sound
from webapp.store.errors import UnknownPhotograph
from webapp.store.tables import contents, photographs, revision_photographs
from webapp.store.tables import revisions as table

Content = Literal["request", "result", "seller", "house", "seller_pdf", "house_pdf"]

COPIES: tuple[Content, ...] = ("request", "result", "seller", "house")
PAPERS: tuple[Content, ...] = ("seller_pdf", "house_pdf")
_FACTS = (
    "title",
    "description",
    "method_version",
    "seed",
    "currency",
    "offer",
    "reason",
    "gold_price",
    "silver_price",
    "spot_unit",
    "price_seen_at",
    "price_source",
    "valid_until",
    "time_zone",
    "spot_move_frac",
    "stale_price_confirmation",
    "seller_digest",
)
_DIGEST = re.compile("[0-9a-f]{64}")


@dataclass(frozen=True)
class Frozen:
    """All that a handing over freezes.

    Parameters
    ----------
    title, description : str
        As printed; lists show them.
    request_json, result_json, seller_json, house_json : str
        The copies; none holds the seller's reference.
    seller_digest : str
        SHA-256 in hexadecimal of `seller_json` in UTF-8.
    seller_pdf, house_pdf : bytes
        The papers.
    seed : int
        Below 2**63.
    offer, gold_price, silver_price, spot_move_frac : str
        Decimal figures: money, money per `spot_unit`, fraction. Silver's price and the move may be None.
    reason : str
        Why the offer is outside the plan, kept privately; empty inside it.
    price_seen_at, valid_until : datetime
        With their time zone; when the price was seen may be unknown.
    time_zone : str
        Name of the shop's.
    photographs : tuple of str
        Their digests, in order.
    notes : tuple of str
        Of the printing, such as replaced glyphs.
    stale_price_confirmation : str
        What was confirmed of an old price, or empty.
    """

    title: str
    description: str
    request_json: str
    result_json: str
    seller_json: str
    house_json: str
    seller_digest: str
    seller_pdf: bytes
    house_pdf: bytes
    method_version: str
    seed: int
    currency: str
    offer: str
    reason: str
    gold_price: str
    silver_price: str | None
    spot_unit: MassUnit
    price_seen_at: datetime | None
    price_source: str
    valid_until: datetime
    time_zone: str
    spot_move_frac: str | None = None
    photographs: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    stale_price_confirmation: str = ""

    @property
    def validity(self) -> Validity:
        """What ends the offer by itself."""
        return validity(self.valid_until, self.currency, self.gold_price, self.spot_unit, self.spot_move_frac)


def checked(made: Frozen) -> Frozen:
    """The same, if it can be kept.

    Raises
    ------
    TextRefused
        A text cannot be kept.
    ValueError
        A mistake of the program: a copy that holds the seller's reference or is no JSON, a digest that is not the
        copy's, a figure that is none, an empty paper.
    """
    for name in ("title", "description", "reason", "price_source", "stale_price_confirmation"):
        sound(name, getattr(made, name))
    for copy in (made.request_json, made.result_json, made.seller_json, made.house_json):
        if "seller_reference" in _names(json.loads(copy)):
            raise ValueError("a copy to be frozen holds the seller's reference")
    if made.seller_digest != sha256(made.seller_json.encode()).hexdigest():
        raise ValueError("the digest is not that of the seller's copy")
    if not made.seller_pdf or not made.house_pdf:
        raise ValueError("a paper to be frozen is empty")
    for figure in (made.offer, made.gold_price, made.silver_price, made.spot_move_frac):
        if figure is not None and not _is_decimal(figure):
            raise ValueError(f"{figure!r} is no decimal figure")
    if made.valid_until.tzinfo is None:
        raise ValueError("a moment needs its time zone")
    return made


def _names(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*map(_names, value.values()))
    return set().union(*map(_names, value)) if isinstance(value, list) else set()


def _is_decimal(figure: str) -> bool:
    try:
        return Decimal(figure).is_finite()
    except InvalidOperation:
        return False


def keep(connection: Connection, sheet: int, number: str, revision: int, at: datetime, made: Frozen) -> None:
    """Freeze it as a revision of the sheet with this key; commits nothing.

    Raises
    ------
    UnknownPhotograph
        One of its photographs is not kept.
    """
    there = select(photographs.c.digest).where(photographs.c.digest.in_(made.photographs))
    if missing := set(made.photographs) - set(connection.execute(there).scalars()):
        raise UnknownPhotograph(min(missing))
    its = {"sheet": sheet, "revision": revision}
    facts = {name: getattr(made, name) for name in _FACTS}
    facts["notes"] = json.dumps(made.notes, ensure_ascii=False)
    connection.execute(insert(table), {**its, "number": number, "handed_over_at": at, **facts})
    copies = {kind: getattr(made, f"{kind}_json").encode() for kind in COPIES}
    whole = {**copies, "seller_pdf": made.seller_pdf, "house_pdf": made.house_pdf}
    connection.execute(insert(contents), [{**its, "kind": kind, "content": whole[kind]} for kind in whole])
    if made.photographs:
        placed = [{**its, "place": i, "digest": digest} for i, digest in enumerate(made.photographs, 1)]
        connection.execute(insert(revision_photographs), placed)


def digests(connection: Connection, row: Row[Any]) -> Mapping[str, str]:
    """SHA-256 of all that the revision of a row of `revisions` froze, computed anew; writes nothing."""
    facts = {name: _told(value) for name, value in row._mapping.items() if name not in ("sheet", "revision")}
    found = {"facts": sha256(canonical(facts)).hexdigest()}
    its = contents.c.sheet == row.sheet, contents.c.revision == row.revision
    for kind in connection.execute(select(contents.c.kind).where(*its).order_by(contents.c.kind)).scalars().all():
        content = connection.execute(select(contents.c.content).where(*its, contents.c.kind == kind)).scalar_one()
        found[kind] = sha256(content).hexdigest()
    for place, digest in photographs_of(connection, row.sheet, row.revision):
        found[f"photograph {place}"] = digest
    return found


def photographs_of(connection: Connection, sheet: int, revision: int) -> list[tuple[int, str]]:
    """Places and digests of a revision's photographs, in order; writes nothing."""
    its = revision_photographs
    wanted = select(its.c.place, its.c.digest).where(its.c.sheet == sheet, its.c.revision == revision)
    return [(place, digest) for place, digest in connection.execute(wanted.order_by(its.c.place))]


def _told(value: Any) -> Any:
    return value.astimezone(UTC).isoformat(timespec="microseconds") if isinstance(value, datetime) else value
