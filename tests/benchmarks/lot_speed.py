"""Time and memory of a lot by its number of pieces: `python -m tests.benchmarks.lot_speed`.

Prints wall time, processor time and the peak of memory above that of loading the program, each number in a process of
its own. Machines differ and are noisy, so no test asserts a time; the figures of the last deliberate run are recorded
in `tests/benchmarks/lot_speed.md`.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import time
import tomllib
import tracemalloc
from pathlib import Path
from typing import Any

import numpy as np

NUMBERS = (10, 100, 200, 201, 500, 1000, 2000)
EXAMPLE = tomllib.loads((Path(__file__).parent / "example.toml").read_text(encoding="utf-8"))
READINGS = ("dry_g", "submerged_g")


def lot_of(n: int) -> dict[str, Any]:
    """A lot of n invented pieces of two places, refined and sold intact."""
    rng = np.random.default_rng(n)
    entries = {name: value for name, value in EXAMPLE.items() if name not in ("title", "specimen", "said", "tests")}
    weighing = dict(entries.pop("weighing"))
    dry, wet = (float(np.mean(weighing.pop(name))) for name in READINGS)
    entries["seller"] = {k: v for k, v in entries.get("seller", {}).items() if k not in ("asks", "claim")}
    pieces = []
    for i in range(n):
        size = rng.uniform(0.2, 1.5)
        readings = {"dry_g": round(dry * size, 2), "submerged_g": round(wet * size, 2)}
        pieces.append({"source": "north" if i % 3 else "south", "weighing": readings})
    return {**entries, "weighing": weighing, "pieces": pieces}


def peak_mb() -> float:
    """Largest resident size so far, in MB; Linux tells kB, macOS bytes."""
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1e6 if sys.platform == "darwin" else 1e3)


def measured(n: int) -> dict[str, float]:
    """One lot of n pieces, timed in this process; then once more under tracemalloc."""
    from valuation import lot_quote, read_lot

    lot_quote(read_lot(lot_of(2)), log2_draws=12)
    before = peak_mb()
    start, processor = time.perf_counter(), time.process_time()
    request = read_lot(lot_of(n))
    quote = lot_quote(request)
    told = {
        "wall_s": time.perf_counter() - start,
        "processor_s": time.process_time() - processor,
        "resident_mb": peak_mb() - before,
        "draws": float(quote.draws),
    }
    tracemalloc.start()
    lot_quote(request)
    return {**told, "traced_mb": tracemalloc.get_traced_memory()[1] / 1e6}


def main() -> None:
    print("| Pieces | Draws | Wall | Processor | Resident, above start | Traced peak |\n|---|---|---|---|---|---|")
    for n in NUMBERS:
        command = [sys.executable, "-m", "tests.benchmarks.lot_speed", str(n)]
        row = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
        print(
            f"| {n} | {row['draws']:.0f} | {row['wall_s']:.2f} s | {row['processor_s']:.2f} s | "
            f"{row['resident_mb']:.0f} MB | {row['traced_mb']:.1f} MB |",
            flush=True,
        )


if __name__ == "__main__":
    if len(sys.argv) > 1:
        print(json.dumps(measured(int(sys.argv[1]))))
    else:
        main()
