"""The record as it is told: how the house's quotes compared with what came of the pieces."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, FiniteFloat

from valuation.counts import Mean, Share
from valuation.spread import Spread

Side = Literal["inside", "below", "above"]


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class RefinedPiece(_Row):
    """One settled piece beside what was foretold: fine gold recovered, its 95 % range, and where in it the figure fell.

    Notes
    -----
    `place` is 0 at the foretold median, -1 and 1 at the ends of the range. `host_g_cm3` is the density of the bare
    rock that the settlement implies; None without a weighing, or where no rock would do.
    """

    label: str
    rock: str
    recovered_g: FiniteFloat
    low_g: FiniteFloat
    median_g: FiniteFloat
    high_g: FiniteFloat
    side: Side
    place: FiniteFloat
    host_g_cm3: FiniteFloat | None
    u_host_g_cm3: FiniteFloat | None


class SoldPiece(_Row):
    """One piece sold as it was: premium got, beside the foretold 10, 50 and 90 % points where there are any."""

    label: str
    got_frac: FiniteFloat
    low_frac: FiniteFloat | None
    likely_frac: FiniteFloat | None
    high_frac: FiniteFloat | None


class MoneyPiece(_Row):
    """Profit of one piece: planned when it was bought, and made."""

    label: str
    currency: str
    planned: FiniteFloat
    made: FiniteFloat


class RockBias(_Row):
    """Recovered against foretold gold of one kind of rock.

    Parameters
    ----------
    n : int
        Pieces that have a ratio.
    ratio, low, high : float
        Recovered over foretold: geometric mean and its 95 % interval; 1 is no bias.
    difference_g : Mean
        Recovered less foretold, by piece [g].
    """

    rock: str
    n: int
    ratio: FiniteFloat
    low: FiniteFloat | None
    high: FiniteFloat | None
    difference_g: Mean


class PremiumRecord(_Row):
    """Premiums got against those foretold.

    Parameters
    ----------
    held : Share
        How often the 10 to 90 % range held.
    ratio, low, high : float
        ``(1 + got) / (1 + likely)``: geometric mean and its 95 % interval.
    """

    held: Share
    ratio: FiniteFloat
    low: FiniteFloat | None
    high: FiniteFloat | None


class ProfitRecord(_Row):
    """Profit against plan in one currency; `difference` is made less planned, by piece."""

    currency: str
    planned: FiniteFloat
    made: FiniteFloat
    losses: Share
    difference: Mean


class Correction(_Row):
    """What settled pieces say of the density of one kind of rock; all in g/cm³.

    Parameters
    ----------
    verdict : str
        `few` pieces, `none` (the table holds) or `suggested`.
    table, u_table, u_prior, pieces, u_pieces, offset, u_offset, low, high, scatter : float
        As in `valuation.record_density.Told`.
    stated, corrected : Spread
        The density that quotes take, and the one that the record suggests.
    """

    rock: str
    n: int
    verdict: Literal["few", "none", "suggested"]
    table: FiniteFloat
    u_table: FiniteFloat
    u_prior: FiniteFloat
    pieces: FiniteFloat
    u_pieces: FiniteFloat
    offset: FiniteFloat
    u_offset: FiniteFloat
    low: FiniteFloat
    high: FiniteFloat
    scatter: FiniteFloat
    stated: Spread
    corrected: Spread


class LeftOut(_Row):
    """A piece that a part of the record cannot count, and why."""

    label: str
    why: str


class Record(_Row):
    """How often the tool was right: counts, each with its 95 % interval; None where nothing can be said."""

    refined: tuple[RefinedPiece, ...]
    sold: tuple[SoldPiece, ...]
    money: tuple[MoneyPiece, ...]
    held: Share | None
    below: int
    above: int
    bias: tuple[RockBias, ...]
    premium: PremiumRecord | None
    profit: tuple[ProfitRecord, ...]
    corrections: tuple[Correction, ...]
    left_out: tuple[LeftOut, ...]
