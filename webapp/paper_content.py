"""What stands on the paper of an offer sheet, as plain texts and geometry. Nothing here is laid out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

from webapp.canonical_json import short
from webapp.charts import MoneyAxis, Share, Step
from webapp.counter_sheet import Line
from webapp.retold import retold
from webapp.wording import Wording

Pair = tuple[str, str]  # a label and its figure
PaperSize = Literal["a4", "us-letter"]
DEMO = "DEMO, invented: no such piece, and no offer"


@dataclass(frozen=True)
class PaperFacts:
    """What a sheet's paper bears besides its figures.

    Parameters
    ----------
    number, revision : str, int
        Of the sheet; an empty number marks a preview that was not handed over.
    replaces : int or None
        The earlier revision of the same sheet that no longer holds.
    handed_over_at : datetime
        With its offset from UTC; also the time inside the PDF.
    validity : str
        Until when the offer holds, in one or two sentences.
    house : str
        Name of the house; may be empty.
    size : {"a4", "us-letter"}
        Of the paper.
    digest : str
        SHA-256 of the seller's copy, in hexadecimal; may be empty in a preview.
    photographs : sequence of bytes
        JPEG files, in order.
    cautions : sequence of str
        Further sentences of the house that are for the seller too.
    w : Wording
        How figures are written.
    is_demo : bool
        Made from an invented piece; such a paper is only looked at.
    """

    number: str
    revision: int
    replaces: int | None
    handed_over_at: datetime
    validity: str
    house: str
    size: PaperSize
    digest: str
    photographs: Sequence[bytes]
    cautions: Sequence[str]
    w: Wording
    is_demo: bool = False


@dataclass(frozen=True)
class Head:
    """What names the paper on every page."""

    kind: str
    number: str
    revision: str
    replaced: str
    at: str
    house: str
    digest: str
    demo: str = ""

    @property
    def name(self) -> str:
        """Of the document."""
        return f"{self.kind} {self.number}, {self.revision}"


@dataclass(frozen=True)
class Table:
    """A table; the first column names its row, the others are figures unless `words` says otherwise."""

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    caption: str = ""
    words: tuple[int, ...] = ()
    kind: str = "table"


@dataclass(frozen=True)
class Lines:
    """Labels with their figures, perhaps under a title of their own."""

    lines: tuple[Pair, ...]
    title: str = ""
    kind: str = "lines"


@dataclass(frozen=True)
class Sentences:
    """Sentences, one below the other."""

    sentences: tuple[str, ...]
    kind: str = "sentences"


@dataclass(frozen=True)
class Bars:
    """Figures with a bar beside each: (label, detail, figure, figure, start and width in per cent, tone)."""

    rows: tuple[tuple[str, str, str, str, float, float, str], ...]
    columns: tuple[str, str] = ("", "")
    caption: str = ""
    kind: str = "bars"


@dataclass(frozen=True)
class Row:
    """One row of the money axis; places in per cent of its width."""

    key: str
    label: str
    figure: str
    x: float
    width: float
    middle: float | None
    is_point: bool


@dataclass(frozen=True)
class Picture:
    """The money axis as lines, boxes and texts; `words` for those who cannot see it."""

    rows: tuple[Row, ...]
    ticks: tuple[tuple[float, str], ...]
    band: tuple[float, float] | None
    zero: float | None
    words: str
    kind: str = "axis"


@dataclass(frozen=True)
class Sum:
    """One line of arithmetic; the expression is empty where there is nothing to work out."""

    label: str
    expression: str
    result: str


@dataclass(frozen=True)
class Sums:
    """How one headline figure comes about."""

    title: str
    figure: str
    sums: tuple[Sum, ...]
    closing: str
    kind: str = "sums"


Block = Table | Lines | Sentences | Bars | Picture | Sums


@dataclass(frozen=True)
class Part:
    """A titled part of the working papers."""

    title: str
    blocks: tuple[Block, ...]


@dataclass(frozen=True)
class SellerPaper:
    """The seller's copy: only what the counter view shows."""

    head: Head
    size: PaperSize
    at: datetime
    title: str
    description: str
    offer: str
    against_refining: str
    validity: str
    gold: str
    gold_words: str
    picture: Picture | None
    weighings: tuple[Pair, ...]
    price: tuple[Pair, ...]
    steps: Bars | None
    refiner: tuple[Pair, ...]
    cautions: tuple[str, ...]
    notices: tuple[str, ...]
    photographs: tuple[bytes, ...]


@dataclass(frozen=True)
class HousePaper:
    """The working papers: for the house only."""

    head: Head
    size: PaperSize
    at: datetime
    title: str
    description: str
    offer: str
    reason: str
    confirmation: str
    validity: str
    parts: tuple[Part, ...]
    photographs: tuple[bytes, ...]


def head(kind: str, facts: PaperFacts) -> Head:
    """The head of a paper of a sheet."""
    replaced = f"Replaces revision {facts.replaces}, which no longer holds." if facts.replaces is not None else ""
    return Head(
        kind=kind,
        number=facts.number or "not handed over yet",
        revision=f"revision {facts.revision}",
        replaced=replaced,
        at=facts.w.moment(facts.handed_over_at),
        house=facts.house,
        digest=short(facts.digest),
        demo=DEMO if facts.is_demo else "",
    )


def pairs(lines: Iterable[Line]) -> tuple[Pair, ...]:
    """Labels and figures of the counter view."""
    return tuple((line.label, line.figure) for line in lines)


def picture(axis: MoneyAxis | None) -> Picture | None:
    """The money axis for paper."""
    if axis is None:
        return None
    rows = tuple(
        Row(row.mark.key, row.mark.label, row.figure, row.x, row.width, row.middle, row.mark.is_point)
        for row in axis.rows
    )
    ticks = tuple((tick.x, tick.label) for tick in axis.ticks)
    return Picture(rows, ticks, axis.band, axis.zero, f"The money axis. {axis.words}")


def step_bars(steps: Sequence[Step], w: Wording) -> Bars:
    """From melt value to what refining pays, as bars."""
    return Bars(tuple((s.label, retold(s.detail, w), s.amount, "", s.x, s.width, s.kind) for s in steps))


def share_bars(shares: Sequence[Share]) -> Bars:
    """What makes the doubt, as bars."""
    return Bars(
        tuple((s.label, "", s.share, s.money, 0.0, s.width, "level") for s in shares),
        columns=("share", "worth"),
        caption="Share of the doubt about the fine gold, and by how much the range of melt value would narrow "
        "if it were known exactly",
    )
