"""What the refiner settled, as typed -> figures to be kept with the sheet."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from pydantic_core import PydanticCustomError

from valuation.money import currency_digits, exact
from valuation.number import read_number

SETTLED_FIELDS = ("fine_gold_g", "paid", "days")
_BOUNDS = {"fine_gold_g": (0.0, 1e6), "paid": (0.0, 1e10), "days": (0.0, 3660.0)}
_NEEDED = {
    "fine_gold_g": "Say how much fine gold the refiner found, in grams.",
    "paid": "Say what the refiner paid.",
    "days": "Say after how many days it was paid.",
}


def settled(entries: Mapping[str, str], currency: str) -> tuple[dict[str, Any] | None, dict[str, str]]:
    """The figures, or what is wrong beside each field.

    The figures are fine gold recovered [g], days from sending to payment, and what was paid as a decimal text in the
    sheet's currency.
    """
    figures: dict[str, float] = {}
    problems: dict[str, str] = {}
    for name in SETTLED_FIELDS:
        typed, (low, high) = entries.get(name, "").strip(), _BOUNDS[name]
        try:
            number = read_number(typed) if typed else None
        except PydanticCustomError as error:
            problems[name] = f"“{typed[:40]}”: {error.message()}."
            continue
        if not isinstance(number, float):
            problems[name] = _NEEDED[name]
        elif not low <= number <= high:
            problems[name] = f"“{typed[:40]}”: a figure from {low:g} to {high:,.0f} is needed."
        else:
            figures[name] = number
    if problems:
        return None, problems
    coins = exact(figures["paid"]).quantize(Decimal(1).scaleb(-currency_digits(currency)), ROUND_HALF_EVEN)
    told = {"fine_gold_g": figures["fine_gold_g"], "days": figures["days"], "paid": f"{coins:f}", "currency": currency}
    return told, {}
