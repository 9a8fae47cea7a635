"""Which machines a feed may be fetched from: those of the open internet, unless the house names one of its own.

A name is resolved once, and what is then connected to is an address that was looked at.
"""

from __future__ import annotations

import socket
import threading
from collections.abc import Sequence
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address

_GLOBAL_UNICAST = IPv6Network("2000::/3")  # RFC 4291, 2.4: all that has been given out of the open internet
# Of protocols, which older versions of `ipaddress` take for open: RFC 6890, RFC 7526.
_OF_PROTOCOLS = (IPv4Network("192.0.0.0/24"), IPv4Network("192.88.99.0/24"))
_NAT64 = IPv6Network("64:ff9b::/96")  # RFC 6052, 2.1
Found = tuple[int, int, int, tuple[object, ...]]


class HostRefused(Exception):  # noqa: N818 - told as an event
    """The name leads nowhere, or to a machine that is not of the open internet."""


def is_open(address: str) -> bool:
    """Whether an IP address belongs to a machine of the open internet.

    References
    ----------
    RFC 6890 (special-purpose addresses), RFC 6598 (100.64.0.0/10), RFC 4291, RFC 6052 and RFC 8215 (NAT64), RFC 3056
    (6to4), RFC 4380 (Teredo).
    """
    found = ip_address(address.partition("%")[0])
    return _is_open_v4(found) if isinstance(found, IPv4Address) else _is_open_v6(found)


def _is_open_v4(found: IPv4Address) -> bool:
    if any(found in block for block in _OF_PROTOCOLS):
        return False
    return found.is_global and not (found.is_multicast or found.is_reserved)


def _is_open_v6(found: IPv6Address) -> bool:
    if found in _NAT64:
        return _is_open_v4(IPv4Address(int(found) & 0xFFFFFFFF))
    if found not in _GLOBAL_UNICAST or not found.is_global or found.teredo is not None:
        return False
    return found.sixtofour is None or _is_open_v4(found.sixtofour)


def addresses_of(host: str, port: int, local_hosts: Sequence[str], patience_s: float) -> list[Found]:
    """Addresses of a host to connect to, as `socket.getaddrinfo` tells them, every one of them looked at.

    Raises
    ------
    HostRefused
        None found in time, or one of them is not of the open internet and the host not among `local_hosts`.
    """
    found = _resolved(host, port, patience_s)
    if host.lower().strip("[]") not in local_hosts:
        closed = [str(address[0]) for _, _, _, address in found if not is_open(str(address[0]))]
        if closed:
            raise HostRefused(
                f"{host} leads to {closed[0]}, on this machine or its local network. If that is meant, name {host} "
                "under “Allowed on our own network”"
            )
    return found


def _resolved(host: str, port: int, patience_s: float) -> list[Found]:
    found: list[Found] = []
    told: list[OSError | UnicodeError] = []

    def look() -> None:
        try:
            for family, kind, protocol, _, address in socket.getaddrinfo(host, port, 0, socket.SOCK_STREAM):
                found.append((family, kind, protocol, address))
        except (OSError, UnicodeError) as error:
            told.append(error)

    # The resolver knows no time limit of its own.
    looking = threading.Thread(target=look, daemon=True)
    looking.start()
    looking.join(patience_s)
    if looking.is_alive():
        raise HostRefused(f"the name {host} could not be looked up within {patience_s:g} seconds")
    if not found:
        raise HostRefused(f"the name {host} was not found" + (f" ({told[0]})" if told else ""))
    return found
