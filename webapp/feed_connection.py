"""Connections of a feed: only to addresses that were looked at, and cut off at a deadline."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

from urllib3 import HTTPSConnectionPool
from urllib3.connection import HTTPSConnection
from urllib3.exceptions import NewConnectionError

from webapp.feed_addresses import addresses_of
from webapp.feed_answer import AnswerRefused
from webapp.feed_settings import Patience


class Deadline:
    """A moment after which every connection is cut off, whatever it waits for."""

    def __init__(self) -> None:
        self.is_over = False
        self._lock = threading.Lock()
        self._open: list[socket.socket] = []

    def watch(self, connection: socket.socket) -> None:
        """Cut this connection off as well."""
        with self._lock:
            self._open.append(connection.dup())  # TLS takes the socket itself
        self.check()

    def end(self) -> None:
        """Cut off what is open."""
        with self._lock:
            self.is_over = True
            for one in self._open:
                with contextlib.suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        """Let go of what was watched."""
        with self._lock:
            for one in self._open:
                one.close()
            self._open.clear()

    def check(self) -> None:
        """Raise `AnswerRefused` if it is over."""
        if self.is_over:
            raise AnswerRefused("no whole answer in time")


@contextmanager
def deadline_of(seconds: float) -> Iterator[Deadline]:
    deadline = Deadline()
    timer = threading.Timer(seconds, deadline.end)
    timer.daemon = True
    timer.start()
    try:
        yield deadline
    finally:
        timer.cancel()
        deadline.close()


def pool_of(local_hosts: Sequence[str], deadline: Deadline, patience: Patience) -> type[HTTPSConnectionPool]:
    class Connection(HTTPSConnection):
        """Connects to an address that was looked at just before, and so to no other."""

        def _new_conn(self) -> socket.socket:
            deadline.check()
            trouble: OSError | None = None
            for family, kind, protocol, address in addresses_of(self.host, self.port, local_hosts, patience.connect_s):
                deadline.check()
                fresh = socket.socket(family, kind, protocol)
                try:
                    fresh.settimeout(patience.connect_s)
                    fresh.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                    fresh.connect(address)
                    deadline.watch(fresh)
                except OSError as error:
                    fresh.close()
                    trouble = error
                    continue
                except AnswerRefused:
                    fresh.close()
                    raise
                return fresh
            raise NewConnectionError(self, str(trouble)) from trouble

    class Pool(HTTPSConnectionPool):
        ConnectionCls = Connection

    return Pool
