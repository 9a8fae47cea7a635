"""What became of a piece that was bought: the refiner's settlement, or its sale."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, TypeAdapter

from valuation.field import Section, said
from valuation.mass import MassUnit
from valuation.money import exact
from valuation.number import Number, read_number
from valuation.observations import OptionalNumber
from valuation.terms import Currency


def _as_decimal(entered: object) -> object:
    read = read_number(entered)
    return exact(read) if isinstance(read, float) else read


Amount = Annotated[Decimal, BeforeValidator(_as_decimal), Field(allow_inf_nan=False)]
_NOTE = said("Note", "Kept with it for good.", default="")


class Refined(Section):
    """What the refiner found and paid."""

    kind: Literal["refined"] = "refined"
    fine_gold_g: Number = said("Fine gold recovered", "As the refiner settled it.", unit="g", ge=0, le=1e6)
    u_fine_gold_g: OptionalNumber = said(
        "Give or take", "Standard uncertainty of that figure, if it is known.", unit="g", default=None, ge=0, le=1e5
    )
    paid: Amount = said(
        "Paid by the refiner", "After every charge; below 0 if the charges took more.", unit="money", ge=-1e10, le=1e10
    )
    currency: Currency = said("Currency", "ISO 4217 code of the amounts.")
    days: Number = said("Days until paid", "From the deal to the payment.", unit="days", ge=0, le=3660)
    note: str = _NOTE


class Sold(Section):
    """What a buyer paid for the piece as it is."""

    kind: Literal["sold"] = "sold"
    price: Amount = said("Sold for", "What the buyer paid.", unit="money", gt=0, le=1e10)
    costs: Amount = said(
        "Costs of the sale", "Commission, photographs, freight.", unit="money", default=Decimal(0), ge=0
    )
    gold_price: Number = said("Gold price on that day", "In the sheet's currency.", unit="money", gt=0, le=1e10)
    unit: MassUnit = said("Per", "Mass unit of that price.", default="ozt")
    currency: Currency = said("Currency", "ISO 4217 code of the amounts.")
    days: Number = said("Days until sold", "From the deal to the payment.", unit="days", ge=0, le=3660)
    note: str = _NOTE


Outcome = Refined | Sold
_OUTCOME: TypeAdapter[Outcome] = TypeAdapter(Annotated[Outcome, Field(discriminator="kind")])


def read_outcome(told: Any) -> Outcome:
    """The outcome of its entries; without a `kind` they are a refiner's.

    Raises
    ------
    pydantic.ValidationError
        With every problem at once.
    """
    if isinstance(told, dict):
        told = {"kind": "refined", **told}
    return _OUTCOME.validate_python(told)
