"""Hostile traffic through the whole core: floods of identities, whose memory must stay flat."""

from collections.abc import Callable, Iterator

from alerts.lookout import Lookout
from daemon.config import from_values
from daemon.feeds.face import Arrival, Counters
from daemon.replaying import lookout_settings
from daemon.stream import FeedLine, Stream
from daemon.timeline import RecordedTimeline
from parsers.decode import Decoder
from tests.faults.feed_faults import resident_kib
from tests.faults.outcome import Outcome
from tests.parsers.lines import sealed, tagged

T0 = 1_800_000_000_000
_LETTERS = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
_ARMOUR = "0123456789:;<=>?@ABCDEFGHIJKLMNOPQRSTUVW`abcdefghijklmnopqrstuvw"


def _line(number: int, body: str, keys: str = "") -> bytes:
    return tagged(f"{keys}c:{T0 + number}", sealed(body)).encode()


def target_numbers(number: int) -> bytes:
    """Another target number in each line, at another place."""
    body = (
        f"$RATTM,{number},{1 + number % 97 / 10:.2f},{number * 7 % 360:.1f},T,10.0,{number * 3 % 360:.1f},T,,,N,,T,,,A"
    )
    return _line(number, body)


def mmsis(number: int) -> bytes:
    """Another MMSI in each class A position report."""
    bits = f"{1:06b}{0:02b}{1 + number * 7919 % 999_999_999:030b}{0:04b}{128 & 255:08b}{100:010b}{0:01b}"
    bits += f"{(11 * 600000 + number % 60000) & (2**28 - 1):028b}{(58 * 600000 + number % 60000) & (2**27 - 1):027b}"
    bits += f"{number % 3600:012b}{511:09b}{number % 60:06b}{0:025b}"
    bits = bits.ljust(168, "0")[:168]
    payload = "".join(_ARMOUR[int(bits[at : at + 6], 2)] for at in range(0, 168, 6))
    return _line(number, f"!AIVDM,1,1,,A,{payload},0")


def talkers(number: int) -> bytes:
    """Another talker (and with it another source) in each heading."""
    talker = _LETTERS[number % 26] + _LETTERS[number // 26 % 26]
    return _line(number, f"${talker}HDT,{number % 360}.0,T")


def tag_sources(number: int) -> bytes:
    """Another source in each TAG block."""
    return _line(number, f"$HEHDT,{number % 360}.0,T", f"s:S{number},")


def tag_groups(number: int) -> bytes:
    """The first part of another group, whose second part never comes."""
    return _line(number, f"!AIVDM,2,1,{number % 10},A,55NBjP01mtGIL@CW;SM<D60P5Ld000000000000P,0", f"g:1-2-{number},")


def hostile_names(number: int) -> bytes:
    """Names with escapes, markup, and every length up to the longest line."""
    name = "<b>^1B[31m</b>&" + "x" * (number % 700) + str(number)
    return _line(number, f"$RATTM,{number % 100},4.00,{number % 360}.0,T,10.0,90.0,T,,,N,{name},T,,,A")


FLOODS: dict[str, Callable[[int], bytes]] = {
    "target numbers": target_numbers,
    "MMSIs": mmsis,
    "talkers": talkers,
    "TAG sources": tag_sources,
    "TAG groups": tag_groups,
    "hostile names": hostile_names,
}


def flood_of(what: str, lines: int) -> Outcome:
    """That many lines, a thousand in a second of the stream's time; memory after a fifth of them, and at the end."""
    counters = Counters()
    feed = FeedLine(name="udp", decoder=Decoder("udp"), counters=counters)
    stream = Stream(Lookout(lookout_settings(from_values({}))), [], [feed], RecordedTimeline())
    after_a_fifth_kib = 0
    for part in _parts(FLOODS[what], lines):
        counters.lines += len(part)
        counters.taken += len(part)
        stream.take(part)
        if not after_a_fifth_kib and counters.lines >= lines // 5:
            after_a_fifth_kib = resident_kib()
    grown_mib = (resident_kib() - after_a_fifth_kib) / 1024
    bad = [counters.imbalance()] if counters.imbalance() else []
    if grown_mib > 20:
        bad.append(f"memory grew by {grown_mib:.1f} MiB after the first fifth")
    return Outcome(
        fault=f"flood of {what}",
        tried=lines,
        lost=f"memory {grown_mib:+.1f} MiB after the first fifth; {counters.accepted} accepted,"
        f" {counters.refused.total()} refused",
        figures={"grown_mib": grown_mib},
        bad=bad,
    )


def _parts(make: Callable[[int], bytes], lines: int) -> Iterator[list[Arrival]]:
    for first in range(0, lines, 500):
        yield [Arrival("udp", make(number)) for number in range(first, min(first + 500, lines))]
