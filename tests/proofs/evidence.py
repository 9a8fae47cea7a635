"""What tests are worth, by brute force, beside what the program says without it.

Run from the checkout: ``python -m tests.proofs.evidence [--outcomes N] [--pool N] [--record]``. Nothing of the
engine's physics, draws or weights is used: plain random draws go through the arithmetic of `tests.benchmarks.bare`;
for each outcome of a test the draws that agree with it are kept by rejection, and the rules of the bargain are worked
out on those. The program runs with several seeds, the brute force in blocks with draws of their own, so that both say
how far chance has moved them.
"""

from __future__ import annotations

import argparse
import sys
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks.bare import gold_stage, routes, triangular
from valuation import evidence, read_request
from valuation.decision import N_OUTCOMES

SEED = 20261006
MARGIN, HANDLING, ALPHA = 0.15, 60.0, 0.10
DAMAGE = 0.02
MOST_OFF = 4.0
SEEDS, BLOCKS = 8, 20
PAGE = Path(__file__).with_suffix(".md")
EXAMPLE = tomllib.loads((Path(__file__).parent.parent / "benchmarks" / "example.toml").read_text(encoding="utf-8"))
TESTS: list[dict[str, Any]] = [
    {"kind": "chip", "u_g_cm3": 0.006, "premium_lost_frac": DAMAGE, "cost": 20.0},
    {"kind": "fineness", "u_frac": 0.012, "premium_lost_frac": 0.0, "cost": 50.0},
    {"kind": "water_temperature", "u_degc": 0.3, "premium_lost_frac": 0.0, "cost": 5.0},
]
# A deal today at the middle; and none, with an ask at which the house may just as well not buy.
SELLERS: dict[str, dict[str, Any]] = {
    "a deal today": {"other_bid": 5150.0},
    "no deal today": {"other_bid": 5400.0, "asks": {"price": 7600.0}},
}
FIGURES = ("width_g", "change_chance", "gain_house", "gain_seller", "gain_both", "decision_value")


class Random:
    """Plain random draws by name of the input."""

    def __init__(self, seed: int, n: int) -> None:
        self.rng, self.n = np.random.default_rng(seed), n
        self.u = cache(lambda name: self.rng.random(n))
        self.z = cache(lambda name: self.rng.standard_normal(n))


@dataclass(frozen=True)
class Pool:
    """Draws of the example: fine gold, proceeds by way out, whole and with the premium damaged, what tests measure."""

    fine: Any
    whole: Any
    damaged: Any
    measured: dict[str, Any]


def pool(seed: int, n: int) -> Pool:
    draws = Random(seed, n)
    mass, _, _, fine, _, _ = gold_stage(draws.u, draws.z)
    refine, intact = routes(draws.u, draws.z, mass, fine)
    # Of what a collector pays, melt value is one part in 1 + premium; only the rest can be lost.
    premium = triangular(draws.u("premium"), 0.2, 0.6, 1.5)
    lost = np.where(draws.u("sale_event") < 0.92, DAMAGE * intact * premium / (1 + premium), 0.0)
    host = triangular(draws.u("host_density"), 2.60, 2.63, 2.65) * (1 - 0.002 * draws.u("void"))
    t = 19 + 2 * draws.u("water_temperature")
    water = 0.99997495 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))
    measured = {
        "chip": host / water * 0.9982,
        "fineness": triangular(draws.u("fineness"), 0.75, 0.85, 0.92),
        "water_temperature": t,
    }
    return Pool(fine, np.stack([refine, intact]), np.stack([refine, intact - lost]), measured)


def bargain(proceeds: Any, bid: float) -> tuple[float, float, int, bool, float]:
    """House's gain, seller's, way out, deal, middle: the rules of section 6 of the model."""
    means = proceeds.mean(axis=1)
    ceilings = np.minimum((means - HANDLING) / (1 + MARGIN), np.quantile(proceeds, ALPHA, axis=1) - HANDLING)
    best = int(np.argmax(ceilings))
    ceiling = max(0.0, float(ceilings[best]))
    if ceiling < bid:
        return 0.0, bid, best, False, 0.0
    middle = (ceiling + bid) / 2
    return float(means[best]) - HANDLING - middle, middle, best, True, middle


