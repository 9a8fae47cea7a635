"""The logs, at their most talkative, hold no private figure, title or seller's reference; also of a fault of ours."""

import logging
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from flask import Flask
from freezegun import freeze_time

from tests.proofs.load import Browser, Fields, Refused, form_of
from tests.webapp.conftest import Visitor
from tests.webapp.test_sheet_pages import AT, begin, hand_over, press
from webapp.commands.output import REFUSED
from webapp.fault_log import TRACE, told

ROOT = Path(__file__).parents[2]
SECRETS: dict[str, str | list[str]] = {
    "title": "Zircophane nugget",
    "specimen.description": "Quillback ledge, east face",
    "specimen.seller_reference": "Counterbook 88-Omega",
    "buyer.margin_frac": "0.173913",
    "seller.minimum": "2718.28",
    "spot.gold": "4321.987",
    "spot.source": "Brindlewick morning sheet",
}
REASON, NOTE = "Because Wexcombe said 3141.59", "Shaken on by Thistledown"
# Figures also in the ways that a program could write them.
TOLD = [
    *map(str, SECRETS.values()),
    REASON,
    NOTE,
    "17.3913",
    "2,718.28",
    "4,321.987",
    "Wexcombe",
    "Thistledown",
    "88-Omega",
]


@pytest.fixture(autouse=True)
def talkative(caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(TRACE, raising=False)
    caplog.set_level(logging.DEBUG)


def of_ours(caplog: pytest.LogCaptureFixture) -> str:
    """What was logged by this program and by what serves it, tracebacks and all."""
    form = logging.Formatter("%(name)s %(levelname)s %(message)s")
    return "\n".join(form.format(record) for record in caplog.records)


def private_in(text: str) -> list[str]:
    return [secret for secret in TOLD if secret.casefold() in text.casefold()]


def test_a_whole_day_leaves_nothing_private_in_the_log(
    app: Flask, visitor: Visitor, caplog: pytest.LogCaptureFixture
) -> None:
    with freeze_time(AT, tick=False):
        sheet = begin(visitor, SECRETS)
        done = hand_over(visitor, sheet, {"offer": "3141.59", "reason": REASON})
        assert "Sheet 2026-0001" in done.words()
        agreed = visitor.send(done, {"note": NOTE}, ".deed")
        assert NOTE in agreed.words()
        visitor.open("/sheets?text=Counterbook")
        visitor.send(visitor.open("/demos/leaf-gold-walk-in"), {**SECRETS, "spot.gold": "4321.987x"})
        visitor.client.post("/api/quote", json={"title": SECRETS["title"], "wrong": REASON})
    assert private_in(of_ours(caplog)) == []


@pytest.mark.parametrize("where", ["webapp.views.drafts.worked", "webapp.views.sheet_writing.writing"])
def test_a_fault_of_ours_is_logged_without_what_was_typed(
    visitor: Visitor, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch, where: str
) -> None:
    def faulty(*args: object, **_: object) -> None:
        raise ZeroDivisionError(
            f"of {args!r}, {SECRETS['title']}, {SECRETS['specimen.seller_reference']}, {SECRETS['seller.minimum']}"
        )

    with freeze_time(AT, tick=False):
        sheet = begin(visitor, SECRETS)
        quote = visitor.open(str(next(a["href"] for a in sheet.all("a") if "/quotes/" in str(a["href"]))))
        monkeypatch.setattr(where, faulty)
        page = (
            visitor.send(quote, SECRETS)
            if where.endswith("worked")
            else press(visitor, sheet, "preview", {"reason": REASON})
        )
    assert page.status == 500
    reference = re.search(r"reference ([0-9a-f]{8})", page.words())
    assert reference is not None
    log = of_ours(caplog)
    assert f"reference {reference[1]}: " in log
    assert "ZeroDivisionError" in log and "in faulty" in log, "it must still say what went wrong, and where"
    assert private_in(log) == []


def test_the_terminal_of_a_server_says_nothing_private(tmp_path: Path) -> None:
    talkative = (
        "import logging, sys; logging.basicConfig(level=logging.DEBUG, stream=sys.stderr)\n"
        "from webapp.cli import main; sys.exit(main(sys.argv[1:]))"
    )
    command = [sys.executable, "-c", talkative, "serve", "--no-browser", "--data", str(tmp_path)]
    with (
        (tmp_path / "log").open("w+") as log,
        subprocess.Popen(
            command,
            cwd=ROOT,
            stdout=subprocess.PIPE,
            stderr=log,
            text=True,
            env={**os.environ, "LODEWORTH_TIME_ZONE": "UTC"},
        ) as server,
    ):
        assert server.stdout is not None
        browser = Browser(int(server.stdout.readline().rstrip("/\n").rpartition(":")[2]))
        try:
            action, fields = form_of(browser.get("/demos/leaf-gold-walk-in"), "#quote-form")
            typed = Fields([*((name, text) for name, text in fields.items(multi=True) if name not in SECRETS)])
            for name, text in SECRETS.items():
                typed.add(name, str(text))
            assert str(SECRETS["title"]) in browser.send(action, typed, by_script=True)
            with pytest.raises(Refused, match="403"):
                browser.send(action, Fields([*typed.items(multi=True), ("token", "another")][1:]))
        finally:
            browser.connection.close()
            server.terminate()
            server.wait(30)
        log.seek(0)
        assert private_in(log.read()) == []


def test_a_command_that_is_refused_names_only_what_was_asked(tmp_path: Path) -> None:
    told = subprocess.run(
        [sys.executable, "-m", "webapp", "sheet", "list", "--data", str(tmp_path / "nowhere")],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert told.returncode == REFUSED and "Traceback" not in told.stderr and private_in(told.stderr) == []


def test_what_led_to_a_fault_is_logged_too_and_all_of_it_where_that_is_asked_for(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    try:
        try:
            raise KeyError("Quillback")
        except KeyError as first:
            raise ValueError("Zircophane") from first
    except ValueError as fault:
        quiet = told(fault)
        monkeypatch.setenv(TRACE, "1")
        whole = told(fault)
    assert quiet.index("KeyError") < quiet.index("ValueError") and quiet.count("in test_what_led") == 2
    assert "'Quillback'" not in quiet.replace('KeyError("Quillback")', "")
    assert "KeyError: 'Quillback'" in whole and "ValueError: Zircophane" in whole
