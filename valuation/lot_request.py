"""A request for a lot: many pieces that are bought together, and what they share."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Self

from pydantic import (
    AwareDatetime,
    BaseModel,
    ModelWrapValidatorHandler,
    PrivateAttr,
    ValidationError,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

from valuation.errors import RequestRefused
from valuation.field import Section
from valuation.field import said as said_field
from valuation.observations import Gold, Rock, Weighing
from valuation.problems import problems_of
from valuation.request import MAX_REFINERS, QuoteRequest
from valuation.terms import Buyer, Collector, Refiner, Seller, Spot

MAX_PIECES = 5000
READINGS = ("dry_g", "submerged_g", "displaced_g")
# Of one piece only: nobody asks or claims for a lot piece by piece here.
_NOT_FOR_LOTS = ("asks", "claim")
_STAND_INS: dict[str, Any] = {"quoted_at": "2000-01-01T00:00:00+00:00", "spot": {"gold": 1.0, "silver": 1.0}}


class Piece(Section):
    """One piece of a lot: its readings, and whatever it does not share with the others."""

    title: str = said_field("Title", "What you call this piece.", default="", max_length=200)
    source: str = said_field(
        "Source",
        "Where it comes from, in a word. Pieces of one source share the doubt about rock and metal.",
        default="",
        max_length=200,
    )
    weighing: dict[str, Any] | None = said_field(
        "Weighing", "Its readings, and what differs from the weighing that all share.", default=None
    )
    rock: Rock | None = said_field("Rock", "Its own rock, in place of the lot's.", default=None)
    gold: Gold | None = said_field("Gold", "What differs from the gold that all share.", default=None)
    collector: Collector | None = said_field("Collector", "Its own collector, in place of the lot's.", default=None)


class LotRequest(Section):
    """Many pieces valued together: the usual sections hold for all, `pieces` what each has of its own.

    Notes
    -----
    `weighing` holds what is the same for every weighing and no readings. A piece's own `rock` and `collector` stand in
    place of the lot's; its `weighing` and `gold` replace only what they name. `seller` is who sells the whole lot.
    """

    title: str = said_field("Title", "A short name for this lot.", default="", max_length=200)
    quoted_at: AwareDatetime = said_field("Quoted at", "Time of the quote, with its offset from UTC.")
    weighing: dict[str, Any] | None = said_field("Weighing", "Same for all pieces; no readings.", default=None)
    rock: Rock | None = said_field("Rock", "The rock that the pieces share.", default=None)
    gold: Gold = said_field("Gold", "The metal itself.", default=Gold())
    spot: Spot = said_field("Price", "The price of the metals now.")
    refiner: Refiner | None = said_field("Refiner", "What a refiner pays for the lot.", default=None)
    other_refiners: tuple[Refiner, ...] = said_field(
        "Other refiners", "Ranked beside the first.", default=(), max_length=MAX_REFINERS
    )
    collector: Collector | None = said_field("Collector", "What a collector may pay for each piece.", default=None)
    buyer: Buyer = said_field("Our terms", "What the house needs.", default=Buyer())
    seller: Seller = said_field("Seller", "What the seller could get for the whole lot.", default=Seller())
    pieces: tuple[Piece, ...] = said_field("Pieces", "Every piece.", min_length=1, max_length=MAX_PIECES)
    _requests: tuple[QuoteRequest, ...] = PrivateAttr(default=())

    @property
    def requests(self) -> tuple[QuoteRequest, ...]:
        """Each piece as the request that it would be alone, under the lot's terms."""
        return self._requests

    def named(self, i: int) -> str:
        """Title of piece number i, from 0 on."""
        return self.pieces[i].title or f"Piece {i + 1}"

    @model_validator(mode="wrap")
    @classmethod
    def _every_problem(cls, entered: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        if not isinstance(entered, dict):
            return handler(entered)
        entered = _with_plain_refiner(entered)
        lot: Self | None = None
        found: list[Any] = []
        try:
            lot = handler(entered)
        except ValidationError as refused:
            found = list(refused.errors(include_url=False))
        found += _common_problems(entered)
        requests, own = _read_pieces(entered if lot is None else lot.entries(), stand_ins=lot is None)
        found += own
        told = {(tuple(error["loc"]), error["msg"]): error for error in found}
        if told or lot is None:
            raise ValidationError.from_exception_data(cls.__name__, [_again(error) for error in told.values()])
        lot._requests = tuple(requests)
        return lot

    def entries(self) -> dict[str, Any]:
        """The sections as they were read, by name; those that were left out are left out."""
        return {name: getattr(self, name) for name in type(self).model_fields if name in self.model_fields_set}


def read_lot(entered: Mapping[str, Any]) -> LotRequest:
    """Request for a lot from raw entries.

    Raises
    ------
    RequestRefused
        With every problem at once, each tied to its field; those of a piece under ``pieces`` and its number from 0.
    """
    try:
        return LotRequest.model_validate(dict(entered))
    except ValidationError as refused:
        raise RequestRefused(problems_of(refused, LotRequest)) from None


def _plain(section: Any) -> dict[str, Any]:
    if isinstance(section, BaseModel):
        return {name: getattr(section, name) for name in section.model_fields_set}
    return dict(section) if isinstance(section, dict) else {}


def _with_plain_refiner(entered: dict[str, Any]) -> dict[str, Any]:
    """The entries with a refiner whose terms are all assumed, where no way out was entered."""
    pieces = entered.get("pieces")
    own = isinstance(pieces, list | tuple) and any(_plain(piece).get("collector") is not None for piece in pieces)
    if own or entered.get("refiner") is not None or entered.get("collector") is not None:
        return entered
    return {**entered, "refiner": {}}


def _common_problems(entered: dict[str, Any]) -> list[dict[str, Any]]:
    """What is wrong with what all share, told once and not again with every piece."""
    common, found = entered.get("weighing"), []
    if isinstance(common, dict):
        for name in READINGS:
            if name in common:
                words = "readings belong to a piece: put them under pieces"
                found.append(_problem("readings", ("weighing", name), common[name], words))
        others = {name: value for name, value in common.items() if name not in READINGS}
        wet = "displaced_g" if others.get("method") == "displaced" else "submerged_g"
        trial = {"readability_g": 0.01, "line_extra_depth_mm": 0.0, **others, "dry_g": 2.0, wet: 1.0}
        found += [{**error, "loc": ("weighing", *error["loc"])} for error in _refusal(Weighing, trial)]
    if _plain(entered.get("gold")).get("measured") is not None:
        words = "gold measured elsewhere belongs to a piece: put it under pieces"
        found.append(_problem("exclusive", ("gold", "measured"), None, words))
    seller = _plain(entered.get("seller"))
    for name in _NOT_FOR_LOTS:
        if seller.get(name) is not None:
            words = "belongs to the quote of one piece: leave it out for a lot"
            found.append(_problem("exclusive", ("seller", name), None, words))
    return found


def _refusal(model: type[BaseModel], entries: dict[str, Any]) -> list[dict[str, Any]]:
    try:
        model.model_validate(entries)
    except ValidationError as refused:
        return [dict(error) for error in refused.errors(include_url=False)]
    return []


def _problem(code: str, loc: tuple[str | int, ...], value: Any, message: str) -> dict[str, Any]:
    return {"type": code, "loc": loc, "msg": message, "input": value}


def _again(error: Any) -> InitErrorDetails:
    context = dict(error.get("ctx") or {})
    field = context.pop("field", None)
    loc = error["loc"] if field is None else (*error["loc"], *str(field).split("."))
    kind = PydanticCustomError(error["type"], error["msg"].replace("{", "(").replace("}", ")"), context)
    return InitErrorDetails(type=kind, loc=loc, input=error.get("input"))


def _read_pieces(entered: dict[str, Any], *, stand_ins: bool) -> tuple[list[QuoteRequest], list[dict[str, Any]]]:
    """Every piece as a request of its own, and what is wrong with them.

    With `stand_ins`, terms that were refused already are left aside, so that the pieces can be judged all the same.
    """
    pieces = entered.get("pieces")
    if not isinstance(pieces, list | tuple):
        return [], []
    requests, found = [], []
    for i, piece in enumerate(pieces[:MAX_PIECES]):
        if not isinstance(piece, dict | Piece):
            continue
        mine = _plain(piece)
        try:
            requests.append(QuoteRequest.model_validate(_merged(entered, mine, stand_ins=stand_ins)))
        except ValidationError as refused:
            for error in refused.errors(include_url=False):
                problem: dict[str, Any] = dict(error)
                problem["loc"] = _place(i, _full_loc(problem), mine, entered)
                context = {k: v for k, v in (problem.get("ctx") or {}).items() if k != "field"}
                found.append({**problem, "ctx": context})
    return requests, found


def _full_loc(error: dict[str, Any]) -> tuple[str | int, ...]:
    field = (error.get("ctx") or {}).get("field")
    return tuple(error["loc"]) if field is None else (*error["loc"], *str(field).split("."))


def _merged(entered: dict[str, Any], mine: dict[str, Any], *, stand_ins: bool) -> dict[str, Any]:
    """The entries of one piece as a request of its own."""
    terms = {
        name: value
        for name, value in entered.items()
        if name in QuoteRequest.model_fields and name not in ("weighing", "title", "rock", "gold", "collector")
    }
    if stand_ins:
        terms = dict(_STAND_INS)
    elif (buyer := _buyer(entered, mine)) is not None:
        terms["buyer"] = buyer
    gold = {**_plain(entered.get("gold")), **_plain(mine.get("gold"))}
    merged = {**terms, "title": mine.get("title") or "", "gold": gold}
    merged["collector"] = mine.get("collector") or (None if stand_ins else entered.get("collector"))
    if gold.get("measured") is None or mine.get("weighing") is not None or mine.get("rock") is not None:
        common, own = entered.get("weighing"), mine.get("weighing")
        if isinstance(own, dict | None):
            merged["weighing"] = {**(common if isinstance(common, dict) else {}), **(own or {})}
        else:
            merged["weighing"] = own
        merged["rock"] = mine.get("rock") or entered.get("rock")
    return {name: value for name, value in merged.items() if value is not None}


def _buyer(entered: dict[str, Any], mine: dict[str, Any]) -> Buyer | None:
    """The house's terms without a way out that this piece does not have, if another is left."""
    buyer = entered.get("buyer")
    if not isinstance(buyer, Buyer) or buyer.routes is None:
        return None
    has = {
        "refine": entered.get("refiner") is not None,
        "intact": (mine.get("collector") or entered.get("collector")) is not None,
    }
    left = tuple(route for route in buyer.routes if has[route])
    return buyer.model_copy(update={"routes": left}) if left else None


def _place(i: int, loc: tuple[str | int, ...], mine: dict[str, Any], entered: dict[str, Any]) -> tuple[str | int, ...]:
    """Where a problem of piece i is mended: in the piece, or in what all share."""
    section = str(loc[0]) if loc else ""
    if section == "weighing" and len(loc) > 1:
        own = loc[1] in READINGS or loc[1] in _plain(mine.get("weighing"))
        return ("pieces", i, *loc) if own else loc
    if section == "gold" and len(loc) > 1:
        return ("pieces", i, *loc) if loc[1] in (*_plain(mine.get("gold")), "measured") else loc
    if section in ("title", "weighing") or mine.get(section) is not None:
        return ("pieces", i, *loc)
    return loc