def nested(test: dict[str, Any], draws: Pool, bid: float, price: float, n_outcomes: int, seed: int) -> list[float]:
    """Every figure of a test by brute force: truths drawn apart from the pool, agreeing draws kept by rejection."""
    kind = test["kind"]
    u = next(value for key, value in test.items() if key.startswith("u_"))
    rng = np.random.default_rng(seed)
    truths = pool(seed + 1, n_outcomes).measured[kind]
    proceeds = draws.damaged if test["premium_lost_frac"] else draws.whole
    house, seller, route, deal, middle = bargain(proceeds, bid)
    quarter = 0.25 * 2 * (middle - bid)
    fair = (bid + quarter, 2 * middle - bid - quarter)
    idle = max(0.0, float((draws.whole.mean(axis=1) - HANDLING - price).max()))
    rows = []
    for y in truths + u * rng.standard_normal(n_outcomes):
        kept = rng.random(draws.fine.size) < np.exp(-0.5 * ((y - draws.measured[kind]) / u) ** 2)
        if kept.sum() < 500:  # too seldom to matter: the far tail of an outcome
            continue
        after = bargain(proceeds[:, kept], bid)
        low, high = np.quantile(draws.fine[kept], [0.025, 0.975])
        same = after[3] == deal and (not deal or (after[2] == route and fair[0] <= after[4] <= fair[1]))
        buys = float((draws.whole[:, kept].mean(axis=1) - HANDLING - price).max())
        gains = after[0] - house, after[1] - seller
        rows.append((high - low, float(not same), *gains, sum(gains), max(0.0, buys) - idle))
    return [float(figure) for figure in np.mean(rows, axis=0)]


def told(
    seller: dict[str, Any], seed: int = SEED, tests: list[dict[str, Any]] = TESTS
) -> tuple[float, dict[str, list[float]]]:
    """Today's price, and what the program says of each test."""
    found = evidence(read_request({**EXAMPLE, "seller": seller, "tests": tests}), seed=seed)
    assert found.today.price is not None
    return found.today.price, {row.kind: [getattr(row, name) for name in FIGURES] for row in found.tests}


@dataclass(frozen=True)
class Compared:
    """One figure of one test, by the program and by brute force."""

    where: str
    figure: str
    program: float
    u_program: float
    brute: float
    u_brute: float

    @property
    def line(self) -> str:
        """The row of the table."""
        program, brute = f"{self.program:.4g} ({self.u_program:.2g})", f"{self.brute:.4g} ({self.u_brute:.2g})"
        return f"| {self.where} | `{self.figure}` | {program} | {brute} | {self.off:+.1f} |"

    @property
    def off(self) -> float:
        """Difference in standard errors of both; a thousandth counts for nothing, nor does one outcome of 512."""
        least = 1.0 / N_OUTCOMES if self.figure == "change_chance" else 1e-3 * abs(self.brute) + 1e-9
        return float((self.program - self.brute) / np.hypot(self.u_program, self.u_brute + least))


def _mean(rows: list[list[float]]) -> tuple[Any, Any]:
    table = np.array(rows)
    return table.mean(axis=0), table.std(axis=0, ddof=1) / np.sqrt(len(table))


def compared(
    n_outcomes: int, n_pool: int, tests: list[dict[str, Any]] = TESTS, n_seeds: int = SEEDS, n_blocks: int = BLOCKS
) -> Iterator[Compared]:
    """Every figure of every test, with and without a deal today; so many outcomes of each in all."""
    by_seed = {case: [told(seller, SEED + i, tests) for i in range(n_seeds)] for case, seller in SELLERS.items()}
    for number, test in enumerate(tests):
        blocks: dict[str, list[list[float]]] = {case: [] for case in SELLERS}
        for seed in (SEED + 1000 * number + 10 * block for block in range(n_blocks)):
            draws = pool(seed + 2, n_pool)
            for case, seller in SELLERS.items():
                price = by_seed[case][0][0]
                blocks[case].append(nested(test, draws, seller["other_bid"], price, n_outcomes // n_blocks, seed))
        for case, found in by_seed.items():
            program, u_program = _mean([rows[test["kind"]] for _, rows in found])
            brute, u_brute = _mean(blocks[case])
            for i, name in enumerate(FIGURES):
                yield Compared(f"{test['kind']}, {case}", name, program[i], u_program[i], brute[i], u_brute[i])


def main() -> int:
    """Print the table; 1 if a figure is further off than chance explains."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--outcomes", type=int, default=2000)
    parser.add_argument("--pool", type=int, default=200_000)
    parser.add_argument("--record", action="store_true")
    options = parser.parse_args()
    rows = list(compared(options.outcomes, options.pool))
    lines = [
        "# What tests are worth, by brute force",
        "",
        "Written by `python -m tests.proofs.evidence --record`. The piece is that of `tests/benchmarks/example.toml`;",
        f"the program ran with {SEEDS} seeds. {options.outcomes:,} outcomes of each test were drawn apart, in {BLOCKS}",
        f"blocks; for each, those of the block's {options.pool:,} plain random draws were kept that agree with it",
        "(rejection). In brackets one standard error.",
        "",
        "| Test | Figure | Program | Brute force | Difference in standard errors |",
        "|---|---|---|---|---|",
        *(row.line for row in rows),
    ]
    print(*lines, sep="\n")
    if options.record:
        PAGE.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return int(max(abs(row.off) for row in rows) > MOST_OFF)


if __name__ == "__main__":
    sys.exit(main())
