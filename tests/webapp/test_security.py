"""Only pages of this server, in a browser on this machine."""

import gzip
import os
import re
import socket
import stat
import sys
import threading
from hashlib import sha256
from io import BytesIO
from itertools import product
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient
from werkzeug.serving import make_server

import webapp
from tests.webapp.conftest import Page
from webapp import accounts, create_app, security
from webapp.accounts import account_of
from webapp.security import HEADERS, LARGEST_BODY, secret_key
from webapp.settings import Settings

ORIGIN = "http://localhost"


FORM = "/quotes/a-name-of-sixteen"


def token_of(client: FlaskClient) -> str:
    client.get(FORM)
    with client.session_transaction() as session:
        return str(session["token"])


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example:80", ""])
@pytest.mark.parametrize("path", ["/", "/quotes/new", "/static/app.css", "/nowhere", "/api/quote"])
def test_a_foreign_host_name_gets_nothing(client: FlaskClient, host: str, path: str) -> None:
    for method in ("GET", "HEAD", "OPTIONS", "POST", "PUT"):
        answer = client.open(path, method=method, headers={"Host": host}, data={"token": "x"})
        assert answer.status_code == 400 and "<" not in answer.text


@pytest.mark.parametrize("host", ["127.0.0.1", "127.0.0.1:8477", "localhost:9000"])
def test_this_machine_is_served_at_any_port(client: FlaskClient, host: str) -> None:
    assert client.get(FORM, headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://localhost:8000"},
        {"Origin": "https://localhost"},
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": ORIGIN},
    ],
)
@pytest.mark.parametrize("path", [FORM, "/api/quote"])
def test_other_pages_cannot_post_even_with_the_token(client: FlaskClient, headers: dict[str, str], path: str) -> None:
    token = token_of(client)
    assert client.post(path, data={"token": token}, headers=headers).status_code == 403
    assert client.post(path, json={}, headers=headers).status_code == 403


@pytest.mark.parametrize("headers", [{}, {"Origin": ORIGIN}, {"Sec-Fetch-Site": "same-origin", "Origin": ORIGIN}])
def test_our_own_page_can_post(client: FlaskClient, headers: dict[str, str]) -> None:
    assert client.post(FORM, data={"token": token_of(client)}, headers=headers).status_code == 303


@pytest.mark.parametrize("sent", ["", "wrong", "wörter", "\ud83d\ude00"])
def test_a_missing_wrong_or_foreign_token_is_refused(client: FlaskClient, sent: str) -> None:
    token_of(client)
    data = {"token": sent.encode("utf-8", "surrogatepass").decode("utf-8", "replace")} if sent else {}
    answer = client.post(FORM, data=data)
    assert answer.status_code == 403
    assert "reload the page" in answer.text


def test_a_token_without_its_cookie_is_refused(app: Flask, client: FlaskClient) -> None:
    token = token_of(client)
    assert app.test_client().post(FORM, data={"token": token}).status_code == 403


def test_too_much_is_refused(client: FlaskClient) -> None:
    data = {"token": token_of(client), "title": "x" * LARGEST_BODY}
    answer = client.post(FORM, data=data)
    assert answer.status_code == 413
    assert "256 kB" in answer.text
    many = {"token": token_of(client), **{f"f{i}": "" for i in range(2000)}}
    assert client.post(FORM, data=many, content_type="multipart/form-data").status_code == 413


@pytest.mark.parametrize("path", ["/quotes/new", "/static/app.css", "/nowhere", "/static/nowhere"])
def test_every_answer_bears_the_headers(client: FlaskClient, path: str) -> None:
    with client.get(path) as answer:
        for name, value in HEADERS.items():
            assert answer.headers[name] == value
        assert path.startswith("/static/") or answer.headers["Cache-Control"] == "no-store"


def test_the_policy_allows_nothing_inline() -> None:
    assert "unsafe" not in security.POLICY and "default-src 'none'" in security.POLICY


