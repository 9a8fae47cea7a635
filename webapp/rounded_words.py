"""Roundings of a printed line of arithmetic in plain words."""

from __future__ import annotations

import re

_CALL = re.compile(r"(?<![a-z])(roundup|rounddown|round)\(")
_HOW = {"round": "rounded", "roundup": "rounded up", "rounddown": "rounded down"}


def rounded_words(expression: str) -> str:
    """The expression with ``roundup(x; 10)`` as “x, rounded up to whole steps of 10”, and its like."""
    found = _CALL.search(expression)
    if found is None:
        return expression
    end = _closing(expression, found.end())
    inner, _, unit = expression[found.end() : end].rpartition("; ")
    before, after = expression[: found.start()], rounded_words(expression[end + 1 :])
    told = f"{rounded_words(inner)}, {_HOW[found[1]]} to whole steps of {unit}"
    return told if not before and not after else f"{before}({told}){after}"


def _closing(expression: str, start: int) -> int:
    """Where the bracket closes that was opened before `start`."""
    depth = 1
    for place in range(start, len(expression)):
        depth += {"(": 1, ")": -1}.get(expression[place], 0)
        if not depth:
            return place
    raise ValueError(expression)
