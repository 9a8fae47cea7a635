"""A quote -> the geometry of its pictures. Positions along the axis are in per cent of the width, heights in pixels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from valuation import Quote
from webapp.marks import Mark
from webapp.wording import Wording

ROW = 34
TRACK_TOP = 16  # of a row of the picture that stands by itself; above it stand the words
FOOT = 30
NARROW = 300  # pixels that the tracks have at the least, beside their words
LETTER, GAP = 7, 8  # pixels of a letter of a tick at the most, and between two ticks
EDGE = 4  # per cent of the width in which a label would leave the picture
MARGIN_FRAC = 0.04
LEAST_SHARE_FRAC = 0.005

Edge = Literal["left", "right", "both"]


@dataclass(frozen=True)
class Row:
    """One row of the money axis in its place.

    Parameters
    ----------
    beyond : str or None
        Over which edge of the picture all of it lies.
    cut : str or None
        Over which edge an end of a range lies; it is drawn as far as the edge, and told.
    """

    mark: Mark
    x: float
    width: float
    middle: float | None
    beyond: Edge | None = None
    cut: Edge | None = None

    @property
    def figure(self) -> str:
        """The figure, and with an arrow what lies beyond the picture."""
        if self.beyond:
            return f"\u2190 {self.mark.figure}" if self.beyond == "left" else f"{self.mark.figure} \u2192"
        low, high = self.mark.ends
        before = f"\u2190 {low}, " if self.cut in ("left", "both") else ""
        after = f", to {high} \u2192" if self.cut in ("right", "both") else ""
        return f"{before}{self.mark.figure}{after}"


@dataclass(frozen=True)
class Tick:
    """A labelled place on the axis; `anchor` keeps the label inside the picture."""

    x: float
    label: str
    anchor: Literal["start", "middle", "end"]


@dataclass(frozen=True)
class MoneyAxis:
    """The money axis: rows from the top, ticks at the foot.

    Parameters
    ----------
    band : (float, float) or None
        Place and width of the fair range, behind all rows.
    zero : float or None
        Where nothing is gained or lost, if the axis crosses it.
    """

    rows: tuple[Row, ...]
    ticks: tuple[Tick, ...]
    band: tuple[float, float] | None
    zero: float | None

    row, track_top = ROW, TRACK_TOP

    @property
    def foot(self) -> int:
        """Height at which the axis line runs in the picture that stands by itself."""
        return ROW * len(self.rows) + 4

    @property
    def height(self) -> int:
        """Of the whole picture that stands by itself."""
        return self.foot + FOOT

    @property
    def limits(self) -> tuple[Row, ...]:
        """Single figures that an upright line marks through all tracks."""
        return tuple(row for row in self.rows if row.mark.is_point and not row.beyond)

    @property
    def words(self) -> str:
        """Every row in words."""
        return "; ".join(f"{row.mark.label}: {_in_words(row)}" for row in self.rows) + "."


def _in_words(row: Row) -> str:
    if row.beyond:
        return f"{row.mark.figure}, beyond the {row.beyond} edge of the picture"
    if row.cut is None:
        return row.mark.figure
    side = "both edges" if row.cut == "both" else f"the {row.cut} edge"
    return f"{row.mark.figure}, from {row.mark.ends[0]} to {row.mark.ends[1]}, beyond {side} of the picture"


def money_axis(marks: Sequence[Mark], w: Wording) -> MoneyAxis | None:
    """The axis that holds the marks that decide a bargain; None where there is nothing to show."""
    if not marks:
        return None
    low, high = _domain(marks)
    span = high - low

    def place(amount: float) -> float:
        return round(100 * (min(max(amount, low), high) - low) / span, 2)

    def row(mark: Mark) -> Row:
        if mark.low > high or mark.high < low:
            right = mark.low > high
            return Row(mark, 100.0 if right else 0.0, 0.0, None, "right" if right else "left")
        left, width = place(mark.low), round(place(mark.high) - place(mark.low), 2)
        inside = mark.median is not None and low <= mark.median <= high
        middle = place(mark.median) if mark.median is not None and inside else None
        return Row(mark, left, width, middle, cut=_cut(mark, low, high))

    rows = tuple(row(mark) for mark in marks)
    fair = next((row for row in rows if row.mark.key == "fair"), None)
    return MoneyAxis(
        rows=rows,
        ticks=_ticks(low, high, w),
        band=None if fair is None else (fair.x, fair.width),
        zero=place(0.0) if low < 0 < high else None,
    )


def _cut(mark: Mark, low: float, high: float) -> Edge | None:
    if mark.low < low:
        return "both" if mark.high > high else "left"
    return "right" if mark.high > high else None


# A sale to a collector may end far from every figure that decides, and a figure named may lie anywhere.
_MAY_LIE_FAR = ("intact", "ask", "said", "offer")
_ROOM_FRAC = 0.25  # that an end which is cut off has beyond the deciding figures


def _domain(marks: Sequence[Mark]) -> tuple[float, float]:
    """From where to where the picture runs: over all that decides, and over the rest as far as it squeezes nothing."""
    core = [mark for mark in marks if mark.key not in _MAY_LIE_FAR] or list(marks)
    least, most = min(mark.low for mark in core), max(mark.high for mark in core)
    named = max(1.5 * (most - least), 0.5 * max(abs(least), abs(most)))
    room = max(_ROOM_FRAC * (most - least), 0.1 * max(abs(least), abs(most)))
    low, high = least, most
    for mark in marks:
        if mark.is_point and least - named <= mark.low <= most + named:
            low, high = min(low, mark.low), max(high, mark.high)
        elif not mark.is_point and mark.low <= most + named and mark.high >= least - named:
            low = min(low, mark.low if mark.low >= least - 2 * room else least - room)
            high = max(high, mark.high if mark.high <= most + 2 * room else most + room)
    if 0 < low < 0.15 * high:
        low = 0.0
    if high - low <= 1e-9 * max(1.0, abs(high)):  # all in one place
        half = max(1.0, 0.05 * abs(high))
        return low - half, high + half
    margin = MARGIN_FRAC * (high - low)
    ends_high = max(m.high for m in marks if m.low <= high)
    # A margin is not wide enough to take in what was cut off, or a sliver of it would say nothing.
    return (0.0 if low == 0 else low - margin), high if ends_high > high + margin else high + margin


def _ticks(low: float, high: float, w: Wording) -> tuple[Tick, ...]:
    longest = max(len(w.price(x)) for x in (math.floor(low), math.ceil(high)))
    step = tick_step(high - low, min(6.0, NARROW / (LETTER * longest + GAP)))
    first, last = math.ceil(low / step), math.floor(high / step)
    ticks = []
    for i in range(first, last + 1):
        x = round(100 * (i * step - low) / (high - low), 2)
        anchor: Literal["start", "middle", "end"] = "start" if x < EDGE else "end" if x > 100 - EDGE else "middle"
        ticks.append(Tick(x, w.price(float(i * Decimal(repr(step)))), anchor))
    # A label at an edge is pushed inwards, towards the next one.
    inner = [tick for tick in ticks if tick.anchor == "middle"]
    return tuple(inner if len(inner) > 2 else ticks)


def tick_step(span: float, most: float) -> float:
    """Round step (1, 2 or 5 times a power of ten) with which at most `most` steps fill the span."""
    rough = span / most
    power = 10.0 ** math.floor(math.log10(rough))
    return next(step * power for step in (1, 2, 5, 10) if step * power >= rough * 0.999)


@dataclass(frozen=True)
class Share:
    """One input's part in the doubt, with the width of its bar."""

    label: str
    share: str
    money: str
    width: float


