"""A tenth of the made-up requests of `tests/proofs/fuzz.py`, from seeds of their own."""

from pathlib import Path

import pytest

from tests.proofs.fuzz import PART, REQUESTS, Attack, Found, report

SEEDS = range(5)


@pytest.mark.parametrize("seed", SEEDS)
def test_no_request_breaks_the_program(tmp_path: Path, seed: int) -> None:
    attack = Attack(tmp_path, seed)
    try:
        found = attack.run(REQUESTS // 10 // len(SEEDS))
    finally:
        attack.close()
    assert found.faults == []
    assert found.sent.keys() == PART.keys()
    answered = {part for part, status in found.statuses if status in (200, 204, 303)}
    assert answered | {"damaged"} == PART.keys()  # not everything was refused at the door


def test_it_would_find_a_fault(tmp_path: Path) -> None:
    """A program with a bug, one that shows what was typed as HTML, and one that answers with what is no number."""
    attack = Attack(tmp_path, 1)

    def broken() -> str:
        raise RuntimeError("a bug")

    attack.app._got_first_request = False  # so that more addresses can be added
    attack.app.add_url_rule("/bug", view_func=broken)
    attack.app.add_url_rule("/html", "html", lambda: "<p><script>alert(1)</script>$nan</p>")
    attack.app.add_url_rule("/nan", "nan", lambda: attack.app.response_class('{"a": NaN}', mimetype="application/json"))
    attack.app.add_url_rule("/csv", "csv", lambda: attack.app.response_class("a,=1+1\n", mimetype="text/csv"))
    try:
        for address in ("/bug", "/html", "/nan", "/csv"):
            attack._judge("addresses", "GET", address, b"", "")
    finally:
        attack.close()
    bug, html, figure, nan, table = attack.found.faults
    assert "status 500 reference" in bug and "RuntimeError" in bug
    assert (
        "shows '<script>alert'" in html and "shows '$nan'" in figure and "NaN as a value" in nan and "'=1+1'" in table
    )
    assert "DID NOT HOLD:" in report(attack.found, 1)
    assert "All held." in report(Found(), 1)
