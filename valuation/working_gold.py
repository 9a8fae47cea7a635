"""Working of native gold, fine gold and melt value, and whether the weighing sees gold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from valuation import materials
from valuation.detection import K_95
from valuation.gold import DEFAULT_VOIDS
from valuation.mass import G_PER_OZT, G_PER_TOLA, grams_per
from valuation.money import currency_digits, exact
from valuation.observations import Gold, Rock
from valuation.request import QuoteRequest
from valuation.spread import Floats
from valuation.stages import Valuation, of_kept
from valuation.summary import quantiles, summarised
from valuation.terms import Claim, Spot
from valuation.working_sheet import (
    FROM_DRAWS,
    Draft,
    Ending,
    HeadlineWorking,
    Sheet,
    at_median,
    carried,
    ended,
    enough_digits,
    measured_decimals,
    money_decimals,
    origin,
)
from valuation.working_term import Term, plain, to_decimals
from valuation.working_weighing import weighing_drafts

TOLA = "180 grains of 1/7000 of the pound of 453.59237 g; 180 grains: Bengal Regulation VII of 1833, from memory"
TROY = "12/175 of the pound of 453.59237 g: UK Weights and Measures Act 1985, Schedule 1"
CURRIE = "one-sided 95 % normal quantile: Currie, Anal. Chem. 40 (1968) 586"
TOGETHER = "inputs in doubt that multiply and divide one another, the finite number of draws and rounding"


@dataclass(frozen=True)
class _Drawn:
    """Draws of a headline: all of them, and those that count."""

    every: Floats
    counted: Floats


def gold_workings(v: Valuation) -> list[HeadlineWorking]:
    """Workings from the readings, the measured range or the claim to fine gold."""
    drawn = _drawn(v)
    at_medians = {draft.key: draft for draft in _drafts(v, Sheet(40, at_median))}

    def build(s: Sheet) -> list[Draft]:
        return _drafts(v, s)

    likely = build(Sheet(40))
    endings = [_ending(v, draft, at_medians[draft.key], drawn[draft.key]) for draft in likely]
    found = [ended(d, e) for d, e in zip(enough_digits(build, endings), endings, strict=True)]
    return found if v.seen else [*found, _unseen(v)]


def _drawn(v: Valuation) -> dict[str, _Drawn]:
    content, weighed = v.content, v.weighed
    every = {"native_gold_g": content.native_g, "fine_gold_g": content.fine_g}
    if weighed is not None and content.host_g_cm3 is not None:
        every |= {
            "volume_cm3": np.asarray(weighed.volume_cm3),
            "mass_g": np.asarray(weighed.mass_g),
            "specific_gravity": np.asarray(weighed.specific_gravity),
            "rock_density_g_cm3": np.asarray(content.host_g_cm3),
        }
    elif v.lot.mass_g > 0:
        every["mass_g"] = v.lot.mass_g
    return {key: _Drawn(x[np.isfinite(x)] if x.ndim else x, of_kept(x, v.draws)) for key, x in every.items()}


def _ending(v: Valuation, draft: Draft, at_medians: Draft, drawn: _Drawn) -> Ending:
    counted = summarised(drawn.counted)
    before = summarised(drawn.every).median
    likely, middle = float(draft.reached.value), float(at_medians.reached.value)
    decimals = measured_decimals(counted.sd)
    if counted.sd == 0:
        return Ending(counted.median, decimals, closing="Known exactly.")
    kept = v.content.kept_frac
    what, parts, rest = "the median of all draws", [], TOGETHER
    claim = v.request.seller.claim
    if v.request.by_claim and claim is not None and claim.basis == "unknown":
        rest = f"draws that take the claim one way or the other, {rest}"
    if draft.reached.skewed:
        names = ", ".join(draft.reached.skewed)
        parts.append((f"ranges whose likely value is not their middle: {names}", middle - likely))
    if kept < 1:
        what = f"the median of the {_share(kept)} of all draws that leave a possible amount of gold"
        parts.append((f"dropping the {_share(1 - kept)} of draws that leave none", counted.median - before))
    return Ending(counted.median, decimals, what, tuple(parts), rest)


def _share(frac: float) -> str:
    return f"{100 * frac:.2g} %" if frac < 0.99 else f"{100 * frac:.4g} %"


def _drafts(v: Valuation, s: Sheet) -> list[Draft]:
    request = v.request
    if request.gold.measured is not None:
        return _measured(v, s)
    if request.by_claim:
        assert request.seller.claim is not None
        return _claimed(s, request.seller.claim, request.gold)
    assert request.weighing is not None and request.rock is not None
    drafts, got = weighing_drafts(s, request.weighing, request.rock)
    native = _native(s, got, request.rock, request.gold)
    drafts.append(Draft("native_gold_g", "Native gold", "g", s.taken(), native))
    return [*drafts, _fine(s, native, request.gold)]


def _fineness(s: Sheet, gold: Gold) -> Term:
    return s.likely(gold.fineness_frac, "fineness", origin(gold, "fineness_frac"), "frac")


def _alloy(s: Sheet, gold: Gold) -> Term:
    """Density of native gold."""
    fineness = _fineness(s, gold)
    share = s.likely(gold.copper_share_frac, "copper share of the rest", origin(gold, "copper_share_frac"), "frac")
    copper = s.step("Copper in the native gold", (1 - fineness) * share)
    silver = s.step("Silver in the native gold", 1 - fineness - copper)
    parts = {"gold": fineness, "silver": silver, "copper": copper}
    cm3 = [
        part / s.given(m.density_g_cm3, f"density of {metal}, g/cm³", f"table of metals: {m.source}")
        for metal, part in parts.items()
        for m in (materials.metals()[metal],)
    ]
    return s.step("Density of the native gold, volumes added", 1 / (cm3[0] + cm3[1] + cm3[2]), "g/cm³")


def _native(s: Sheet, got: dict[str, Term], rock: Rock, gold: Gold) -> Term:
    volume = got["volume"]
    if rock.chip is None:
        voids = s.likely(rock.void_frac or DEFAULT_VOIDS, "closed pores", origin(rock, "void_frac"), "frac")
        if voids.value:
            volume = s.step("Volume without closed pores", volume * (1 - voids), "cm³")
    density = _alloy(s, gold)
    host = got["host"]
    return s.step(
        "Native gold: what the piece weighs beyond rock of its volume, and the rock that the gold takes the place of",
        (got["mass"] - host * volume) / (1 - host / density),
        "g",
    )


def _fine(s: Sheet, native: Term, gold: Gold) -> Draft:
    native = carried(native, "native gold, g", "Native gold")
    fine = s.step("Fine gold", native * _fineness(s, gold), "g")
    return Draft("fine_gold_g", "Fine gold", "g", s.taken(), fine)


def _measured(v: Valuation, s: Sheet) -> list[Draft]:
    gold, drafts = v.request.gold, []
    assert gold.measured is not None
    if gold.measured.mass_g is not None:
        mass = s.step("As entered", s.given(gold.measured.mass_g, "mass of the piece, g"), "g")
        drafts.append(Draft("mass_g", "Mass", "g", s.taken(), mass))
    basis = gold.measured.basis
    grams = s.likely(gold.measured.grams, f"{basis} gold as measured elsewhere, g", "entered", "g")
    if basis == "native":
        native = s.step("As measured elsewhere", grams, "g")
        drafts.append(Draft("native_gold_g", "Native gold", "g", s.taken(), native))
        return [*drafts, _fine(s, native, gold)]
    native = s.step("Fine gold as measured elsewhere, over the fineness", grams / _fineness(s, gold), "g")
    drafts.append(Draft("native_gold_g", "Native gold", "g", s.taken(), native))
    fine = s.step("As measured elsewhere", grams, "g")
    return [*drafts, Draft("fine_gold_g", "Fine gold", "g", s.taken(), fine)]


def _claimed(s: Sheet, claim: Claim, gold: Gold) -> list[Draft]:
    drafts = []
    if claim.piece_g is not None:
        mass = s.step("As entered", s.given(claim.piece_g, "mass of the piece, g"), "g")
        drafts.append(Draft("mass_g", "Mass", "g", s.taken(), mass))
    claimed = s.given(claim.mass, f"claimed gold, {claim.unit}")
    if claim.unit != "g":
        source = {"ozt": TROY, "tola": TOLA}.get(claim.unit, "SI")
        claimed = claimed * s.given(grams_per(claim.unit), f"g in one {claim.unit}", source)
    right = s.likely(claim.right_frac, "share of the claim that is there", origin(claim, "right_frac"), "frac")
    there = s.step("Gold that is there of the claim", claimed * right, "g")
    native = there
    if claim.basis == "fine":
        native = s.step("If fine gold was meant, native gold", there / _fineness(s, gold), "g")
    elif claim.basis == "unknown":
        as_fine = s.step("If fine gold was meant, native gold", there / _fineness(s, gold), "g")
        native = s.step("Native and fine equally likely to be meant: the middle", (there + as_fine) / 2, "g")
    drafts.append(Draft("native_gold_g", "Native gold", "g", s.taken(), native))
    return [*drafts, _fine(s, native, gold)]


def _unseen(v: Valuation) -> HeadlineWorking:
    """Why the gold does not count as seen by weight."""
    assert v.detection is not None
    critical = v.detection.critical_g
    decimals = measured_decimals(critical)
    estimate, least = (plain(to_decimals(exact(x), decimals)) for x in (v.detection.estimate_g, critical))
    ending = Ending(
        critical,
        decimals,
        closing=f"Before impossible draws are dropped the median is {estimate} g, not above {least} g: gold is not "
        "seen by weight, and nothing that rests on its weight is priced.",
    )

    def build(s: Sheet) -> list[Draft]:
        factor = s.given(K_95, "factor", CURRIE)
        scatter = s.given(critical / K_95, "scatter of the estimate if there were no gold, g", FROM_DRAWS)
        least = s.step("Least gold that the weighing can tell from none", factor * scatter, "g")
        return [Draft("critical_g", "Seen by weight", "g", s.taken(), least)]

    return ended(enough_digits(build, [ending])[0], ending)


# ---- melt value


def median_fine(v: Valuation, s: Sheet) -> Term:
    """Fine gold as it enters whatever starts from its median."""
    return s.given(v.fine.median, "fine gold, median of the draws that count, g", "worked out under “Fine gold”")


def median_of_draws(values: Floats) -> float:
    """Median of draws of shape (n,) or ()."""
    return float(values) if values.ndim == 0 else quantiles(values, 0.5)[0]


def spot_per_ozt(s: Sheet, request: QuoteRequest) -> Term:
    """The gold price per troy ounce, as a line if it was entered otherwise."""
    return per_ozt(s, request.spot.gold, request.spot, "gold")


def per_ozt(s: Sheet, price: float, spot: Spot, metal: str) -> Term:
    """A metal's price per troy ounce."""
    unit = spot.unit
    entered = s.given(price, f"{metal} spot per {unit}")
    if unit == "ozt":
        return entered
    ounce = s.given(G_PER_OZT, "g in a troy ounce", TROY)
    per_g = entered
    if unit == "kg":
        per_g = entered / 1000
    elif unit == "tola":
        per_g = entered / s.given(G_PER_TOLA, "g in a tola", TOLA)
    return s.step(f"{metal.capitalize()} spot per troy ounce", per_g * ounce, f"{spot.currency}/ozt")


def melt_working(v: Valuation) -> HeadlineWorking:
    """Working of the median melt value."""
    spot = v.request.spot
    melt = v.fine.scaled(v.money_per_g)
    decimals = money_decimals(melt.sd, currency_digits(spot.currency))
    ending = Ending(
        melt.median,
        decimals,
        closing="Starts from the median of fine gold; at one price the melt value's median goes with it.",
    )

    def build(s: Sheet) -> list[Draft]:
        fine = median_fine(v, s)
        price = s.given(spot.gold, f"gold spot per {spot.unit}")
        if spot.unit == "ozt":
            fine = s.step("Fine gold in troy ounces", fine / s.given(G_PER_OZT, "g in a troy ounce", TROY), "ozt")
        elif spot.unit == "kg":
            fine = fine / 1000
        elif spot.unit == "tola":
            fine = s.step("Fine gold in tolas", fine / s.given(G_PER_TOLA, "g in a tola", TOLA), "tola")
        money = s.step("Melt value", fine * price, spot.currency, least_decimals=currency_digits(spot.currency))
        return [Draft("melt_value", "Melt value", spot.currency, s.taken(), money)]

    return ended(enough_digits(build, [ending])[0], ending)
