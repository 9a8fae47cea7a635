"""What a lot's quote says in words; the same in the terminal and on the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from valuation import LotQuote, Summary
from valuation.lot_result import PieceQuote
from valuation.result import RouteResult
from webapp import sentences
from webapp.marks import Mark
from webapp.retold import retold
from webapp.wording import Wording

ROUTES = {"refine": "Refined together", "intact": "Sold one by one"}
_SHARED = {
    "rock": "the density of the rock",
    "metal": "the fineness of the gold",
    "water": "the water",
    "balance": "the span of the balance",
    "room": "the air of the room",
    "premium": "the collector's premium",
}
MOST_NAMED = 8


def answer(quote: LotQuote, w: Wording) -> list[str]:
    """The answer, its one sentence first."""
    n = _pieces(len(quote.pieces))
    if quote.verdict == "not_by_weight":
        rest = "Nothing that rests on the weight of the gold is priced."
        if quote.buyer_ceiling is not None:
            rest = f"Collectors' prices alone allow the house up to {w.at_most(quote.buyer_ceiling)}."
        return [f"By weight alone none of the {n} can be told from bare rock.", rest]
    assert quote.buyer_ceiling is not None
    if quote.fair is not None:
        low, middle, high = (w.price(x) for x in (quote.fair.low, quote.fair.middle, quote.fair.high))
        fair = middle if low == high else f"{low} to {high}; the middle is {middle}"
        return [f"A fair price for the {n} together is {fair}.", _limits(quote, w)]
    if quote.verdict == "floor_unknown":
        most = w.at_most(quote.buyer_ceiling)
        return [
            f"The house can pay up to {most} for the {n}; what the seller could get elsewhere is not known.",
            "No middle is named: the usual assumption about the seller, 70 % of the melt value, lies above that.",
        ]
    if not quote.gap:
        return ["There is no whole price between the seller's floor and the house's ceiling.", _limits(quote, w)]
    gap = w.at_least(quote.gap)
    return [f"There is no fair cash price: the seller's floor is {gap} above the house's ceiling.", _limits(quote, w)]


def _limits(quote: LotQuote, w: Wording) -> str:
    assert quote.buyer_ceiling is not None and quote.seller_floor is not None
    ceiling, floor = w.at_most(quote.buyer_ceiling), w.at_least(quote.seller_floor)
    return f"The house's ceiling is {ceiling}, the seller's floor {floor} ({sentences.FLOORS[quote.floor_basis]})."


def _pieces(n: int) -> str:
    return "1 piece" if n == 1 else f"{n} pieces"


def marks(quote: LotQuote, w: Wording) -> list[Mark]:
    """What stands on the lot's money axis."""
    found = []
    if quote.verdict != "not_by_weight":
        found.append(_estimate("melt", "Melt value", quote.melt_value, w))
    found += [_estimate(route.route, f"{ROUTES[route.route]}, net", route, w) for route in quote.routes]
    if quote.seller_floor is not None:
        label = "Seller's floor, assumed" if quote.floor_basis == "assumed" else "Seller's floor"
        found.append(Mark("floor", label, w.at_least(quote.seller_floor), quote.seller_floor, quote.seller_floor))
    if quote.fair is not None:
        ends = w.price(quote.fair.low), w.price(quote.fair.high)
        figure = ends[0] if quote.fair.low == quote.fair.high else " to ".join(ends)
        found.append(Mark("fair", "Fair range", figure, quote.fair.low, quote.fair.high, quote.fair.middle, ends))
    if quote.buyer_ceiling is not None:
        most = quote.buyer_ceiling
        found.append(Mark("ceiling", "House's ceiling", w.at_most(most), most, most))
    return found


def _estimate(key: str, label: str, found: Summary | RouteResult, w: Wording) -> Mark:
    ends = w.money(found.low, found.sd), w.money(found.high, found.sd)
    return Mark(key, label, w.money(found.median, found.sd), found.low, found.high, found.median, ends)


def counted(quote: LotQuote) -> str:
    """Which pieces the totals count."""
    if quote.verdict == "not_by_weight":
        return "not seen by weight in any piece; if there is any, then so much"
    if quote.pieces_not_seen:
        return f"of the {_pieces(quote.pieces_counted)} in which it is seen"
    return f"of all {_pieces(quote.pieces_counted)}"


