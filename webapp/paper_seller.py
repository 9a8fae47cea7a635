"""The seller's paper: what the counter view shows, and nothing else."""

from __future__ import annotations

from valuation.assumptions import NOTICES
from webapp.counter_sheet import CounterSheet
from webapp.paper_content import PaperFacts, SellerPaper, head, pairs, picture, step_bars
from webapp.retold import retold


def seller_paper(sheet: CounterSheet, facts: PaperFacts) -> SellerPaper:
    """The seller's paper, from the counter view and nothing else."""
    w = sheet.w
    gold, words = _gold(sheet)
    return SellerPaper(
        head=head("Offer sheet", facts),
        size=facts.size,
        at=facts.handed_over_at,
        title=sheet.heading,
        description=sheet.request.specimen.description,
        offer="" if sheet.offer is None else w.price(sheet.offer),
        against_refining=sheet.against_refining,
        validity=facts.validity,
        gold=gold,
        gold_words=words,
        picture=picture(sheet.axis),
        weighings=pairs(sheet.weighings),
        price=pairs(sheet.price),
        steps=step_bars(sheet.steps, w) if sheet.steps else None,
        refiner=pairs(sheet.refiner),
        cautions=(*sheet.cautions, *facts.cautions),
        notices=tuple(retold(notice.message, w) for notice in NOTICES),
        photographs=tuple(facts.photographs),
    )


def _gold(sheet: CounterSheet) -> tuple[str, str]:
    public, w = sheet.public, sheet.w
    if public is None:
        return "not weighed", "Nothing was weighed: no gold was estimated."
    if public.detection is not None and not public.detection.seen:
        return "not seen", "By weight alone this piece cannot be told from bare rock."
    gold, melt = public.fine_gold_g, public.melt_value
    return (
        w.grams_range(gold.low, gold.high, gold.sd),
        f"fine gold, {w.ounces_range(gold.low, gold.high, gold.sd)}, 19 times in 20. Likely "
        f"{w.grams(gold.median, gold.sd)}, worth {w.money(melt.median, melt.sd)} as metal at the price seen.",
    )
