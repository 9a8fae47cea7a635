"""Sentences about fractions, told in per cent as the screen shows them."""

import re
from decimal import Decimal

_NUMBER = re.compile(r"(?<![\w.,])-?\d+(?:\.\d+)?(?![\w%]|\.\d)")


def in_per_cent(sentence: str) -> str:
    """The sentence with each of its fractions in per cent."""
    return _NUMBER.sub(_scaled, sentence.replace("a fraction", "a share"))


def _scaled(found: re.Match[str]) -> str:
    return f"{(Decimal(found.group()) * 100).normalize():f} %"
