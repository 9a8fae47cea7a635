"""The money axis in characters: ranges with their median, and single figures, on one scale."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from webapp.wording import Wording

TICK_ROOM = 4  # characters between two tick labels, at least


@dataclass(frozen=True)
class Strokes:
    """Characters that draw a range, its median, a block and a point."""

    left: str = "├"
    line: str = "─"
    right: str = "┤"
    median: str = "●"
    block: str = "█"
    point: str = "◆"


PLAIN = Strokes("[", "-", "]", "o", "#", "*")


@dataclass(frozen=True)
class Mark:
    """One row: a range with its median, a block without one, or a single figure (equal ends) [money]."""

    label: str
    low: float
    high: float
    median: float | None = None


def drawn(marks: Sequence[Mark], w: Wording, width: int, strokes: Strokes) -> list[str]:
    """Tick labels, then one track for every mark, each `width` characters at most.

    Too little room, or nothing to tell apart, gives no rows.
    """
    low, high = min(m.low for m in marks), max(m.high for m in marks)
    widest = max(len(w.price(x)) for x in (low, high))
    if not math.isfinite(high - low) or high - low < 10.0**-w.money_digits or width < 2 * (widest + TICK_ROOM):
        return []
    step = _tick_step(high - low, width // (widest + TICK_ROOM))
    scale = (width - widest - 1) / (high - low)

    def column(x: float) -> int:
        return widest // 2 + round((x - low) * scale)

    labels = [" "] * width
    for i in range(math.ceil(low / step), math.floor(high / step) + 1):
        text = w.price(i * step)
        start = min(max(0, column(i * step) - len(text) // 2), width - len(text))
        labels[start : start + len(text)] = text
    return ["".join(labels).rstrip(), *(_track(m, column, strokes) for m in marks)]


def _track(mark: Mark, column: Callable[[float], int], strokes: Strokes) -> str:
    start, end = column(mark.low), column(mark.high)
    if mark.low == mark.high:
        return " " * start + strokes.point
    if mark.median is None:
        return " " * start + strokes.block * max(1, end - start + 1)
    cells = [strokes.line] * (end - start + 1)
    cells[0], cells[-1] = strokes.left, strokes.right
    cells[column(mark.median) - start] = strokes.median
    return " " * start + "".join(cells)


def _tick_step(extent: float, most: int) -> float:
    """A round step (1, 2 or 5 times a power of ten) that makes at most so many intervals."""
    least = extent / most
    power = 10.0 ** math.floor(math.log10(least))
    return next(factor * power for factor in (1, 2, 5, 10) if factor * power >= least * (1 - 1e-9))
