"""The server: its port, who can reach it, opening the browser, stopping."""

import http.client
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from webapp import server

ROOT = Path(__file__).parent.parent

# A throw-away app: answers at once, or at /slow after a while, then leaves a mark.
SERVING = """
import pathlib, signal, sys, time
from webapp.server import listening_socket, run

signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell's background job would ignore it

def app(environ, start_response):
    if environ["PATH_INFO"] == "/slow":
        pathlib.Path(sys.argv[2] + ".begun").touch()
        time.sleep(1)
        pathlib.Path(sys.argv[2]).touch()
    start_response("200 OK", [("Content-Type", "text/plain")])
    return [b"here"]

run(app, listening_socket(int(sys.argv[1]) or None), open_browser=True)
"""


class Running:
    def __init__(self, process: subprocess.Popen[str]):
        self.process = process
        assert process.stdout is not None
        self.address = process.stdout.readline().split()[-1]
        self.port = int(self.address.rstrip("/").rpartition(":")[2])

    def stop(self, how: int) -> tuple[int, str]:
        self.process.send_signal(how)
        out, _ = self.process.communicate(timeout=20)
        return self.process.returncode, out

    def get(self) -> tuple[int, dict[str, str], bytes]:
        with closing(http.client.HTTPConnection("127.0.0.1", self.port, timeout=10)) as connection:
            connection.request("GET", "/")
            answer = connection.getresponse()
            return answer.status, dict(answer.getheaders()), answer.read()


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Callable[..., Running]]:
    started = []

    def start(port: int = 0, **env: str) -> Running:
        quiet = env or {"LODEWORTH_NO_BROWSER": "1"}
        kept = {k: v for k, v in os.environ.items() if k not in ("CI", "SSH_CONNECTION", "LODEWORTH_NO_BROWSER")}
        process = subprocess.Popen(
            [sys.executable, "-c", SERVING, str(port), str(tmp_path / "mark")],
            cwd=ROOT,
            env={**kept, **quiet},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        started.append(process)
        return Running(process)

    yield start
    for process in started:
        process.kill()
        process.communicate()


def wait_for(path: Path) -> None:
    deadline = time.monotonic() + 15
    while not path.exists():
        assert time.monotonic() < deadline, f"{path.name} never came"
        time.sleep(0.02)


def test_usual_port_or_a_free_one_where_it_is_taken() -> None:
    with server.listening_socket(None) as first, server.listening_socket(None) as second:
        assert second.getsockname()[1] != first.getsockname()[1]
        assert server.USUAL_PORT not in server.REFUSED_BY_BROWSERS
        assert second.getsockname()[1] != server.USUAL_PORT
        assert {first.getsockname()[0], second.getsockname()[0]} == {"127.0.0.1"}


def test_a_free_port_that_browsers_refuse_is_passed_over(monkeypatch: pytest.MonkeyPatch) -> None:
    class FirstTwo:
        asked: list[int] = []  # noqa: RUF012

        def __contains__(self, port: int) -> bool:
            self.asked.append(port)
            return len(self.asked) <= 2

    monkeypatch.setattr(server, "REFUSED_BY_BROWSERS", FirstTwo())
    with server.safe_socket() as free:
        assert len(set(FirstTwo.asked)) == 3
        assert free.getsockname()[1] == FirstTwo.asked[-1]


@pytest.mark.parametrize("port", [-1, 80, 1023, 6000, 10080, 65536])
def test_a_port_that_no_browser_opens_is_refused_by_name(port: int) -> None:
    with pytest.raises(server.PortError, match=f"Port {port} .*Choose another from 1024 to 65535"):
        server.listening_socket(port)


def test_a_port_asked_for_is_never_swapped_for_another() -> None:
    with server.bound_socket(0) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(server.PortError, match=f"Port {port} cannot be used"):
            server.listening_socket(port)
    with server.listening_socket(port) as asked:
        assert asked.getsockname() == ("127.0.0.1", port)


def test_answers_here_and_does_not_say_what_it_runs_on(start: Callable[..., Running]) -> None:
    running = start()
    status, headers, body = running.get()
    assert (status, body) == (200, b"here")
    assert "Server" not in headers
    assert running.address == f"http://127.0.0.1:{running.port}/"


def test_other_addresses_of_this_machine_are_not_served(start: Callable[..., Running]) -> None:
    running = start()
    # 127.0.0.2 is this machine too, on Linux; a server bound to every address would answer there.
    with pytest.raises(OSError):
        socket.create_connection(("127.0.0.2", running.port), timeout=2)


@pytest.mark.skipif(os.name == "nt", reason="Windows sends a process no such signals")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM])
def test_stops_cleanly_and_starts_again_at_the_same_port(start: Callable[..., Running], how: int) -> None:
    running = start()
    running.get()
    code, out = running.stop(how)
    assert (code, out.splitlines()[-1]) == (0, "Stopped.")
    assert "Traceback" not in out
    assert start(running.port).port == running.port


@pytest.mark.skipif(os.name == "nt", reason="Windows sends a process no such signals")
def test_what_is_being_done_is_finished_before_it_stops(start: Callable[..., Running], tmp_path: Path) -> None:
    running = start()
    with socket.create_connection(("127.0.0.1", running.port)) as connection:
        connection.sendall(b"GET /slow HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n")
        wait_for(tmp_path / "mark.begun")
        assert running.stop(signal.SIGTERM)[0] == 0
        assert connection.recv(1000).endswith(b"here")
    assert (tmp_path / "mark").exists()


@pytest.mark.parametrize(
    ("environ", "system", "seen"),
    [
        ({}, "linux", False),
        ({"DISPLAY": ":0"}, "linux", True),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", True),
        ({"BROWSER": "some-browser"}, "linux", True),
        ({}, "darwin", True),
        ({}, "win32", True),
        ({"CI": "true"}, "win32", False),
        ({"DISPLAY": ":0", "LODEWORTH_NO_BROWSER": "1"}, "linux", False),
        ({"SSH_CONNECTION": "192.0.2.1 50000 192.0.2.2 22"}, "darwin", False),
    ],
)
def test_when_a_browser_would_be_seen(environ: dict[str, str], system: str, seen: bool) -> None:
    assert server.can_show(environ, system) is seen


@pytest.mark.skipif(os.name == "nt", reason="the stand-in browser is a shell script")
def test_opens_the_browser_at_the_address(start: Callable[..., Running], tmp_path: Path) -> None:
    browser = tmp_path / "browser"
    browser.write_text(f'#!/bin/sh\necho "$1" > "{tmp_path}/part" && mv "{tmp_path}/part" "{tmp_path}/opened"\n')
    browser.chmod(0o755)
    running = start(BROWSER=str(browser))
    wait_for(tmp_path / "opened")
    assert (tmp_path / "opened").read_text().strip() == running.address
