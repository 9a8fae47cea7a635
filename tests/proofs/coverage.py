"""Proof that the quoted 95 % range holds the truth 95 times in 100, on specimens of an independent simulator.

Run from the checkout: ``python -m tests.proofs.coverage [--count N] [--trial-count N] [--record]``. Prints
its tables, writes them into coverage.md with ``--record``, and exits with 1 if anything does not hold.
"""

import argparse
import multiprocessing
import sys
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from multiprocessing.pool import Pool
from pathlib import Path

from scipy.stats import binomtest

from tests.simulator.case import ANY_MASS_CASES, WELL_SEEN_CASES, Case
from tests.simulator.counter import Typed
from tests.simulator.switch import TRIALS, Switch, Trial
from tests.simulator.tally import Outcome, Refusal, Tally, as_typed, outcome, tally

SEED = 20260501
WELL_SEEN_LIMITS = 3.0
LEAST_COUNT = 2000
LEAST_TRIAL_COUNT = 500
LEAST_DROP_FRAC = 0.02  # what taking a large term for nothing must cost at least
CHANCE_OF_DROP_FRAC = 1e-4  # and how seldom chance alone may cost as much
PAGE = Path(__file__).with_name("coverage.md")
MARK = "<!-- written by coverage.py --record -->\n"

Outcomes = list[Outcome | Refusal]


@dataclass
class Report:
    """Lines of Markdown, and what did not hold."""

    lines: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)

    def add(self, *lines: str) -> None:
        """Print and keep lines."""
        self.lines.extend(lines)
        print(*lines, sep="\n", flush=True)

    def check(self, where: str, counted: Tally) -> None:
        """Note what chance does not explain in a group that must hold."""
        self.faults.extend(f"{where}: {fault}" for fault in counted.faults())


def numbered_outcome(number: int, case: Case, seed: int, change: Callable[[Typed], Typed]) -> Outcome | Refusal:
    """Outcome of one specimen, its number first, so that a pool can map over numbers."""
    return outcome(case, seed, number, change)


def outcomes_of(pool: Pool, case: Case, seed: int, count: int, switch: Switch | None = None) -> Outcomes:
    """Quote `count` specimens of one case on all processes."""
    change = as_typed if switch is None else switch.off
    job = partial(numbered_outcome, case=case, seed=seed, change=change)
    return pool.map(job, range(count), chunksize=25)


def _quoted(outcomes: Outcomes) -> list[Outcome]:
    return [o for o in outcomes if isinstance(o, Outcome)]


def _cell(counted: Tally) -> str:
    if counted.count == 0:
        return "none"
    low, high = counted.wilson()
    return f"{counted.coverage_frac:.3f} ({low:.3f} to {high:.3f}) of {counted.count}"


def _sides(counted: Tally) -> str:
    return f"{counted.below / counted.count:.3f} / {counted.above / counted.count:.3f}"


def known_mass_table(pool: Pool, count: int, report: Report) -> None:
    """Coverage by the true gold in detection limits; the groups over one limit must hold."""
    report.add(
        "### Gold mass log-uniform, grouped by true native gold in detection limits",
        "",
        "| case | gold, g | under 1 limit | 1 to 3 | over 3 | missed below / above, over 3 | no range |",
        "|---|---|---|---|---|---|---|",
    )
    for place, case in enumerate(WELL_SEEN_CASES):
        outcomes = outcomes_of(pool, case, SEED + place, count)
        quoted = _quoted(outcomes)
        under, middle, over = (
            tally(o for o in quoted if o.limits is not None and low <= o.limits < high)
            for low, high in ((0.0, 1.0), (1.0, WELL_SEEN_LIMITS), (WELL_SEEN_LIMITS, float("inf")))
        )
        report.check(f"{case.name}, 1 to 3 limits", middle)
        report.check(f"{case.name}, over 3 limits", over)
        refused = count - len(quoted)
        report.add(
            f"| {case.name} | {case.gold.low_g:g} to {case.gold.high_g:g} | {_cell(under)} | {_cell(middle)} "
            f"| {_cell(over)} | {_sides(over)} | {refused} |"
        )
        if any(o.limits is None for o in quoted):
            report.faults.append(f"{case.name}: some quotes find no detection limit")
        _check_refusals(case, outcomes, report)


