"""The characters that the fonts of the paper have; every other is replaced visibly, and told."""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

FONTS = Path(__file__).parent / "templates" / "paper" / "fonts"
REPLACED = "\ufffd"
MOST_TOLD = 12
# Letters and signs that neither turn nor join: up to Armenian, and from Latin Extended Additional to the operators.
_PLAIN = (range(0x590), range(0x1E00, 0x2300))
# They steer the letters round them, or show nothing; the shaping needs no glyph for them.
_JOINING = frozenset("\u00ad\u200b\u200c\u200d\u200e\u200f\u2060")
_AFTER = frozenset("\u200d\ufe0e\ufe0f\u20e3")  # nothing without the character before
_SPACES = frozenset("\t\u000b\u000c\u001c\u001d\u001e\u001f\u0085\u2028\u2029")


@cache
def covered() -> frozenset[int]:
    """Code points that at least one font of the paper has a glyph for."""
    return frozenset(code for font in sorted(FONTS.glob("*.ttf")) for code in code_points(font.read_bytes()))


def code_points(font: bytes) -> Iterator[int]:
    """Code points of a font's character map.

    References
    ----------
    OpenType specification (ISO/IEC 14496-22), table `cmap`, formats 4 and 12.
    """
    (tables,) = struct.unpack_from(">H", font, 4)
    records = (struct.unpack_from(">4sLLL", font, 12 + 16 * i) for i in range(tables))
    start = next(offset for tag, _, offset, _ in records if tag == b"cmap")
    (maps,) = struct.unpack_from(">H", font, start + 2)
    for i in range(maps):
        platform, encoding, offset = struct.unpack_from(">HHL", font, start + 4 + 8 * i)
        if (platform == 0 and encoding != 5) or (platform, encoding) in ((3, 1), (3, 10)):
            yield from _mapped(font, start + offset)


def _mapped(font: bytes, at: int) -> Iterator[int]:
    (kind,) = struct.unpack_from(">H", font, at)
    if kind == 4:
        yield from _segments(font, at)
    elif kind == 12:
        (groups,) = struct.unpack_from(">L", font, at + 12)
        for i in range(groups):
            first, last, _ = struct.unpack_from(">LLL", font, at + 16 + 12 * i)
            yield from range(first, last + 1)


def _segments(font: bytes, at: int) -> Iterator[int]:
    (doubled,) = struct.unpack_from(">H", font, at + 6)
    lasts, firsts = at + 14, at + 16 + doubled
    deltas, offsets = firsts + doubled, firsts + 2 * doubled
    for i in range(0, doubled, 2):
        (last,), (first,) = struct.unpack_from(">H", font, lasts + i), struct.unpack_from(">H", font, firsts + i)
        (delta,), (offset,) = struct.unpack_from(">H", font, deltas + i), struct.unpack_from(">H", font, offsets + i)
        for code in range(first, last + 1):
            if offset:
                (glyph,) = struct.unpack_from(">H", font, offsets + i + offset + 2 * (code - first))
                glyph = (glyph + delta) & 0xFFFF if glyph else 0
            else:
                glyph = (code + delta) & 0xFFFF
            if glyph:
                yield code


class Letters:
    """Texts made printable; what was replaced on the way is remembered.

    Parameters
    ----------
    refused : str
        Characters to replace although a font has them: they have no glyph together with their neighbours.
    plain : bool
        Whether to keep nothing but letters that stand alone.
    """

    def __init__(self, refused: str = "", *, plain: bool = False) -> None:
        self.replaced: dict[str, None] = {}
        self._refused = frozenset(refused)
        self.is_plain = plain

    def of(self, content: Any) -> Any:
        """The content with every text in it printable."""
        if isinstance(content, str):
            return self.printable(content)
        if isinstance(content, dict):
            return {key: self.of(value) for key, value in content.items()}
        if isinstance(content, list | tuple):
            return [self.of(value) for value in content]
        return content

    def printable(self, text: str) -> str:
        """The text in composed form, with line breaks kept and nothing that no font has."""
        text = text.replace("\r\n", "\n").replace("\r", "\n")
        if text.isascii() and text.replace("\n", "").isprintable():
            return text
        told: list[str] = []
        for letter in unicodedata.normalize("NFC", text):
            if letter in _AFTER and (not told or told[-1] == REPLACED):
                continue
            told.append(self._printed(letter))
        return "".join(told)

    def _printed(self, letter: str) -> str:
        if letter in "\n\u00a0":
            return letter
        kind = unicodedata.category(letter)
        if letter in _SPACES or (kind == "Zs" and ord(letter) not in covered()):
            return " "
        if letter in _JOINING or letter in _AFTER:
            return "" if self.is_plain or letter in self._refused else letter
        if kind[0] != "C" and ord(letter) in covered() and letter not in self._refused and self._stands(letter, kind):
            return letter
        self.replaced[letter] = None
        return REPLACED

    def _stands(self, letter: str, kind: str) -> bool:
        return not self.is_plain or (kind[0] != "M" and any(ord(letter) in known for known in _PLAIN))

    @property
    def notes(self) -> tuple[str, ...]:
        """What the house should know of what was replaced; nothing if nothing was."""
        if not self.replaced:
            return ()
        told = [_named(letter) for letter in list(self.replaced)[:MOST_TOLD]]
        more = len(self.replaced) - len(told)
        rest = f" and {more} more" if more else ""
        count = (
            "1 character that the paper cannot print was"
            if len(self.replaced) == 1
            else (f"{len(self.replaced)} different characters that the paper cannot print were")
        )
        return (f"{count} replaced by {REPLACED}: {', '.join(told)}{rest}.",)


def is_visible(text: str) -> bool:
    """Whether anything of a text shows."""
    return any(unicodedata.category(letter)[0] in "LNPS" for letter in text)


def _named(letter: str) -> str:
    code = f"U+{ord(letter):04X}"
    return f"{letter} ({code})" if letter.isprintable() else code
