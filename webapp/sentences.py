"""What a quote says in words; the same on every screen and page."""

from valuation.result import Assumption, Quote
from valuation.trade import AskResult, ClaimResult, DealRow, PremiumResult, PriceRisk
from webapp.naming import NamedPlan, Naming
from webapp.retold import retold
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
SET_BY = {"margin": "the margin needed", "risk": "the accepted chance of loss"}
ASKED = {
    "below_floor": "is below what the seller could get elsewhere: ask why",
    "below_assumed": "is below what we assume they could get elsewhere (70 % of the melt value): ask what they could",
    "under": "is under the fair range",
    "inside": "lies inside the fair range",
    "above_fair": "is above the fair range, but within what the house can pay",
    "above_ceiling": "is more than the house can pay",
    "within": "is within what the house can pay",
    "below_known_alternative": "is within what the house can pay, and the seller could get more elsewhere: ask why",
    "no_deal_low": "is more than the house can pay, and less than the seller could get elsewhere",
    "no_deal": "is more than the house can pay, and the seller has a better way elsewhere",
    "floor_unknown": "cannot be held against an alternative of the seller, as none is known",
    "not_by_weight": "cannot be judged by weight",
}
LIKELY_TRUE = 0.5  # from here on a claim needs nothing out of the way
TOO_TRUE = 0.95  # from here on what looks like gold to the balance is named beside the claim
DEALS = {"cash": "Cash", "advance_and_settle": "Advance, then settle", "consign": "Consign"}
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
    lines = told[quote.verdict](quote, w)
    return lines if quote.ask is None else [*lines, asking_price(quote.ask, w)]


def asking_price(ask: AskResult, w: Wording) -> str:
    """Where the price lies that is asked now."""
    where = ASKED[ask.verdict]
    if ask.verdict == "floor_unknown" and ask.worth_paying is not None:
        where = ASKED["within" if ask.all_in <= ask.worth_paying else "above_ceiling"]
    elif ask.verdict == "below_floor" and ask.floor_assumed:
        where = ASKED["below_assumed"]
    price = Wording(w.locale, ask.extras.currency).price(ask.price)
    if not ask.extras.is_nothing or ask.extras.currency != w.currency:
        price += f" ({w.price(ask.all_in)} all in)"
    if ask.price != ask.first_asked:
        return f"The {price} now asked {where}."
    return f"The asking price of {price} {where}."


def asked(ask: AskResult, w: Wording) -> str:
    """The verdict on an asking price with its reason."""
    return retold(ask.reason, w)


def _fair_range(quote: Quote, w: Wording) -> list[str]:
    assert quote.fair is not None and quote.plan is not None
    low, middle, high = (w.price(x) for x in (quote.fair.low, quote.fair.middle, quote.fair.high))
    first = f"A fair price is {middle}." if low == high else f"A fair price is {low} to {high}; the middle is {middle}."
    return [first, _limits(quote, w), *([] if is_seen(quote) else [_unseen(quote, w)])]


def _limits(quote: Quote, w: Wording) -> str:
    assert quote.buyer_ceiling is not None and quote.seller_floor is not None
    ceiling, floor = w.at_most(quote.buyer_ceiling), w.at_least(quote.seller_floor)
    return f"The house's ceiling is {ceiling}, the seller's floor {floor} ({FLOORS[quote.floor_basis]})."


def rounding(quote: Quote, w: Wording, increment: float | None = None) -> str:
    """The step of the plan, and why it is another than the house's own, where that is known."""
    assert quote.plan is not None
    told = f"Each side stops at its limit, rounded to a whole {w.price(quote.plan.step)} on the safe side"
    if increment is None or quote.plan.step >= increment:
        return f"{told}."
    return (
        f"{told}; the house's own step of {w.price(increment)} does not go four times between floor and ceiling, "
        "so a finer one was taken."
    )


