"""Proof that the record finds a wrong density of the rock and leaves a right one alone, on simulated shops.

Run from the checkout: ``python -m tests.proofs.record [--shops N] [--record]``. Prints its tables, writes them into
record.md with ``--record``, and exits with 1 if anything does not hold.
"""

import argparse
import multiprocessing
import sys
from dataclasses import dataclass
from functools import partial
from multiprocessing.pool import Pool
from pathlib import Path

import numpy as np
from scipy.stats import binom, binomtest

from tests.proofs.coverage import Report
from tests.simulator.case import FIST, VUGGY, with_any_gold_mass
from tests.simulator.shop import TITLES, Shop, pieces
from valuation import QuoteRequest, ValuationError, quote
from valuation.draws import SEED as ENGINE_SEED
from valuation.outcome import Refined
from valuation.record import record
from valuation.record_piece import Foretold, Settled, settled_piece
from valuation.record_result import Correction

SEED = 20261125
PIECES = 30
LOG2_DRAWS = 12
LEAST_SHOPS = 100
FALSE_ALARM_FRAC = 1e-4
# Of rock lighter than its table the pieces that come out below no gold get no quote, and so never settle.
LIGHTER_HOLDS_FRAC = 0.85
CASES = {"fist": FIST, "vuggy, voids 0 to 4 %": VUGGY}
PAGE = Path(__file__).with_name("record.md")
MARK = "<!-- written by record.py --record -->\n"


@dataclass(frozen=True)
class Sort:
    """A sort of shop; of one that `tells`, thirty pieces are enough to find 0.02 g/cm³."""

    shop: Shop
    name: str
    tells: bool

    @property
    def words(self) -> str:
        """What is true of it."""
        return f"{self.name}, {TITLES[self.shop.alike]}"


def sorts(denser_g_cm3: float) -> list[Sort]:
    """Every sort of shop whose rock is so much denser than stated."""
    found = [
        Sort(Shop(denser_g_cm3, alike, case=case), name, case is FIST)
        for name, case in CASES.items()
        for alike in TITLES
    ]
    return [sort for sort in found if denser_g_cm3 >= 0.0 or sort.tells]


def settled(shop: Shop, seed: int, count: int = PIECES) -> list[Settled]:
    """The shop's pieces as the record takes them."""
    found = []
    for number, one in enumerate(pieces(shop, seed, count)):
        request = QuoteRequest.model_validate(one.typed)
        foretold = Foretold(request, ENGINE_SEED, 0.0, {}, None, 0.0)
        told = Refined(fine_gold_g=one.recovered_g, paid=0, currency="USD", days=14)
        found.append(settled_piece(f"{number}", foretold, told, log2_draws=LOG2_DRAWS))
    return found


def corrected(seed: int, shop: Shop) -> Correction:
    """What the record says of the rock of one shop."""
    (found,) = record(settled(shop, seed)).corrections
    return found


def _interval(count: int, of: int) -> str:
    low, high = binomtest(count, of).proportion_ci(0.95, method="exact")
    return f"{count} of {of} ({low:.3f} to {high:.3f})"


def least(of: int, nominal: float = 0.95) -> int:
    """Fewest that chance allows where it is so many in 100 at least."""
    return int(binom.ppf(FALSE_ALARM_FRAC, of, nominal))


