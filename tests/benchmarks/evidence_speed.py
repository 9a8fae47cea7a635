"""Speed of what tests are worth: `python -m tests.benchmarks.evidence_speed`.

Prints medians of one run and their ratio to a quote's; no test asserts a time. The figures of the last deliberate run
are recorded in `tests/benchmarks/evidence_speed.md`.
"""

from __future__ import annotations

import time

from scenarios import FIRST, scenario
from tests.benchmarks.quote_speed import median_ms
from valuation import evidence, quote

RUNS = 7
NAMES = (FIRST, "chip-pays", "no-test-pays", "comparable-sales")


def main() -> None:
    """Print the table."""
    print("| Scenario | Tests | Quote, ms | All tests, ms | Processor, ms | Ratio |")
    print("|---|---|---|---|---|---|")
    for name in NAMES:
        request = scenario(name).request()
        quoted = median_ms(lambda request=request: quote(request), RUNS)
        tested = median_ms(lambda request=request: evidence(request), RUNS)
        start = time.process_time()
        n_tests = len(evidence(request).tests)
        processor = 1000 * (time.process_time() - start)
        print(f"| {name} | {n_tests} | {quoted:.1f} | {tested:.0f} | {processor:.0f} | {tested / quoted:.0f} |")


if __name__ == "__main__":
    main()