def test_the_cookie_is_for_this_server_alone(client: FlaskClient) -> None:
    cookie = client.get(FORM).headers["Set-Cookie"]
    assert cookie.startswith("lodeworth=") and "HttpOnly" in cookie and "SameSite=Strict" in cookie


def test_the_key_of_the_cookies_is_kept_and_private(tmp_path: Path) -> None:
    first = secret_key(tmp_path)
    assert secret_key(tmp_path) == first and len(first) == 32
    if os.name == "posix":
        assert stat.S_IMODE((tmp_path / "cookie.key").stat().st_mode) == 0o600


def test_a_session_outlives_the_server(app: Flask, tmp_path: Path) -> None:
    client = app.test_client()
    token = token_of(client)
    cookie = client.get_cookie("lodeworth")
    assert cookie is not None
    later = create_app(tmp_path)
    again = later.test_client()
    again.set_cookie("lodeworth", cookie.value)
    assert again.post(FORM, data={"token": token}).status_code == 303
    later.extensions["store"].close()


def test_a_key_that_others_could_read_is_made_anew(tmp_path: Path) -> None:
    first = secret_key(tmp_path)
    if os.name == "posix":
        (tmp_path / "cookie.key").chmod(0o644)
        assert secret_key(tmp_path) != first
        assert stat.S_IMODE((tmp_path / "cookie.key").stat().st_mode) == 0o600


def test_a_damaged_key_is_made_anew(tmp_path: Path) -> None:
    secret_key(tmp_path)
    (tmp_path / "cookie.key").write_bytes(b"short")
    assert len(secret_key(tmp_path)) == 32


def test_two_installations_do_not_know_each_others_cookies(app: Flask, tmp_path: Path) -> None:
    token = token_of(app.test_client())
    other = create_app(tmp_path / "other")
    stranger = other.test_client()
    token_of(stranger)
    cookie = stranger.get_cookie("lodeworth")
    assert cookie is not None
    client = app.test_client()
    client.set_cookie("lodeworth", cookie.value)
    assert client.post(FORM, data={"token": token}).status_code == 403
    other.extensions["store"].close()


@pytest.mark.skipif(os.name != "posix", reason="rights as POSIX has them")
def test_whatever_is_written_is_for_this_user_alone(tmp_path: Path) -> None:
    folder, before = tmp_path / "fresh", os.umask(0)
    try:
        app = create_app(folder, Settings(locale="en_US", time_zone="America/Denver", data=folder))
        client = app.test_client()
        token = token_of(client)
        assert client.post(FORM, data={"token": token, "title": "x"}).status_code == 303
        house = client.post("/house", data={"token": token, "seen": "", "currency": "EUR"})
        assert house.status_code in (303, 409)
        with client.post("/backup/file", data={"token": token}) as made:
            kept = made.data
        sent = {"token": token, "sure": "yes", "file": (BytesIO(kept), "b.zip")}
        assert client.post("/backup/restore", data=sent).status_code == 303
    finally:
        os.umask(before)
        app.extensions["store"].close()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    files = [file for file in folder.rglob("*") if file.is_file()]
    assert {"cookie.key", "lodeworth.sqlite3"} <= {file.name for file in files} and len(files) >= 3
    assert {file.name: stat.S_IMODE(file.stat().st_mode) & 0o077 for file in files if file.stat().st_mode & 0o077} == {}


# ---- requests of other pages, as their browser marks them


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_pages_get_nothing(client: FlaskClient, site: str) -> None:
    parts = [("image", "no-cors"), ("script", "no-cors"), ("style", "no-cors"), ("font", "cors"), ("empty", "cors")]
    framed = [("iframe", "navigate"), ("embed", "navigate"), ("object", "navigate"), ("empty", "websocket")]
    paths = ("/quotes", "/static/app.css", "/nowhere", "/api/openapi.json")
    for (dest, mode), path, method in product([*parts, *framed], paths, ["GET", "HEAD", "OPTIONS"]):
        told = {"Sec-Fetch-Site": site, "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": dest}
        answer = client.open(path, method=method, headers=told)
        assert answer.status_code == 403 and "Set-Cookie" not in answer.headers


