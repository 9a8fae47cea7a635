"""What a quote says in words; the same on every screen and page."""

from valuation import materials
from valuation.detection import LONG_CONSTANT, LONG_HOST_G_CM3, QUICK_DRY, QUICK_SUBMERGED
from valuation.result import GapCause, HandRule, Quote
from webapp.wording import Wording

ROUTES = {"refine": "refining", "intact": "selling it intact"}
FLOORS = {
    "minimum": "the stated minimum",
    "other_bid": "another cash bid",
    "own_refining": "the seller's own refining",
    "keep_value": "what keeping it is worth",
    "assumed": "assumed, 70 % of the melt value",
}
LIMITS = {"margin": "margin", "risk": "chance of loss"}
SET_BY = {"margin": "margin that the house needs", "risk": "chance of loss that it accepts"}
CAUSES = {
    "doubt": "without doubt about the gold and the sale",
    "charges": "without charges and selling costs",
    "margin": "without margin and handling",
    "premium": "with a sale at the likely premium for certain",
}


def answer(quote: Quote, w: Wording) -> list[str]:
    """The answer, its one sentence first."""
    told = {
        "fair_range": _fair_range,
        "no_fair_price": _no_fair_price,
        "floor_unknown": _floor_unknown,
        "not_by_weight": _not_by_weight,
    }
    return told[quote.verdict](quote, w)


def _fair_range(quote: Quote, w: Wording) -> list[str]:
    assert quote.fair is not None and quote.plan is not None
    low, middle, high = (w.price(x) for x in (quote.fair.low, quote.fair.middle, quote.fair.high))
    first = f"A fair price is {middle}." if low == high else f"A fair price is {low} to {high}; the middle is {middle}."
    stops = (
        f"The house stops at {w.price(quote.plan.buyer.stop)}; the seller at {w.price(quote.plan.seller.stop)} "
        f"({FLOORS[quote.floor_basis]})."
    )
    unseen = quote.detection is not None and not quote.detection.seen
    return [first, stops, *([_unseen(quote, w)] if unseen else [])]


def _no_fair_price(quote: Quote, w: Wording) -> list[str]:
    assert quote.buyer_ceiling is not None and quote.seller_floor is not None
    floor, ceiling = w.at_least(quote.seller_floor), w.at_most(quote.buyer_ceiling)
    basis = FLOORS[quote.floor_basis]
    if not quote.gap:
        return [f"There is no whole price between the seller's floor ({basis}) and the house's ceiling of {ceiling}."]
    gap = w.at_least(quote.gap)
    return [
        f"There is no fair cash price: the seller's floor is {gap} above the most the house can pay.",
        f"The house stops at {ceiling}; the seller at {floor} ({basis}).",
    ]


def _floor_unknown(quote: Quote, w: Wording) -> list[str]:
    assert quote.buyer_ceiling is not None
    return [
        f"The house can pay up to {w.at_most(quote.buyer_ceiling)}; what the seller could get elsewhere is not known.",
        "No middle is named: the usual assumption about the seller, 70 % of the melt value, lies above that.",
    ]


def _not_by_weight(quote: Quote, w: Wording) -> list[str]:
    rest = "Nothing that rests on the weight of the gold is priced."
    if quote.buyer_ceiling is not None:
        rest = f"The collector's price alone allows the house up to {w.at_most(quote.buyer_ceiling)}."
    return ["By weight alone this piece cannot be told from bare rock.", _unseen(quote, w), rest]


def _unseen(quote: Quote, w: Wording) -> str:
    assert quote.detection is not None
    estimate, critical = max(0.0, quote.detection.estimate_g), quote.detection.critical_g
    return (
        f"The estimate of {w.grams_rough(estimate)} of native gold is not above the {w.grams_rough(critical)} "
        "that bare rock could show."
    )


def gap_cause(cause: GapCause, w: Wording) -> str:
    """What the ceiling would be without one of its causes."""
    enough = "enough for the seller" if cause.closes else "still not enough"
    return f"{CAUSES[cause.cause].capitalize()} the house could pay {w.at_most(cause.ceiling_without)}: {enough}."


def ceiling(quote: Quote, w: Wording) -> list[str]:
    """What sets the buyer's ceiling, and what doubt costs."""
    if quote.buyer_ceiling is None or not quote.routes:
        return []
    best = max(quote.routes, key=lambda row: row.ceiling)
    if quote.buyer_ceiling <= 0:
        return ["Under these terms the house cannot pay anything."]
    told = [f"The ceiling comes from {ROUTES[best.route]} and is set by the {SET_BY[best.binds]}."]
    if quote.cost_of_doubt and quote.doubt_free_route is not None and quote.cost_of_doubt >= 1:
        told.append(
            f"Doubt costs {w.at_most(quote.cost_of_doubt)}: without it the house could pay "
            f"{w.at_most(quote.buyer_ceiling + quote.cost_of_doubt)} ({ROUTES[quote.doubt_free_route]})."
        )
    return told


def detection(quote: Quote, w: Wording) -> str:
    """How much native gold this weighing can see."""
    if quote.detection is None:
        return "The gold was measured elsewhere; the density of the piece was not used."
    seen = f"This weighing sees native gold above {w.grams_rough(quote.detection.critical_g)}"
    if quote.detection.limit_g is None:
        return f"{seen}, and no amount for certain."
    return f"{seen}, and for certain above {w.grams_rough(quote.detection.limit_g)}."


def hand_rule(rule: HandRule, w: Wording) -> str:
    """A hand rule's answer, what it takes for granted, and what that is worth on this piece."""
    name = {
        "quick": f"Quick rule, {QUICK_SUBMERGED:g} × submerged − {QUICK_DRY:g} × dry",
        "long": f"Long rule, (dry − {LONG_HOST_G_CM3:g} × loss in water) ÷ {LONG_CONSTANT:g} in troy ounces",
    }[rule.rule]
    grams = f"{w.grams_rough(rule.native_g, 3)} of native gold"
    if rule.native_g < 0:
        grams += ", less than nothing"
    host = w.number(rule.assumed_host_g_cm3, 3, least=2)
    native = w.number(rule.assumed_native_g_cm3, 2, least=1)
    fine = rule.assumed_fineness_frac
    fineness = "" if fine is None else f" (about {w.number(fine, 2)} fine)"
    more = "more" if rule.money_difference >= 0 else "less"
    return (
        f"{name}: {grams}. It assumes rock of {host} and native gold of {native} g/cm³{fineness}. Counted as fine "
        f"gold, that is {w.money_rough(abs(rule.money_difference))} {more} than this quote's melt value."
    )


def lookalike(key: str) -> str:
    """Name of an entry of `Quote.false_gold` with the amount that it stands for."""
    name = key.removesuffix("_g")
    if name == "void":
        return "1 % of the volume as voids"
    label = materials.lookalikes()[name].label.lower()
    return f"1 % of the volume as {label}" if name == "pyrite" else f"1 cm³ of {label}"


def hides(key: str) -> bool:
    """Whether an entry of `Quote.false_gold` hides gold, rather than looking like it."""
    name = key.removesuffix("_g")
    return name == "void" or materials.lookalikes()[name].effect == "hides"
