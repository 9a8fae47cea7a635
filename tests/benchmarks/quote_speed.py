"""Speed, memory and numerical error of a quote: `python -m tests.benchmarks.quote_speed`.

Prints medians and ratios of one run. Machines differ and are noisy, so no test asserts a time; the figures of the last
deliberate run are recorded in `tests/benchmarks/quote_speed.md`.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
import tomllib
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from tests.benchmarks import bare
from valuation import QuoteRequest, quote, read_request
from valuation.draws import Draws
from valuation.gold import gold_by_density
from valuation.summary import summarised
from valuation.weighing import weighed_specimen

EXAMPLE = tomllib.loads((Path(__file__).parent / "example.toml").read_text(encoding="utf-8"))
SCRAMBLES = 20
LIBRARY_RUNS = 15
FEW = 20_000
FIGURES = ("mean", "median", "low", "high")


def median_ms(work: Callable[[], Any], runs: int) -> float:
    work()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        work()
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times)


REQUEST = read_request(EXAMPLE)


def our_gold(draws: Draws, request: QuoteRequest = REQUEST) -> Any:
    assert request.weighing is not None and request.rock is not None
    weighed = weighed_specimen(request.weighing, draws)
    content = gold_by_density(weighed, request.rock, request.gold, request.weighing, draws)
    return summarised(content.fine_g[content.possible])


def errors(run: Callable[[int], Any], runs: int) -> dict[str, float]:
    """Standard deviation of each figure over independent runs."""
    rows = [run(i) for i in range(runs)]
    return {name: float(np.std([getattr(row, name) for row in rows], ddof=1)) for name in FIGURES}


EQUATION = (
    "f = fin*(((412.5833333333333+r1+p1+l1)*(1+s)*0.999850088+0.0011992936*V) - h*V*(1-v))"
    "/(1-h*(fin/19.3+(1-fin)*0.09582)/(1+eps))"
).replace(
    "V",
    "((141.2083333333333+r1+p1+l1-r2-p2-l2-m)*(1+s)*0.999850088"
    "/(0.99997495*(1-(t-3.983035)**2*(t+301.797)/(522528.9*(t+69.34881)))-0.0011992936)*(1-a))",
)


def suncal_model() -> Any:
    from suncal import Model

    model = Model(EQUATION)
    for name, half in (("r1", 0.05), ("r2", 0.05)):
        model.var(name).measure(0.0).typeb(dist="triangular", a=half)
    for name, centre, half in (
        ("l1", 0.0, 0.05), ("l2", 0.0, 0.05), ("s", 0.0, 0.0003), ("m", 0.0, bare.PULL_G / 2),
        ("t", 20.0, 1.0), ("a", 0.00015, 0.00015), ("v", 0.001, 0.001),
    ):  # fmt: skip
        model.var(name).measure(centre).typeb(dist="uniform", a=half)
    for name, sd in (("p1", 0.05 / 3**0.5), ("p2", 0.05 / 2**0.5), ("eps", 0.004)):
        model.var(name).measure(0.0).typeb(dist="normal", std=sd)
    # suncal's triangle is symmetric: its width is chosen so that the standard deviation is that of the request's.
    for name, centre, half in (("h", 2.6266667, 0.0251661), ("fin", 0.84, 0.0854400)):
        model.var(name).measure(centre).typeb(dist="triangular", a=half)
    return model


def suncal_run(model: Any, n: int) -> Any:
    result = model.monte_carlo(samples=n)
    return summarised(np.asarray(result.samples["f"], dtype=float))


def metrolopy_model() -> Any:
    import metrolopy as uc

    g: dict[str, Any] = {}
    for name, half in (("r1", 0.05), ("r2", 0.05)):
        g[name] = uc.gummy(uc.TriangularDist(0.0, half_width=half))
    for name, centre, half in (
        ("l1", 0.0, 0.05), ("l2", 0.0, 0.05), ("s", 0.0, 0.0003), ("m", 0.0, bare.PULL_G / 2),
        ("t", 20.0, 1.0), ("a", 0.00015, 0.00015), ("v", 0.001, 0.001),
    ):  # fmt: skip
        g[name] = uc.gummy(uc.UniformDist(center=centre, half_width=half))
    for name, sd in (("p1", 0.05 / 3**0.5), ("p2", 0.05 / 2**0.5), ("eps", 0.004)):
        g[name] = uc.gummy(0.0, u=sd)
    g["h"] = uc.gummy(uc.TriangularDist(2.63, left_width=0.03, right_width=0.02))
    g["fin"] = uc.gummy(uc.TriangularDist(0.85, left_width=0.10, right_width=0.07))
    return eval(EQUATION.removeprefix("f = "), {}, g)  # our own constant text, two libraries, one equation


def metrolopy_run(figure: Any, n: int) -> Any:
    import metrolopy as uc

    uc.gummy.simulate([figure], n=n)
    return summarised(np.asarray(figure.simdata, dtype=float))


def versus_libraries() -> None:
    ours = errors(lambda i: our_gold(Draws(seed=1000 + i)), 3 * SCRAMBLES)
    draws = Draws()
    our_ms = median_ms(lambda: our_gold(Draws(seed=draws.seed)), 200)
    print(f"gold stage, ours: {our_ms:.2f} ms; numerical error g " + told(ours))
    # Small stages are swamped by fixed cost, so the draws needed at equal error are run in full.
    for name, model, run in (
        ("metrolopy", metrolopy_model(), metrolopy_run),
        ("suncal", suncal_model(), suncal_run),
    ):
        theirs = errors(lambda i, m=model, r=run: r(m, FEW), 3 * SCRAMBLES)
        needed = int(FEW * statistics.median((theirs[k] / ours[k]) ** 2 for k in FIGURES))
        tried = min(needed, 2_000_000)
        ms = median_ms(lambda m=model, r=run, n=tried: r(m, n), LIBRARY_RUNS)
        full = ms * needed / tried
        print(
            f"gold stage, {name}: error at {FEW} draws g {told(theirs)}; {needed} draws for equal error; "
            f"{tried} of them took {ms:.0f} ms, so {full:.0f} ms: ours is {full / our_ms:.0f} x faster"
        )


def told(figures: dict[str, float]) -> str:
    return ", ".join(f"{name} {value:.2g}" for name, value in figures.items())


def numerical_error() -> None:
    from valuation import numerical_error as over_scrambles

    request = read_request(EXAMPLE)
    q = quote(request)
    sds = {"native_gold_g": q.native_gold_g.sd, "fine_gold_g": q.fine_gold_g.sd, "melt_value": q.melt_value.sd}
    sds |= {r.route: r.sd for r in q.routes}
    sds["buyer_ceiling"] = max(r.sd for r in q.routes)
    worst = {
        name: error / sds[name.split(".")[0]] for name, error in over_scrambles(request, scrambles=SCRAMBLES).items()
    }
    print("numerical error over 20 scrambles, share of the figure's own standard uncertainty:")
    for name, share in sorted(worst.items(), key=lambda row: -row[1]):
        print(f"  {name:<28} {share:.2%}")


PEAK = """
import resource, sys, tomllib, pathlib
if sys.argv[1] != "python":
    import numpy, scipy.stats, scipy.special, pydantic
