"""Feed URIs: `serial:/dev/ttyUSB0@38400?bits=7`, `udp:239.192.0.2:60002?interface=192.168.1.5`, `tcp:HOST:PORT`,
`file:PATH`, `-`. Every mistake is refused with what was meant.
"""

import ipaddress
import re
from collections.abc import Callable
from enum import StrEnum

from msgspec import Struct

from daemon.errors import UserError

DEFAULT_BAUD = 4800
"""IEC 61162-1's rate; 38400 is that of IEC 61162-2."""

BAUD_RATES = (300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 921600)

DEFAULT_CAP = 2000
"""Lines a second taken from one UDP sender: twice the rated load of a whole network (judgement)."""

MAX_NAME = 40

FORMS = "serial:PORT[@BAUD], udp:[ADDRESS:]PORT, tcp:HOST:PORT, file:PATH or -, each with options such as ?name=radar"


class FeedKind(StrEnum):
    """The word before the colon; `-` is STDIN."""

    SERIAL = "serial"
    UDP = "udp"
    TCP = "tcp"
    FILE = "file"
    STDIN = "stdin"


class FeedTime(StrEnum):
    """What dates a line: its arrival here, or the `c:` of its own TAG block."""

    ARRIVAL = "arrival"
    TAG = "tag"


Network = ipaddress.IPv4Network | ipaddress.IPv6Network


class FeedSpec(Struct, frozen=True, kw_only=True):
    """What a URI says. Fields that its kind does not use keep their defaults."""

    kind: FeedKind
    uri: str
    name: str
    path: str = ""
    address: str = ""  # UDP: to bind or group to join, empty for any local address; TCP: host
    port: int = 0
    baud: int = DEFAULT_BAUD
    bits: int = 8
    parity: str = "N"
    stop: float = 1
    interface: str = ""  # UDP: local address or name of the interface that joins the group
    senders: tuple[Network, ...] = ()  # UDP: who may send; empty for everyone
    cap: int = DEFAULT_CAP  # UDP: lines a second from one sender
    share: bool = False  # UDP: let other programs bind the same port (always so for a group)
    time: FeedTime = FeedTime.ARRIVAL

    @property
    def is_multicast(self) -> bool:
        """The address is a group to be joined."""
        return self.kind is FeedKind.UDP and bool(self.address) and ipaddress.ip_address(self.address).is_multicast


def parse(text: str, name: str = "") -> FeedSpec:
    """One feed URI. `name` is used where the URI has no `?name=`; else the URI, without its options, is the name.

    Raises UserError for anything that cannot be meant.
    """
    place, _, query = text.partition("?")
    kind, values = _place(text, place)
    values |= _options(text, kind, query)
    values.setdefault("name", name or place)
    return FeedSpec(kind=kind, uri=text, **_checked_name(text, values))  # type: ignore[arg-type]


def _place(text: str, place: str) -> tuple[FeedKind, dict[str, object]]:
    if place == "-":
        return FeedKind.STDIN, {"name": "stdin"}
    scheme, colon, rest = place.partition(":")
    if not colon or not rest or scheme not in _PLACES:
        raise UserError(f"feed {text!r} is not understood: write {FORMS}")
    return FeedKind(scheme), _PLACES[scheme](text, rest)


def _serial(text: str, rest: str) -> dict[str, object]:
    path, at, rate = rest.rpartition("@")
    if not at:
        return {"path": rest}
    if not rate.isdecimal() or int(rate) not in BAUD_RATES:
        raise UserError(f"feed {text!r}: {rate!r} is no baud rate: one of {', '.join(map(str, BAUD_RATES))}")
    return {"path": path, "baud": int(rate)}


def _udp(text: str, rest: str) -> dict[str, object]:
    address, _, port = rest.rpartition(":")
    address = address.removeprefix("[").removesuffix("]")
    if address:
        try:
            ipaddress.ip_address(address)
        except ValueError:
            raise UserError(
                f"feed {text!r}: {address!r} is no address: give the local address to listen on or the group to"
                f" join, in numbers, or udp:{port} for any local address"
            ) from None
    return {"address": address, "port": _port(text, port)}


def _tcp(text: str, rest: str) -> dict[str, object]:
    host, _, port = rest.rpartition(":")
    host = host.removeprefix("[").removesuffix("]")
    if not host:
        raise UserError(f"feed {text!r}: write tcp:HOST:PORT")
    return {"address": host, "port": _port(text, port)}


def _file(text: str, rest: str) -> dict[str, object]:
    return {"path": rest}


_PLACES: dict[str, Callable[[str, str], dict[str, object]]] = {
    "serial": _serial,
    "udp": _udp,
    "tcp": _tcp,
    "file": _file,
}


def _port(text: str, port: str) -> int:
    if not port.isdecimal() or not 1 <= int(port) <= 65535:
        raise UserError(f"feed {text!r}: {port!r} is no port: a number from 1 to 65535")
    return int(port)


def _networks(value: str) -> tuple[Network, ...]:
    return tuple(ipaddress.ip_network(part.strip(), strict=False) for part in value.split(","))


def _choice(*allowed: str) -> Callable[[str], str]:
    def convert(value: str) -> str:
        if value not in allowed:
            raise ValueError(f"one of {', '.join(allowed)}")
        return value

    return convert


def _cap(value: str) -> int:
    if not value.isdecimal() or not 1 <= int(value) <= 1_000_000:
        raise ValueError("lines a second from one sender, 1 to 1000000")
    return int(value)


_COMMON: dict[str, tuple[str, Callable[[str], object]]] = {
    "name": ("name", str),
    "time": ("time", lambda value: FeedTime(_choice("arrival", "tag")(value))),
}
# Of the kinds that have options of their own.
_OPTIONS: dict[FeedKind, dict[str, tuple[str, Callable[[str], object]]]] = {
    FeedKind.SERIAL: {
        "bits": ("bits", lambda value: int(_choice("5", "6", "7", "8")(value))),
        "parity": ("parity", lambda value: _choice("N", "E", "O", "M", "S")(value.upper())),
        "stop": ("stop", lambda value: float(_choice("1", "1.5", "2")(value))),
    },
    FeedKind.UDP: {
        "interface": ("interface", str),
        "from": ("senders", _networks),
        "cap": ("cap", _cap),
        "share": ("share", lambda value: _choice("yes", "no")(value) == "yes"),
    },
}


def _options(text: str, kind: FeedKind, query: str) -> dict[str, object]:
    known = _COMMON | _OPTIONS.get(kind, {})
    values: dict[str, object] = {}
    for part in filter(None, query.split("&")):
        key, _, value = part.partition("=")
        if key not in known:
            raise UserError(f"feed {text!r}: no option {key!r} for {kind}: there are {', '.join(known)}")
        field, convert = known[key]
        try:
            values[field] = convert(value)
        except ValueError as error:
            raise UserError(f"feed {text!r}: {key}={value} is not possible: {error}") from None
    return values


def _checked_name(text: str, values: dict[str, object]) -> dict[str, object]:
    """Names go into TAG blocks, file names and the console, so they hold no separators and no blanks."""
    name = str(values["name"])
    if "uri" not in values and re.search(r"[\s\\,*^~\x00-\x1f\x7f]", name):
        values["name"] = name = re.sub(r"[\s\\,*^~\x00-\x1f\x7f]", "_", name)
    if not name:
        raise UserError(f"feed {text!r}: the name is empty")
    values["name"] = name[:MAX_NAME]
    return values