def doubt_shares(quote: Quote, w: Wording) -> tuple[Share, ...]:
    """What makes the doubt about the gold, greatest first; small parts together."""
    large = [row for row in quote.budget if row.share_frac >= LEAST_SHARE_FRAC]
    small = [row for row in quote.budget if row.share_frac < LEAST_SHARE_FRAC]
    shares = [
        Share(
            row.input,
            w.percent(row.share_frac, 1),
            "" if row.money is None else w.money_rough(row.money),
            round(100 * min(1.0, row.share_frac), 2),
        )
        for row in large
    ]
    if small:
        rest = max(0.0, sum(row.share_frac for row in small))
        shares.append(Share("Everything else", w.percent(rest, 1), "", round(100 * min(1.0, rest), 2)))
    return tuple(shares)


@dataclass(frozen=True)
class Step:
    """One step from melt value to what refining pays, with the place of its bar."""

    label: str
    amount: str
    detail: str
    x: float
    width: float
    kind: Literal["level", "minus", "plus"]


LINES = {
    "gold": "Gold paid for",
    "price discount": "Price discount",
    "refining": "Refining charge",
    "treatment": "Treatment charge",
    "assay": "Assay",
    "lot fee": "Lot fee",
    "freight": "Freight",
    "insurance": "Insurance",
    "silver": "Silver paid for",
    "total": "The refiner pays",
    "waiting": "Waiting for the money",
}


def refining_steps(quote: Quote, w: Wording, *, private: bool = True) -> tuple[Step, ...]:
    """From melt value at the likely gold to what refining pays; waiting costs the house, so it is private."""
    lines = {row.line: (Decimal(row.amount), row.detail) for row in quote.settlement}
    if not lines:
        return ()
    melt = Decimal(repr(quote.melt_value.median))
    gold = lines["gold"][0]
    moves: list[tuple[str, Decimal, str, bool]] = [("Melt value", melt, "at the median gold", True)]
    moves.append(("Not recovered or not paid for", gold - melt, lines["gold"][1], False))
    moves += [(LINES.get(name, name), *row, False) for name, row in lines.items() if name not in _LEVELS]
    moves.append((LINES["total"], *lines["total"], True))
    if private:
        waiting, detail = lines["waiting"]
        moves.append((LINES["waiting"], waiting, detail, False))
        moves.append(("Worth today", lines["total"][0] + waiting, "what the route counts at likely values", True))
    return _placed(moves, w)


_LEVELS = ("gold", "total", "waiting")


def _placed(moves: Sequence[tuple[str, Decimal, str, bool]], w: Wording) -> tuple[Step, ...]:
    ends, level = [], Decimal(0)
    for _, amount, _, is_level in moves:
        start, level = (Decimal(0), amount) if is_level else (level, level + amount)
        ends.append((min(start, level), max(start, level)))
    low, high = min(e[0] for e in ends), max(e[1] for e in ends)
    span = (high - low) or Decimal(1)
    return tuple(
        Step(
            label=label,
            amount=w.money(float(amount)),
            detail=detail,
            x=round(float(100 * (left - low) / span), 2),
            width=round(float(100 * (right - left) / span), 2),
            kind="level" if is_level else "minus" if amount < 0 else "plus",
        )
        for (label, amount, detail, is_level), (left, right) in zip(moves, ends, strict=True)
    )
