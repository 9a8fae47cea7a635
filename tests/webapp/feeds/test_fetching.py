"""Fetching from real servers that behave and misbehave."""

import gzip
import re
import socket
import stat
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from freezegun import freeze_time

from tests.webapp.feeds.conftest import SHORT, Handler, Source, feed_at
from webapp.feed import Found, first_found, found
from webapp.feed_answer import Answer, FetchRefused, Reference
from webapp.feed_session import CACHE, LARGEST_BYTES
from webapp.feed_settings import Feed

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)
NOBODY: Callable[[Answer], Reference | None] = lambda answer: None  # noqa: E731


def asked(feed: Feed, folder: Path | None = None, last: Reference | None = None) -> Found:
    return found(feed, folder, lambda answer: last, datetime.now(UTC), SHORT)


def refused(feed: Feed, folder: Path | None = None, last: Reference | None = None) -> str:
    with pytest.raises(FetchRefused) as told:
        asked(feed, folder, last)
    return str(told.value)


# ---- answers that are good


def test_a_price_with_its_source_and_moment(source: Source) -> None:
    source.says('{"price": 3912.40, "at": "2026-11-25T09:58:00Z", "in": "usd", "per": "troy ounce"}')
    told = asked(feed_at(source.address(), currency_at="/in", unit_at="/per", time_at="/at"))
    assert (told.answer.price, told.answer.currency, told.answer.unit) == (3912.40, "USD", "ozt")
    assert told.seen_at == datetime(2026, 11, 25, 9, 58, tzinfo=UTC)
    assert not told.from_cache and not told.is_stale
    (path, headers), *more = source.asked
    assert (path, more) == ("/p", []) and headers["Accept"] == "application/json"
    assert "Cookie" not in headers and "Authorization" not in headers


def test_a_table_and_its_newest_row(source: Source) -> None:
    source.says("day;gold\n2026-11-23;3900,5\n2026-11-24;3912,4\n", kind="text/csv; charset=utf-8")
    told = asked(feed_at(source.address(), format="csv", price="gold", time_at="1"))
    assert told.answer.price == 3912.4 and told.seen_at == datetime(2026, 11, 24, tzinfo=UTC)
    assert asked(feed_at(source.address(), format="csv", price="2", row="first")).answer.price == 3900.5


