"""What the fuzzing sends: good requests, forms, files and addresses, and ways to spoil each."""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Iterator
from typing import Any

from scenarios import all_scenarios

FIGURES = (
    *("0", "-0", "0.0", "1", "-1", "1e-400", "5e-324", "1e308", "1e309", "9" * 40, "-" + "9" * 400),
    *(
        "0." + "0" * 300 + "1",
        "NaN",
        "nan",
        "Infinity",
        "-inf",
        "1,234",
        "1.234,5",
        "1 000",
        "1'000",
        "+-5",
        "--5",
        "5-",
    ),
    *(
        "0x10",
        "1_000",
        "٣",
        "１２",
        "½",
        "²",
        "1e5",
        "12.5.1",
        ".",
        ",",
        "-",
        "1/0",
        "400",
        "19.3",
        "2.65",
        "4100",
        "0.05",
    ),
)
TEXTS = (
    *("", " ", "\t", "\n", "\r\n", "\0", "\x1b[31m", "\ufeff", "\u202e", "\u2028", "\U0001f600", "é", "e\u0301", "ﬃ"),
    *("مرحبا", '"><img src=x onerror=alert(1)>', "<script>alert(1)</script>", "{{7*7}}", "{% raw %}", "${7*7}", "%s%n"),
    *("%00", "' OR 1=1 --", '"; DROP TABLE drafts; --', "../../../etc/passwd", "..\\..\\x", "/dev/null", "\\", "'''"),
    *("file:///etc/passwd", "=1+1", "+1+1", "-1+1", "@SUM(A1)", "\t=1+1", "#set page(width: 1cm)", '#read("x")', "$x$"),
    *("a" * 5000, "2026-03-14", "2026-03-14T10:24:00-07:00", "0001-01-01T00:00:00+23:59", "24 hours", "2026-02-30"),
    *("9999-12-31T23:59:59-23:59", "99999-01-01", "1 day", "-5 minutes", "USD", "XXX", "usd", "€", "true", "false"),
    *("yes", "on", "null", "suspended", "displaced", "tap", "g", "kg", "ozt", "tola", "native", "fine", "unknown"),
    *("vein-quartz", "pyrite", "http://127.0.0.1/", "https://127.0.0.1:9/gold", "javascript:alert(1)", "json", "csv"),
    "a\r\nSet-Cookie: x=1",
)
WORDS = FIGURES + TEXTS
# A page shows again what was typed into these, so that no figure there could be told from it.
SAID = frozenset(
    [
        *("name", "title", "description", "seller_reference", "note", "reason", "reference", "source", "safety"),
        *("mass", "price", "mass_g", "dry_g"),  # of these a quote without a title makes one
    ]
)
NO_NUMBERS = frozenset({"NaN", "nan", "Infinity", "-inf"})
NUMBERS = (
    0,
    -0.0,
    1,
    -1,
    5e-324,
    1e-300,
    1e-12,
    1e12,
    1e308,
    -1e308,
    10**30,
    10**400,
    2**63,
    0.5,
    1.5,
    19.3,
    2.65,
    1e-7,
)


def scenario_entries() -> list[dict[str, Any]]:
    """The demos as JSON."""
    return [json.loads(one.request().model_dump_json(exclude_unset=True)) for one in all_scenarios()]


