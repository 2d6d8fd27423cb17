"""What a replay can't do without, each alone: reading its lines, decoding them, writing events and archive.

Run: python -m tests.benchmarks.replay_floor [HOURS [TARGETS]]. Processor time for each line of the recording, beside
the bare loop of replay_speed. What the loop takes beyond these is all that is left for own ship, identity, filter, CPA,
cross-check and rules, if a replay is to be as fast as the loop.
"""

import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from alerts.events import AnyEvent, Moment, Plot
from alerts.lookout import Lookout
from daemon.feeds.face import Arrival
from daemon.feeds.replay import Recording
from daemon.replaying import feeds_of
from daemon.sinks.archive_store import Dated, Passage, Store
from daemon.sinks.events import EventsSink
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline
from parsers.decode import Decoder
from parsers.tag import Tagged
from tests.benchmarks.figure import Figure
from tests.benchmarks.passages import recording
from tests.benchmarks.replay_speed import bare_loop

ROUNDS = 3
TRANSACTION = 5_000
"""Events in one transaction, as a replay's archive has them."""


class _Kept:
    """A sink that keeps what it is told, to be told again."""

    name, trouble, lost = "kept", "", 0

    def __init__(self) -> None:
        self.told: list[tuple[Moment, Sequence[AnyEvent]]] = []

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self.told.append((moment, events))

    def idle(self, now_s: float) -> None:
        pass

    def close(self) -> None:
        pass


def _read(path: Path) -> list[Arrival]:
    return [arrival for part in Recording(str(path)).parts() for arrival in part]


def _decode(lines: Sequence[Tagged]) -> None:
    decoder = Decoder("radar")
    for tagged in lines:
        decoder.decode(tagged, 0.0)


def _write_events(path: Path, told: Sequence[tuple[Moment, Sequence[AnyEvent]]]) -> None:
    sink = EventsSink(str(path))
    for moment, events in told:
        sink.take(moment, events)
    sink.close()


def _write_archive(path: Path, dated: Sequence[Dated]) -> None:
    path.unlink(missing_ok=True)
    store = Store(path, Passage(origin="replay", source="", program=""))
    store.open()
    for start in range(0, len(dated), TRANSACTION):
        store.write(dated[start : start + TRANSACTION])
    store.close()


def _cpu_s(work: Callable[[], object]) -> float:
    """The least processor time of some rounds."""
    times = []
    for _ in range(ROUNDS):
        began = time.process_time()
        work()
        times.append(time.process_time() - began)
    return min(times)


def figures(hours: float = 0.5, targets: int = 20) -> Iterator[Figure]:
    path = recording(hours, targets)
    arrivals = _read(path)
    kept, parts = _Kept(), [Recording(str(path))]
    stream = Stream(Lookout(), [kept], feeds_of(parts), RecordedTimeline())
    for part in parts[0].parts():
        stream.take(part)
    dated = [(moment, event) for moment, events in kept.told for event in events]
    lines = [arrival.tagged for arrival in arrivals if isinstance(arrival.tagged, Tagged)]
    with tempfile.TemporaryDirectory() as folder:
        costs = {
            "read": _cpu_s(lambda: _read(path)),
            "decoded": _cpu_s(lambda: _decode(lines)),
            "its events written": _cpu_s(lambda: _write_events(Path(folder) / "e.jsonl", kept.told)),
            "its events archived": _cpu_s(lambda: _write_archive(Path(folder) / "a.db", dated)),
        }
    each_us = {what: 1e6 * cost / len(arrivals) for what, cost in costs.items()}
    for what, cost in each_us.items():
        yield Figure(f"a line {what}", f"{cost:.1f} us")
    bare_us, floor_us = 1e6 / bare_loop(path).rate, sum(each_us.values())
    reports = sum(isinstance(event, Plot) for _, event in dated)
    left_us = (bare_us - floor_us) * len(arrivals) / reports
    yield Figure("these together, and the bare loop", f"{floor_us:.1f} us, {bare_us:.1f} us")
    yield Figure("left of the loop's time for all else, for each target's report", f"{left_us:.1f} us")


if __name__ == "__main__":
    words = dict(enumerate(sys.argv))
    for figure in figures(float(words.get(1, "0.5")), int(words.get(2, "20"))):
        print(figure.line())