def test_an_answer_that_comes_packed_or_in_pieces(source: Source) -> None:
    source.says(gzip.compress(b'{"price": 4000}'), Content_Encoding="gzip")
    assert asked(feed_at(source.address())).answer.price == 4000

    def in_pieces(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Transfer-Encoding", "chunked")
        handler.end_headers()
        handler.wfile.write(b'6\r\n{"pric\r\n8\r\ne": 4001\r\n1\r\n}\r\n0\r\n\r\n')

    source.answers["/p"] = in_pieces
    assert asked(feed_at(source.address())).answer.price == 4001


def test_nothing_comes_from_the_environment(source: Source, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    netrc = tmp_path / "netrc"
    netrc.write_text("machine localhost login somebody password secret\n")
    monkeypatch.setenv("NETRC", str(netrc))
    for name in ("HTTPS_PROXY", "https_proxy", "ALL_PROXY"):
        monkeypatch.setenv(name, "http://127.0.0.1:9")
    source.says('{"price": 4000}')
    assert asked(feed_at(source.address())).answer.price == 4000
    assert "Authorization" not in source.asked[0][1]


# ---- answers that are none


@pytest.mark.parametrize(
    ("body", "reason"),
    [
        ('{"price": 0}', "the price is “0”: it must be above 0"),
        ('{"price": -3900}', "the price is “-3900”: it must be above 0"),
        ('{"price": NaN}', "NaN where a number is due"),
        ('{"price": Infinity}', "Infinity where a number is due"),
        ('{"price": 1e999}', "no larger than"),
        ('{"price": "NaN"}', "“NaN”: that is not a number"),
        ('{"price": "about 3900"}', "that is not a number"),
        ('{"price": "3,912"}', "thousands or decimals"),
        ('{"price": null}', "the price is missing"),
        ('{"price": true}', "not yes or no"),
        ('{"price": [3900]}', "which is no number"),
        ('{"prize": 3900}', "nothing at /price"),
        ('{"price": 9e11}', "no larger than"),
        ("[3900]", "nothing at /price"),
        ("<html>3900</html>", "not JSON"),
        ("", "not JSON"),
        ("[" * 60000, "not JSON"),
        (b"\xff\xfe\x00", "not JSON"),
    ],
)
def test_what_is_no_price_is_refused(source: Source, body: str | bytes, reason: str) -> None:
    source.says(body)
    assert reason in refused(feed_at(source.address()))


@pytest.mark.parametrize(
    ("more", "settings", "reason"),
    [
        ('"in": "EUR"', {"currency_at": "/in"}, "the price is in EUR, not in USD"),
        ('"in": "gold coins"', {"currency_at": "/in"}, "none of ISO 4217"),
        ('"in": 840', {"currency_at": "/in"}, "none of ISO 4217"),
        ('"per": "kg"', {"unit_at": "/per"}, "the price is per kg, not per ozt"),
        ('"per": "oz"', {"unit_at": "/per", "unit": None}, "28.35 g or 31.10 g?"),
        ('"per": "pinch"', {"unit_at": "/per"}, "none of troy ounce, gram, kilogram and tola"),
        ('"at": "2999-01-01T00:00:00Z"', {"time_at": "/at"}, "which is after now"),
        ('"at": "yesterday"', {"time_at": "/at"}, "ISO 8601 or seconds"),
        ('"at": 1e300', {"time_at": "/at"}, "ISO 8601 or seconds"),
    ],
)
def test_a_price_of_something_else_is_refused(source: Source, more: str, settings: dict[str, Any], reason: str) -> None:
    source.says(f'{{"price": 3900, {more}}}')
    assert reason in refused(feed_at(source.address(), **settings))


@pytest.mark.parametrize("kind", ["text/html", "image/png", "application/octet-stream", ""])
def test_a_wrong_type_of_content_is_refused(source: Source, kind: str) -> None:
    source.says('{"price": 3900}', kind=kind)
    assert re.search("answered with .*, not JSON", refused(feed_at(source.address())))


@pytest.mark.parametrize("status", [204, 400, 401, 404, 418, 500])
def test_a_refusal_of_the_server_is_told(source: Source, status: int) -> None:
    source.says("" if status == 204 else '{"price": 3900}', status=status)
    assert f"it answered {status}" in refused(feed_at(source.address()))
    assert len(source.asked) == 1


def test_a_server_that_is_busy_is_asked_once_more(source: Source) -> None:
    source.says("", status=503)
    assert "it answered 503" in refused(feed_at(source.address()))
    assert len(source.asked) == 2


def test_a_jump_is_refused_and_the_way_out_told(source: Source) -> None:
    source.says('{"price": 4900}')
    last = Reference(4110.0, "Desk, 2 hours ago")
    told = refused(feed_at(source.address()), last=last)
    assert "4900 is 19 % above the last good price, 4110 (Desk, 2 hours ago); the house allows 10 %" in told
    assert "enter it by hand" in told
    assert asked(feed_at(source.address(), largest_jump_frac=0.2), last=last).answer.price == 4900
    source.says('{"price": 3600}')
    assert "12 % below" in refused(feed_at(source.address()), last=last)


def test_50_megabytes_are_not_read(source: Source) -> None:
    sent = []

    def endless(handler: Handler) -> None:
        handler.send_response(200)
        handler.send_header("Content-Type", "application/json")
        handler.send_header("Content-Length", str(50 * 1024 * 1024))
        handler.end_headers()
        for _ in range(50):
            handler.wfile.write(b" " * 1024 * 1024)
            sent.append(1)

    source.answers["/p"] = endless
    assert "longer than 64 kB" in refused(feed_at(source.address()))
    assert len(sent) < 30  # the rest stayed in the server: what the pipe held, and no more


def test_what_unpacks_to_50_megabytes_is_not_unpacked(source: Source) -> None:
    bomb = gzip.compress(b" " * 50 * 1024 * 1024)
    assert len(bomb) < LARGEST_BYTES
    source.says(bomb, Content_Encoding="gzip")
    assert "longer than 64 kB" in refused(feed_at(source.address()))
    source.says(b"no gzip at all", Content_Encoding="gzip")
    assert "cannot be unpacked" in refused(feed_at(source.address()))


# ---- answers that do not come


def test_a_server_that_never_answers(source: Source) -> None:
    quiet = threading.Event()
    source.answers["/p"] = lambda handler: quiet.wait(10) and None
    started = time.monotonic()
    assert "did not answer within 0.4 seconds" in refused(feed_at(source.address()))
    assert time.monotonic() - started < 5
    quiet.set()


def drip_of(first: bytes, drop: bytes) -> Callable[[Handler], None]:
    def drip(handler: Handler) -> None:
        handler.wfile.write(first)
        for _ in range(100):
            handler.wfile.write(drop)
            handler.wfile.flush()
            time.sleep(0.1)

    return drip


@pytest.mark.parametrize(
    "answering",
    [
        drip_of(b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 100\r\n\r\n", b" "),
        drip_of(
            b"HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n", b"1\r\n \r\n"
        ),
        drip_of(b"HTTP/1.1 200 OK\r\n", b"X-More: 1\r\n"),
        drip_of(b"HTTP/1.1 200 OK\r\nX-Long: ", b"x"),
        drip_of(b"HTTP/1.1 100 Continue\r\n\r\n", b"HTTP/1.1 100 Continue\r\n\r\n"),
    ],
    ids=["body", "chunks", "headers", "one header", "continue"],
)
def test_an_answer_that_drips_is_cut_off(source: Source, answering: Callable[[Handler], None]) -> None:
    source.answers["/p"] = answering
    started = time.monotonic()
    assert refused(feed_at(source.address())) == "no whole answer within 1.5 seconds"
    assert time.monotonic() - started < 6


def test_a_server_that_takes_the_call_and_says_nothing() -> None:
    with socket.create_server(("127.0.0.1", 0)) as deaf:
        address = f"https://localhost:{deaf.getsockname()[1]}/p"
        assert re.search("did not answer|no whole answer", refused(feed_at(address)))


def test_an_answer_that_is_cut_short(source: Source) -> None:
    source.answers["/p"] = lambda handler: (
        handler.wfile.write(
            b'HTTP/1.1 200 OK\r\nContent-Type: application/json\r\nContent-Length: 900\r\n\r\n{"price": 3900}'
        )
        and None
    )
    assert "broke off" in refused(feed_at(source.address()))


def test_an_address_where_nobody_is() -> None:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    assert "nothing answers" in refused(feed_at(f"https://localhost:{port}/p"))
    assert "was not found" in refused(feed_at("https://nowhere.invalid/p"))  # RFC 6761: never there


# ---- certificates


def test_a_certificate_that_nobody_vouches_for(source: Source, tmp_path: Path) -> None:
    source.says('{"price": 3900}')
    assert "its certificate is not trusted (self-signed" in refused(feed_at(source.address(), ca_file=""))
    assert source.asked == []
    missing = refused(feed_at(source.address(), ca_file=str(tmp_path / "none.pem")))
    assert "file of certificates cannot be read" in missing


def test_a_certificate_of_another_name(source: Source, monkeypatch: pytest.MonkeyPatch) -> None:
    source.says('{"price": 3900}')
    here = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", source.server_port))]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: here)
    assert asked(feed_at(source.address(host="feed.example"), local_hosts="feed.example")).answer.price == 3900
    told = refused(feed_at(source.address(host="shop.example"), local_hosts="shop.example"))
    assert "its certificate is not trusted (" in told and "shop.example" in told


def test_a_server_without_tls(plain: Source) -> None:
    plain.says('{"price": 3900}')
    assert "no secure connection" in refused(feed_at(plain.address().replace("http:", "https:")))


# ---- redirects


def test_a_redirect_is_followed_where_it_may_go(source: Source, other: Source) -> None:
    other.says('{"price": 3900}')
    source.says("", status=302, Location=other.address())
    assert asked(feed_at(source.address())).answer.price == 3900


def test_a_redirect_without_tls_is_refused(source: Source, plain: Source) -> None:
    plain.says('{"price": 3900}')
    source.says("", status=302, Location=plain.address())
    assert "redirects to localhost without HTTPS" in refused(feed_at(source.address()))
    assert plain.asked == []


def test_a_redirect_into_the_local_network_is_refused(source: Source, other: Source) -> None:
    other.says('{"price": 3900}')
    source.says("", status=307, Location=other.address(host="127.0.0.1"))
    assert "127.0.0.1 leads to 127.0.0.1, on this machine" in refused(feed_at(source.address()))
    assert other.asked == []


def test_endless_redirects_are_refused(source: Source) -> None:
    source.says("", status=302, Location=source.address())
    assert "redirects too often" in refused(feed_at(source.address()))
    assert len(source.asked) < 6


@pytest.mark.parametrize("where", ["file:///etc/passwd", "ftp://localhost/p", "https://"])
def test_a_redirect_to_something_else_is_refused(source: Source, where: str) -> None:
    source.says("", status=302, Location=where)
    assert refused(feed_at(source.address()))


def test_the_key_goes_to_its_own_host_only(source: Source, other: Source) -> None:
    source.says("", status=302, Location="/q")
    source.says("", path="/q", status=302, Location=other.address())
    other.says('{"price": 3900}')
    asked(feed_at(source.address(), header="X-Key", header_value="very secret"))
    assert [headers.get("X-Key") for _, headers in source.asked] == ["very secret", "very secret"]
    assert [headers.get("X-Key") for _, headers in other.asked] == [None]


# ---- addresses of the local network


def test_this_machine_is_refused_unless_named(source: Source) -> None:
    source.says('{"price": 3900}')
    told = refused(feed_at(source.address(), local_hosts=""))
    assert "localhost leads to" in told and "local network" in told
    for host in (
        "127.0.0.1",
        "[::1]",
        "2130706433",
        "0x7f.1",
        "[::ffff:127.0.0.1]",
        "0.0.0.0",
    ):  # only localhost is named
        assert "on this machine or its local network" in refused(feed_at(source.address(host=host))), host
    assert source.asked == []


def test_a_name_is_looked_up_once_and_the_address_that_was_looked_at_connected_to(
    source: Source, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A name that leads to the open internet when it is checked, and to this machine a moment later."""
    source.says('{"price": 3900}')
    looked_up: list[str] = []
    connected: list[object] = []
    real_connect = socket.socket.connect

    def rebinding(host: str, port: int, *_: object, **__: object) -> list[Any]:
        looked_up.append(host)
        address = "93.184.215.14" if len(looked_up) == 1 else "127.0.0.1"
        return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (address, port))]

    def connect(self: socket.socket, address: Any) -> None:
        connected.append(address)
        if address[0] != "127.0.0.1":
            raise TimeoutError("the open internet is not reached from a test")
        real_connect(self, address)

    monkeypatch.setattr(socket, "getaddrinfo", rebinding)
    monkeypatch.setattr(socket.socket, "connect", connect)
    told = refused(feed_at(source.address(host="feed.example"), local_hosts=""))
    # The second try looks it up anew, and looks at what it finds.
    assert "feed.example leads to 127.0.0.1" in told
    assert connected == [("93.184.215.14", source.server_port)] and source.asked == []


def test_one_closed_address_among_open_ones_is_enough(monkeypatch: pytest.MonkeyPatch) -> None:
    found_there = [(socket.AF_INET, socket.SOCK_STREAM, 6, "", (one, 443)) for one in ("93.184.215.14", "10.0.0.7")]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: found_there)
    assert "feed.example leads to 10.0.0.7" in refused(feed_at("https://feed.example/p"))


def test_a_name_that_is_looked_up_for_ever(monkeypatch: pytest.MonkeyPatch) -> None:
    waiting = threading.Event()
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: waiting.wait(10) and [])
    assert "could not be looked up within 0.5 seconds" in refused(feed_at("https://feed.example/p"))
    waiting.set()


# ---- the cache


def test_a_fresh_answer_serves_until_it_expires(source: Source, tmp_path: Path) -> None:
    feed = feed_at(source.address())
    with freeze_time(NOON) as clock:
        source.says('{"price": 3900}')
        assert not asked(feed, tmp_path).from_cache
        source.says('{"price": 3950}')
        clock.tick(timedelta(minutes=4, seconds=59))
        again = asked(feed, tmp_path)
        assert (again.answer.price, again.from_cache, again.is_stale, again.seen_at) == (3900, True, False, NOON)
        assert len(source.asked) == 1
        clock.tick(timedelta(seconds=2))
        anew = asked(feed, tmp_path)
        assert (anew.answer.price, anew.from_cache) == (3950, False)
        assert anew.seen_at == NOON + timedelta(minutes=5, seconds=1)


@pytest.mark.parametrize(
    ("status", "body", "reason"),
    [
        (503, "", "it answered 503"),
        (404, "", "it answered 404"),
        (200, '{"price": 0}', "must be above 0"),
        (200, "<html>", "not JSON"),
        (200, '{"price": 3}', "100 % below"),
    ],
)
def test_an_old_answer_stays_for_three_days_and_says_why(
    source: Source, tmp_path: Path, status: int, body: str, reason: str
) -> None:
    feed = feed_at(source.address())
    with freeze_time(NOON) as clock:
        source.says('{"price": 3900}')
        asked(feed, tmp_path)
        source.says(body, status=status)
        for hours in (1, 70):
            clock.move_to(NOON + timedelta(hours=hours))
            old = asked(feed, tmp_path, Reference(3900, "Desk"))
            assert (old.answer.price, old.is_stale, old.seen_at) == (3900, True, NOON)
            assert reason in old.trouble
        clock.move_to(NOON + timedelta(days=3, minutes=6))
        assert reason in refused(feed, tmp_path, Reference(3900, "Desk"))


def test_an_old_answer_when_nobody_is_there(tmp_path: Path) -> None:
    source = Source()
    source.says('{"price": 3900}')
    feed = feed_at(source.address())
    with freeze_time(NOON) as clock:
        asked(feed, tmp_path)
        source.stop()
        clock.tick(timedelta(hours=5))
        old = asked(feed, tmp_path)
    assert old.is_stale and "nothing answers" in old.trouble


def test_a_test_asks_anew_and_keeps_nothing(source: Source, tmp_path: Path) -> None:
    feed = feed_at(source.address())
    source.says('{"price": 3900}')
    asked(feed, tmp_path)
    source.says('{"price": 3901}')
    assert asked(feed).answer.price == 3901
    assert asked(feed, tmp_path).answer.price == 3900
    source.says("", status=500)
    assert "500" in refused(feed)


def test_two_feeds_of_one_address_are_each_judged(source: Source, tmp_path: Path) -> None:
    source.says('{"price": 3900, "silver": -1}')
    assert asked(feed_at(source.address()), tmp_path).answer.price == 3900
    silver = feed_at(source.address(), metal="silver", price="/silver")
    assert "must be above 0" in refused(silver, tmp_path)
    source.says('{"price": 3900, "silver": 48}')
    assert asked(silver, tmp_path).answer.price == 48


def test_the_cache_is_for_this_user_and_holds_no_key(source: Source, tmp_path: Path) -> None:
    source.says('{"price": 3900}')
    asked(feed_at(source.address(), header="X-Key", header_value="very secret"), tmp_path)
    assert {path.name for path in tmp_path.iterdir()} == {CACHE}
    held = (tmp_path / CACHE).read_bytes()
    assert b"localhost" in held and b"very secret" not in held
    assert stat.S_IMODE((tmp_path / CACHE).stat().st_mode) == 0o600


def test_a_damaged_cache_is_begun_anew(source: Source, tmp_path: Path) -> None:
    source.says('{"price": 3900}')
    (tmp_path / CACHE).write_bytes(b"not a database" * 1000)
    assert asked(feed_at(source.address()), tmp_path).answer.price == 3900
    assert asked(feed_at(source.address()), tmp_path).answer.price == 3900


def test_no_address_gets_into_the_log(source: Source, tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    feed = feed_at(source.address("/p?key=very-secret"))
    with freeze_time(NOON) as clock:
        source.says('{"price": 3900}')
        asked(feed, tmp_path)
        source.says("", status=503)
        clock.tick(timedelta(hours=1))
        assert "very-secret" not in asked(feed, tmp_path).trouble
    assert "very-secret" not in caplog.text
    assert feed.shown_address == source.address()


# ---- several feeds


def test_the_first_good_answer_counts(source: Source, tmp_path: Path) -> None:
    source.says("<html>", path="/a")
    source.says('{"price": 3900}', path="/b")
    source.says('{"price": 3950}', path="/c")
    feeds = [feed_at(source.address(f"/{name}"), name=name) for name in "abc"]
    told = first_found(feeds, tmp_path, NOBODY, datetime.now(UTC), SHORT)
    assert told.found is not None and told.found.feed.name == "b"
    assert [(one.feed.name, one.reason) for one in told.refusals] == [("a", "the answer is not JSON")]
    assert [path for path, _ in source.asked] == ["/a", "/b"]


def test_a_fresh_answer_counts_before_an_old_one(source: Source, tmp_path: Path) -> None:
    feeds = [feed_at(source.address(f"/{name}"), name=name) for name in "ab"]
    with freeze_time(NOON) as clock:
        source.says('{"price": 3900}', path="/a")
        first_found(feeds, tmp_path, NOBODY, NOON, SHORT)
        source.says("", path="/a", status=500)
        clock.tick(timedelta(hours=1))
        old = first_found(feeds, tmp_path, NOBODY, datetime.now(UTC), SHORT)
        assert old.found is not None and old.found.is_stale and len(old.refusals) == 2
        source.says('{"price": 3950}', path="/b")
        fresh = first_found(feeds, tmp_path, NOBODY, datetime.now(UTC), SHORT)
        assert fresh.found is not None and (fresh.found.feed.name, fresh.found.answer.price) == ("b", 3950)
