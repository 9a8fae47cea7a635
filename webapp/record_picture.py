"""Where settled figures fell in their ranges -> the geometry of the picture: across in per cent, heights in pixels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from valuation.record_result import RefinedPiece, Side

MOST = 60
HEIGHT, TOP, BOTTOM = 190, 20, 168
MOST_PLACE = 2.2  # half widths of the range; what lies further out stands at the edge


@dataclass(frozen=True)
class Dot:
    """One piece."""

    x: float
    y: float
    side: Side
    is_beyond: bool


@dataclass(frozen=True)
class Picture:
    """The newest pieces from left to right; the 95 % range is the same band for all of them.

    Parameters
    ----------
    low_y, middle_y, high_y : float
        Ends and median of the range.
    words : str
        What it shows, for those who do not see it.
    """

    dots: tuple[Dot, ...]
    low_y: float
    middle_y: float
    high_y: float
    words: str
    height: int = HEIGHT


def picture_of(pieces: Sequence[RefinedPiece]) -> Picture | None:
    """The newest pieces; None while there are none."""
    if not pieces:
        return None
    shown = pieces[-MOST:]
    step = 100.0 / len(shown)
    dots = tuple(
        Dot(round(step * (i + 0.5), 2), _height(one.place), one.side, abs(one.place) > MOST_PLACE)
        for i, one in enumerate(shown)
    )
    sides = [one.side for one in shown]
    words = (
        f"{len(shown)} settled, oldest first: {sides.count('inside')} inside the range, {sides.count('below')} below "
        f"it, {sides.count('above')} above it."
    )
    return Picture(dots, _height(-1.0), _height(0.0), _height(1.0), words)


def _height(place: float) -> float:
    held = max(-MOST_PLACE, min(place, MOST_PLACE))
    return round(BOTTOM - (BOTTOM - TOP) * (held + MOST_PLACE) / (2 * MOST_PLACE), 1)
