"""Serving the counter to this machine alone."""

import logging
import os
import signal
import socket
import sys
import threading
import webbrowser
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from waitress.server import create_server

from webapp import create_app

if TYPE_CHECKING:
    from _typeshed.wsgi import WSGIApplication

HOST = "127.0.0.1"  # never more: there is no log-in
USUAL_PORT = 8477

# Browsers open no page at these. WHATWG, Fetch Standard, "Port blocking": the bad ports from 1024 up.
REFUSED_BY_BROWSERS = frozenset(
    {1719, 1720, 1723, 2049, 3659, 4045, 4190, 5060, 5061, 6000, 6566, 6679, 6697, 10080, *range(6665, 6670)}
)

# How waitress serves; tests/proofs/load.md measures it.
SERVING: dict[str, Any] = {
    # Working out a quote keeps one core busy whatever their number, but whoever waits for a feed, a disk or a slow
    # reader must not hold up the one who types: three tabs, a preview with its pages, a feed, a backup, one to spare.
    "threads": 8,
    # A browser opens six to a host; the rest are other browsers and programs of this machine. Each costs a file.
    "connection_limit": 100,
    # Seconds after which one that says nothing is closed, so that idle or half-sent ones do not use up the limit.
    "channel_timeout": 60,
    "cleanup_interval": 10,
    # Addresses, cookies and all: ours come to a few kB.
    "max_request_header_size": 64 * 1024,
    # Bytes: a backup that is put back through the page. waitress takes a body in before the app can look at it, above
    # 512 kB on the disk; `webapp.security` then allows most addresses 256 kB. The command line restores any size.
    "max_request_body_size": 1024**3,
    "ident": None,  # which server this is, is nobody's business
    "expose_tracebacks": False,
    "log_socket_errors": False,  # a tab that is closed while it loads is no error
}

ANOTHER = f"Choose another from 1024 to 65535, or leave it out for the usual {USUAL_PORT}."


class PortError(Exception):
    """The port asked for cannot be used; the message says why and what to do."""


def serve(port: int | None = None, open_browser: bool = True, data: Path | None = None) -> None:
    """Serve until Ctrl-C: at the usual port, a free one where that is taken, or at `port` and no other."""
    listener = listening_socket(port)
    with listener:
        app = create_app(data)
        try:
            run(app, listener, open_browser)
        finally:
            app.extensions["store"].close()


def run(app: "WSGIApplication", listener: socket.socket, open_browser: bool) -> None:
    """Say where the app is, show it, and answer until told to stop."""
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # more asked than threads: they wait their turn
    server = create_server(app, sockets=[listener], **SERVING)
    address = f"http://{HOST}:{listener.getsockname()[1]}/"
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        print(f"Lodeworth is at {address}\nPress Ctrl-C to stop.", flush=True)
        if open_browser and can_show(os.environ, sys.platform):
            threading.Thread(target=show, args=(address,), daemon=True).start()
        server.run()  # returns on Ctrl-C, when what is being answered has been
    except KeyboardInterrupt:
        server.close()
    print("Stopped.", flush=True)


def listening_socket(port: int | None) -> socket.socket:
    """Socket bound to this machine only; with no port asked for, the usual one or any that browsers open."""
    if port is None:
        try:
            return bound_socket(USUAL_PORT)
        except OSError:
            return safe_socket()
    if not 1024 <= port <= 65535 or port in REFUSED_BY_BROWSERS:
        raise PortError(f"Port {port} is one that systems keep or browsers refuse. {ANOTHER}")
    try:
        return bound_socket(port)
    except OSError as error:
        raise PortError(f"Port {port} cannot be used ({error.strerror}). {ANOTHER}") from error


def safe_socket() -> socket.socket:
    """Socket on a port that the system picks and browsers open."""
    refused = []
    try:
        while (free := bound_socket(0)).getsockname()[1] in REFUSED_BY_BROWSERS:
            refused.append(free)  # held until a better one is found, so that it is not picked again
        return free
    finally:
        for held in refused:
            held.close()


def bound_socket(port: int) -> socket.socket:
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        if sys.platform == "win32":
            # There, SO_REUSEADDR would let two programs share a port.
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:
            bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((HOST, port))
        bound.listen()
    except OSError:
        bound.close()
        raise
    return bound


def can_show(environ: Mapping[str, str], system: str) -> bool:
    """Whether a browser window would be seen by whoever started this."""
    if environ.get("LODEWORTH_NO_BROWSER") or environ.get("CI") or environ.get("SSH_CONNECTION"):
        return False
    named = any(environ.get(name) for name in ("BROWSER", "DISPLAY", "WAYLAND_DISPLAY"))
    return named or system in ("darwin", "win32")


def show(address: str) -> None:
    try:
        controller = webbrowser.get()
    except webbrowser.Error:
        return
    # A plain GenericBrowser draws in the terminal, unless it is the one that the person named.
    if "BROWSER" in os.environ or type(controller) is not webbrowser.GenericBrowser:
        controller.open(address)