def density_table(pool: Pool, denser_g_cm3: float, shops: int, report: Report) -> None:
    """How many shops of each sort get a correction, and whether its interval holds the truth."""
    report.add(
        f"### Rock {denser_g_cm3:+.3f} g/cm³ against its table, {PIECES} settled pieces",
        "",
        "| shop | corrected | interval holds the truth | mean correction, g/cm³ | its doubt | error over doubt, sd |",
        "|---|---|---|---|---|---|",
    )
    for place, sort in enumerate(sorts(denser_g_cm3)):
        seeds = range(SEED + 100_000 * place, SEED + 100_000 * place + shops)
        told = pool.map(partial(corrected, shop=sort.shop), seeds, chunksize=5)
        suggested = sum(one.verdict == "suggested" for one in told)
        holds = sum(one.low <= denser_g_cm3 <= one.high for one in told)
        offsets, doubts = (np.array([getattr(one, name) for one in told]) for name in ("offset", "u_offset"))
        report.add(
            f"| {sort.words} | {_interval(suggested, shops)} | {_interval(holds, shops)} | {offsets.mean():+.4f} "
            f"| {doubts.mean():.4f} | {np.std((offsets - denser_g_cm3) / doubts):.2f} |"
        )
        right = suggested if denser_g_cm3 else shops - suggested
        if right < least(shops) and (sort.tells or not denser_g_cm3):
            report.faults.append(f"{sort.words}, {denser_g_cm3:+.3f}: right in {right} of {shops} only")
        if holds < least(shops, 0.95 if denser_g_cm3 >= 0.0 else LIGHTER_HOLDS_FRAC):
            report.faults.append(f"{sort.words}, {denser_g_cm3:+.3f}: interval holds in {holds} of {shops} only")
    report.add("")


def range_counts(seed: int, shop: Shop) -> tuple[int, int, int]:
    """Of one shop's pieces: how often the range of recovered gold held, that of gold contained did, and how many."""
    own = contained = 0
    told = settled(shop, seed)
    for one, bought in zip(told, pieces(shop, seed, PIECES), strict=True):
        if one.refined is None:
            continue
        own += one.refined.side == "inside"
        try:
            fine = quote(QuoteRequest.model_validate(bought.typed), log2_draws=LOG2_DRAWS).fine_gold_g
        except ValuationError:
            continue
        contained += fine.low <= bought.recovered_g <= fine.high
    return own, contained, sum(one.refined is not None for one in told)


def range_table(pool: Pool, shops: int, report: Report) -> None:
    """What the record counts for a shop whose quotes are right, and what it would count if it forgot recovery."""
    report.add(
        "### Ranges of a shop whose quotes are right, gold mass uniform from none",
        "",
        "| shop | range of recovered gold held | range of contained gold, recovery forgotten |",
        "|---|---|---|",
    )
    laws = (("fist, up to 40 g", 40.0), ("fist, up to 140 g", 140.0))
    for name, shop in ((name, Shop(case=with_any_gold_mass(FIST, high))) for name, high in laws):
        counted = pool.map(partial(range_counts, shop=shop), range(SEED + 700_000, SEED + 700_000 + shops), chunksize=5)
        own, contained, of = (sum(column) for column in zip(*counted, strict=True))
        report.add(f"| {name} | {_interval(own, of)} | {_interval(contained, of)} |")
        low, high = binom.interval(1.0 - FALSE_ALARM_FRAC, of, 0.95)
        if not low <= own <= high:
            report.faults.append(f"{name}: ranges of recovered gold held {own} of {of}")
    report.add("")


def main() -> int:
    """Run the proof; 0 if all holds."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--shops", type=int, default=500, help="shops of each sort")
    parser.add_argument("--processes", type=int, default=multiprocessing.cpu_count())
    parser.add_argument("--record", action="store_true", help="write the tables into record.md")
    chosen = parser.parse_args()
    if chosen.shops < LEAST_SHOPS:
        parser.error(f"too few to tell chance from a fault: --shops from {LEAST_SHOPS}")
    report = Report()
    report.add(f"Seed {SEED}; {chosen.shops} shops of each sort. In brackets the exact interval at 95 %.", "")
    with multiprocessing.Pool(chosen.processes) as pool:
        density_table(pool, 0.0, chosen.shops, report)
        density_table(pool, 0.02, chosen.shops, report)
        density_table(pool, -0.02, chosen.shops, report)
        range_table(pool, chosen.shops // 5, report)
    report.add("All held." if not report.faults else "DID NOT HOLD:", *(f"- {fault}" for fault in report.faults))
    if chosen.record:
        head = PAGE.read_text(encoding="utf-8").partition(MARK)[0]
        PAGE.write_text(head + MARK + "\n" + "\n".join(report.lines) + "\n", encoding="utf-8")
    return 1 if report.faults else 0


if __name__ == "__main__":
    sys.exit(main())
