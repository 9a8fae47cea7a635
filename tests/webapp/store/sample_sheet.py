"""Invented sheets for the tests and proofs of the store."""

import hashlib
import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from webapp.store import revisions, sheets
from webapp.store.database import Store
from webapp.store.revisions import Frozen, Numbered, Revision

AT = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DENVER = ZoneInfo("America/Denver")


def minutes(count: float) -> datetime:
    """So long after `AT`."""
    return AT + timedelta(minutes=count)


def frozen(numbered: Numbered, **changes: Any) -> Frozen:
    """What a handing over might freeze, all invented; `changes` are fields of `Frozen`."""
    its = {"number": numbered.number, "revision": numbered.revision}
    copy = json.dumps({"kind": "seller", **its}, separators=(",", ":"))
    made: dict[str, Any] = {
        "title": "Walk-in: fist-sized vein quartz",
        "description": "White quartz, leaf gold on two faces",
        "request_json": '{"title":"Walk-in"}',
        "result_json": '{"draws":16384}',
        "seller_json": copy,
        "house_json": json.dumps({"kind": "house", **its}),
        "seller_pdf": f"%PDF seller {numbered.number} {numbered.revision}".encode(),
        "house_pdf": f"%PDF house {numbered.number} {numbered.revision}\0\xff".encode(),
        "method_version": "1",
        "seed": 20260315,
        "currency": "USD",
        "offer": "4100.00",
        "reason": "",
        "gold_price": "4100.00",
        "silver_price": "48.00",
        "spot_unit": "ozt",
        "price_seen_at": numbered.handed_over_at - timedelta(minutes=5),
        "price_source": "typed",
        "valid_until": numbered.handed_over_at + timedelta(days=3),
        "time_zone": "America/Denver",
        "spot_move_frac": "0.03",
        **changes,
    }
    digest = hashlib.sha256(made["seller_json"].encode()).hexdigest()
    return Frozen(**{"seller_digest": digest, **made})


def making(**changes: Any) -> Callable[[Numbered], Frozen]:
    """A `make` for `hand_over`."""
    return lambda numbered: frozen(numbered, **changes)


def written(
    store: Store, draft_id: str = "draft", reference: str = "", at: datetime = AT, title: str = "Walk-in"
) -> str:
    """Id of a sheet that is written."""
    return sheets.new(store, draft_id=draft_id, title=title, description="", reference=reference, at=at)


def over(store: Store, sheet_id: str, seen: int = 0, at: datetime = AT, **changes: Any) -> Revision:
    """The next revision of a sheet, handed over."""
    return revisions.hand_over(store, sheet_id, making(**changes), at=at, zone=DENVER, expected_revision=seen)
