"""The record in words: what its counts allow one to say, and what not."""

from __future__ import annotations

from valuation.counts import Mean, Share
from valuation.record_result import Correction, ProfitRecord, Record, RockBias
from valuation.spread import Spread
from webapp.record_sheets import HouseRecord
from webapp.wording import NBSP, Wording

LEAST_TO_JUDGE = 10
NOMINAL_FRAC = 0.95
PREMIUM_FRAC = 0.80
SELECTION = (
    "Only deals that were agreed are settled, so this is a record of those. A seller who knows the piece agrees more "
    "readily to an offer that is too high, so agreed pieces tend to hold less than was foretold; no interval here "
    "takes that into account."
)
RECOVERY = (
    "A refiner weighs what came out, not what was in the piece, and how much gets lost is in doubt itself. So each "
    "settled figure is held against the range of recovered gold: fine gold times recovery, both drawn as in the quote."
)


def chosen_from(found: HouseRecord) -> str:
    """What the record was chosen from."""
    return f"Of {count(found.handed_over, 'sheet')} handed over, {found.agreed} agreed and {found.settled} settled."


def count(n: int, noun: str) -> str:
    """So many of something."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def judged(held: Share | None, nominal: float = NOMINAL_FRAC) -> str:
    """What a count of ranges that held says of ranges that should hold so often."""
    if held is None:
        return "No piece can be counted here."
    often = round(100 * nominal)
    if held.of < LEAST_TO_JUDGE:
        return f"{held.of} settled: too few to say."
    if held.high_frac < nominal:
        return f"That is less than {often} in 100: these ranges are too narrow, or off to one side."
    if held.low_frac > nominal:
        return f"That is more than {often} in 100: these ranges are wider than they need be."
    return f"That agrees with {often} in 100, as far as {held.of} can tell."


def share(held: Share, w: Wording) -> str:
    """How often, with the interval of the true rate."""
    return f"{held.held} of {held.of} ({interval(held.low_frac, held.high_frac, w)})"


def interval(low: float, high: float, w: Wording) -> str:
    """An interval of a share in per cent."""
    return f"{w.number(100 * low, 0)} to {w.percent(high)}"


def missed(told: Record) -> str:
    """On which side the others fell."""
    if not told.below + told.above:
        return ""
    return f"Less came out than the range {count(told.below, 'time')}, more {count(told.above, 'time')}."


def ratio(middle: float, w: Wording) -> str:
    """A ratio as per cent more or less."""
    return f"{'+' if middle > 1 else ''}{w.number(100 * (middle - 1), 1, 1)}{NBSP}%"


def ratio_range(low: float | None, high: float | None, w: Wording) -> str:
    """The interval of a ratio; empty of a single figure."""
    if low is None or high is None:
        return ""
    if high > 10:
        return "cannot be told from so few"
    return f"{ratio(low, w)} to {ratio(high, w)}"


def bias(row: RockBias) -> str:
    """What a kind of rock's bias says."""
    if row.n < LEAST_TO_JUDGE or row.low is None or row.high is None:
        return "too few to say"
    if row.high < 1:
        return "less comes out than foretold"
    return "more comes out than foretold" if row.low > 1 else "no bias seen"


def grams_off(found: Mean, w: Wording) -> str:
    """A mean difference in grams with its sign."""
    return f"{'+' if found.mean > 0 else ''}{w.grams(found.mean, found.sd or abs(found.mean))}"


def grams_off_range(found: Mean, w: Wording) -> str:
    """The interval of a mean difference; empty of a single figure."""
    if found.low is None or found.high is None or found.sd is None:
        return ""
    return w.grams_range(found.low, found.high, found.sd)


def profit(row: ProfitRecord, w: Wording) -> str:
    """Profit against plan, in one sentence."""
    found = row.difference
    made = f"{count(found.n, 'piece')} made {w.money_rough(row.made)}, where {w.money_rough(row.planned)} was planned"
    if found.low is None or found.high is None or found.sd is None:
        return f"{made}."
    way, least, most = ("more", found.low, found.high) if found.mean >= 0 else ("less", -found.high, -found.low)
    between = w.money_range(least, most, found.sd / found.n**0.5)
    return f"{made}: {w.money(abs(found.mean), found.sd / found.n**0.5)} a piece {way} than planned ({between} {way})."


# ---- densities


def density(spread: Spread, w: Wording) -> str:
    """A density as it is entered."""
    if spread.kind == "exact":
        return f"{w.number(spread.centre, 3)}{NBSP}g/cm³"
    if spread.sd is not None:
        return f"{w.number(spread.centre, 3)}{NBSP}g/cm³, standard deviation {w.number(spread.sd, 4)}"
    assert spread.low is not None and spread.high is not None
    ends = f"{w.number(spread.low, 3)} to {w.number(spread.high, 3)}{NBSP}g/cm³"
    return ends if spread.likely is None else f"{ends}, likely {w.number(spread.likely, 3)}"


def signed(x: float, w: Wording, decimals: int = 4) -> str:
    """A difference with its sign."""
    text = w.number(abs(x), decimals)
    return f"{'−' if x < 0 else '+'}{text}"


def verdict(one: Correction, w: Wording) -> str:
    """What settled pieces say of a rock's density."""
    if one.verdict == "few":
        return f"{count(one.n, 'piece')} settled: too few to say."
    ends = f"{signed(one.low, w)} to {signed(one.high, w)}{NBSP}g/cm³"
    if one.verdict == "none":
        return f"No correction: the offset may well be none ({ends})."
    way = "denser" if one.offset > 0 else "lighter"
    return f"The house's {one.rock} seems {way} than it is quoted with, by {w.number(abs(one.offset), 4)} ({ends})."


def arithmetic(one: Correction, w: Wording) -> list[tuple[str, str]]:
    """The update, line by line: what it starts from, what the pieces say, both together."""
    weights = one.u_prior**-2, one.u_pieces**-2
    unit = f"{NBSP}g/cm³"
    lines = [
        ("Quoted with", f"{density(one.stated, w)}: mean {w.number(one.table, 4)}{unit}"),
        ("Before any piece was settled", f"offset 0 ± {w.number(one.u_prior, 4)}{unit} (assumption, no source)"),
        (
            f"What {count(one.n, 'piece')} say{'s' if one.n == 1 else ''} by themselves",
            f"offset {signed(one.pieces, w)} ± {w.number(one.u_pieces, 4)}{unit}",
        ),
    ]
    if one.scatter > 1.0:
        words = f"{w.number(one.scatter, 2)} times what their doubt explains; widened by as much"
        lines.append(("They scatter", words))
    products = f"({w.number(weights[0], 0)} × 0 + {w.number(weights[1], 0)} × {signed(one.pieces, w)})"
    total = w.number(sum(weights), 0)
    return [
        *lines,
        (
            "Weights",
            f"1/{w.number(one.u_prior, 4)}² = {w.number(weights[0], 0)} and "
            f"1/{w.number(one.u_pieces, 4)}² = {w.number(weights[1], 0)}",
        ),
        ("Both together", f"{products} / {total} = {signed(one.offset, w)}{unit}"),
        ("Its doubt", f"1/√{total} = {w.number(one.u_offset, 4)}{unit}"),
        (
            "95 % interval",
            f"{signed(one.offset, w)} ± 1.96 × {w.number(one.u_offset, 4)}: "
            f"{signed(one.low, w)} to {signed(one.high, w)}{unit}",
        ),
        ("To quote with", density(one.corrected, w)),
    ]
