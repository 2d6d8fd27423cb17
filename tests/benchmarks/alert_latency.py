"""From the deciding sentence's arrival at the feed to the sound: a closest_approach, through the whole live path.

Run: python -m tests.benchmarks.alert_latency [RUNS]. A real UDP feed, intake, parsers, filter, rules, book and desk.
Sentences are sent over loopback; the deciding one (the TTM on which the alarm is raised) is known by the alert's time.
Measured up to the call of the sound annunciator, where the player is started; what the player and the sound card take
comes on top and is not ours. Beside the target in danger there are 19 others, so that the rules have work.
"""

import math
import socket
import sys
import threading
import time
from collections.abc import Sequence

import numpy as np

from alerts.annunciators.desk import Desk
from alerts.annunciators.face import Telling, to_sound
from alerts.lookout import Lookout
from daemon.clock import HostClock
from daemon.feeds.intake import Intake
from daemon.feeds.opening import open_feed
from daemon.feeds.uri import parse
from daemon.stream import FeedLine, Stream
from daemon.timeline import TaggedTimeline
from parsers import encode
from parsers.decode import Decoder
from tests.daemon.feed_makers import free_port

START_MS = 1_800_000_000_000
OTHERS = 19


class Ear:
    """The place of the sound annunciator: notes when it is called with something to be heard."""

    name = "sound"

    def __init__(self) -> None:
        self.heard_s = 0.0
        self.decided_ms = 0
        self.heard = threading.Event()

    def tell(self, batch: Sequence[Telling]) -> bool:
        notice = to_sound(batch)
        if notice is None or notice.alert.rule != "closest_approach":
            return False
        if not self.heard.is_set():
            self.heard_s, self.decided_ms = time.perf_counter(), notice.alert.time.utc_ms
            self.heard.set()
        return True

    def idle(self, now_s: float) -> None:
        """Nothing to do."""

    def close(self) -> None:
        """Nothing is open."""


def lines_at(second: int, rng: np.random.Generator) -> list[bytes]:
    """One second of the passage: own ship, then the others, then the target that closes head-on."""
    utc_ms = START_MS + second * 1000
    sentences = [encode.hdt(0.0, talker="HE"), encode.vtg(0.0, 8.0)]
    for number in range(2, 2 + OTHERS):
        bearing = math.radians(number * 17.0)
        east, north = 6 * math.sin(bearing), 6 * math.cos(bearing) - 8 * second / 3600
        sentences.append(_ttm(number, east, north, rng))
    sentences.append(_ttm(1, 0.05, 4.2 - 20.0 * second / 3600, rng))
    return [encode.tag_block(text, utc_ms, "RA0001").encode() + b"\r\n" for text in sentences]


def _ttm(number: int, east: float, north: float, rng: np.random.Generator) -> str:
    distance = math.hypot(east, north) + 0.01 * float(rng.standard_normal())
    bearing = (math.degrees(math.atan2(east, north)) + 0.3 * float(rng.standard_normal())) % 360
    return encode.ttm(number, max(distance, 0.01), bearing)


def run(seed: int) -> float | None:
    """One watch up to its alarm: seconds from sending the deciding sentence to the ear; None if there was none."""
    rng, ear, intake, clock = np.random.default_rng(seed), Ear(), Intake(), HostClock()
    port = free_port()
    feed = open_feed(parse(f"udp:127.0.0.1:{port}?name=radar&time=tag"), intake, clock)
    line = FeedLine(name="radar", decoder=Decoder("radar"), counters=feed.counters)
    stream = Stream(Lookout(), [], [line], TaggedTimeline())
    stream.desk = Desk([ear], clock.mono_s)
    feed.start()
    stop = threading.Event()

    def loop() -> None:
        while not stop.is_set():
            stream.take(intake.get(0.05))

    watching = threading.Thread(target=loop)
    watching.start()
    time.sleep(0.2)
    sent_s = _send(port, rng, ear)
    stop.set()
    intake.stop()
    watching.join()
    feed.stop()
    stream.close()
    return None if sent_s is None else ear.heard_s - sent_s


def _send(port: int, rng: np.random.Generator, ear: Ear) -> float | None:
    sent: dict[int, float] = {}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        for second in range(400):
            *before, last = lines_at(second, rng)
            for text in before:
                out.sendto(text, ("127.0.0.1", port))
            time.sleep(0.004)  # the others are through before the one that decides
            sent[START_MS + second * 1000] = time.perf_counter()
            out.sendto(last, ("127.0.0.1", port))
            if ear.heard.wait(0.02):
                return sent[ear.decided_ms]
    return None


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    took = [seconds for seed in range(runs) if (seconds := run(seed)) is not None]
    p50, p90, p99 = np.quantile(np.array(took) * 1000, [0.5, 0.9, 0.99])
    print(f"{len(took)} of {runs} runs with an alarm; sentence sent to sound called: p50 {p50:.1f}, p90 {p90:.1f}, ")
    print(f"p99 {p99:.1f}, worst {max(took) * 1000:.1f} ms (p99 at most 100 ms)")


if __name__ == "__main__":
    main()
