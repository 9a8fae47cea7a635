"""What one more test is worth, in words: the same in the terminal and on the page."""

from __future__ import annotations

from valuation import Evidence
from valuation.evidence_result import EvidenceRow
from webapp.retold import retold
from webapp.wording import NBSP, Wording

TITLES = {
    "chip": "Weigh a bare chip of the rock",
    "fineness": "X-ray the gold for its fineness",
    "repeats": "Weigh it again",
    "water_temperature": "Measure the water's temperature",
    "finer_balance": "Weigh it on a finer balance",
}
PRICES = {
    "middle": "the middle of today's fair range",
    "ask": "the asking price",
    "floor": "what the seller could get elsewhere",
}
HEAD = ("Left over", "Worth", "Costs", "Deal or none", "Price moves", "Gold within")
NEVER = "never"
NO_NARROWER = "no narrower"
STAYS = 0.98  # a range narrowed by less than this is told to stay as it is


def title(row: EvidenceRow, w: Wording) -> str:
    """What to do."""
    name = TITLES[row.kind]
    return f"{name}, {w.number(row.readings, 0)} times" if row.readings else name


def verdict(found: Evidence, w: Wording) -> str:
    """Whether a test pays, and which is the best, in one sentence."""
    if found.verdict == "not_priced":
        return "No deal can be valued here yet, so a test cannot be held against its cost; what each tells is in grams."
    if found.verdict == "weigh_first":
        return "Weigh the piece first, dry and under water: that tells more than any other test of a mere claim."
    if found.verdict == "none_pays":
        return "None pays: no further test is worth more, to house and seller together, than it costs."
    best = title(found.tests[0], w)
    return f"One more test pays. The best is: {best[0].lower() if not best.startswith('X-') else 'X'}{best[1:]}."


def today(found: Evidence, w: Wording) -> list[str]:
    """Where the deal stands before any test."""
    now, fine = found.today, found.today.fine_gold_g
    gold = f"{_range(fine.low, fine.high, found, w)} of fine gold"
    told = [f"{gold}; as melt value the range is {w.money_rough(now.width_money)} wide."]
    if now.deal is None or now.ceiling is None or now.floor is None:
        return told
    room = "so there is room for a deal" if now.deal else "so there is no room for a deal"
    return [
        *told,
        f"The house can pay up to {w.at_most(now.ceiling)} and the seller's floor is {w.at_least(now.floor)}, {room}.",
    ]


def in_words(row: EvidenceRow, found: Evidence, w: Wording) -> str:
    """What a test takes, tells and is worth, in one sentence for somebody new to it."""
    told = f"Takes about {w.number(row.minutes, 0)}{NBSP}min and costs {w.money_rough(row.cost)}"
    if row.width_g is None:
        return f"{told}. {row.reason}"
    told = f"{told}; {_narrowed(row, found, w)}"
    if row.status != "ranked":
        return f"{told}. {row.reason}"
    return f"{told}. {_changes(row, found, w)}; {_worth(row, w)}."


def range_left(row: EvidenceRow, found: Evidence, w: Wording) -> str:
    """Where the gold will lie after the test, 95 times in 100."""
    if row.fine_low_g is None or row.fine_high_g is None:
        return ""
    if not narrows(row, found, w):
        return NO_NARROWER
    return _range(row.fine_low_g, row.fine_high_g, found, w)


def narrows(row: EvidenceRow, found: Evidence, w: Wording) -> bool:
    """Whether the range of gold becomes narrower by more than its figures hide."""
    fine = found.today.fine_gold_g
    if row.width_g is None or row.fine_low_g is None or row.fine_high_g is None or row.width_g > STAYS * fine.width:
        return False
    return _range(row.fine_low_g, row.fine_high_g, found, w) != _range(fine.low, fine.high, found, w)


def _range(low: float, high: float, found: Evidence, w: Wording) -> str:
    """Both ends, to the place to which the quote tells its gold."""
    return w.grams_range(low, high, found.today.fine_gold_g.sd)


def _narrowed(row: EvidenceRow, found: Evidence, w: Wording) -> str:
    fine = found.today.fine_gold_g
    before = _range(fine.low, fine.high, found, w)
    if not narrows(row, found, w):
        return f"it does not narrow the range of the gold, {before}"
    return f"narrows the gold from {before} to about {range_left(row, found, w)}"


def _changes(row: EvidenceRow, found: Evidence, w: Wording) -> str:
    """How often there is a deal or none by it, and how often another price, kept apart."""
    turned = turns(row, w)
    if not found.today.deal:
        return f"It {'never makes' if turned == NEVER else 'makes'} a deal possible{_how(turned)}"
    moved = moves(row, w)
    if turned == moved == NEVER:
        return "It changes neither the price by much nor whether there is a deal"
    whether = f"{'never undoes' if turned == NEVER else 'undoes'} the deal{_how(turned)}"
    price = "keeps the price" if moved == NEVER else f"moves the price out of today's fair range {moved}"
    return f"It {price}, and {whether}"


