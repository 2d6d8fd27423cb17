"""The watch's loop on a virtual clock: what waits is neither overtaken by time, nor misjudged, nor lost."""

import queue
import time
from collections.abc import Sequence
from pathlib import Path
from threading import Timer

import pytest

from alerts.events import AnyEvent, Feed, Moment, Plot
from alerts.plotting.terms import FeedState
from daemon.clock import VirtualClock
from daemon.config import from_values
from daemon.control import Pending, Request
from daemon.feeds.face import Arrival, Counters, Link
from daemon.feeds.intake import GATHERED, Intake
from daemon.feeds.replay import Recording
from daemon.feeds.uri import parse
from daemon.sinks.recorder import Recorder
from daemon.timeline import RecordedTimeline
from daemon.watching import Watch
from parsers.encode import sentence

DEPTH = sentence("SDDPT,12.3,0.5").encode()


def heading(degrees: float) -> bytes:
    return sentence(f"HEHDT,{degrees:.1f},T").encode()


def relative(bearing_deg: float) -> bytes:
    return sentence(f"RATTM,01,2.00,{bearing_deg:05.1f},R,,,R,,,N,,T,,,A").encode()


class Hand:
    """A feed whose lines the test puts in by hand."""

    def __init__(self, name: str, intake: Intake, clock: VirtualClock) -> None:
        self.name, self.counters = name, Counters()
        self.link = Link(is_open=True, since_s=0.0)
        self.last_line_s: float | None = None
        self.held: list[bytes] = []
        self._intake, self._clock = intake, clock

    def put(self, *lines: bytes, late_s: float = 0.0) -> None:
        """Lines that arrived `late_s` ago."""
        mono_s, utc_ms = self._clock.mono_s() - late_s, self._clock.utc_ms() - round(late_s * 1000)
        self._intake.put_all([Arrival(self.name, line, mono_s, utc_ms) for line in lines], self.counters)

    def start(self) -> None: ...

    def stop(self) -> None: ...

    def join(self, timeout_s: float) -> bool:
        self.put(*self.held)
        return True


class Kept:
    """A sink that keeps what it is told, and when."""

    name, trouble, lost = "kept", "", 0

    def __init__(self) -> None:
        self.events: list[tuple[float, AnyEvent]] = []

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self.events += [(moment.at_s, event) for event in events]

    def idle(self, now_s: float) -> None: ...

    def close(self) -> None: ...

    def states(self, name: str) -> list[FeedState]:
        return [event.state for _, event in self.events if isinstance(event, Feed) and event.name == name]

    def plots(self) -> list[tuple[float, Plot]]:
        return [(at_s, event) for at_s, event in self.events if isinstance(event, Plot)]


class Bridge:
    """A watch over two feeds, `radar` and `gyro`."""

    def __init__(self, recordings: Path | None = None) -> None:
        self.clock, self.intake, self.kept = VirtualClock(), Intake(), Kept()
        self.requests: queue.SimpleQueue[Request | Pending] = queue.SimpleQueue()
        self.radar, self.gyro = (Hand(name, self.intake, self.clock) for name in ("radar", "gyro"))
        specs = [parse(f"udp:{port}?name={name}") for port, name in ((10110, "radar"), (10111, "gyro"))]
        recorder = Recorder(recordings, self.clock) if recordings else None
        feeds = [self.radar, self.gyro]
        self.watch = Watch(
            from_values({}), specs, feeds, [self.kept], self.intake, self.clock, self.requests, recorder
        )  # fmt: skip

    @property
    def at_s(self) -> float:
        """The watch's time."""
        assert self.watch.stream.moment is not None
        return self.watch.stream.moment.at_s

    def turn(self, timeout_s: float = 0.0) -> None:
        self.watch.turn(timeout_s)


@pytest.fixture
def bridge() -> Bridge:
    return Bridge()


def test_time_does_not_pass_beyond_a_line_that_waits(bridge: Bridge) -> None:
    """More lines wait than are taken in one go, and the clock is seconds ahead: each keeps the time of its arrival."""
    for second in range(20):
        bridge.gyro.put(*[heading(second)] * 50, DEPTH)
        bridge.radar.put(relative(10))
        bridge.clock.advance(1.0)
    bridge.turn()
    left = len(bridge.intake)
    at_s = bridge.at_s

    assert left > 500
    assert at_s == pytest.approx(9.0, abs=1.0)
    while len(bridge.intake):
        bridge.turn()
    assert [at_s for at_s, _ in bridge.kept.plots()] == [float(second) for second in range(20)]
    bridge.clock.advance(0.25)
    bridge.turn()
    assert bridge.at_s == pytest.approx(20.25)


