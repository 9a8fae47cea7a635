"""A fault of the program as it is logged: where it arose, without what anybody typed.

The message of an exception may quote what it was given: a figure, a title, a seller's reference.
"""

from __future__ import annotations

import os
import traceback
from collections.abc import Iterator

TRACE = "LODEWORTH_TRACE"


def told(error: BaseException) -> str:
    """Kind and place of a fault and of those that led to it; with `TRACE` set in the environment, all that is known."""
    if os.environ.get(TRACE):
        return "".join(traceback.format_exception(error)).rstrip()
    parts = [f"{''.join(traceback.format_tb(one.__traceback__))}{_kind(one)}" for one in _chain(error)]
    return "\n\nthen, while that was dealt with:\n".join(reversed(parts))


def _chain(error: BaseException) -> Iterator[BaseException]:
    seen: set[int] = set()
    one: BaseException | None = error
    while one is not None and id(one) not in seen:
        seen.add(id(one))
        yield one
        one = one.__cause__ or (None if one.__suppress_context__ else one.__context__)


def _kind(error: BaseException) -> str:
    kind = type(error)
    name = kind.__qualname__ if kind.__module__ == "builtins" else f"{kind.__module__}.{kind.__qualname__}"
    return f"{name} (set {TRACE}=1 to have its message logged; it may hold private figures)"
