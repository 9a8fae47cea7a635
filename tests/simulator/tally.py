"""How often the quoted range holds the truth, and whether chance alone explains the count."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from scipy.stats import binom, binomtest

from tests.simulator.case import Case
from tests.simulator.counter import Typed, visit
from valuation import QuoteRequest, ValuationError, quote

NOMINAL_FRAC = 0.95
# One run of the proof looks at some fifty groups, twice each: at this chance a look, 99 runs of 100 hold.
FALSE_ALARM_FRAC = 1e-4

Side = Literal["inside", "truth below", "truth above"]
Change = Callable[[Typed], Typed]


@dataclass(frozen=True)
class Outcome:
    """One quoted specimen: where its true fine gold lay, and how large its gold was beside the limit."""

    number: int
    side: Side
    limits: float | None  # true native gold in detection limits; None where the quote finds no limit
    seen: bool
    width_g: float


@dataclass(frozen=True)
class Refusal:
    """A specimen for which no range was given."""

    number: int
    reason: str


def as_typed(typed: Typed) -> Typed:
    """Leave what was typed as it is."""
    return typed


def outcome(case: Case, seed: int, number: int, change: Change = as_typed) -> Outcome | Refusal:
    """Simulate, quote and compare one specimen."""
    true = visit(case, seed, number)
    try:
        quoted = quote(QuoteRequest.model_validate(change(true.typed)))
    except ValuationError as refused:
        return Refusal(number, str(refused))
    fine, truth_g = quoted.fine_gold_g, true.specimen.fine_gold_g
    side: Side = "inside"
    if truth_g < fine.low:
        side = "truth below"
    elif truth_g > fine.high:
        side = "truth above"
    detection = quoted.detection
    assert detection is not None, "a weighed specimen was quoted without a detection limit"
    return Outcome(
        number,
        side,
        None if detection.limit_g is None else true.specimen.native_gold_g / detection.limit_g,
        detection.seen,
        fine.high - fine.low,
    )


@dataclass(frozen=True)
class Tally:
    """Count of specimens and of those whose truth lay inside, below and above the quoted range."""

    count: int
    inside: int
    below: int
    above: int

    @property
    def coverage_frac(self) -> float:
        """Share of truths inside their range."""
        return self.inside / self.count

    def wilson(self) -> tuple[float, float]:
        """Wilson interval of the coverage at 95 %."""
        interval = binomtest(self.inside, self.count).proportion_ci(0.95, method="wilson")
        return float(interval.low), float(interval.high)

    def chance_band(self) -> tuple[float, float]:
        """Coverage that chance allows at this count if every range truly holds the truth 95 times in 100."""
        low, high = binom.interval(1.0 - FALSE_ALARM_FRAC, self.count, NOMINAL_FRAC)
        return float(low) / self.count, float(high) / self.count

    def most_on_one_side(self) -> int:
        """Number of truths beyond one end that chance allows, if each end is missed 2.5 times in 100."""
        return int(binom.ppf(1.0 - FALSE_ALARM_FRAC / 2.0, self.count, (1.0 - NOMINAL_FRAC) / 2.0))

    def faults(self) -> list[str]:
        """What chance does not explain; empty if it explains all."""
        low, high = self.chance_band()
        most = self.most_on_one_side()
        found = []
        if not low <= self.coverage_frac <= high:
            found.append(f"coverage {self.coverage_frac:.3f} outside {low:.3f} to {high:.3f}")
        for where, misses in (("below", self.below), ("above", self.above)):
            if misses > most:
                found.append(f"{misses} of {self.count} truths {where} the range, at most {most} by chance")
        return found


def tally(outcomes: Iterable[Outcome]) -> Tally:
    """Count outcomes by side."""
    sides = [o.side for o in outcomes]
    return Tally(len(sides), *(sides.count(s) for s in ("inside", "truth below", "truth above")))