def test_a_line_that_comes_late_is_dated_like_the_time_that_has_passed(tmp_path: Path) -> None:
    """Dated before the watch looked round, put after: live and from the recording it has the same time, the watch's."""
    bridge = Bridge(tmp_path)
    bridge.gyro.put(heading(0))
    bridge.clock.advance(5.0)
    bridge.turn()
    bridge.radar.put(relative(10), late_s=0.5)
    bridge.clock.advance(2.0)
    bridge.radar.put(relative(20))
    bridge.turn()
    assert bridge.watch.recorder is not None
    bridge.watch.recorder.close()
    timeline, recorded = RecordedTimeline(), []
    for part in Recording(str(next(tmp_path.iterdir()))).parts():
        recorded += [timeline.moment(one, one.tagged).at_s for one in part]  # type: ignore[arg-type]

    assert [at_s for at_s, _ in bridge.kept.plots()] == [5.0, 7.0]
    assert [at_s - recorded[0] for at_s in recorded] == [0.0, 5.0, 7.0]


def test_a_relative_bearing_is_turned_by_the_newest_heading(bridge: Bridge) -> None:
    """A heading waits for the next target, and is taken before it, not after."""
    bridge.gyro.put(heading(0))
    bridge.turn()
    bridge.clock.advance(0.1)
    bridge.gyro.put(heading(90))
    bridge.clock.advance(0.05)
    bridge.radar.put(relative(10))
    bridge.gyro.put(heading(180))
    began = time.monotonic()
    bridge.turn(30)

    ((at_s, plot),) = bridge.kept.plots()
    assert at_s == pytest.approx(0.15)
    assert plot.bearing_deg == 100.0
    assert time.monotonic() - began < 5


def test_a_feed_whose_line_waits_is_not_silent(bridge: Bridge) -> None:
    """Ten seconds are up while its line waits: the line is heard before anybody judges."""
    bridge.radar.put(relative(10))
    bridge.gyro.put(heading(0))
    bridge.turn()
    for _ in range(3):
        bridge.clock.advance(9.75)
        bridge.gyro.put(heading(0))
        bridge.clock.advance(0.15)
        bridge.turn()

    assert bridge.kept.states("gyro") == [FeedState.UP]
    assert bridge.kept.states("radar") == [FeedState.UP, FeedState.SILENT]


def test_a_lost_link_is_told_after_the_lines_that_it_brought(bridge: Bridge) -> None:
    """Else the lines that wait would bring up a feed that is down."""
    bridge.gyro.put(heading(0))
    bridge.turn()
    bridge.clock.advance(1.0)
    bridge.gyro.put(*[heading(1)] * 600)
    bridge.gyro.link = Link(is_open=False, since_s=1.0, trouble="unplugged", attempts=1)
    for _ in range(3):
        bridge.clock.advance(0.25)
        bridge.turn()

    assert bridge.kept.states("gyro") == [FeedState.UP, FeedState.DOWN]


def test_a_request_is_answered_at_once_and_over_all_that_waits(bridge: Bridge) -> None:
    """`status` does not wait for a target, and counts the headings that did."""
    bridge.gyro.put(*[heading(0)] * (GATHERED - 1))
    pending = Pending(Request("status"))
    bridge.requests.put(pending)
    timer = Timer(0.05, bridge.intake.wake)
    timer.start()
    began = time.monotonic()
    bridge.turn(30)
    timer.join()

    assert time.monotonic() - began < 5
    reply = pending.wait(0)
    assert b'"name":"gyro","state":"up"' in bytes(reply.status)
    assert bridge.watch.stream.feeds["gyro"].counters.accepted == GATHERED - 1


def test_what_waits_when_it_is_stopped_is_taken_and_recorded(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A signal comes while headings wait, and a feed has an unfinished line in hand: none of them is lost."""
    bridge = Bridge(tmp_path)
    bridge.gyro.put(*[heading(0)] * 5)
    bridge.radar.held = [relative(10)]
    bridge.intake.stop()
    bridge.watch.run()
    recorded = b"".join(path.read_bytes() for path in tmp_path.iterdir())

    assert bridge.gyro.counters.accepted == 5
    assert recorded.count(b"HEHDT") == 5 and recorded.count(b"RATTM") == 1
    assert [plot.target for _, plot in bridge.kept.plots()] == ["radar-01"]
    assert "balance" not in capsys.readouterr().err
