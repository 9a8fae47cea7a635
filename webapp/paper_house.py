"""The working papers of the house: everything that the offer rests on, private figures included."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from valuation import Caution, HeadlineWorking, Quote, QuoteRequest
from valuation.observations import Specimen
from webapp import charts, checks_told, sentences
from webapp.ask_figures import ask_figures
from webapp.bargaining import in_words
from webapp.entered import entered
from webapp.marks import house_marks
from webapp.naming import Naming
from webapp.paper_content import (
    Block,
    HousePaper,
    Lines,
    Pair,
    PaperFacts,
    Part,
    Sentences,
    Table,
    head,
    pairs,
    picture,
    share_bars,
    step_bars,
)
from webapp.paper_working import working
from webapp.retold import retold
from webapp.wording import Wording


def house_paper(
    request: QuoteRequest,
    quote: Quote,
    workings: Sequence[HeadlineWorking],
    facts: PaperFacts,
    *,
    cautions: Sequence[Caution] = (),
    reason: str = "",
    confirmation: str = "",
) -> HousePaper:
    """The working papers of a sheet.

    Parameters
    ----------
    request, quote, workings : QuoteRequest, Quote, sequence of HeadlineWorking
        What was entered, what it comes to (with the price risk, if wanted), and how.
    facts : PaperFacts
        Those of the seller's copy; `facts.cautions` are the seller's and do not count here.
    cautions : sequence of Caution
        As the house sees them, its own limits among them.
    reason, confirmation : str
        Why the offer lies outside the plan, and what was said when an old price was taken; may be empty.
    """
    w = facts.w
    offer = request.buyer.offer
    parts = (
        _answer(quote, w),
        _picture(quote, w),
        _gold(quote, w),
        _ways_out(quote, w),
        _settlement(quote, w),
        _asked(quote, w),
        _said(quote, w),
        _deals(quote, w),
        _price_risk(quote, w),
        _doubt(quote, w),
        _checks(quote, w),
        Part("Cautions", (Sentences(tuple(retold(caution.message, w) for caution in cautions)),) if cautions else ()),
        _entered(request, w),
        _assumptions(quote, w),
        working(workings, w),
        _method(quote, w),
    )
    return HousePaper(
        head=head("Working papers", facts),
        size=facts.size,
        at=facts.handed_over_at,
        title=request.title,
        description=request.specimen.description,
        offer="" if offer is None else w.price(offer),
        reason=reason,
        confirmation=confirmation,
        validity=facts.validity,
        parts=tuple(part for part in parts if part.blocks),
        photographs=tuple(facts.photographs),
    )


def _answer(quote: Quote, w: Wording) -> Part:
    told = [*sentences.answer(quote, w), *sentences.ceiling(quote, w)]
    told += sentences.gap_causes(quote, w)
    blocks: list[Block] = [Sentences(tuple(told))]
    figures: list[Pair] = []
    if quote.seller_floor is not None:
        basis = sentences.FLOORS[quote.floor_basis]
        figures.append(("Seller's floor", f"{w.at_least(quote.seller_floor)} ({basis})"))
    if quote.fair is not None:
        ends = f"{w.price(quote.fair.low)} to {w.price(quote.fair.high)}"
        figures.append(("Fair range", f"{ends}, middle {w.price(quote.fair.middle)}"))
    if quote.buyer_ceiling is not None:
        figures.append(("House's ceiling", w.at_most(quote.buyer_ceiling)))
    if figures:
        blocks.append(Lines(tuple(figures)))
    naming = Naming(quote, w)
    plan = naming.plan
    if plan is not None:
        sides = (("We", plan.buyer), ("Seller", plan.seller))
        rows = tuple((who, w.price(side.open), w.price(side.aim), w.price(side.stop)) for who, side in sides)
        blocks.append(Table(("Plan", "open at", "aim for", "stop at"), rows))
        blocks += [Sentences(tuple(told))] if (told := sentences.plan_named(naming, plan)) else []
    return Part("Answer", tuple(blocks))


def _picture(quote: Quote, w: Wording) -> Part:
    drawn = picture(charts.money_axis(house_marks(quote, w), w))
    return Part("Money axis", () if drawn is None else (drawn,))


def _gold(quote: Quote, w: Wording) -> Part:
    gold, native, silver, melt = quote.fine_gold_g, quote.native_gold_g, quote.fine_silver_g, quote.melt_value
    rows = [
        ("Fine gold", w.mass(gold.median, gold.sd), w.mass_range(gold)),
        ("Native gold", w.mass(native.median, native.sd), w.mass_range(native)),
        ("Fine silver", w.mass(silver.median, silver.sd), w.mass_range(silver)),
        ("Melt value", w.money(melt.median, melt.sd), w.money_range(melt.low, melt.high, melt.sd)),
    ]
    others = (
        ("Specific gravity", quote.specific_gravity, ""),
        ("Volume", quote.volume_cm3, "cm³"),
        ("Mass", quote.mass_g, "g"),
    )
    for name, found, unit in others:
        if found is not None:
            ends = w.measure_range(found.low, found.high, found.sd, unit)
            rows.append((name, w.measure(found.median, found.sd, unit), ends))
    return Part("Gold", (Table(("", "median", "95 % range"), tuple(rows)), Sentences((sentences.detection(quote, w),))))


def _ways_out(quote: Quote, w: Wording) -> Part:
    if not quote.routes:
        return Part("What we can do with it", (Sentences(("No way out is priced.",)),))
    rows = tuple(
        (
            sentences.ROUTES[route.route].capitalize(),
            w.money(route.median, route.sd),
            w.money_range(route.low, route.high, route.sd),
            w.money(route.mean, route.sd),
            w.at_most(route.ceiling_by_margin),
            w.at_most(route.ceiling_by_risk),
            w.at_most(route.ceiling),
        )
        for route in quote.routes
    )
    columns = ("", "median", "95 % range", "on average", "for the margin", "for the chance of loss", "ceiling")
    caption = "What each brings in the hand today, and the most that it lets the house pay"
    blocks: list[Block] = [Table(columns, rows, caption)]
    if quote.premium is not None and quote.premium.basis != "entered":
        blocks.append(Sentences((sentences.premium(quote.premium, w),)))
    if len(quote.refiners) > 1:
        blocks.append(_refiners(quote, w))
    return Part("What we can do with it", tuple(blocks))


def _refiners(quote: Quote, w: Wording) -> Table:
    rows = []
    for row in quote.refiners:
        what = " (taken)" if row.chosen else "" if row.takes_it else " (lot too small)"
        ends = w.money_range(row.low, row.high, row.sd)
        rows.append((row.name + what, w.money(row.mean, row.sd), ends, w.chance(row.chance_best)))
    return Table(("Refiners, on the same draws", "on average", "95 % range", "best in"), tuple(rows))


def _settlement(quote: Quote, w: Wording) -> Part:
    steps = charts.refining_steps(quote, w)
    return Part("From melt value to what refining pays", (step_bars(steps, w),) if steps else ())


def _asked(quote: Quote, w: Wording) -> Part:
    blocks: list[Block] = []
    if quote.ask is not None:
        blocks.append(Sentences((sentences.asked(quote.ask, w), in_words(quote, w)[-1])))
        blocks.append(Lines(tuple(ask_figures(quote.ask, w))))
    if quote.claim is not None:
        blocks.append(Sentences(tuple(sentences.claim(quote.claim, w))))
    return Part("Asking price and claim", tuple(blocks))


def _said(quote: Quote, w: Wording) -> Part:
    if quote.counters is None or not quote.counters.said:
        return Part("Figures said", ())
    who = {"buyer": "We", "seller": "Seller"}
    rows = tuple((who[row.by], Naming(quote, w).spoken(row.figure)) for row in quote.counters.said)
    told = tuple(in_words(quote, w))
    return Part("Figures said", (Table(("By", "figure"), rows), Sentences(told)))


def _deals(quote: Quote, w: Wording) -> Part:
    rows = tuple(
        (
            sentences.DEALS[deal.deal],
            w.money_rough(deal.buyer.mean),
            w.chance(deal.buyer.loss_chance),
            w.money_rough(deal.seller.mean),
            w.money_rough(deal.seller.cash_today),
            f"{w.number(max(deal.buyer.paid_after_days, deal.seller.paid_after_days), 0)} days",
        )
        for deal in quote.deals
        if deal.offered and deal.buyer is not None and deal.seller is not None
    )
    if not quote.deals:
        return Part("Ways to deal", ())
    told = Sentences(tuple(sentences.deal(deal, w) for deal in quote.deals))
    columns = ("On average", "we gain", "at a loss", "seller gets", "today", "last paid")
    return Part("Ways to deal", (Table(columns, rows), told) if rows else (told,))


def _price_risk(quote: Quote, w: Wording) -> Part:
    risk = quote.price_risk
    if risk is None:
        return Part("If the metal price moves", ())
    rows = tuple(
        (f"{w.number(row.days, 0)} days", w.chance(row.chance_of_loss), w.at_most(row.ceiling)) for row in risk.rows
    )
    table = Table(("Price open for", "chance of loss", "ceiling"), rows, f"Refining, having paid {w.price(risk.price)}")
    told = sentences.price_fall(risk, w)
    return Part("If the metal price moves", (table, Sentences((told,))) if told else (table,))


def _doubt(quote: Quote, w: Wording) -> Part:
    shares = charts.doubt_shares(quote, w)
    return Part("What makes the doubt", (share_bars(shares),) if shares else ())


def _checks(quote: Quote, w: Wording) -> Part:
    told = tuple(checks_told.hand_rule(rule, quote, w) for rule in quote.hand_rules)
    blocks: list[Block] = [Sentences(told)] if told else []
    for title, hidden in (("Looks like gold to the balance", False), ("Hides gold from it", True)):
        rows = tuple(
            (checks_told.lookalike(key), w.grams_rough(grams))
            for key, grams in (quote.false_gold or {}).items()
            if checks_told.hides(key) == hidden
        )
        if rows:
            blocks.append(Table((title, "native gold"), rows))
    return Part("Checks", tuple(blocks))


def _entered(request: QuoteRequest, w: Wording) -> Part:
    """What somebody entered, without the seller's reference: that stands on no paper."""
    shown = request.model_copy(update={"specimen": Specimen()})
    return Part("Entered", tuple(Lines(pairs(lines), title) for title, lines in entered(shown, w)))


def _assumptions(quote: Quote, w: Wording) -> Part:
    rows = tuple(_assumed(quote, w))
    return Part("Assumed", (Table(("What nobody entered", "taken as", "source"), rows, words=(1, 2)),) if rows else ())


def _assumed(quote: Quote, w: Wording) -> Iterator[tuple[str, str, str]]:
    for row in quote.assumptions:
        yield row.name, retold(row.value, w), row.source


def _method(quote: Quote, w: Wording) -> Part:
    told = f"{w.number(quote.draws, 0)} draws, seed {quote.seed}, method {quote.method_version}."
    always = tuple(retold(notice.message, w) for notice in quote.notices)
    return Part("How it was worked out", (Sentences((f"Quoted {w.moment(quote.quoted_at)}. {told}", *always)),))