def places(entry: Any, way: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Ways to every place inside."""
    if way:
        yield way
    inside = entry.items() if isinstance(entry, dict) else enumerate(entry) if isinstance(entry, list) else ()
    for key, value in inside:
        yield from places(value, (*way, key))


def any_value(chance: random.Random, depth: int = 3) -> Any:
    """Anything that JSON can hold, odd numbers and texts first."""
    kind = chance.randrange(9 if depth else 7)
    if kind < 3:
        return chance.choice(NUMBERS)
    if kind < 5:
        return chance.choice(WORDS)
    if kind == 5:
        return chance.choice((None, True, False, [], {}))
    if kind == 6:
        return chance.uniform(-10, 10) * 10.0 ** chance.randint(-15, 15)
    if kind == 7:
        return [any_value(chance, depth - 1) for _ in range(chance.choice((1, 2, 3, 30)))]
    names = ("low", "likely", "high", "value", "sd", "coverage_frac", "name", "kind", "unknown", "")
    return {chance.choice(names): any_value(chance, depth - 1) for _ in range(chance.randint(1, 4))}


def near(chance: random.Random, value: Any) -> Any:
    """A value a little or a lot beside this one."""
    if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e250:
        return any_value(chance)
    ways: tuple[Callable[[], Any], ...] = (
        lambda: -value,
        lambda: value * 10.0 ** chance.randint(-9, 9),
        lambda: value * (1 + chance.choice((1e-15, -1e-15, 1e-6, 0.1, -0.1))),
        lambda: {"low": value, "high": value * (1 + chance.choice((0.0, 1e-15, 1e-9, 1.0)))},
        lambda: {"low": value * 0.5, "likely": value, "high": value, "coverage_frac": 0.95},
        lambda: {"value": value, "sd": abs(value) * 10.0 ** chance.randint(-15, 3)},
        lambda: str(value),
    )
    return chance.choice(ways)()


def spoilt(chance: random.Random, entries: Any, other: Any) -> Any:
    """The entries with a few places changed, taken out, doubled, put elsewhere, or taken from other entries."""
    made = json.loads(json.dumps(entries))
    for _ in range(chance.choice((0, 1, 1, 1, 2, 2, 3, 6))):
        ways = list(places(made))
        if not ways:
            break
        *way, last = chance.choice(ways)
        place = made
        for key in way:
            place = place[key]
        kind = chance.randrange(8)
        if kind < 3:
            place[last] = near(chance, place[last])
        elif kind == 3:
            place[last] = any_value(chance)
        elif kind == 4:
            del place[last]
        elif kind == 5 and isinstance(place, list):
            place.extend([place[last]] * chance.choice((1, 20, 600)))
        elif kind == 5:
            place[f"{last}{chance.choice(('', ' ', 's', '_g', '.', chr(0)))}"] = place[last]
        else:
            theirs = [way for way in places(other) if len(way) <= 2]
            found = json.loads(json.dumps(other))
            for key in (taken := chance.choice(theirs)):
                found = found[key]
            if isinstance(place, dict):
                place[taken[-1] if kind == 6 else last] = found
            else:
                place[last] = found
    return made


def spoilt_bytes(chance: random.Random, data: bytes) -> bytes:
    """Bytes with some of them changed, cut out, doubled or put in."""
    made = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 4, 16))):
        at = chance.randrange(len(made) + 1)
        kind = chance.randrange(6)
        if kind == 0:
            del made[at : at + chance.choice((1, 4, 100, 10_000))]
        elif kind == 1:
            made[at:at] = made[max(0, at - chance.choice((1, 10, 300))) : at]
        elif kind == 2:
            made[at:at] = chance.choice((b"\0", b"\xff\xfe", b"\xed\xa0\x80", b"[" * 3000, b"{" * 50, b'"', b"\r\n"))
        elif kind == 3:
            made[at:at] = str(chance.choice(WORDS)).encode("utf-8", "surrogatepass")
        elif kind == 4:
            made[at : at + 1] = bytes([chance.randrange(256)])
        else:
            del made[at:]
    return bytes(made)


def as_toml(entries: dict[str, Any]) -> str:
    """The entries as inline TOML, whatever they are."""

    def told(value: Any) -> str:
        if isinstance(value, dict):
            return "{" + ", ".join(f"{json.dumps(str(key))} = {told(inner)}" for key, inner in value.items()) + "}"
        if isinstance(value, list):
            return "[" + ", ".join(told(inner) for inner in value) + "]"
        return '""' if value is None else json.dumps(value, ensure_ascii=False)

    return "\n".join(f"{json.dumps(str(key))} = {told(value)}" for key, value in entries.items())


def typed_differently(chance: random.Random, pairs: list[tuple[str, str]], names: list[str]) -> list[tuple[str, str]]:
    """What a form would send with some fields typed differently, left out, doubled or made up."""
    made = list(pairs)
    for _ in range(chance.choice((0, 1, 1, 2, 3, 5, 12))):
        at, kind = chance.randrange(len(made) + 1), chance.randrange(6)
        word = chance.choice(WORDS)
        if kind < 3 and at < len(made):
            made[at] = (made[at][0], word)
        elif kind == 3 and at < len(made):
            del made[at]
        elif kind == 4:
            made.insert(at, (chance.choice(names), word))
        else:
            name = chance.choice(names)
            odd = f"{name}.{chance.choice(('0', '7', '-1', '499', '500', '9' * 30, 'x', 'low', '٣', ''))}"
            made.insert(at, (odd, word))
    return [(n, "x" if w in NO_NUMBERS and SAID & set(re.split(r"[._]", n) + n.split(".")) else w) for n, w in made]