@dataclass(frozen=True)
class Figure:
    """A total with its range."""

    name: str
    middle: str
    range: str
    aside: str = ""


def gold(quote: LotQuote, w: Wording) -> list[Figure]:
    """Masses and metal of the lot."""
    rows = []
    if quote.mass_g is not None:
        s = quote.mass_g
        rows.append(Figure("Mass, all pieces", w.grams(s.median, s.sd), w.grams_range(s.low, s.high, s.sd)))
    for name, s in (
        ("Native gold", quote.native_gold_g),
        ("Fine gold", quote.fine_gold_g),
        ("Fine silver", quote.fine_silver_g),
    ):
        ends = s.low, s.high, s.sd
        rows.append(Figure(name, w.grams(s.median, s.sd), w.grams_range(*ends), w.ounces_range(*ends)))
    for name, money in (("Melt value", quote.melt_value), ("Silver at spot", quote.silver_value)):
        if money is not None:
            shown = w.money_range(money.low, money.high, money.sd)
            rows.append(Figure(name, w.money(money.median, money.sd), shown))
    return rows


def doubt(quote: LotQuote, w: Wording) -> list[tuple[str, str, str]]:
    """The width of the total as it is, and as it would be if nothing or everything was shared (standard deviations)."""
    unshared, every = quote.doubt.nothing_shared, quote.doubt.all_shared_sd
    rows = (
        ("what they do share", quote.fine_gold_g.sd, quote.melt_value.sd),
        ("nothing (ranges added as if independent)", unshared.fine_gold_g.sd, unshared.melt_value.sd),
        ("everything", every.fine_gold_g, every.melt_value),
    )
    return [(name, f"± {w.grams_rough(grams)}", f"± {w.money_rough(money, 2)}") for name, grams, money in rows]


def why_shared(quote: LotQuote, w: Wording) -> str:
    """The shared doubt held against the independent sum, in one sentence."""
    joint, alone = quote.melt_value, quote.doubt.nothing_shared.melt_value
    real = w.money_range(joint.low, joint.high, joint.sd)
    naive = w.money_range(alone.low, alone.high, alone.sd)
    if len(quote.pieces) == 1 or alone.sd <= 0:
        return f"The melt value is {real}."
    return (
        f"The melt value is {real}. Added as if the pieces had nothing in common it would seem to be {naive}: that is "
        "too sure, as one rock that is denser than thought makes every piece poorer at once."
    )


def sharing(quote: LotQuote) -> list[str]:
    """What is drawn once for several pieces."""
    told = []
    for row in quote.sharing:
        if row.most_pieces == 1:
            told.append(f"Each piece has its own doubt about {_SHARED[row.what]}.")
        elif row.statements == 1:
            told.append(f"{_pieces(row.most_pieces)} share the doubt about {_SHARED[row.what]}.")
        else:
            told.append(
                f"{row.statements} groups share the doubt about {_SHARED[row.what]}, the largest of "
                f"{_pieces(row.most_pieces)}."
            )
    return told


def together(quote: LotQuote, w: Wording) -> str:
    """What sending the pieces in together gains over sending each by itself."""
    assert quote.together_gains is not None
    gains = quote.together_gains
    if len(quote.pieces) == 1 or abs(gains) < 0.5:
        return "Sending the pieces in together gains nothing over sending each by itself."
    return f"Sending the pieces in together gains {w.money_rough(gains)} over sending each by itself."


@dataclass(frozen=True)
class PieceRow:
    """One piece as a row of a table."""

    number: int
    title: str
    mass: str
    gravity: str
    gold: str
    melt: str
    share: str
    note: str
    seen: bool


def piece_rows(quote: LotQuote, w: Wording) -> list[PieceRow]:
    """Every piece as a row."""
    return [_piece_row(piece, w) for piece in quote.pieces]


