"""`lodeworth spot` against a real server."""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.webapp.feeds.conftest import Source, feed_at
from webapp.cli import main
from webapp.feed_settings import Feed
from webapp.house import House
from webapp.house_file import FILE, HouseFile
from webapp.store import open_store, prices
from webapp.store.prices import Price

Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    monkeypatch.setenv("LC_ALL", "en_US.UTF-8")
    monkeypatch.delenv("LODEWORTH_CURRENCY", raising=False)

    def call(*args: str) -> tuple[int, str, str]:
        capsys.readouterr()
        code = main(["spot", "--data", str(tmp_path), *args])
        told = capsys.readouterr()
        return code, told.out, told.err

    return call


def set_up(folder: Path, *feeds: Feed) -> None:
    file = HouseFile(folder)
    house = House.model_validate({"feeds": [one.model_dump(exclude_unset=True) for one in feeds]})
    file.save(house, file.read().seen)


def test_without_anything_it_says_so(run: Run, tmp_path: Path) -> None:
    code, out, err = run("--test")
    assert (code, err) == (0, "")
    assert out == "No price is kept yet.\nNo feed is set up: nothing leaves this machine.\n"
    assert list(tmp_path.iterdir()) == []


def test_feeds_are_shown_without_asking_and_tested_on_request(run: Run, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 3912.4, "at": "2026-11-01T10:00:00Z"}')
    source.says("<html>", path="/bad", kind="text/html")
    good = feed_at(source.address("/p?key=secret"), time_at="/at", header="X-Key", header_value="hidden")
    set_up(tmp_path, good, feed_at(source.address("/bad"), name="Broken"))
    store = open_store(tmp_path)
    at = datetime.now(UTC) - timedelta(hours=3)
    prices.keep(store, Price("gold", "USD", "ozt", 3900.0, at, at, is_fed=False))
    prices.keep(store, Price("exchange_rate", "USD", "EUR", 1.1, at, at, is_fed=False, source="newspaper"))
    store.close()
    code, out, _ = run()
    assert code == 0 and source.asked == []
    assert "gold $3,900.00 per troy ounce, seen 3 hours ago, entered by hand" in out
    assert "1 EUR is 1.10 USD, seen 3 hours ago, entered by hand: newspaper" in out
    assert f"Desk: gold, {source.address()}, JSON, price at /price, time at /at" in out
    assert "secret" not in out and "hidden" not in out
    code, out, _ = run("--test")
    assert code == 2 and "gold $3,912.40 per troy ounce, fresh." in out
    assert "no price taken, it answered with text/html, not JSON." in out
    assert "3,912.40" not in run()[1]  # a test keeps nothing
    code, out, _ = run("--test", "--json")
    told = json.loads(out)
    assert [feed["price"] for feed in told["feeds"]] == [3912.4, None]
    assert told["feeds"][0]["seen_at"] == "2026-11-01T10:00:00+00:00" and told["feeds"][0]["refused"] is None
    assert told["prices"][0]["price"] == 3900.0 and told["rates"][0]["of_one"] == "EUR"
    assert "secret" not in out and "hidden" not in out


def test_a_jump_is_told_by_the_test(run: Run, tmp_path: Path, source: Source) -> None:
    source.says('{"price": 390}')
    set_up(tmp_path, feed_at(source.address()))
    store = open_store(tmp_path)
    prices.keep(store, Price("gold", "USD", "ozt", 3900.0, datetime.now(UTC), datetime.now(UTC), is_fed=True))
    store.close()
    code, out, _ = run("--test")
    assert code == 2 and "90 % below the last good price" in out


def test_what_is_wrong_in_the_settings_is_told(run: Run, tmp_path: Path) -> None:
    (tmp_path / FILE).write_text('[[feeds]]\nname = "x"\n')
    code, out, err = run()
    assert code == 0 and "No feed is set up" in out and "feeds.0.address: needed here" in err
