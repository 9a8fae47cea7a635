"""Checks of a weighing in words: rules of thumb for the same readings, and what looks like gold or hides it."""

from valuation import materials
from valuation.detection import LONG_CONSTANT, LONG_HOST_G_CM3, QUICK_DRY, QUICK_SUBMERGED
from valuation.result import HandRule, Quote
from webapp import sentences
from webapp.wording import Wording


def hand_rule(rule: HandRule, quote: Quote, w: Wording) -> str:
    """A hand rule's answer, what it takes for granted, and what that is worth on this piece."""
    name = {
        "quick": f"Quick rule, {w.number(QUICK_SUBMERGED, 1)} × submerged − {w.number(QUICK_DRY, 1)} × dry",
        "long": f"Long rule, (dry − {w.number(LONG_HOST_G_CM3, 2)} × loss in water) ÷ {w.number(LONG_CONSTANT, 2)} in "
        "troy ounces",
    }[rule.rule]
    grams = f"{w.grams_rough(rule.native_g, 3)} of native gold"
    if rule.native_g < 0:
        grams += ", less than nothing"
    host = w.number(rule.assumed_host_g_cm3, 3, least=2)
    native = w.number(rule.assumed_native_g_cm3, 2, least=1)
    fine = rule.assumed_fineness_frac
    fineness = "" if fine is None else f" (about {w.number(fine, 2)} fine)"
    assumed = f"It assumes rock of {host} and native gold of {native} g/cm³{fineness}."
    return f"{name}: {grams}. {assumed} {_worth(rule, quote, w)}"


def _worth(rule: HandRule, quote: Quote, w: Wording) -> str:
    if not sentences.is_seen(quote):
        as_fine = quote.melt_value.median + rule.money_difference
        if as_fine <= 0:
            return "It sees none either."
        return f"Counted as fine gold, that would be {w.money_rough(as_fine)}, where this weighing sees none."
    more = "more" if rule.money_difference >= 0 else "less"
    difference = f"{w.money_rough(abs(rule.money_difference))} {more}"
    return f"Counted as fine gold, that is {difference} than this quote's melt value."


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
