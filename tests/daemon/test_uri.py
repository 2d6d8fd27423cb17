"""Feed URIs: what each says, and what is refused with which words."""

import ipaddress

import pytest

from daemon.errors import UserError
from daemon.feeds.uri import FeedKind, FeedTime, parse


def test_serial() -> None:
    """Port, rate and framing bits; 4800 8N1 (IEC 61162-1) where nothing else is said."""
    plain, full = parse("serial:/dev/ttyUSB0"), parse("serial:/dev/ttyS1@38400?bits=7&parity=e&stop=2&name=radar")

    assert (plain.path, plain.baud, plain.bits, plain.parity, plain.stop) == ("/dev/ttyUSB0", 4800, 8, "N", 1)
    assert (full.path, full.baud, full.bits, full.parity, full.stop) == ("/dev/ttyS1", 38400, 7, "E", 2)
    assert (plain.name, full.name) == ("serial:/dev/ttyUSB0", "radar")


def test_serial_ports_by_id_may_hold_an_at_sign() -> None:
    """Only a number behind the last @ is a rate, so such a path needs its rate."""
    assert parse("serial:/dev/by@id@9600").path == "/dev/by@id"


def test_udp() -> None:
    """Any local address, one address, a group with its interface; senders, cap and sharing."""
    group = parse("udp:239.192.0.2:60002?interface=192.0.2.5&from=192.0.2.0/24,198.51.100.7&cap=500")

    assert (parse("udp:10110").address, parse("udp:10110").port) == ("", 10110)
    assert parse("udp:127.0.0.1:10110").address == "127.0.0.1"
    assert parse("udp:[::1]:10110?share=yes").share
    assert (group.is_multicast, group.interface, group.cap) == (True, "192.0.2.5", 500)
    assert ipaddress.ip_address("192.0.2.200") in group.senders[0]


def test_the_others() -> None:
    """TCP, a file, standard input; a name from the configuration; the time from the TAG block."""
    assert (parse("tcp:mux.local:2000").address, parse("tcp:mux.local:2000").port) == ("mux.local", 2000)
    assert parse("file:/tmp/x").kind is FeedKind.FILE
    assert (parse("-").kind, parse("-").name) == (FeedKind.STDIN, "stdin")
    assert parse("udp:1", "radar").name == "radar"
    assert parse("udp:1?name=gps", "radar").name == "gps"
    assert parse("udp:1?time=tag").time is FeedTime.TAG


@pytest.mark.parametrize(
    ("uri", "word"),
    [
        ("", "not understood"),
        ("radar", "not understood"),
        ("http://x", "not understood"),
        ("serial:", "not understood"),
        ("serial:/dev/x@4801", "no baud rate"),
        ("udp:0", "no port"),
        ("udp:70000", "no port"),
        ("udp:boat:10110", "no address"),
        ("tcp:2000", "HOST"),
        ("udp:1?colour=red", "no option 'colour'"),
        ("tcp:h:1?parity=N", "no option 'parity'"),
        ("serial:/dev/x?bits=9", "one of 5, 6, 7, 8"),
        ("udp:1?from=boat", "not possible"),
        ("udp:1?cap=0", "not possible"),
        ("udp:1?time=now", "arrival, tag"),
    ],
)
def test_mistakes_are_refused_with_what_was_meant(uri: str, word: str) -> None:
    """Code 2, and the URI in the message."""
    with pytest.raises(UserError, match=word) as refused:
        parse(uri)

    assert refused.value.code == 2
    assert repr(uri) in str(refused.value)


def test_names_hold_no_separators() -> None:
    """A name goes into TAG blocks and messages: blanks, control bytes and separators become underscores."""
    assert parse("udp:1?name=a b\\c,d*e\x1b").name == "a_b_c_d_e_"
