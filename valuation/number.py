"""Numbers as people type them."""

from __future__ import annotations

import math
import re
from decimal import Decimal
from typing import Annotated

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

_PLAIN = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)", re.ASCII)
_AMBIGUOUS = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}", re.ASCII)
# Space, no-break, thin or narrow no-break space, apostrophe: the same one before every third digit.
_GROUPED = re.compile("[+-]?\\d{1,3}(?:([ \u00a0\u2009\u202f\u2019'])\\d{3})(?:\\1\\d{3})*(?:[.,]\\d*)?", re.ASCII)
# Both marks, or one mark twice, leave no doubt which of them groups: 3,100.50 and 3.100,50 and 1,234,567.
_BOTH_MARKS = re.compile(r"[+-]?\d{1,3}(?:(?:,\d{3})+\.\d*|(?:\.\d{3})+,\d*|(?:,\d{3}){2,}|(?:\.\d{3}){2,})", re.ASCII)
_LONGEST = 40
_LARGEST = 1e12
# Rounding left over by another program; products of smaller numbers would underflow.
_SMALLEST = 1e-12


def read_number(entered: object) -> object:
    """Float from a typed text or a number; anything else is refused with a reason.

    Parameters
    ----------
    entered : object
        A number, or text with one decimal mark (point or comma); spaces and apostrophes group digits, and so does
        the other mark where it stands before every third digit.

    Returns
    -------
    object
        A finite float, 0 if under 1e-12 in size; `None` and containers pass through for the schema to judge.

    Raises
    ------
    PydanticCustomError
        Text that is no number, ``1,234`` (thousands or decimals?), not finite, above 1e12 in size.
    """
    if isinstance(entered, bool):
        raise PydanticCustomError("number", "a number is needed here, not yes or no")
    if isinstance(entered, int | float | Decimal):
        number = _as_float(entered)
    elif isinstance(entered, str):
        number = _read_text(entered)
    else:
        return entered
    if not math.isfinite(number) or abs(number) > _LARGEST:
        raise PydanticCustomError("number", "a number no larger than 1 000 000 000 000 is needed")
    return number if abs(number) >= _SMALLEST else 0.0


def _as_float(entered: int | float | Decimal) -> float:
    try:
        return float(entered)
    except OverflowError:  # an integer of hundreds of digits
        return math.inf


def _read_text(entered: str) -> float:
    text = entered.strip().replace("−", "-")
    if not text:
        raise PydanticCustomError("number", "a number is needed here")
    if len(text) > _LONGEST:
        raise PydanticCustomError("number", "that is too long for a number")
    if _AMBIGUOUS.fullmatch(text):
        raise PydanticCustomError(
            "number",
            "thousands or decimals? Write {whole} or {point}",
            {"whole": text.replace(",", ""), "point": text.replace(",", ".")},
        )
    grouped = _GROUPED.fullmatch(text)
    if grouped:
        text = text.replace(grouped[1], "")
    if _BOTH_MARKS.fullmatch(text):
        text = _ungrouped(text)
    if not _PLAIN.fullmatch(text):
        raise PydanticCustomError("number", "that is not a number; write it like 412.60")
    return float(text.replace(",", "."))


def _ungrouped(text: str) -> str:
    last = max(text.rfind(","), text.rfind("."))
    decimals = "" if text.count(text[last]) > 1 else text[last + 1 :]
    whole = text if text.count(text[last]) > 1 else text[:last]
    return whole.replace(",", "").replace(".", "") + "." + decimals


def blank_is_none(entered: object) -> object:
    """`None` for text of spaces only, so that an empty form field means "not stated"."""
    return None if isinstance(entered, str) and not entered.strip() else entered


Number = Annotated[float, BeforeValidator(read_number), Field(allow_inf_nan=False)]
