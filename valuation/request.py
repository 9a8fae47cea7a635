"""A request: all that is known about one specimen and the terms of the day."""

from __future__ import annotations

from typing import Any, Self

from pydantic import AwareDatetime, BaseModel, ModelWrapValidatorHandler, ValidationError, model_validator
from pydantic_core import InitErrorDetails, PydanticCustomError

from valuation.field import Section, said
from valuation.observations import Gold, Rock, Specimen, Weighing
from valuation.terms import Buyer, Collector, Refiner, Seller, Spot


class QuoteRequest(Section):
    """One schema for scenario files, the command line, the web form, the JSON interface and stored sheets.

    Notes
    -----
    Masses in g, densities in g/cm³, temperatures in °C, money in ``spot.currency``, shares as fractions 0 to 1.
    Every problem of every section is reported at once.
    """

    title: str = said("Title", "A short name for this quote.", default="", max_length=200)
    quoted_at: AwareDatetime = said("Quoted at", "Time of the quote, with its offset from UTC.")
    specimen: Specimen = said("Specimen", "The piece in words.", default=Specimen())
    weighing: Weighing | None = said("Weighing", "Dry and under water.", default=None)
    rock: Rock | None = said("Rock", "The rock that holds the gold.", default=None)
    gold: Gold = said("Gold", "The metal itself.", default=Gold())
    spot: Spot = said("Price", "The price of the metals now.")
    refiner: Refiner | None = said("Refiner", "What a refiner pays.", default=None)
    collector: Collector | None = said("Collector", "What a collector may pay.", default=None)
    buyer: Buyer = said("Our terms", "What the house needs.", default=Buyer())
    seller: Seller = said("Seller", "What is known of the seller's side.", default=Seller())

    @model_validator(mode="wrap")
    @classmethod
    def _every_problem(cls, entered: Any, handler: ModelWrapValidatorHandler[Self]) -> Self:
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
    def routes(self) -> tuple[str, ...]:
        """The ways out that are open: those the buyer names, else every one whose terms are entered."""
        if self.buyer.routes is not None:
            return self.buyer.routes
        entered = {"refine": self.refiner, "intact": self.collector}
        return tuple(route for route, terms in entered.items() if terms is not None)


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
        return float(str(value).replace(",", ".")) > 0
    except ValueError:
        return False


def _clashes(entered: dict[str, Any]) -> list[InitErrorDetails]:
    """Problems between sections, found on the raw entries so that they are told together with the others."""
    measured = _inner(entered, "gold").get("measured")
    weighed = entered.get("weighing") is not None or entered.get("rock") is not None
    refiner, spot = _inner(entered, "refiner"), _inner(entered, "spot")
    found = []
    if measured is not None and weighed:
        found.append(
            _clash(
                "exclusive",
                ("gold", "measured"),
                None,
                "gold measured elsewhere replaces the weighing and the rock: leave out one or the other",
            )
        )
    if measured is None:
        for section, words in (
            ("weighing", "dry and submerged readings"),
            ("rock", "the rock's kind or density"),
        ):
            if entered.get(section) is None:
                found.append(_clash("missing", (section,), None, f"needed: {words} (or gold.measured)"))
    routes = _inner(entered, "buyer").get("routes")
    for route, section in (("refine", "refiner"), ("intact", "collector")):
        if isinstance(routes, list | tuple) and route in routes and entered.get(section) is None:
            found.append(_clash("missing", (section,), None, f"the way out “{route}” needs the terms of a {section}"))
    if entered.get("refiner") is None and entered.get("collector") is None and not routes:
        found.append(_clash("missing", ("refiner",), None, "needed: a refiner's terms, or a collector's"))
    sections = [("refiner", refiner)]
    own = _inner(_inner(entered, "seller"), "refiner")
    sections += [("seller", own)] if own else []
    for section, terms in sections:
        if _positive(terms.get("silver_payable_frac")) and spot.get("silver") in (None, ""):
            found.append(
                _clash("missing", ("spot", "silver"), None, "the refiner pays for silver: enter the silver price")
            )
        mass = measured.get("mass_g") if isinstance(measured, dict) else getattr(measured, "mass_g", None)
        if measured is not None and _positive(terms.get("treatment_per_kg")) and mass in (None, ""):
            found.append(
                _clash(
                    "missing",
                    ("gold", "measured", "mass_g"),
                    None,
                    f"the {section}'s refining is charged by the kilogram: enter the mass of the piece",
                )
            )
    return found
