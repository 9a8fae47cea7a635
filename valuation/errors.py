"""What can go wrong with a request, and what is merely doubtful."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from pydantic import BaseModel, ConfigDict


class Caution(BaseModel):
    """Something doubtful that does not stop the computation; it travels with the quote.

    Parameters
    ----------
    code : str
        Stable identifier such as ``pores_filling``.
    field : str
        Dotted path of the input it concerns, or of the figure.
    message : str
        A sentence for the person at the counter: what is doubtful and what to do.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    code: str
    field: str
    message: str


class Problem(BaseModel):
    """One reason to refuse a request, tied to the field that a person can mend.

    Parameters
    ----------
    code : str
        Stable identifier.
    field : str
        Dotted path, for example ``weighing.submerged_g.1``.
    value : str
        What was entered, as text, cut to 40 characters; empty if nothing was.
    message : str
        What is wrong and what to do.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    code: str
    field: str
    value: str
    message: str


def shown(value: object, limit: int = 40) -> str:
    """Text of an entered value, short enough for a message; numbers without exponent or idle digits."""
    if isinstance(value, float) and abs(value) < 1e15:
        text = np.format_float_positional(value, trim="-")
    else:
        text = "" if value is None else str(value)
    return text if len(text) <= limit else text[: limit - 1] + "…"


class ValuationError(ValueError):
    """The request is well formed but impossible or unanswerable.

    Parameters
    ----------
    code, field, value, message
        As in `Problem`.
    """

    def __init__(self, code: str, field: str, value: object, message: str) -> None:
        super().__init__(f"{field}: {message}")
        self.problem = Problem(code=code, field=field, value=shown(value), message=message)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """The single problem, in the shape that `RequestRefused` has."""
        return (self.problem,)


class RequestRefused(ValueError):  # noqa: N818 - told as an event, as UnknownMaterial is
    """The request could not be read; carries every problem at once."""

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("; ".join(f"{p.field}: {p.message}" for p in problems))
        self.problems: tuple[Problem, ...] = tuple(problems)
