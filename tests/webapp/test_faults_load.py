"""Six seconds of the proof that a busy minute gets no error and leaves the memory (tests/proofs/load.py); not timed."""

from pathlib import Path

from tests.proofs.load import Figures, measured, what_does_not_hold

SEED = 20260315
# A server that has just begun still brings in what it will keep; a leak of a page a request would show in the proof.
GROWTH_MB = 100


def test_three_tabs_and_a_handing_over_at_once_get_no_error(tmp_path: Path) -> None:
    found = measured(tmp_path, 6, SEED, warm=2)
    assert found.faults == []
    assert len(found.waits_ms) == 36 and len(found.sheets) >= 1
    assert what_does_not_hold(found, timed=False, growth_mb=GROWTH_MB) == []


def test_what_must_not_be_is_found_out() -> None:
    memory = [(i / 4, 300.0 + i) for i in range(240)]
    bad = Figures(60, [10.0] * 300 + [200.0] * 60, [30.0], ["2026-0001"] * 11, [1.0], ["503"], memory, 0.0)
    found = " ".join(what_does_not_hold(bad))
    assert found.startswith("503")
    for words in ("11 sheets", "given twice", "memory grew by 180.0 MB", "95th percentile is 200 ms"):
        assert words in found
    assert "percentile" not in " ".join(what_does_not_hold(bad, timed=False))