def plan_named(naming: Naming, plan: NamedPlan) -> list[str]:
    """What the figures of the plan are, where they are not simply the plan's."""
    told = []
    if not naming.is_plain:
        last = plan.buyer.stop
        told.append(f"These are prices to name; our stop of {naming.w.price(last)} {naming.costs(last)}.")
    if plan.capped and naming.asked is not None:
        assert naming.quote.plan is not None
        stop = f"{naming.w.price(naming.quote.plan.buyer.stop)}{'' if naming.is_plain else ' all in'}"
        asked = naming.w.price(naming.asked)
        told.append(f"They ask {asked}: no figure of ours goes above that; by itself the plan would stop at {stop}.")
    return told


def _no_fair_price(quote: Quote, w: Wording) -> list[str]:
    assert quote.buyer_ceiling is not None and quote.seller_floor is not None
    if not quote.gap:
        return ["There is no whole price between the seller's floor and the house's ceiling.", _limits(quote, w)]
    gap = w.at_least(quote.gap)
    return [f"There is no fair cash price: the seller's floor is {gap} above the house's ceiling.", _limits(quote, w)]


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


def gap_causes(quote: Quote, w: Wording) -> list[str]:
    """What the house's ceiling would be without each cause of the gap, held against what the seller wants.

    Causes that change nothing are left out; there are none where the seller asks no more than the ceiling.
    """
    if quote.buyer_ceiling is None or quote.seller_floor is None:
        return []
    goal = quote.seller_floor if quote.ask is None else quote.ask.all_in
    floor = "assumed floor" if quote.floor_basis == "assumed" else "seller's floor"
    extras = quote.ask is not None and not quote.ask.extras.is_nothing
    named = f"the {floor} of {w.at_least(goal)}"
    if quote.ask is not None:
        named = f"the {w.at_least(goal)}{' all in' if extras else ''} asked"
    if goal <= quote.buyer_ceiling:
        return []
    told = []
    for cause in quote.gap_causes:
        most = w.at_most(cause.ceiling_without)
        if most == w.at_most(quote.buyer_ceiling):
            continue
        missing = goal - cause.ceiling_without
        held = f"enough for {named}" if missing <= 0 else f"{w.at_least(missing)} short of {named}"
        told.append(f"{CAUSES[cause.cause].capitalize()} the house could pay {most}: {held}.")
    return told


def ceiling(quote: Quote, w: Wording) -> list[str]:
    """What sets the house's ceiling, and what doubt costs."""
    if quote.buyer_ceiling is None or not quote.routes:
        return []
    best = max(quote.routes, key=lambda row: row.ceiling)
    if quote.buyer_ceiling <= 0:
        return ["Under these terms the house cannot pay anything."]
    told = [f"The house's ceiling comes from {ROUTES[best.route]}; {SET_BY[best.binds]} sets it."]
    if quote.cost_of_doubt and quote.doubt_free_route is not None and quote.cost_of_doubt >= 1:
        told.append(
            f"Doubt costs {w.at_most(quote.cost_of_doubt)}: without it the house could pay "
            f"{w.at_most(quote.buyer_ceiling + quote.cost_of_doubt)} ({ROUTES[quote.doubt_free_route]})."
        )
    return told


def detection(quote: Quote, w: Wording) -> str:
    """How much native gold this weighing can see."""
    if quote.detection is None:
        if any(caution.code == "claim_only" for caution in quote.cautions):
            return "Nothing was weighed: these figures rest on the claim alone."
        return "The gold was measured elsewhere; the density of the piece was not used."
    seen = f"This weighing sees native gold above {w.grams_rough(quote.detection.critical_g)}"
    if quote.detection.limit_g is None:
        return f"{seen}, and no amount for certain."
    return f"{seen}, and for certain above {w.grams_rough(quote.detection.limit_g)}."


def is_seen(quote: Quote) -> bool:
    """Whether there is gold to value: seen by weight, or known otherwise."""
    return quote.detection is None or quote.detection.seen


