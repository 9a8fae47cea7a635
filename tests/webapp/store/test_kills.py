"""Seeded parts of the proofs that a kill loses nothing acknowledged (kept_as_typed.py, handing_over.py)."""

from pathlib import Path

from tests.proofs import handing_over
from tests.proofs.kept_as_typed import killed_often, killed_while_opening

SEED = 20260315


def test_ten_kills_at_random_moments_lose_nothing(tmp_path: Path) -> None:
    ledger = killed_often(tmp_path / "data", 10, SEED)
    assert ledger.faults == []
    assert ledger.counts["kills"] == 10
    assert ledger.counts["looked for"] >= 20, "too little was written to show anything"


def test_kills_while_a_folder_is_made_leave_one_that_opens(tmp_path: Path) -> None:
    assert killed_while_opening(tmp_path, 3, SEED).faults == []


def test_a_program_that_acknowledges_too_early_is_found_out(tmp_path: Path) -> None:
    assert killed_often(tmp_path / "data", 3, SEED, early=True).faults


def test_twenty_kills_while_handing_over_lose_nothing_and_skip_no_number(tmp_path: Path) -> None:
    ledger = handing_over.killed_often(tmp_path / "data", 20, SEED)
    assert ledger.faults == []
    assert ledger.counts["kills"] == 20
    assert ledger.counts["acknowledged"] >= 20, "too little was handed over to show anything"


def test_a_program_that_says_handed_over_too_early_is_found_out(tmp_path: Path) -> None:
    assert handing_over.killed_often(tmp_path / "data", 8, SEED, wrong=True).faults
