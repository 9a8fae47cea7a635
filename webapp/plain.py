"""Text that a terminal can show: no control characters, nothing that its encoding lacks."""

import unicodedata

GLUE = "\ue000"  # stands for a no-break space until the lines are broken
_WORDS = {
    "’": "'",
    "‘": "'",
    "“": '"',
    "”": '"',
    "…": "...",
    "–": "-",
    "—": "-",
    "−": "-",
    "×": "x",
    "÷": "/",
    "²": "^2",
    "³": "^3",
    "°": "deg ",
    "€": "EUR",
    "£": "GBP",
    "¥": "JPY",
    "￥": "JPY",
}


def fitted(text: str, encoding: str) -> str:
    """The text with plain spaces (`GLUE` for a no-break one), without control characters, and encodable."""
    return "".join(_fitted(letter, encoding) for letter in text)


def _fitted(letter: str, encoding: str) -> str:
    if letter in "\u00a0\u202f":
        return GLUE
    if letter == "\n":
        return letter
    if unicodedata.category(letter) == "Zs" or letter == "\t":
        return " "
    if not letter.isprintable():
        return "?"
    if _encodes(letter, encoding):
        return letter
    known = _WORDS.get(letter)
    if known is not None:
        return known
    bare = "".join(part for part in unicodedata.normalize("NFKD", letter) if _encodes(part, encoding))
    return bare or "?"


def _encodes(letter: str, encoding: str) -> bool:
    try:
        letter.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