def any_mass_table(pool: Pool, count: int, report: Report) -> None:
    """Coverage with the gold mass uniform from none; every group that the quote itself can tell must hold."""
    report.add(
        "",
        "### Gold mass uniform from none, grouped by what the quote itself says",
        "",
        "| case | gold, g | all | seen | not seen | missed below / above, all | no range |",
        "|---|---|---|---|---|---|---|",
    )
    for place, case in enumerate(ANY_MASS_CASES):
        outcomes = outcomes_of(pool, case, SEED + 100 + place, count)
        quoted = _quoted(outcomes)
        groups = {
            "all": tally(quoted),
            "seen": tally(o for o in quoted if o.seen),
            "not seen": tally(o for o in quoted if not o.seen),
        }
        for name, counted in groups.items():
            report.check(f"{case.name}, {name}", counted)
        cells = " | ".join(_cell(counted) for counted in groups.values())
        report.add(
            f"| {case.name} | 0 to {case.gold.high_g:g} | {cells} | {_sides(groups['all'])} | {count - len(quoted)} |"
        )
        _check_refusals(case, outcomes, report)


def _check_refusals(case: Case, outcomes: Outcomes, report: Report) -> None:
    """At most one honest weighing in a hundred may be refused: a quote needs 0.01 of its draws possible."""
    refused = [o for o in outcomes if isinstance(o, Refusal)]
    if len(refused) > 0.01 * len(outcomes):
        report.faults.append(f"{case.name}: {len(refused)} honest weighings refused, as {refused[0].reason}")


def trial_table(pool: Pool, count: int, report: Report) -> None:
    """What coverage becomes when an error term is switched off in the quote, on the same specimens."""
    report.add(
        "",
        "### Error terms switched off in the quote",
        "",
        "| case and term | known beforehand | coverage | change | width of the range |",
        "|---|---|---|---|---|",
    )
    for place, trial in enumerate(TRIALS):
        _trial_rows(pool, trial, SEED + 200 + place, count, report)


def _trial_rows(pool: Pool, trial: Trial, seed: int, count: int, report: Report) -> None:
    case = trial.case
    whole = {o.number: o for o in _quoted(outcomes_of(pool, case, seed, count))}
    counted = tally(whole.values())
    report.check(f"{case.name}, {case.gold.low_g:g} to {case.gold.high_g:g} g", counted)
    name = f"**{case.name}**, {case.gold.low_g:g} to {case.gold.high_g:g} g of gold"
    report.add(f"| {name} | | {_cell(counted)} | | 1 |")
    for switch in trial.large + trial.others:
        large = switch in trial.large
        less = {o.number: o for o in _quoted(outcomes_of(pool, case, seed, count, switch))}
        both = sorted(whole.keys() & less.keys())
        lost = sum(whole[n].side == "inside" != less[n].side for n in both)
        won = sum(whole[n].side != "inside" == less[n].side for n in both)
        width = sum(less[n].width_g for n in both) / sum(whole[n].width_g for n in both)
        change = (won - lost) / len(both)
        if large and (-change < LEAST_DROP_FRAC or chance_of_as_many(lost, won) > CHANCE_OF_DROP_FRAC):
            report.faults.append(
                f"{case.name}: {switch.name}: a large term, yet coverage hardly changes ({change:+.3f})"
            )
        report.add(
            f"| {switch.name} | {'large' if large else ''} | {tally(less.values()).coverage_frac:.3f} "
            f"| {change:+.3f} | {width:.3f} |"
        )


def chance_of_as_many(lost: int, won: int) -> float:
    """Probability of so many truths lost among those that changed sides, if either way were as likely.

    References
    ----------
    Q. McNemar, Psychometrika 12 (1947) 153-157, in its exact form.
    """
    if lost + won == 0:
        return 1.0
    return float(binomtest(lost, lost + won, 0.5, alternative="greater").pvalue)


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--count", type=int, default=3000, help="specimens a case")
    parser.add_argument("--trial-count", type=int, default=1000, help="specimens a switched-off term")
    parser.add_argument("--processes", type=int, default=multiprocessing.cpu_count())
    parser.add_argument("--record", action="store_true", help="write the tables into coverage.md")
    chosen = parser.parse_args()
    if chosen.count < LEAST_COUNT or chosen.trial_count < LEAST_TRIAL_COUNT:
        parser.error(
            f"too few to tell chance from a fault: --count from {LEAST_COUNT}, --trial-count from {LEAST_TRIAL_COUNT}"
        )
    report = Report()
    report.add(
        f"Seed {SEED}; {chosen.count} specimens a case, {chosen.trial_count} for each term switched off.",
        "In brackets the Wilson interval at 95 %.",
        "",
    )
    with multiprocessing.Pool(chosen.processes) as pool:
        known_mass_table(pool, chosen.count, report)
        any_mass_table(pool, chosen.count, report)
        trial_table(pool, chosen.trial_count, report)
    report.add("", "All held." if not report.faults else "DID NOT HOLD:", *(f"- {f}" for f in report.faults))
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(report.lines) + "\n", encoding="utf-8")
    return 1 if report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
