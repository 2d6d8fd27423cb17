"""What a watch costs at a normal load: 60 sentences a second, 20 targets, with console, archive and serial line.

Run: python -m tests.benchmarks.normal_load [SECONDS]. The running program on a pseudo-terminal for its screen and
another for its radar; processor time after the start, its greatest resident size. Memory after a day of traffic is
replay_speed's.
"""

import os
import pty
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from daemon.exercise.generate import lines
from daemon.exercise.traffic import long_passage
from tests.benchmarks.figure import Figure, under
from tests.benchmarks.running import processor_s, resident_mb, watch
from tests.benchmarks.soak import Sender, udp_second
from tests.daemon.feed_makers import SerialCable

RATE, TARGETS = 60, 20


def traffic(seconds: int) -> list[list[bytes]]:
    """Each second's lines: the long passage, filled up to the rate with what a vessel's other instruments send."""
    made: list[list[bytes]] = [[] for _ in range(seconds)]
    scenario = long_passage(max(seconds / 3600, 0.05), TARGETS)
    for utc_ms, text in lines(scenario):
        second = (utc_ms - scenario.start_ms) // 1000
        if second < seconds:
            made[second].append(text.encode() + b"\r\n")
    for second, part in enumerate(made):
        others = [line for line in udp_second(second) if not line.startswith((b"$GPHDT", b"$VWVHW"))]
        part += others[: max(0, RATE - len(part))]
    return made


def _swallow(screen: int) -> None:
    """What a terminal does: reads all that is written to it."""
    try:
        while os.read(screen, 1 << 16):
            pass
    except OSError:
        pass


def figures(seconds: int = 60) -> Iterator[Figure]:
    made = traffic(seconds + 10)
    screen, terminal = pty.openpty()
    threading.Thread(target=_swallow, args=(screen,), daemon=True).start()
    with tempfile.TemporaryDirectory() as name:
        cable = SerialCable(Path(name) / "ttyUSB0")
        feed = f"serial:{cable.link}@38400?name=radar"
        with watch(Path(name), "--feed", feed, "--events", f"{name}/e.jsonl", stdout=terminal) as process:
            time.sleep(2)
            sender = Sender(cable.send, made.__getitem__, len(made))
            sender.start()
            time.sleep(10)  # the targets are acquired
            began, used_s = time.monotonic(), processor_s(process.pid)
            sender.join()
            share = (processor_s(process.pid) - used_s) / (time.monotonic() - began)
            memory = resident_mb(process.pid)
        cable.pull()
        plots = sum('"event":"plot"' in line for line in (Path(name) / "e.jsonl").open())
    os.close(terminal)
    detail = f" of a core, {plots} plots in {len(made)} s, {memory:.0f} MB resident"
    what = f"normal load: {RATE} sentences a second, {TARGETS} targets, console, archive, events"
    yield under(what, 100 * share, "%", 5, detail)


if __name__ == "__main__":
    for figure in figures(*(int(word) for word in sys.argv[1:])):
        print(figure.line())
