"""An offer sheet as JSON: the seller's copy and the house's, told apart by `form`; and whether a copy is unchanged.

Both are kept as canonical bytes, and the digest printed on paper is that of the seller's. A file that goes out holds
the same laid out for people, with its digest under `digest`; layout, order and spaces of a file do not count.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from valuation import Quote
from webapp.canonical_json import canonical, digest, read_once
from webapp.counter_sheet import CounterSheet
from webapp.retold import retold

SELLERS = "lodeworth/offer-sheet/seller/1"
HOUSES = "lodeworth/offer-sheet/house/1"
LARGEST = 8 * 1024 * 1024  # bytes of a file that is looked at
# What the seller's copy assumes: what the counter view rests on, never what an offer does.
_OBSERVED = ("weighing", "rock", "gold", "spot", "refiner")
_METHOD = ("Densities of the metals", "Native gold against ideal mixing", "Likeness of the chip to the rock")

Form = Literal["seller", "house"]
_FORMS: dict[str, Form] = {SELLERS: "seller", HOUSES: "house"}


@dataclass(frozen=True)
class SheetFacts:
    """What handing over adds to a quote; all of it is for the seller's eyes.

    Parameters
    ----------
    offer : str
        Decimal number in the smallest unit's digits.
    replaces : int or None
        The revision before.
    validity : str
        The sentence that says what ends the offer.
    stale_price : str
        What was confirmed about an old price; empty if it is not old.
    photographs : tuple of str
        SHA-256 of each, in order.
    """

    number: str
    revision: int
    replaces: int | None
    handed_over_at: datetime
    valid_until: datetime
    spot_move_frac: float | None
    validity: str
    time_zone: str
    house: str
    offer: str
    stale_price: str = ""
    photographs: tuple[str, ...] = ()


@dataclass(frozen=True)
class HouseFacts:
    """What handing over adds for the house alone."""

    reason: str
    notes: tuple[str, ...] = ()


def seller_json(sheet: CounterSheet, facts: SheetFacts) -> bytes:
    """The seller's copy: nothing in it comes from elsewhere than the counter view and the facts."""
    told = sheet.as_json()
    public = sheet.public
    specimen = sheet.request.specimen
    return canonical(
        {
            "form": SELLERS,
            **_facts(facts),
            **told,
            "description": specimen.description,
            "offer": facts.offer,
            "gold": None if sheet.request.gold is None else _plain(sheet.request.gold),
            "rock": None if sheet.request.rock is None else _plain(sheet.request.rock),
            "quoted_at": sheet.request.quoted_at.isoformat(),
            "method_version": None if public is None else public.method_version,
            "assumptions": [
                {"name": one.name, "value": retold(one.value, sheet.w), "source": retold(one.source, sheet.w)}
                for one in (() if public is None else public.assumptions)
                if one.field.partition(".")[0] in _OBSERVED or (not one.field and one.name in _METHOD)
            ],
            "settlement": [{**line, "detail": retold(line["detail"], sheet.w)} for line in told["settlement"]],
        }
    )


def house_json(
    sheet: CounterSheet, request: dict[str, Any], quote: Quote, facts: SheetFacts, house: HouseFacts, sellers: bytes
) -> bytes:
    """The house's copy: the request and the quote in full, and the seller's copy inside.

    Parameters
    ----------
    request : dict
        Entries of the request without the seller's reference, as JSON.
    sellers : bytes
        The seller's copy.
    """
    return canonical(
        {
            "form": HOUSES,
            **_facts(facts),
            "offer": facts.offer,
            "currency": sheet.request.spot.currency,
            "reason": house.reason,
            "notes": list(house.notes),
            "request": as_exact(request),
            "quote": as_exact(quote.model_dump(mode="json")),
            "seller": json.loads(sellers),
            "seller_digest": digest(sellers),
        }
    )


def _facts(facts: SheetFacts) -> dict[str, Any]:
    return {
        "number": facts.number,
        "revision": facts.revision,
        "replaces": facts.replaces,
        "house": facts.house,
        "handed_over_at": facts.handed_over_at.isoformat(),
        "valid_until": facts.valid_until.isoformat(),
        "time_zone": facts.time_zone,
        "spot_move_frac": facts.spot_move_frac,
        "validity": facts.validity,
        "stale_price": facts.stale_price,
        "photographs": list(facts.photographs),
    }


def _plain(section: Any) -> Any:
    return section.model_dump(mode="json", exclude_unset=True)


def as_exact(value: Any) -> Any:
    """The value with whole numbers that not every reader keeps exactly, such as a seed, as text."""
    if isinstance(value, dict):
        return {name: as_exact(item) for name, item in value.items()}
    if isinstance(value, list | tuple):
        return [as_exact(item) for item in value]
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) >= 2**53:
        return str(value)
    return value


def as_file(kept: bytes) -> str:
    """A copy as it goes out: for people to read, with the digest that it must have."""
    return json.dumps({**json.loads(kept), "digest": digest(kept)}, ensure_ascii=False, indent=2) + "\n"


@dataclass(frozen=True)
class Checked:
    """What a file shows by itself, before anything that is kept is asked.

    Parameters
    ----------
    verdict
        `unchanged`: it has the digest that it states; `changed`: it has another; `not_a_copy`.
    digest : str
        Of its contents, if it is a copy.
    why : str
        Why it is no copy.
    """

    verdict: Literal["unchanged", "changed", "not_a_copy"]
    form: Form | None = None
    number: str = ""
    revision: int = 0
    digest: str = ""
    why: str = ""


def checked(sent: bytes) -> Checked:
    """Whether a JSON file is an unchanged copy of an offer sheet, by its own digest."""
    if len(sent) > LARGEST:
        return Checked("not_a_copy", why=f"it has more than {LARGEST // 1024**2} MB")
    try:
        told = read_once(sent.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return Checked("not_a_copy", why="it is no UTF-8 text")
    except json.JSONDecodeError:
        return Checked("not_a_copy", why="it is neither the PDF nor the JSON copy of an offer sheet")
    except ValueError as error:
        return Checked("not_a_copy", why=f"it is no JSON that can be checked ({error})")
    form = _FORMS.get(str(told.get("form"))) if isinstance(told, dict) else None
    if form is None:
        return Checked("not_a_copy", why="it does not say that it is a copy of an offer sheet")
    stated = told.pop("digest", None)
    number, revision = told.get("number"), told.get("revision")
    try:
        found = digest(canonical(told))
    except ValueError as error:
        return Checked("not_a_copy", why=f"it is no JSON that can be checked ({error})")
    return Checked(
        "unchanged" if stated == found else "changed",
        form,
        number if isinstance(number, str) else "",
        revision if isinstance(revision, int) else 0,
        found,
    )
