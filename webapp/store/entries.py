"""What was typed into a form <-> the text that the database holds."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

from webapp.store.errors import TextRefused, TooLarge

Entries = tuple[tuple[str, str], ...]

LARGEST = 256 * 1024  # bytes in UTF-8 of all names and texts with their separators, as a form is sent
_SURROGATE = re.compile("[\ud800-\udfff]")


def written(entries: Iterable[tuple[str, str]]) -> str:
    """The entries as one text.

    Raises
    ------
    TooLarge, TextRefused
        They cannot be kept.
    """
    pairs = [(sound(name, name), sound(name, text)) for name, text in entries]
    size = sum(len(name.encode()) + len(text.encode()) + len("=&") for name, text in pairs)
    if size > LARGEST:
        raise TooLarge(size, LARGEST)
    return json.dumps(pairs, ensure_ascii=False, separators=(",", ":"))


def read(text: str) -> Entries:
    """The entries of a text."""
    return tuple((name, typed) for name, typed in json.loads(text))


def sound(field: str, text: str) -> str:
    """The text, if the database can give it back as it is.

    Raises
    ------
    TextRefused
        It cannot.
    """
    if "\0" in text:
        raise TextRefused(field, "holds the character NUL, which cannot be kept. Take it out and type the text again.")
    if _SURROGATE.search(text):
        raise TextRefused(field, "holds half a character, which cannot be kept. Type the text again.")
    return text
