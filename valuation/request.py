"""A request: all that is known about one specimen and the terms of the day."""

from __future__ import annotations

from typing import Any, Self

from pydantic import AwareDatetime, BaseModel, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import InitErrorDetails, PydanticCustomError

from valuation.evidence_tests import MAX_TESTS, EvidenceTest
from valuation.field import Section
from valuation.field import said as said_field
from valuation.number import blank_is_none, read_number
from valuation.observations import Gold, Rock, Specimen, Weighing
from valuation.terms import Buyer, Collector, Refiner, Said, Seller, Spot

MAX_REFINERS = 10
MAX_SAID = 200


class QuoteRequest(Section):
    """One schema for scenario files, the command line, the web form, the JSON interface and stored sheets.

    Notes
    -----
    Masses in g, densities in g/cm³, temperatures in °C, money in ``spot.currency``, shares as fractions 0 to 1.
    Every problem of every section is reported at once.
    """

    title: str = said_field(
        "Title", "A short name. The seller sees it: it heads the paper.", default="", max_length=200
    )
    quoted_at: AwareDatetime = said_field("Quoted at", "Time of the quote, with its offset from UTC.")
    specimen: Specimen = said_field("Specimen", "The piece in words.", default=Specimen())
    weighing: Weighing | None = said_field("Weighing", "Dry and under water.", default=None)
    rock: Rock | None = said_field("Rock", "The rock that holds the gold.", default=None)
    gold: Gold = said_field("Gold", "The metal itself.", default=Gold())
    spot: Spot = said_field("Price", "The price of the metals now.")
    refiner: Refiner | None = said_field("Refiner", "What a refiner pays.", default=None)
    other_refiners: tuple[Refiner, ...] = said_field(
        "Other refiners", "Ranked beside the first on the same draws.", default=(), max_length=MAX_REFINERS
    )
    collector: Collector | None = said_field("Collector", "What a collector may pay.", default=None)
    buyer: Buyer = said_field("Our terms", "What the house needs.", default=Buyer())
    seller: Seller = said_field("Seller", "What is known of the seller's side.", default=Seller())
    said: tuple[Said, ...] = said_field(
        "Figures said", "What both sides have named so far, in order.", default=(), max_length=MAX_SAID
    )
    tests: tuple[EvidenceTest, ...] = said_field(
        "Tests", "That could still be made; what each is worth is told on request.", default=(), max_length=MAX_TESTS
    )

    @model_validator(mode="wrap")
    @classmethod
    def _every_problem(cls, entered: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
        if isinstance(entered, dict):
            entered = _with_plain_refiner(entered)
        clashes = _clashes(entered) if isinstance(entered, dict) else []
        try:
            request = handler(entered)
        except ValidationError as refused:
            if not clashes:
                raise
            raise ValidationError.from_exception_data(
                cls.__name__, [*map(_again, refused.errors(include_url=False)), *clashes]
            ) from None
        if clashes:
            raise ValidationError.from_exception_data(cls.__name__, clashes)
        return request

    @property
    def by_claim(self) -> bool:
        """Whether a bare claim is all that is known of the gold."""
        return self.weighing is None and self.gold.measured is None

    @property
    def routes(self) -> tuple[str, ...]:
        """The ways out that are open: those the buyer names, else every one whose terms are entered."""
        if self.buyer.routes is not None:
            return self.buyer.routes
        entered = {"refine": self.refiner, "intact": self.collector}
        return tuple(route for route, terms in entered.items() if terms is not None)


def _with_plain_refiner(entered: dict[str, Any]) -> dict[str, Any]:
    """The entries with a refiner whose terms are all assumed, where no way out was entered."""
    if entered.get("refiner") is not None or entered.get("collector") is not None:
        return entered
    return {**entered, "refiner": {}}


def _again(error: Any) -> InitErrorDetails:
    context = dict(error.get("ctx") or {})
    kind = PydanticCustomError(error["type"], error["msg"].replace("{", "(").replace("}", ")"), context)
    return InitErrorDetails(type=kind, loc=error["loc"], input=error["input"])


def _clash(code: str, loc: tuple[str, ...], value: Any, message: str) -> InitErrorDetails:
    return InitErrorDetails(type=PydanticCustomError(code, message), loc=loc, input=value)


def _inner(entered: dict[str, Any], section: str) -> dict[str, Any]:
    inner = entered.get(section)
    if isinstance(inner, BaseModel):
        inner = inner.model_dump(exclude_unset=True)
    return inner if isinstance(inner, dict) else {}


def _positive(value: Any) -> bool:
    try:
        number = read_number(value)
    except ValueError:  # told beside its own field
        return False
    return isinstance(number, float) and number > 0


def _blank(value: Any) -> bool:
    return blank_is_none(value) is None


def _clashes(entered: dict[str, Any]) -> list[InitErrorDetails]:
    """Problems between sections, found on the raw entries so that they are told together with the others."""
    measured = _inner(entered, "gold").get("measured")
    claimed = _inner(entered, "seller").get("claim")
    weighed = entered.get("weighing") is not None or entered.get("rock") is not None
    found = []
    if measured is not None and weighed:
        words = "gold measured elsewhere replaces the weighing and the rock: leave out one or the other"
        found.append(_clash("exclusive", ("gold", "measured"), None, words))
    if measured is None and (weighed or claimed is None):
        for section, words in (("weighing", "dry and submerged readings"), ("rock", "the rock's kind or density")):
            if entered.get(section) is None:
                found.append(_clash("missing", (section,), None, f"needed: {words}"))
    routes = _inner(entered, "buyer").get("routes")
    for route, section in (("refine", "refiner"), ("intact", "collector")):
        if isinstance(routes, list | tuple) and route in routes and entered.get(section) is None:
            found.append(_clash("missing", (section,), None, f"the way out “{route}” needs the terms of a {section}"))
    return found + _chip_readings(entered) + _unpriced(entered, measured) + _unexchanged(entered)


def _chip_readings(entered: dict[str, Any]) -> list[InitErrorDetails]:
    """A chip that was read by another method than the specimen and does not say so."""
    chip = _inner(_inner(entered, "rock"), "chip")
    method = _inner(entered, "weighing").get("method", "suspended")
    names = {"suspended": "submerged_g", "displaced": "displaced_g"}
    if not chip or not _blank(chip.get("method")) or not isinstance(method, str) or method not in names:
        return []
    needed = names.pop(method)
    (other,) = names.values()
    if _blank(chip.get(other)) or not _blank(chip.get(needed)):
        return []
    words = f"the specimen's method is {method}, which needs {needed}: enter that, or state the chip's own method"
    return [_clash("readings", ("rock", "chip", other), None, words)]


def _unpriced(entered: dict[str, Any], measured: Any) -> list[InitErrorDetails]:
    """Refiners' terms that need a silver price or a mass that was not entered."""
    others = entered.get("other_refiners")
    charged = [_inner(entered, "refiner"), _inner(_inner(entered, "seller"), "refiner")]
    if isinstance(others, list | tuple):
        charged += [_inner({"it": other}, "it") for other in others]
    silver = _inner(entered, "spot").get("silver")
    mass = _inner({"it": measured}, "it").get("mass_g")
    found = []
    if _blank(silver) and any(_positive(t.get("silver_payable_frac")) for t in charged):
        words = "a refiner pays for silver: enter the silver price"
        found.append(_clash("missing", ("spot", "silver"), None, words))
    if measured is not None and _blank(mass) and any(_positive(t.get("treatment_per_kg")) for t in charged):
        words = "a refiner charges by the kilogram: enter the mass of the piece"
        found.append(_clash("missing", ("gold", "measured", "mass_g"), None, words))
    return found


def _unexchanged(entered: dict[str, Any]) -> list[InitErrorDetails]:
    """An asking price in another currency than the quote's, without a rate."""
    asks = _inner(_inner(entered, "seller"), "asks")
    own, ours = asks.get("currency"), _inner(entered, "spot").get("currency", Spot.model_fields["currency"].default)
    if own is None or own == ours or not _blank(asks.get("exchange_rate")):
        return []
    words = f"the ask is in another currency than the quote's {ours}: enter how many {ours} one unit of it costs"
    return [_clash("missing", ("seller", "asks", "exchange_rate"), None, words)]
