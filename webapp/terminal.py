"""A quote as a page in the terminal."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from valuation.result import Assumption, Quote
from valuation.summary import Summary
from webapp import sentences, text_axis
from webapp.plain import GLUE, fitted
from webapp.wording import NBSP, Wording

INDENT = 2
WIDEST = 110  # longer lines tire the eye
LABELS = 18
LEAST_TO_KEEP_LABELS = 60
_TRAILING = re.compile(r"[ ]+((?:\x1b\[[0-9;]*m)*)$")
_STYLE_END = r"\1"
_UNIT_SPACE = re.compile(r"(?<=\d) (?=[%°a-zA-Z])")
SECTIONS = {
    "specimen": "Specimen",
    "weighing": "Weighing",
    "rock": "Rock",
    "gold": "Gold",
    "spot": "Price",
    "refiner": "Refiner",
    "other_refiners": "Other refiners",
    "collector": "Collector",
    "buyer": "Our terms",
    "seller": "Seller",
    "": "Method",
}


def print_quote(
    quote: Quote,
    console: Console,
    w: Wording,
    *,
    sources: bool = False,
    error: dict[str, float] | None = None,
) -> None:
    """Print the page of a quote.

    `sources` tells where each assumption comes from; `error` holds the numerical error of the headline figures.
    """
    page = _Page(quote, w, console.encoding, min(console.width, WIDEST))
    with console.capture() as captured:
        console.print(Group(*page.parts(sources=sources, error=error)), width=page.width)
    lines = captured.get().replace(GLUE, " ").splitlines()
    console.file.write("".join(f"{_TRAILING.sub(_STYLE_END, line)}\n" for line in lines))


@dataclass(frozen=True)
class _Page:
    quote: Quote
    w: Wording
    encoding: str
    width: int

    def parts(self, *, sources: bool, error: dict[str, float] | None) -> Iterator[RenderableType]:
        yield from self._head()
        yield from self._axis()
        yield from self._gold()
        yield from self._routes()
        yield from self._offer()
        yield from self._doubt(error)
        yield from self._hand_rules()
        yield from self._false_gold()
        yield from self._settlement()
        yield from self._cautions()
        yield from self._assumptions_with_sources() if sources else self._assumptions()
        yield from self._notices()

    # ---- pieces

    def _text(self, words: str, style: str = "") -> Text:
        return Text(fitted(words, self.encoding), style=style)

    def _heading(self, words: str, aside: str = "") -> Text:
        heading = Text("\n").append_text(self._text(words, "bold"))
        return heading.append_text(self._text(f"  {aside}", "dim")) if aside else heading

    def _inset(self, *parts: RenderableType) -> Padding:
        return Padding(Group(*parts), (0, 0, 0, INDENT))

    def _table(self, rows: Iterable[Iterable[str]], justify: str = "", head: Iterable[str] = ()) -> Padding:
        """Columns without lines; `justify` holds l or r for each column."""
        table = Table(box=None, padding=(0, 3, 0, 0), pad_edge=False, show_header=bool(head), header_style="dim")
        names = list(head) or [""] * len(justify)
        for i, (name, side) in enumerate(zip(names, justify, strict=True)):
            whole = i == 0 and self.width >= LEAST_TO_KEEP_LABELS
            table.add_column(self._text(name), justify="right" if side == "r" else "left", no_wrap=whole)
        for row in rows:
            table.add_row(*(self._text(cell) for cell in row))
        return self._inset(table)

    def _bullets(self, items: Iterable[str], mark: str = "-", style: str = "") -> Padding:
        table = Table.grid(padding=(0, 1, 0, 0))
        for item in items:
            table.add_row(self._text(mark, style), self._text(item))
        return self._inset(table)

    # ---- sections

    def _head(self) -> Iterator[RenderableType]:
        quote, w = self.quote, self.w
        yield self._text(quote.title or "Quote", "bold")
        yield self._text(f"{w.moment(quote.quoted_at)}, amounts in {quote.currency}. For the house only.", "dim")
        first, *rest = sentences.answer(quote, w)
        yield Text("")
        yield self._inset(self._text(first, "bold green" if quote.fair else "bold yellow"), *map(self._text, rest))
        if quote.cautions:
            count = len(quote.cautions)
            noun = "caution" if count == 1 else "cautions"
            yield self._inset(self._text(f"{count} {noun} below.", "yellow"))

    def _axis(self) -> Iterator[RenderableType]:
        quote = self.quote
        melt = quote.melt_value
        marks = [text_axis.Mark("Melt value", melt.low, melt.high, melt.median)]
        marks += [
            text_axis.Mark("Refined" if r.route == "refine" else "Sold intact", r.low, r.high, r.median)
            for r in quote.routes
        ]
        if quote.seller_floor is not None:
            marks.append(text_axis.Mark("Seller's floor", quote.seller_floor, quote.seller_floor))
        if quote.fair is not None:
            marks.append(text_axis.Mark("Fair range", quote.fair.low, quote.fair.high))
        if quote.buyer_ceiling is not None:
            marks.append(text_axis.Mark("House's ceiling", quote.buyer_ceiling, quote.buyer_ceiling))
        shown = [m for m in marks if self._visible(m)]
        strokes = text_axis.Strokes() if "utf" in self.encoding.lower() else text_axis.PLAIN
        rows = text_axis.drawn(shown, self.w, self.width - INDENT - LABELS, strokes)
        if rows:
            labels = ["", *(m.label for m in shown)]
            lines = [f"{label:<{LABELS}}{row}" for label, row in zip(labels, rows, strict=True)]
            yield self._heading("On one scale", "95 % ranges, median marked")
            yield self._inset(self._text(lines[0], "dim"), *(self._text(line) for line in lines[1:]))

    def _visible(self, mark: text_axis.Mark) -> bool:
        unseen = self.quote.detection is not None and not self.quote.detection.seen
        return not (unseen and mark.label == "Melt value")

    def _gold(self) -> Iterator[RenderableType]:
        quote, w = self.quote, self.w
        rows: list[tuple[str, str, str, str]] = []
        for name, summary, unit in (
            ("Mass", quote.mass_g, "g"),
            ("Volume", quote.volume_cm3, "cm³"),
            ("Specific gravity", quote.specific_gravity, ""),
        ):
            if summary is not None:
                rows.append((name, *self._measured(summary, unit), ""))
        for name, mass in (
            ("Native gold", quote.native_gold_g),
            ("Fine gold", quote.fine_gold_g),
            ("Fine silver", quote.fine_silver_g),
        ):
            rows.append((name, *self._measured(mass, "g"), w.ounces_range(mass.low, mass.high, mass.sd)))
        rows.append(("Melt value", *self._valued(quote.melt_value), ""))
        if quote.silver_value is not None:
            rows.append(("Silver, at spot", *self._valued(quote.silver_value), ""))
        yield self._heading("Gold")
        yield self._table(rows, "lrrr", ("", "median", "95 % range", "in troy ounces"))
        yield self._inset(self._text(sentences.detection(quote, w)))

    def _measured(self, s: Summary, unit: str) -> tuple[str, str]:
        return self.w.measure(s.median, s.sd, unit), self.w.measure_range(s.low, s.high, s.sd, unit)

    def _valued(self, s: Summary) -> tuple[str, str]:
        return self.w.money(s.median, s.sd), self.w.money_range(s.low, s.high, s.sd)

    def _routes(self) -> Iterator[RenderableType]:
        w = self.w
        if not self.quote.routes:
            return
        rows = [
            (
                "Refined" if r.route == "refine" else "Sold intact",
                w.money(r.mean, r.sd),
                w.money_range(r.low, r.high, r.sd),
                w.at_most(r.ceiling),
                sentences.LIMITS[r.binds],
            )
            for r in self.quote.routes
        ]
        yield self._heading("Ways out", "net, as worth today")
        yield self._table(rows, "lrrrl", ("", "mean", "95 % range", "allows", "set by"))

    def _offer(self) -> Iterator[RenderableType]:
        quote, w = self.quote, self.w
        if quote.buyer_ceiling is None and quote.seller_floor is None:
            return
        yield self._heading("Offer", "private: do not turn this to the seller")
        if quote.plan is not None:
            sides = (("House", quote.plan.buyer), ("Seller", quote.plan.seller))
            rows = [(name, w.price(side.open), w.price(side.aim), w.price(side.stop)) for name, side in sides]
            yield self._table(rows, "lrrr", ("", "opens", "aims for", "stops"))
        told = sentences.ceiling(quote, w)
        causes = [sentences.gap_cause(cause, w) for cause in quote.gap_causes]
        yield self._bullets([*told, *causes])

    def _doubt(self, error: dict[str, float] | None) -> Iterator[RenderableType]:
        quote, w = self.quote, self.w
        named = [row for row in quote.budget if row.money is not None]
        shown = [row for row in named if row.share_frac >= 0.01] or named[:1]
        rest = 1.0 - sum(row.share_frac for row in shown)
        bar = "█" if "utf" in self.encoding.lower() else "#"
        rows = [
            (row.input, w.percent(row.share_frac), bar * round(20 * row.share_frac), w.money_rough(row.money or 0.0, 2))
            for row in shown
        ]
        rows.append(("All other inputs", w.percent(max(0.0, rest)), bar * round(20 * max(0.0, rest)), ""))
        yield self._heading("What makes the doubt", "shares of the variance of fine gold")
        yield self._table(rows, "lrlr", ("", "share", "", "if exact, melt range narrows by"))
        if error is not None:
            yield self._inset(self._text("Numerical error of the figures, over 20 scrambles:"))
            yield self._table(((name.replace("_", " "), w.rough(x)) for name, x in error.items()), "lr")

    def _hand_rules(self) -> Iterator[RenderableType]:
        if self.quote.hand_rules:
            yield self._heading("Hand rules, for comparison")
            yield self._bullets(sentences.hand_rule(rule, self.w) for rule in self.quote.hand_rules)

    def _false_gold(self) -> Iterator[RenderableType]:
        if self.quote.false_gold is None:
            return
        ranked = sorted(self.quote.false_gold.items(), key=lambda pair: -pair[1])
        fakes = [(sentences.lookalike(key), self.w.grams_rough(g)) for key, g in ranked if not sentences.hides(key)]
        hiders = [(sentences.lookalike(key), self.w.grams_rough(g)) for key, g in ranked if sentences.hides(key)]
        yield self._heading("False and hidden gold", "in grams of native gold")
        rows = [
            (*(fakes[i] if i < len(fakes) else ("", "")), *(hiders[i] if i < len(hiders) else ("", "")))
            for i in range(max(len(fakes), len(hiders)))
        ]
        yield self._table(rows, "lrlr", ("would look like", "gold", "would hide", "gold"))

    def _settlement(self) -> Iterator[RenderableType]:
        if not self.quote.settlement:
            return
        rows = [(row.line, self.w.money(float(row.amount)), row.detail) for row in self.quote.settlement]
        yield self._heading("Refiner's settlement", "at the likely values")
        yield self._table(((name.capitalize(), amount, detail) for name, amount, detail in rows), "lrl")

    def _cautions(self) -> Iterator[RenderableType]:
        if self.quote.cautions:
            yield self._heading("Cautions")
            yield self._bullets((caution.message for caution in self.quote.cautions), "!", "bold yellow")

    def _grouped(self) -> dict[str, list[Assumption]]:
        groups: dict[str, list[Assumption]] = {name: [] for name in SECTIONS}
        for row in self.quote.assumptions:
            groups.setdefault(row.field.partition(".")[0], []).append(row)
        return {name: rows for name, rows in groups.items() if rows}

    def _assumed(self, row: Assumption) -> str:
        return _UNIT_SPACE.sub(NBSP, f"{row.name}: {row.value}".replace("money", self.quote.currency))

    def _assumptions(self) -> Iterator[RenderableType]:
        table = Table.grid(padding=(0, 3, 0, 0))
        for section, rows in self._grouped().items():
            words = "; ".join(map(self._assumed, rows))
            table.add_row(self._text(SECTIONS.get(section, section)), self._text(words))
        yield self._heading("Assumed", "nobody entered these; --sources tells where each comes from")
        yield self._inset(table)

    def _assumptions_with_sources(self) -> Iterator[RenderableType]:
        yield self._heading("Assumed", "nobody entered these")
        for section, rows in self._grouped().items():
            yield self._inset(self._text(SECTIONS.get(section, section), "bold"))
            for row in rows:
                line = self._text(f"{self._assumed(row)}. ").append_text(self._text(row.source, "dim"))
                yield Padding(line, (0, 0, 0, 2 * INDENT))

    def _notices(self) -> Iterator[RenderableType]:
        quote = self.quote
        yield self._heading("Always")
        yield self._bullets(notice.message for notice in quote.notices)
        yield Text("")
        yield self._text(f"{quote.method_version}, {quote.draws} draws, seed {quote.seed}", "dim")