def _how(often: str) -> str:
    return "" if often == NEVER else f" {often}"


def turns(row: EvidenceRow, w: Wording) -> str:
    """How often there is a deal where there is none today, or the other way round."""
    return "" if row.turn_chance is None else often(row.turn_chance, w)


def moves(row: EvidenceRow, w: Wording) -> str:
    """How often the deal stays one, at a price out of today's fair range or by another way out."""
    if row.change_chance is None or row.turn_chance is None:
        return ""
    return often(max(0.0, row.change_chance - row.turn_chance), w)


def often(chance: float, w: Wording) -> str:
    """A chance as so many of a hundred; none is told as never but zero."""
    if chance < 1e-9:
        return NEVER
    return f"in {w.number(100 * chance, 0)} of 100" if chance >= 0.005 else "in under 1 of 100"


def _worth(row: EvidenceRow, w: Wording) -> str:
    gain = row.gain_both or 0.0
    if abs(gain) < 1.0:
        moved = row.change_chance is not None and row.change_chance > 0
        told = "what one of you gains by that the other loses" if moved else "the two of you gain nothing together"
    elif gain < 0:
        told = f"it costs the two of you about {w.money_rough(-gain)} together, as it may undo the deal"
    else:
        told = f"it is worth about {w.money_rough(gain)} to the two of you together"
    return f"{told}; the damage costs {w.money_rough(row.damage)}" if row.damage else told


def sides(row: EvidenceRow, w: Wording) -> str:
    """Who gains, for the house's eyes."""
    if row.gain_house is None or row.gain_seller is None:
        return ""
    alone = "" if not row.decision_value or row.decision_value < 1 else w.money_rough(row.decision_value)
    alone = f"To the house alone, at today's price, it is worth {alone}." if alone else ""
    if max(abs(row.gain_house), abs(row.gain_seller)) < 1:
        return alone
    return (
        f"On average the house {_gains(row.gain_house, w)} and the seller {_gains(row.gain_seller, w)}. {alone}".strip()
    )


def _gains(money: float, w: Wording) -> str:
    if abs(money) < 1.0:
        return "gains nothing"
    return f"{'gains' if money > 0 else 'loses'} {w.money_rough(abs(money))}"


def cells(row: EvidenceRow, found: Evidence, w: Wording) -> tuple[str, ...]:
    """The figures of a test, under `HEAD`; empty where there are none."""
    gain = "" if row.gain_both is None else w.money_rough(row.gain_both)
    left = "" if row.net is None else w.money_rough(row.net)
    return left, gain, w.money_rough(row.cost), turns(row, w), moves(row, w), range_left(row, found, w)


def care(row: EvidenceRow, w: Wording) -> list[str]:
    """How to be careful: consent, damage, safety; of a test that cannot be made, nothing."""
    if row.width_g is None:
        return []
    told = ["Ask the owner first: it needs their consent."] if row.needs_consent else []
    if row.premium_lost_frac > 0:
        share = w.percent(row.premium_lost_frac, 1)
        told.append(f"It damages the piece: counted as {share} of what a collector would pay over the melt value.")
    return [*told, *row.safety]


def precision(row: EvidenceRow, w: Wording) -> str:
    """What a test's doubt comes from and what would lessen it."""
    return retold(row.precision, w)


def usual(found: Evidence, w: Wording) -> list[tuple[str, str]]:
    """What was taken as usual of each test: its name, and the figures with their names."""
    grouped: dict[str, list[str]] = {}
    for row in found.assumptions:
        test, _, name = row.name.partition(": ")
        grouped.setdefault(test, []).append(f"{name} {retold(row.value, w)}")
    return [(test, "; ".join(told)) for test, told in grouped.items()]


def reading_guide(found: Evidence, w: Wording) -> list[str]:
    """How to read the figures."""
    told = [
        "Worth: what house and seller gain together when, after each of "
        f"{w.number(found.outcomes, 0)} possible outcomes, both follow their rules again, at the middle price or "
        "without a deal. Left over: that less cost and damage.",
        "Deal or none: how often there is a deal after it where there is none today, or none where there is one.",
        "Price moves: how often the deal stays one but its middle leaves today's fair range, or another way out sets "
        "the ceiling. Money then goes from one of you to the other, which is worth nothing to the two together.",
    ]
    if found.today.price is not None and found.today.price_basis is not None:
        at = f"{w.price(round(found.today.price, w.money_digits))}, {PRICES[found.today.price_basis]}"
        told.append(f"To the house alone: to buy or not to buy at {at}, on average and before the test's cost.")
    return told