if sys.argv[1] == "quote":
    from valuation import quote, read_request
    request = read_request(tomllib.loads(pathlib.Path(sys.argv[2]).read_text()))
    for _ in range(20):
        quote(request, with_price_risk=True)
status = pathlib.Path("/proc/self/status")
if status.exists():  # a child's ru_maxrss may be its parent's
    print([line.split()[1] for line in status.read_text().splitlines() if line.startswith("VmHWM")][0])
else:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def memory() -> None:
    path = str(Path(__file__).parent / "example.toml")
    kinds = ("python", "libraries", "quote")
    peaks = {
        kind: int(
            subprocess.run([sys.executable, "-c", PEAK, kind, path], capture_output=True, check=True, text=True).stdout
        )
        for kind in kinds
    }
    print("peak resident memory, MB: " + ", ".join(f"{kind} {peaks[kind] / 1024:.0f}" for kind in kinds))


def main() -> None:
    warnings.simplefilter("ignore")
    request = read_request(EXAMPLE)
    draws = Draws()
    whole = median_ms(lambda: quote(request), 200)
    arithmetic = median_ms(lambda: bare.bare_quote(draws.u, draws.z, statistics=False), 200)
    with_statistics = median_ms(lambda: bare.bare_quote(draws.u, draws.z, statistics=True), 200)
    print(f"quote, warm, 2^14 draws: {whole:.2f} ms (with price risk {median_ms(_with_risk, 50):.2f} ms)")
    print(f"bare arithmetic {arithmetic:.2f} ms; with the statistics that a quote reports {with_statistics:.2f} ms")
    print(f"ratio to bare arithmetic with statistics: {whole / with_statistics:.2f}; without: {whole / arithmetic:.2f}")
    memory()
    numerical_error()
    versus_libraries()


def _with_risk() -> Any:
    return quote(read_request(EXAMPLE), with_price_risk=True)


if __name__ == "__main__":
    main()
