"""Whose program is at the other end of a connection: the account on this machine that it runs under.

Loopback keeps other machines out, not other people who are logged in on this one. Linux tells the account of every
connection in /proc/net/tcp (Linux manual, proc_pid_net(5)); other systems do not tell it to a program without
privileges, and there nothing is known.
"""

from __future__ import annotations

import os
import socket
from collections.abc import Mapping
from ipaddress import IPv6Address, ip_address
from pathlib import Path
from typing import Any

TABLES = (Path("/proc/net/tcp"), Path("/proc/net/tcp6"))  # the second holds IPv4 too, where a program asked for it so
ROOT = 0
_LOCAL, _REMOTE, _ACCOUNT = 1, 2, 7  # columns


def is_of_another_account(environ: Mapping[str, Any]) -> bool:
    """Whether a request surely comes from the program of somebody else; root may look anyway, with or without us.

    A server that root itself started, as in a container, asks nobody.
    """
    if not hasattr(os, "getuid") or os.getuid() == ROOT or not environ.get("REMOTE_PORT"):
        return False
    there = (str(environ.get("REMOTE_ADDR")), int(environ["REMOTE_PORT"]))
    account = account_of(there, int(environ["SERVER_PORT"]))
    return account not in (None, ROOT, os.getuid())


def account_of(there: tuple[str, int], port_here: int) -> int | None:
    """Number of the account whose connection from `there` to a port here this is, None where it is not told."""
    for table in TABLES:
        try:
            lines = table.read_text("ascii").splitlines()[1:]
        except OSError:
            continue
        for line in lines:
            told = line.split()
            if _end(told[_LOCAL]) == there and _end(told[_REMOTE])[1] == port_here:
                return int(told[_ACCOUNT])
    return None


def _end(told: str) -> tuple[str, int]:
    """Address and port of ``0100007F:1F90``: the address in words of four bytes, each in this machine's order."""
    address, _, port = told.partition(":")
    words = [int(address[at : at + 8], 16) for at in range(0, len(address), 8)]
    found = ip_address(b"".join(_in_order(word) for word in words))
    mapped = found.ipv4_mapped if isinstance(found, IPv6Address) else None
    return str(mapped or found), int(port, 16)


def _in_order(word: int) -> bytes:
    return socket.htonl(word).to_bytes(4, "big")