def test_a_link_leads_here_and_nowhere_else(client: FlaskClient) -> None:
    told = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}
    for path in ("/quotes", "//evil.example/x", "/quotes?a=%22%3E%3Cscript%3E", "/quotes/%27;url=x"):
        answer = client.get(f"http://localhost{path}", headers=told)
        goal = Page(answer).one("meta[http-equiv=refresh]")["content"]
        assert str(goal).startswith("0;url=http://localhost/") and "<script" not in answer.text
        assert answer.status_code == 200 and "Set-Cookie" not in answer.headers
    assert client.get("/quotes", headers={**told, "Sec-Purpose": "prefetch"}).status_code == 403
    assert client.get("/quotes", headers={"Sec-Purpose": "prefetch"}).status_code == 403


def test_an_old_browser_that_marks_nothing_is_held_by_the_token_alone(client: FlaskClient) -> None:
    assert client.get("/quotes").status_code == 200
    for kind in ("text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"):
        assert client.post(FORM, data="a=b", content_type=kind).status_code == 403


@pytest.mark.parametrize(
    "path", [FORM, f"{FORM}/close", "/house", "/backup/restore", "/prices", "/lots/a-name-of-sixteen"]
)
def test_json_opens_no_other_door(client: FlaskClient, path: str) -> None:
    token_of(client)
    assert client.post(path, json={"token": "x"}).status_code == 403


def test_no_header_or_field_makes_one_method_another(client: FlaskClient) -> None:
    token = token_of(client)
    client.post(FORM, data={"token": token, "title": "x"})
    for name in ("X-HTTP-Method-Override", "X-HTTP-Method", "X-Method-Override"):
        assert client.get(f"{FORM}/close?_method=POST", headers={name: "POST"}).status_code == 405
    assert client.post(FORM, data={"token": token, "_method": "DELETE", "title": "y"}).status_code == 303


def test_a_packed_body_is_not_unpacked(client: FlaskClient) -> None:
    """A few kB that unpack to a gigabyte stay a few kB."""
    bomb = gzip.compress(b"[" * 10_000_000)
    packed = {"Content-Encoding": "gzip"}
    assert client.post("/api/quote", data=bomb, content_type="application/json", headers=packed).status_code == 400
    assert client.post(FORM, data=bomb, headers=packed).status_code == 403


def test_looking_changes_nothing(app: Flask, client: FlaskClient) -> None:
    """Every address that there is, by every method that is not guarded by a token."""
    client.post(FORM, data={"token": token_of(client), "title": "x", "spot.gold": "4100"})

    def held() -> dict[str, list[tuple[object, ...]]]:
        with app.extensions["store"].reading() as connection:
            names = connection.exec_driver_sql("SELECT name FROM sqlite_schema WHERE sql LIKE 'CREATE TABLE%'")
            tables = [name for (name,) in names]
            return {t: [tuple(row) for row in connection.exec_driver_sql(f'SELECT * FROM "{t}"')] for t in tables}

    before = held()
    parts = {"name": FORM.rpartition("/")[2], "sheet": "a-sheet-of-sixteen", "filename": "app.css", "address": "quotes"}
    rules = [rule for rule in app.url_map.iter_rules() if "GET" in (rule.methods or ())]
    for rule in rules:
        values = {name: parts.get(name, "0" if "int" in rule.rule else "x") for name in rule.arguments}
        path = re.sub(r"<(?:[^:>]+:)?(\w+)>", lambda found: values[found[1]], rule.rule)  # noqa: B023
        for method in ("GET", "HEAD", "OPTIONS"):
            with client.open(path, method=method) as answer:
                assert answer.status_code < 500, path
    assert len(rules) > 40 and held() == before


# ---- other people's programs


