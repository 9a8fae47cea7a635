"""Real HTTPS servers on this machine that answer well, badly or not at all."""

import ssl
import threading
from collections.abc import Callable, Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest

from webapp.feed_settings import Feed, Patience

# Made for these tests with: openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 36500
# -subj "/CN=Invented feed of the tests" -addext "subjectAltName=DNS:localhost,IP:127.0.0.1,DNS:feed.example"
# Key and certificate; nobody else trusts it.
CERTIFICATE = Path(__file__).with_name("certificate.pem")
SHORT = Patience(connect_s=0.5, read_s=0.4, total_s=1.5)

Answering = Callable[["Handler"], None]


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server: "Source"

    def do_GET(self) -> None:
        self.server.asked.append((self.path, dict(self.headers.items())))
        self.close_connection = True
        answer = self.server.answers.get(self.path.partition("?")[0])
        if answer is None:
            self.say(b"nothing here", "text/plain", 404)
        else:
            answer(self)

    def say(self, body: bytes, kind: str = "application/json", status: int = 200, **headers: str) -> None:
        self.send_response(status)
        if kind:
            self.send_header("Content-Type", kind)
        self.send_header("Content-Length", str(len(body)))
        for name, value in headers.items():
            self.send_header(name.replace("_", "-"), value)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002
        pass


class Source(ThreadingHTTPServer):
    """A server whose answers a test sets, by path."""

    daemon_threads = True

    def __init__(self, is_secure: bool = True) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.answers: dict[str, Answering] = {}
        self.asked: list[tuple[str, dict[str, str]]] = []
        if is_secure:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(CERTIFICATE)
            self.socket = context.wrap_socket(self.socket, server_side=True, do_handshake_on_connect=False)
        self.scheme = "https" if is_secure else "http"
        threading.Thread(target=self.serve_forever, args=(0.02,), daemon=True).start()

    def handle_error(self, request: object, client_address: object) -> None:
        pass  # the other side hung up, as it should

    def says(
        self, text: str | bytes, path: str = "/p", kind: str = "application/json", status: int = 200, **more: str
    ) -> None:
        body = text.encode() if isinstance(text, str) else text
        self.answers[path] = lambda handler: handler.say(body, kind, status, **more)

    def address(self, path: str = "/p", host: str = "localhost") -> str:
        return f"{self.scheme}://{host}:{self.server_port}{path}"

    def stop(self) -> None:
        self.shutdown()
        self.server_close()


@pytest.fixture
def source() -> Iterator[Source]:
    made = Source()
    yield made
    made.stop()


@pytest.fixture
def other() -> Iterator[Source]:
    made = Source()
    yield made
    made.stop()


@pytest.fixture
def plain() -> Iterator[Source]:
    made = Source(is_secure=False)
    yield made
    made.stop()


def feed_at(address: str, **changes: object) -> Feed:
    """A feed of gold in dollars per troy ounce, allowed on this machine."""
    usual = {
        "name": "Desk",
        "metal": "gold",
        "address": address,
        "price": "/price",
        "currency": "USD",
        "unit": "ozt",
        "local_hosts": "localhost",
        "ca_file": str(CERTIFICATE),
    }
    return Feed.model_validate({**usual, **changes})
