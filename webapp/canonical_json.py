"""JSON in the one form that a digest can stand for: RFC 8785, JSON Canonicalization Scheme."""

from __future__ import annotations

import json
import math
from hashlib import sha256
from typing import Any

LARGEST_WHOLE = 2**53 - 1  # beyond it, readers of JSON may take a neighbour (RFC 8785, appendix D)


def canonical(value: Any) -> bytes:
    """The value in the canonical form.

    Raises
    ------
    ValueError
        It holds what JSON cannot tell the same to all: infinity, a whole number beyond 2**53, half a character.
    """
    return _written(value).encode("utf-8")


def digest(canonical_bytes: bytes) -> str:
    """SHA-256 (FIPS 180-4) in hexadecimal."""
    return sha256(canonical_bytes).hexdigest()


def short(full: str) -> str:
    """The first 16 hexadecimal digits, in groups of 4, for people to compare."""
    return " ".join(full[i : i + 4] for i in range(0, len(full[:16]), 4))


def read_once(text: str) -> Any:
    """The value of a JSON text in which no name stands twice in one object.

    Raises
    ------
    ValueError
        It is no such JSON.
    """
    try:
        return json.loads(text, object_pairs_hook=_once_each, parse_constant=_refused)
    except RecursionError:
        raise ValueError("it is nested too deeply") from None


def _written(value: Any) -> str:
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, str):
        return json.dumps(value, ensure_ascii=False)
    if isinstance(value, int):
        if abs(value) > LARGEST_WHOLE:
            raise ValueError(f"{value} is too large a whole number")
        return str(value)
    if isinstance(value, float):
        return _number(value)
    if isinstance(value, list | tuple):
        return f"[{','.join(_written(item) for item in value)}]"
    if isinstance(value, dict):
        named = sorted(value.items(), key=lambda item: item[0].encode("utf-16-be"))
        return f"{{{','.join(f'{_written(name)}:{_written(item)}' for name, item in named)}}}"
    raise TypeError(f"{type(value).__name__} is no JSON")


def _number(x: float) -> str:
    """As ECMAScript writes it: ECMA-262, Number::toString (RFC 8785, 3.2.2.3)."""
    if not math.isfinite(x):
        raise ValueError(f"{x} is no number of JSON")
    if x == 0:
        return "0"
    mantissa, _, exponent = f"{abs(x)!r}".partition("e")
    whole, _, part = mantissa.partition(".")
    digits = (whole + part).lstrip("0")
    # The value is 0.d1d2d3... times 10 to the power of `place`.
    place = len(whole.lstrip("0")) + int(exponent or 0)
    if not whole.strip("0"):
        place -= len(part) - len(part.lstrip("0"))
    digits = digits.rstrip("0")
    return ("-" if x < 0 else "") + _placed(digits, place)


def _placed(digits: str, place: int) -> str:
    if len(digits) <= place <= 21:
        return digits + "0" * (place - len(digits))
    if 0 < place <= 21:
        return f"{digits[:place]}.{digits[place:]}"
    if -6 < place <= 0:
        return f"0.{'0' * -place}{digits}"
    power = place - 1
    head = digits[0] + (f".{digits[1:]}" if len(digits) > 1 else "")
    return f"{head}e{'+' if power > 0 else '-'}{abs(power)}"


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        raise ValueError("a name is given twice")
    return found


def _refused(name: str) -> Any:
    raise ValueError(f"{name} is no number of JSON")