def _piece_row(piece: PieceQuote, w: Wording) -> PieceRow:
    mass, gravity, fine, melt = piece.mass_g, piece.specific_gravity, piece.fine_gold_g, piece.melt_value
    return PieceRow(
        number=piece.number,
        title=piece.title,
        mass="" if mass is None else w.grams(mass.median, mass.sd),
        gravity="" if gravity is None else w.measure(gravity.median, gravity.sd),
        gold=w.grams_range(fine.low, fine.high, fine.sd) if piece.seen else "not seen",
        melt=w.money_range(melt.low, melt.high, melt.sd) if piece.seen else "not priced",
        share="" if piece.melt_share_frac is None or not piece.seen else w.percent(piece.melt_share_frac, 1),
        note="; ".join(_NOTES[code] for code in _codes(piece)),
        seen=piece.seen,
    )


_NOTES = {
    "repeats_spread": "readings differ",
    "pores_filling": "pores filling",
    "small_displacement": "small for this balance",
    "fine_steps": "balance in doubt",
    "coarse_steps": "balance in doubt",
    "rock_doubtful": "rock in doubt",
    "likely_no_gold": "likely no gold",
}


def _codes(piece: PieceQuote) -> Iterator[str]:
    yield from dict.fromkeys(c.code for c in piece.cautions if c.code in _NOTES)


def piece_cautions(quote: LotQuote, w: Wording) -> list[str]:
    """The cautions of the pieces, each told once with the pieces that it concerns."""
    told: dict[str, str] = {}
    counts: Counter[str] = Counter()
    names: dict[str, list[str]] = {}
    for piece in quote.pieces:
        for caution in piece.cautions:
            if caution.code == "not_by_weight":
                continue  # one caution of the lot tells of all of them
            told.setdefault(caution.code, retold(caution.message, w))
            counts[caution.code] += 1
            names.setdefault(caution.code, []).append(f"{piece.number} ({piece.title})")
    lines = []
    for code, message in told.items():
        named, more = ", ".join(names[code][:MOST_NAMED]), counts[code] - MOST_NAMED
        tail = f" and {more} more" if more > 0 else ""
        lines.append(f"Piece {named}{tail}: {message}")
    return lines


HEAD = (
    "number",
    "title",
    "source",
    "seen",
    "mass_g",
    "specific_gravity",
    *(f"{what}_{part}" for what in ("native_gold_g", "fine_gold_g") for part in ("median", "low", "high")),
    *(f"melt_value_{part}" for part in ("median", "low", "high")),
    "melt_share_frac",
    "refined_alone_mean",
    "sold_intact_mean",
    "cautions",
)


def table(quote: LotQuote) -> list[tuple[str | int | float | None, ...]]:
    """Every piece, and the lot, as cells under `HEAD`; estimates to the thousandth, money to the hundredth."""
    return [_cells(piece) for piece in quote.pieces] + [_total(quote)]


def _cells(piece: PieceQuote) -> tuple[str | int | float | None, ...]:
    means = {route.route: route.mean for route in piece.routes}
    return (
        piece.number,
        piece.title,
        piece.source,
        "yes" if piece.seen else "no",
        None if piece.mass_g is None else round(piece.mass_g.median, 3),
        None if piece.specific_gravity is None else round(piece.specific_gravity.median, 4),
        *_ends(piece.native_gold_g, 3),
        *_ends(piece.fine_gold_g, 3),
        *_ends(piece.melt_value, 2),
        None if piece.melt_share_frac is None else round(piece.melt_share_frac, 5),
        *(None if means.get(name) is None else round(means[name], 2) for name in ("refine", "intact")),
        " ".join(caution.code for caution in piece.cautions),
    )


def _total(quote: LotQuote) -> tuple[str | int | float | None, ...]:
    means = {route.route: route.mean for route in quote.routes}
    return (
        "lot",
        quote.title,
        "",
        f"{quote.pieces_counted} of {len(quote.pieces)}" if quote.verdict != "not_by_weight" else "no",
        None if quote.mass_g is None else round(quote.mass_g.median, 3),
        None,
        *_ends(quote.native_gold_g, 3),
        *_ends(quote.fine_gold_g, 3),
        *_ends(quote.melt_value, 2),
        None,
        *(None if means.get(name) is None else round(means[name], 2) for name in ("refine", "intact")),
        " ".join(caution.code for caution in quote.cautions),
    )


def _ends(s: Summary, decimals: int) -> tuple[float, float, float]:
    return round(s.median, decimals), round(s.low, decimals), round(s.high, decimals)
