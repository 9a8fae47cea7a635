"""Only pages of this server, in a browser on this machine."""

import os
import re
import stat
from hashlib import sha256
from pathlib import Path

import pytest
from flask import Flask
from flask.testing import FlaskClient

import webapp
from webapp import create_app, security
from webapp.security import HEADERS, LARGEST_BODY, secret_key

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
