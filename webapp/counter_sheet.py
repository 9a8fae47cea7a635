"""What the seller may see, worked out from nothing else than what the seller may see.

The house's terms, the seller's alternatives as the house knows them, the collector and the figures said are taken out
of the request before anything is computed, so that no figure of the counter view can depend on them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from valuation import Quote, QuoteRequest, materials, quote
from valuation.assumptions import value_words
from valuation.field import Section
from valuation.observations import Rock
from valuation.result import SettlementLine
from valuation.terms import Buyer, Seller
from webapp import charts
from webapp.entered import Line, readings, told
from webapp.marks import counter_marks, refining_total
from webapp.retold import retold
from webapp.titles import piece_words
from webapp.wording import Wording

ASSUMED = " (assumed)"
__all__ = ["CounterSheet", "Line", "counter_sheet", "public_part"]

# Cautions as the seller may read them; those that tell the house what to do are not here.
CAUTIONS = {
    "repeats_spread": "Readings of one weighing differ more than they should: the range may be too narrow.",
    "pores_filling": "The piece still took up water while it was weighed: the reading under water may be off.",
    "small_displacement": "The piece is small for this balance, so the range is wide.",
    "rock_doubtful": "The rock may not be what it was taken for.",
    "likely_no_gold": "The likeliest reading is no gold: the range holds only if there is gold.",
    "not_by_weight": "By weight alone this piece cannot be told from bare rock.",
    "price_old": "The price of gold was seen more than a day ago.",
    "lot_too_small": "The refiner does not take so small a lot.",
    "not_worth_sending": "The refiner's charges take as much as the gold brings.",
}


@dataclass(frozen=True)
class CounterSheet:
    """The counter view: every text in it is for the seller's eyes.

    Parameters
    ----------
    public : Quote or None
        Worked out from the public part of the request; None where nothing was weighed or measured.
    offer : float or None
        The one figure that the house has chosen to say.
    """

    request: QuoteRequest
    public: Quote | None
    offer: float | None
    w: Wording

    @property
    def heading(self) -> str:
        """What the piece is called: its title, else rock and mass; empty where it has neither."""
        return self.request.title.strip() or piece_words(self.request, self.w)

    @property
    def weighings(self) -> list[Line]:
        """The readings, and how the rock and the metal are known."""
        request = self.request
        lines = []
        if request.weighing is not None:
            wet = "Under water" if request.weighing.method == "suspended" else "Rise of the vessel"
            step = request.weighing.readability_g
            lines.append(Line("Dry", readings(request.weighing.dry_g, step, self.w)))
            lines.append(Line(wet, readings(request.weighing.wet_g, step, self.w)))
        if self.public is not None and self.public.specific_gravity is not None:
            gravity = self.public.specific_gravity
            lines.append(Line("Specific gravity", self.w.measure(gravity.median, gravity.sd, digits=1)))
        if request.weighing is not None and request.rock is not None:
            lines.append(Line("Rock taken as", _rock(request.rock, self.w)))
        if request.gold.measured is not None:
            lines.append(Line("Measured elsewhere", retold(value_words(request.gold.measured.grams, "g"), self.w)))
        lines.append(Line("Fineness taken", retold(value_words(request.gold.fineness_frac, "frac"), self.w)))
        return lines

    @property
    def price(self) -> list[Line]:
        """The price seen, and when."""
        spot = self.request.spot
        lines = [Line("Gold", f"{self.w.price(spot.gold)} per {spot.unit}")]
        if spot.silver is not None:
            lines.append(Line("Silver", f"{self.w.price(spot.silver)} per {spot.unit}"))
        if spot.seen_at is not None:
            lines.append(Line("Seen", self.w.moment(spot.seen_at)))
        return lines

    @property
    def refiner(self) -> list[Line]:
        """Every term of the refiner."""
        return [] if self.request.refiner is None else list(_terms(self.request.refiner, self.w))

    @property
    def steps(self) -> tuple[charts.Step, ...]:
        """From melt value to what refining pays."""
        return () if self.public is None else charts.refining_steps(self.public, self.w, private=False)

    @property
    def axis(self) -> charts.MoneyAxis | None:
        """Melt value, what refining pays, and the offer."""
        marks = [] if self.public is None else counter_marks(self.public, self.offer, self.w)
        return charts.money_axis(marks, self.w)

    @property
    def against_refining(self) -> str:
        """Why the offer differs from what refining pays, in one sentence that rests on those two alone.

        Empty where there is no offer or no refiner.
        """
        if self.public is None or self.offer is None or (paid := refining_total(self.public)) is None:
            return ""
        refined = next(row for row in self.public.routes if row.route == "refine")
        more = paid - self.offer
        told = self.w.money(abs(more), refined.sd)
        between = " and ".join(self._more(end - self.offer, refined.sd) for end in (refined.low, refined.high))
        if told == self.w.money(0.0, refined.sd):
            return f"Refining would likely pay about the same; 19 times in 20 between {between}."
        likely = f"Refining would likely pay {self._more(more, refined.sd)}; 19 times in 20 between {between}."
        if more > 0:
            return (
                f"{likely} The difference covers our work, our costs, the wait for the money, and the risk that there "
                "is less gold in it, or that it brings less, than we expect."
            )
        return f"{likely} We count on the piece as it stands, and the risk in that is ours."

    def _more(self, amount: float, sd: float) -> str:
        return f"{self.w.money(abs(amount), sd)} {'more' if amount >= 0 else 'less'}"

    @property
    def in_round_figures(self) -> str:
        """What refining pays, rounded by its doubt; empty where nothing is refined."""
        if self.public is None or (paid := refining_total(self.public)) is None:
            return ""
        refined = next(row for row in self.public.routes if row.route == "refine")
        ends = self.w.money_range(refined.low, refined.high, refined.sd)
        return f"In round figures {self.w.money(paid, refined.sd)}; 19 times in 20 {ends}."

    @property
    def refiner_assumed(self) -> str:
        """Which of the refiner's terms nobody entered; empty where all were."""
        refiner = self.request.refiner
        if refiner is None or not any(line.figure.endswith(ASSUMED) for line in self.refiner):
            return ""
        entered = refiner.model_fields_set - {"name"}
        return "What is marked assumed was not entered." if entered else "Assumed: no refiner was entered."

    @property
    def settlement(self) -> tuple[SettlementLine, ...]:
        """The refiner's statement as the seller may see it."""
        found = () if self.public is None else self.public.settlement
        return tuple(row for row in found if row.line != "waiting")

    @property
    def cautions(self) -> list[str]:
        """What is doubtful about the observations."""
        found = () if self.public is None else self.public.cautions
        return list(dict.fromkeys(CAUTIONS[caution.code] for caution in found if caution.code in CAUTIONS))

    def as_json(self) -> dict[str, Any]:
        """The same as figures."""
        public = self.public
        shown = ("specific_gravity", "mass_g", "volume_cm3", "native_gold_g", "fine_gold_g", "melt_value")
        return {
            "title": self.request.title,
            "currency": self.request.spot.currency,
            "weighing": None if self.request.weighing is None else self.request.weighing.model_dump(mode="json"),
            "spot": self.request.spot.model_dump(mode="json"),
            "refiner": None if self.request.refiner is None else self.request.refiner.model_dump(mode="json"),
            **{name: _plain(public, name) for name in shown},
            "settlement": [row.model_dump() for row in self.settlement],
            "offer": self.offer,
            "against_refining": self.against_refining,
            "cautions": self.cautions,
            "notices": [] if public is None else [notice.message for notice in public.notices],
        }