def deal(row: DealRow, w: Wording) -> str:
    """A way to deal and what it means for both, or why it is not offered."""
    name, fixed = DEALS[row.deal], {term.term: term.amount for term in row.terms}
    if not row.offered:
        return f"{name}: {retold(row.reason, w)}"
    if row.deal == "cash":
        return f"{name}: {w.price(fixed['price'])} today; the house bears all of the doubt about gold and price."
    if row.deal == "consign":
        share = w.percent(fixed["commission_frac"], 1)
        return (
            f"{name}: the seller keeps title; the house sells for {share} of the price and bears the selling cost. "
            "Unsold, the piece goes back."
        )
    return (
        f"{name}: {w.price(fixed['advance'])} today, and at settlement {w.percent(fixed['share_frac'], 1)} of what the "
        f"refiner pays beyond {w.price(fixed['threshold'])}. The seller bears the doubt about gold and price above the "
        "advance."
    )


def claim_in_brief(quote: Quote, w: Wording) -> str:
    """The claim beside what the weighing shows, in one line for the head of the answer."""
    assert quote.claim is not None
    gold, chance = quote.fine_gold_g, max(reading.chance for reading in quote.claim.readings)
    found = w.grams_range(gold.low, gold.high, gold.sd)
    told = (
        f"Claimed {w.grams_rough(quote.claim.claimed_g)}, found {found} of fine gold: "
        f"the chance that it is true is {w.chance(chance)}."
    )
    if chance < TOO_TRUE or quote.false_gold is None:
        return told
    return f"{told} Before you believe so much: pyrite, lead or tungsten inside would weigh like gold. Look for them."


def claim(result: ClaimResult, w: Wording) -> list[str]:
    """A claim of so much gold, and what would make it true."""
    told = [retold(result.message, w)]
    for reading in result.readings:
        if reading.chance >= LIKELY_TRUE:
            continue
        needs = []
        if reading.fineness_needed_frac is not None:
            needs.append(f"gold {w.number(reading.fineness_needed_frac, 2)} fine")
        if reading.host_needed_g_cm3 is not None:
            where = "within" if reading.host_within else "outside"
            needs.append(f"rock of {w.number(reading.host_needed_g_cm3, 3)} g/cm³ ({where} the range of the rock)")
        if needs:
            told.append(f"Meant as {reading.basis} gold it needs {' or '.join(needs)}.")
    if result.silver_called_gold_g > 0:
        worth = w.money_rough(result.silver_called_gold_money)
        told.append(f"Silver called gold: {w.grams_rough(result.silver_called_gold_g)}, {worth} if it were gold.")
    return told


def premium(result: PremiumResult, w: Wording) -> str:
    """Where the collector's premium comes from."""
    low, high = w.number(100 * result.low_frac, 0), w.percent(result.high_frac)
    told = f"The premium, {low} to {high} (8 times in 10), likely {w.percent(result.likely_frac)}, comes from "
    if result.basis == "rubric":
        return f"{told}the graded qualities of the piece."
    sales = len([sale for sale in result.sales if not sale.ignored])
    effective = "" if result.n_effective is None else f", worth {w.number(result.n_effective, 1)} of equal weight"
    check = result.leave_one_out
    held = "" if check is None else f"; the range held {check.held} of {check.of} of them when left out in turn"
    return f"{told}{sales} comparable sales{effective}{held}."


def price_fall(risk: PriceRisk, w: Wording) -> str:
    """How far the metal price may fall until the purchase only just pays."""
    if risk.break_even_fall_frac is None:
        return ""
    if risk.break_even_fall_frac <= 0:
        return "At today's metal price refining does not pay that on average."
    fall = f"The gold price may fall {w.percent(risk.break_even_fall_frac, 1)} until refining only just pays"
    if risk.chance_of_fall is None:
        return f"{fall}."
    if risk.open_days == 0:
        return f"{fall}; it is fixed on receipt, so that a later fall costs nothing."
    within = "" if risk.open_days is None else f" within the {w.number(risk.open_days, 0)} days to settlement"
    return f"{fall}; the chance of that{within} is {w.chance(risk.chance_of_fall)}."


def assumed(row: Assumption, w: Wording) -> str:
    """A value that nobody entered."""
    return f"{row.name}: {retold(row.value, w)}"
