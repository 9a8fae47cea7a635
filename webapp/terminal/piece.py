"""What is in the piece: gold, what makes the doubt, hand rules, false and hidden gold."""

from collections.abc import Iterator
from itertools import zip_longest

from rich.console import RenderableType

from valuation.result import Quote
from webapp import checks_told, sentences
from webapp.terminal.page import Page

LEAST_SHOWN_FRAC = 0.01
LEAST_TOLD_FRAC = 0.005  # less would be printed as nothing


def gold(page: Page, quote: Quote) -> Iterator[RenderableType]:
    w = page.w
    rows: list[tuple[str, str, str, str]] = []
    for name, s, unit in (
        ("Mass", quote.mass_g, "g"),
        ("Volume", quote.volume_cm3, "cm³"),
        ("Specific gravity", quote.specific_gravity, ""),
    ):
        if s is not None:
            rows.append((name, w.measure(s.median, s.sd, unit), w.measure_range(s.low, s.high, s.sd, unit), ""))
    for name, s in (
        ("Native gold", quote.native_gold_g),
        ("Fine gold", quote.fine_gold_g),
        ("Fine silver", quote.fine_silver_g),
    ):
        ends = s.low, s.high, s.sd
        rows.append((name, w.grams(s.median, s.sd), w.grams_range(*ends), w.ounces_range(*ends)))
    for name, s in (("Melt value", quote.melt_value), ("Silver at spot", quote.silver_value)):
        if s is not None:
            rows.append((name, w.money(s.median, s.sd), w.money_range(s.low, s.high, s.sd), ""))
    yield page.heading("Gold", "" if sentences.is_seen(quote) else "not seen by weight; if there is any, then so much")
    head = ("", "median", "95 % range", "in troy ounces")
    yield page.table(rows, "lrrr", head, bold=("Fine gold", "Melt value"))
    yield page.inset(page.text(sentences.detection(quote, w)))


def doubt(page: Page, quote: Quote, error: dict[str, float] | None) -> Iterator[RenderableType]:
    w = page.w
    named = [row for row in quote.budget if row.money is not None]
    shown = [row for row in named if row.share_frac >= LEAST_SHOWN_FRAC] or named[:1]
    rest = max(0.0, 1.0 - sum(row.share_frac for row in shown))
    rows = [
        (row.input, w.percent(row.share_frac), page.bar(row.share_frac), w.money_rough(row.money or 0.0, 2))
        for row in shown
    ]
    if rest >= LEAST_TOLD_FRAC:
        rows.append(("All other inputs", w.percent(rest), page.bar(rest), ""))
    yield page.heading("What makes the doubt", "shares of the variance of fine gold; range of melt value")
    yield page.table(rows, "lrlr", ("", "share", "", "if exact, range shrinks"))
    if error is not None:
        yield page.heading("Numerical error", "standard deviation over 20 scrambles of the draws")
        yield page.table(((_figure_name(name), w.rough(x)) for name, x in error.items()), "lr")


def _figure_name(path: str) -> str:
    name = path.replace("_g.", " (g).").replace("_", " ").replace(".", ", ")
    return name[0].upper() + name[1:]


def hand_rules(page: Page, quote: Quote) -> Iterator[RenderableType]:
    if quote.hand_rules:
        yield page.heading("Hand rules, for comparison")
        yield page.bullets(checks_told.hand_rule(rule, quote, page.w) for rule in quote.hand_rules)


def false_gold(page: Page, quote: Quote) -> Iterator[RenderableType]:
    if quote.false_gold is None:
        return
    ranked = sorted(quote.false_gold.items(), key=lambda pair: -pair[1])
    told = [(checks_told.lookalike(key), page.w.grams_rough(g), checks_told.hides(key)) for key, g in ranked]
    fakes = [(name, grams) for name, grams, hidden in told if not hidden]
    hiders = [(name, grams) for name, grams, hidden in told if hidden]
    rows = [(*fake, *hider) for fake, hider in zip_longest(fakes, hiders, fillvalue=("", ""))]
    yield page.heading("False and hidden gold", "in grams of native gold")
    yield page.table(rows, "lrlr", ("would look like", "gold", "would hide", "gold"))