def counter_sheet(request: QuoteRequest, w: Wording) -> CounterSheet:
    """The counter view of a request.

    Raises
    ------
    ValuationError
        The readings are impossible together.
    """
    public = public_part(request)
    known = public.weighing is not None or public.gold.measured is not None
    return CounterSheet(public, quote(public) if known else None, request.buyer.offer, w)


def public_part(request: QuoteRequest) -> QuoteRequest:
    """The request without what is private."""
    # Without interest, so that what refining pays is what the refiner's statement says.
    private = {
        "buyer": Buyer(capital_rate_per_year=0.0),
        "seller": Seller(),
        "collector": None,
        "other_refiners": (),
        "said": (),
        "tests": (),
    }
    return request.model_copy(update=private)


def _plain(public: Quote | None, name: str) -> Any:
    summary = None if public is None else getattr(public, name)
    return None if summary is None else summary.model_dump()


def _rock(rock: Rock, w: Wording) -> str:
    if rock.kind is not None:
        return materials.rock(rock.kind).label
    if rock.density_g_cm3 is not None:
        return retold(value_words(rock.density_g_cm3, "g/cm³"), w)
    if rock.minerals is not None:
        return ", ".join(materials.mineral(share.name).label.lower() for share in rock.minerals).capitalize()
    return "its chip, weighed"


def _terms(refiner: Section, w: Wording) -> Iterator[Line]:
    for name, field in type(refiner).model_fields.items():
        value = getattr(refiner, name)
        is_set = name in refiner.model_fields_set
        nameless = name == "name" and not (is_set and value != field.default)
        if name in ("weight_step_ozt", "silver_recovery_frac") or value in (0, 0.0, None) or nameless:
            continue
        yield Line(str(field.title), told(refiner, name, field, w) + ("" if is_set else ASSUMED))
