"""Where the house looks prices up: an address of its own choice, and where in the answer the price stands."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Annotated, Literal, Self
from urllib.parse import SplitResult, urlsplit

from pydantic import AfterValidator, BeforeValidator, Field, model_validator
from pydantic_core import PydanticCustomError

from valuation.field import Section, refuse_all, said
from valuation.mass import MassUnit
from valuation.number import Number, blank_is_none
from webapp.house_kinds import OneLine, OwnCurrency

Metal = Literal["gold", "silver", "exchange_rate"]
METAL_NAMES: dict[str, str] = {"gold": "gold", "silver": "silver", "exchange_rate": "exchange rate"}
MOST_FEEDS = 12
_TOKEN = re.compile(r"[!#$%&'*+.^_`|~0-9A-Za-z-]{1,80}")  # RFC 9110, 5.6.2
_VISIBLE = re.compile(r"[\x21-\x7e]([\x20-\x7e]*[\x21-\x7e])?")
_OF_THE_CONNECTION = frozenset(
    (
        *("accept-encoding", "connection", "content-length", "expect", "host"),
        *("keep-alive", "te", "trailer", "transfer-encoding", "upgrade"),
    )
)
_POINTER = re.compile(r"(/([^~/]|~[01])*)*")  # RFC 6901, 3
_HOUSE = "house assumption, no source"


@dataclass(frozen=True)
class Patience:
    """How long to wait: to connect, for the next bytes, and for everything together [s]."""

    connect_s: float = 2.0
    read_s: float = 3.0
    total_s: float = 8.0


def host_of(address: str) -> str:
    """Host of an address, in small letters."""
    return (urlsplit(address).hostname or "").lower()


def without_query(address: str) -> str:
    """An address as it may be shown and kept: what a key may stand in is left out."""
    parts = urlsplit(address)
    return SplitResult(parts.scheme, parts.netloc.rpartition("@")[2], parts.path, "", "").geturl()


def _https(address: str) -> str:
    words = ""
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        parts, port, words = (
            SplitResult("", "", "", "", ""),
            None,
            "not an address; write it like https://host/prices.json",
        )
    if not words and parts.scheme.lower() != "https":
        words = "must begin with https://, so that nobody on the way can change the price"
    elif not words and (not parts.hostname or port == 0 or not re.fullmatch(r"[\x21-\x7e]+", address)):
        words = "not an address; write it like https://host/prices.json, without blanks"
    elif not words and "@" in parts.netloc:
        words = "must hold no name or password; put a key into the header"
    if words:
        raise PydanticCustomError("address", words)
    return address.partition("#")[0]


def _header_name(name: str) -> str:
    if name and not _TOKEN.fullmatch(name):
        raise PydanticCustomError("header", "not the name of a header; write it like X-Key")
    if name.lower() in _OF_THE_CONNECTION:
        raise PydanticCustomError("header", "belongs to the connection itself; name the header that the key goes into")
    return name


def _header_value(value: str) -> str:
    if value and not _VISIBLE.fullmatch(value):
        raise PydanticCustomError("header", "plain letters, digits and signs only")
    return value


def _hosts(entered: object) -> object:
    """Names of hosts, in a list or parted by commas or blanks."""
    parts = re.split(r"[,\s]+", entered) if isinstance(entered, str) else entered
    if not isinstance(parts, list | tuple):
        return parts
    return tuple(part.strip().lower() if isinstance(part, str) else part for part in parts if part != "")


def _place(entered: object) -> object:
    return str(entered) if isinstance(entered, int) and not isinstance(entered, bool) else entered


Address = Annotated[OneLine, AfterValidator(_https)]
Place = Annotated[OneLine, BeforeValidator(_place)]
Unit = Annotated[MassUnit | None, BeforeValidator(blank_is_none)]


class Feed(Section):
    """One address that prices are looked up at.

    References
    ----------
    JSON Pointer: RFC 6901. Fields of a header: RFC 9110, 5.
    """

    name: OneLine = said("Name", "What the source is called beside its price.", min_length=1, max_length=60)
    metal: Metal = said("What it tells", "Gold, silver, or how much one currency is worth in another.")
    address: Address = said("Address", "Begins with https://.", max_length=1000)
    format: Literal["json", "csv"] = said("Answers in", "JSON or CSV.", default="json", assumed="JSON")
    price: Place = said(
        "Where the price stands",
        "JSON: the names that lead to it, each after a slash, such as /metals/gold/price (a JSON Pointer). CSV: the "
        "column's name, or its number.",
        min_length=1,
        max_length=300,
    )
    row: Literal["first", "last"] = said(
        "Row", "CSV only: the newest row of the table.", default="last", assumed="last"
    )
    currency: OwnCurrency = said(
        "Currency", "ISO 4217 code; an answer that names another one is refused.", default=None, assumed="as answered"
    )
    currency_at: Place = said(
        "Where the currency stands",
        "As for the price; empty if it is not told.",
        default="",
        max_length=300,
    )
    unit: Unit = said("Price per", "An answer that names another unit is refused.", default=None, assumed="as answered")
    unit_at: Place = said(
        "Where the unit stands", "As for the price; empty if it is not told.", default="", max_length=300
    )
    one_of: OwnCurrency = said(
        "Currency exchanged",
        "Exchange rates only: USD if the answer says what one USD costs.",
        default=None,
        assumed="none",
    )
    time_at: Place = said(
        "Where its time stands",
        "When the price was made; without an offset it is UTC.",
        default="",
        max_length=300,
    )
    header: Annotated[OneLine, AfterValidator(_header_name)] = said(
        "Header for a key", "If the source asks for one.", default=""
    )
    header_value: Annotated[OneLine, AfterValidator(_header_value)] = said(
        "Key", "Sent to this host only, kept in house.toml, never shown again.", default="", max_length=500
    )
    largest_jump_frac: Number = said(
        "Largest jump",
        "A price that lies further from the last good one is refused.",
        unit="frac",
        default=0.10,
        gt=0,
        le=10,
        assumed=_HOUSE,
    )
    kept_minutes: Number = said(
        "Ask again after",
        "Until then its last answer is used.",
        unit="minutes",
        default=5.0,
        ge=1,
        le=1440,
        assumed=_HOUSE,
    )
    local_hosts: Annotated[tuple[OneLine, ...], BeforeValidator(_hosts), Field(max_length=8)] = said(
        "Allowed on our own network",
        "Names of hosts, as in the address, that may lie on this machine or the local network.",
        default=(),
    )
    ca_file: OneLine = said(
        "Certificates", "File of certificates (PEM) to trust instead of the usual ones.", default="", max_length=500
    )

    @property
    def host(self) -> str:
        """Host of its address."""
        return host_of(self.address)

    @property
    def shown_address(self) -> str:
        """Its address without what a key may stand in."""
        return without_query(self.address)

    @property
    def places(self) -> dict[str, str]:
        """Where in the answer what stands."""
        told = {"price": self.price, "currency": self.currency_at, "unit": self.unit_at, "time": self.time_at}
        return {name: place for name, place in told.items() if place}

    @model_validator(mode="after")
    def _whole(self) -> Self:
        refuse_all(self, list(self._missing()))
        return self

    def _missing(self) -> list[PydanticCustomError]:
        found = []
        if self.currency is None and not self.currency_at:
            found.append(_wrong("currency", "needed: the currency, or where the answer names it"))
        if self.metal == "exchange_rate":
            if self.one_of is None:
                found.append(_wrong("one_of", "needed: the currency of which one is priced, such as USD"))
            elif self.one_of == self.currency:
                found.append(_wrong("one_of", "the same as the currency of the price: nothing to exchange"))
        elif self.unit is None and not self.unit_at:
            found.append(_wrong("unit", "needed: the unit, or where the answer names it"))
        if self.format == "json":
            names = ("price", "currency_at", "unit_at", "time_at")
            places = {name: str(getattr(self, name)) for name in names}
            words = "a JSON pointer begins with / and goes down by names and positions, such as /rates/0/price"
            found += [_wrong(name, words) for name, place in places.items() if not _POINTER.fullmatch(place)]
        if bool(self.header) != bool(self.header_value):
            name = "header_value" if self.header else "header"
            found.append(_wrong(name, "header and key go together: give both or neither"))
        return found


def _wrong(field: str, words: str) -> PydanticCustomError:
    return PydanticCustomError("feed", words, {"field": field})
