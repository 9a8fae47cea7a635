"""How long a paper takes, the first and the next; aim: the next seller's paper in under 50 ms.

python3 -m tests.benchmarks.paper_speed, from the checkout. Each paper bears another number, so that nothing is taken
from a cache. Compared with what no paper can be faster than: the typesetter on a page with one word in the same fonts.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import count
from pathlib import Path

PAPERS = 31
ROUNDS = 5
_NUMBERS = count(1)


def papers() -> Iterator[tuple[str, Callable[[], bytes]]]:
    """Each kind of paper with a function that prints one more of it."""
    from tests.webapp.test_paper import for_house, for_seller, photograph
    from webapp.paper import house_pdf, seller_pdf

    seller, house = for_seller(photographs=[photograph(1600, 1200)]), for_house()

    def one_more_seller() -> bytes:
        return seller_pdf(replace(seller, head=replace(seller.head, number=f"2026-{next(_NUMBERS):04}"))).pdf

    def one_more_house() -> bytes:
        return house_pdf(replace(house, head=replace(house.head, number=f"2026-{next(_NUMBERS):04}"))).pdf

    yield "seller's paper, one photograph", one_more_seller
    yield "house's working papers", one_more_house
    yield "one word", one_word()


def one_word() -> Callable[[], bytes]:
    from typst import Compiler

    from webapp.paper import STANDARDS
    from webapp.paper_letters import FONTS

    folder = Path(tempfile.mkdtemp())
    (folder / "word.typ").write_text('#set document(title: "x")\n#set text(font: "Noto Sans")\n#sys.inputs.word')
    compiler = Compiler(str(folder / "word.typ"), root=str(folder), font_paths=[str(FONTS)], ignore_system_fonts=True)

    def one_more() -> bytes:
        made = compiler.compile(format="pdf", sys_inputs={"word": str(next(_NUMBERS))}, pdf_standards=[*STANDARDS])
        assert isinstance(made, bytes)
        return made

    return one_more


def timed(printed: Callable[[], bytes]) -> tuple[float, int]:
    begun = time.perf_counter()
    size = len(printed())
    return time.perf_counter() - begun, size


def first_ms(which: int) -> float:
    """Milliseconds of the first paper of a process, its libraries loaded but for the typesetter."""
    code = (
        "from tests.benchmarks.paper_speed import papers, timed; import webapp.paper;"
        f"print(timed(list(papers())[{which}][1])[0])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    return 1e3 * float(out)


def main() -> None:
    load = f", load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores" if hasattr(os, "getloadavg") else ""
    print(f"Median of {PAPERS}; first paper of a process, median of {ROUNDS}{load}")
    kinds = list(papers())
    for _, printed in kinds:
        printed()
    taken = {name: [timed(printed) for _ in range(PAPERS)] for name, printed in kinds}
    bare = statistics.median(ms for ms, _ in taken["one word"])
    for which, (name, _) in enumerate(kinds):
        next_s = statistics.median(ms for ms, _ in taken[name])
        first = statistics.median(first_ms(which) for _ in range(ROUNDS))
        size = taken[name][-1][1] / 1e3
        ratio = next_s / bare
        print(f"{name}: first {first:.0f} ms, next {1e3 * next_s:.1f} ms ({ratio:.1f} times one word), {size:.0f} kB")


if __name__ == "__main__":
    main()
