"""Texts <-> the words that a sheet is found by.

A word is found by any part of it, in any script: the full-text index holds every ending of every word, and is asked
for beginnings of those. Accents, case and widths make no difference.
"""

from __future__ import annotations

import re
import unicodedata

LONGEST_TEXT = 20_000  # characters of a sheet that can be found by
LONGEST_PART = 24  # characters of a word that the index knows
MOST_ASKED = 12  # words of a query; the rest would hardly narrow it
# Letters that are marked without a combining mark, so that Unicode does not take them apart.
_PLAIN = str.maketrans({"ø": "o", "ł": "l", "đ": "d", "ħ": "h", "ı": "i", "æ": "ae", "œ": "oe", "þ": "th", "ð": "d"})
_BETWEEN_DIGITS = re.compile(r"(?<=\d)([-./,])(?=\d)")


def folded(text: str) -> str:
    """The words of a text with a blank between, without case, accents and signs other than those inside a number."""
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text[:LONGEST_TEXT]).casefold())
    plain = "".join(map(_bare, plain)).translate(_PLAIN)
    inside = {sign.start(1) for sign in _BETWEEN_DIGITS.finditer(plain)}
    return " ".join("".join(char if i in inside or _of_word(char) else " " for i, char in enumerate(plain)).split())


def _bare(char: str) -> str:
    """A character without its marks: nothing for a mark, for what is not seen, and for what has no common meaning."""
    category = unicodedata.category(char)
    if category in ("Mn", "Mc", "Me", "Cf", "Co", "Cs"):
        return ""
    return str(unicodedata.digit(char)) if category == "Nd" else char


def _of_word(char: str) -> bool:
    category = unicodedata.category(char)
    return category[0] in "LNS" or category == "Cn"  # Cn: of a later Unicode than this Python's


def indexed(words: str) -> str:
    """What the full-text index is given for a sheet: every ending of every word, each once, in order."""
    return " ".join(sorted({word[i : i + LONGEST_PART] for word in words.split() for i in range(len(word))}))


def asked(text: str) -> tuple[str, ...]:
    """The words of a query that are looked for, none a part of another."""
    words = sorted(dict.fromkeys(folded(text).split()), key=len, reverse=True)
    wanted: list[str] = []
    for word in words:
        if not any(word in other for other in wanted):
            wanted.append(word)
    return tuple(wanted[:MOST_ASKED])


def query(words: tuple[str, ...]) -> str:
    """The words as a query of the full-text index; each a quoted beginning, so that nothing in it is a command."""
    return " AND ".join(f'"{word[:LONGEST_PART].replace(chr(34), chr(34) * 2)}" *' for word in words)