def test_the_account_at_the_other_end_is_read_from_the_systems_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Lines as Linux 6 wrote them, for 127.0.0.1 and for the same address asked for as IPv6."""
    if sys.byteorder != "little":
        pytest.skip("the lines were written by a little-endian machine")
    four, six = tmp_path / "tcp", tmp_path / "tcp6"
    rest = "01 00000000:00000000 00:00000000 00000000 {account}        0 792179 2 000000006e24e55d 20 0 0 10 -1"
    head = "  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode\n"
    four.write_text(head + f"   3: 0100007F:915A 0100007F:CFF7 {rest.format(account=1001)}\n")
    mapped = "0000000000000000FFFF00000100007F"
    six.write_text(head + f"   0: {mapped}:916A {mapped}:CFF7 {rest.format(account=1002)}\n")
    monkeypatch.setattr(accounts, "TABLES", (four, six))
    assert account_of(("127.0.0.1", 0x915A), 0xCFF7) == 1001
    assert account_of(("127.0.0.1", 0x916A), 0xCFF7) == 1002
    assert account_of(("127.0.0.1", 0x915A), 0xCFF8) is None
    assert account_of(("127.0.0.2", 0x915A), 0xCFF7) is None
    monkeypatch.setattr(accounts, "TABLES", (tmp_path / "none",))
    assert account_of(("127.0.0.1", 0x915A), 0xCFF7) is None


@pytest.mark.skipif(not Path("/proc/net/tcp").exists(), reason="this system tells nobody's account")
def test_our_own_account_is_found_on_a_real_connection() -> None:
    with socket.create_server(("127.0.0.1", 0)) as server, socket.create_connection(server.getsockname()) as asking:
        assert account_of(asking.getsockname(), server.getsockname()[1]) == os.getuid()


@pytest.mark.skipif(
    not hasattr(os, "getuid") or os.getuid() != 0 or not Path("/proc/net/tcp").exists(),
    reason="only root on Linux can pretend to be two people",
)
def test_the_program_of_another_person_gets_nothing(app: Flask, monkeypatch: pytest.MonkeyPatch) -> None:
    server = make_server("127.0.0.1", 0, app)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,), daemon=True)
    thread.start()
    monkeypatch.setattr(os, "getuid", lambda: 1000)  # the person who runs Lodeworth

    def asked(account: int) -> bytes:
        with socket.create_connection(("127.0.0.1", server.server_port)) as asking:
            os.fchown(asking.fileno(), account, -1)
            asking.sendall(b"GET /quotes HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n")
            return b"".join(iter(lambda: asking.recv(65536), b""))

    try:
        assert asked(1000).startswith(b"HTTP/1.0 200")
        assert asked(0).startswith(b"HTTP/1.0 200")
        refused = asked(1001)
        assert refused.startswith(b"HTTP/1.0 403") and b"another person" in refused and b"<html" not in refused
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


def test_what_the_page_on_security_points_to_is_there() -> None:
    root = Path(__file__).parents[2]
    text = (root / "SECURITY.md").read_text("utf-8")
    known = {file.stem for file in (root / "tests").rglob("test_*.py")}
    told = set(re.findall(r"`(test_\w+)`", text))
    assert told <= known and len(told) > 10
    for path in re.findall(r"`((?:tests|webapp|valuation)/[\w./]*)`", text) + re.findall(r"\]\(([\w./]+)\)", text):
        assert (root / path).exists(), path


def test_no_template_has_inline_style_or_script() -> None:
    for template in Path(webapp.__file__).parent.joinpath("templates").rglob("*.html"):
        text = template.read_text("utf-8")
        assert not re.search(r"\sstyle=|<style|\son[a-z]+=|javascript:|\|safe", text), template
        assert not re.search(r"<script(?![^>]*\ssrc=)", text), template
        assert not re.search(r"(?:src|href|action)=\"(?:https?:)?//", text), template


def test_vendored_code_is_what_its_list_says() -> None:
    here = Path(__file__).parent.parent
    for folder in (Path(webapp.__file__).parent / "static/vendor", here / "browser/vendor"):
        listed = dict(re.findall(r"^\| `([^`]+)` .*`([0-9a-f]{64})` \|$", (folder / "README.md").read_text(), re.M))
        assert listed and listed.keys() == {file.name for file in folder.glob("*.js")}
        for name, digest in listed.items():
            assert sha256((folder / name).read_bytes()).hexdigest() == digest
