"""How long a second start takes until the address is printed; aim: under 2 s.

python3 -m tests.benchmarks.start_speed, from the checkout, after a first start. Compared with what no program
that uses the same libraries can be faster than: a Python that only imports them.
"""

import os
import signal
import statistics
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parent.parent.parent
STARTS = 9
LIBRARIES = "flask, numpy, pydantic, pydantic_settings, scipy.optimize, scipy.stats, waitress"


def start_s(command: list[str]) -> float:
    """Seconds from the call to the first line printed."""
    begun = time.perf_counter()
    with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        line = process.stdout.readline()
        taken = time.perf_counter() - begun
        process.send_signal(signal.SIGTERM)
    assert line.strip(), "it printed nothing"
    return taken


def main() -> None:
    app = [sys.executable, str(ROOT / "run.py"), "serve", "--no-browser"]
    bare = [sys.executable, "-c", f"import {LIBRARIES}; print('here')"]
    start_s(app)
    taken = [(start_s(app), start_s(bare)) for _ in range(STARTS)]
    app_s, bare_s = (statistics.median(times) for times in zip(*taken, strict=True))
    load = f", load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores" if hasattr(os, "getloadavg") else ""
    print(f"Start to address, median of {STARTS}: {app_s:.2f} s (fastest {min(a for a, _ in taken):.2f} s){load}")
    print(f"Importing the libraries alone: {bare_s:.2f} s; ratio {app_s / bare_s:.2f}")


if __name__ == "__main__":
    main()
