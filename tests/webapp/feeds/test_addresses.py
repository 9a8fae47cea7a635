"""Which machines are of the open internet, against the registries of special-purpose addresses."""

import pytest

from webapp.feed_addresses import is_open

# IANA IPv4 and IPv6 Special-Purpose Address Registries (RFC 6890 and its updates), one address of each block, from
# memory; multicast: RFC 5771 and RFC 4291, 2.7; site-local: RFC 3879; NAT64: RFC 6052 and RFC 8215.
CLOSED = [
    "0.0.0.0",
    "10.1.2.3",
    "100.64.0.1",
    "100.127.255.255",
    "127.0.0.1",
    "127.255.255.254",
    "169.254.169.254",
    "172.16.0.1",
    "172.31.255.255",
    "192.0.0.8",
    "192.88.99.1",
    "192.0.2.1",
    "192.168.1.1",
    "198.18.0.1",
    "198.51.100.7",
    "203.0.113.9",
    "224.0.0.1",
    "239.255.255.250",
    "240.0.0.1",
    "255.255.255.255",
    "::",
    "::1",
    "::127.0.0.1",
    "::ffff:127.0.0.1",
    "::ffff:10.0.0.1",
    "::ffff:93.184.215.14",
    "64:ff9b::7f00:1",
    "64:ff9b::a00:1",
    "64:ff9b::a9fe:a9fe",
    "64:ff9b:1::1",
    "100::1",
    "2001::1",
    "2001:db8::1",
    "2002:7f00:1::",
    "2002:c0a8:101::1",
    "fc00::1",
    "fd12:3456::1",
    "fe80::1",
    "fe80::1%eth0",
    "fec0::1",
    "ff02::1",
]
OPEN = [
    "93.184.215.14",
    "1.1.1.1",
    "100.63.255.255",
    "100.128.0.0",
    "172.32.0.1",
    "2606:4700::1111",
    "64:ff9b::5db8:d70e",
]


@pytest.mark.parametrize("address", CLOSED)
def test_special_addresses_are_closed(address: str) -> None:
    assert not is_open(address)


@pytest.mark.parametrize("address", OPEN)
def test_others_are_open(address: str) -> None:
    assert is_open(address)
