"""A watch under rated load for as long as asked: four serial lines at 38,400 baud, and 1,000 sentences a second by UDP.

    python -m tests.benchmarks.soak --minutes 15              the real program, real time
    python -m tests.benchmarks.soak --hours 24 --accelerated  the core and the archive, as fast as they go

Prints memory, processor time, and what was sent, taken and dropped.
"""

import argparse
import json
import os
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from functools import lru_cache, partial
from pathlib import Path

from daemon.feeds.face import Arrival
from daemon.sinks.archive import Archive
from tests.benchmarks.running import ROOT, processor_s, resident_mb
from tests.daemon.feed_makers import SerialCable, free_port
from tests.parsers.lines import sealed

T0_MS = 1_800_000_000_000
UDP_PER_S = 1000
SERIAL_LINES = 4
SERIAL_BYTES_PER_S = 3840
"""38,400 baud, 8N1: ten bits a byte."""

MOST_WAITING = 2_000
"""Events."""

Send = Callable[[bytes], object]
Make = Callable[[int], list[bytes]]


@lru_cache(maxsize=4_000)  # of the lines that come again; more would be measured as the watch's memory
def _line(body: str) -> bytes:
    return f"{sealed(body)}\r\n".encode()


def serial_second(line: int, second: int) -> list[bytes]:
    """One second of one full line: 20 targets in turn, heading at 10 Hz, position, settings, and depth to fill it."""
    lines: list[bytes] = []
    clock = f"{8 + second // 3600 % 12:02d}{second // 60 % 60:02d}{second % 60:02d}.00"
    lines += [_line(f"$HEHDT,{(45 + line + tenth / 10) % 360:.1f},T") for tenth in range(10)]
    for target in range(10):
        number = line * 20 + 1 + (second * 10 + target) % 20
        bearing = (number * 17 + second * 0.01) % 360
        range_nm = 2 + number % 9 + 0.5 * ((second * 7 + number) % 100) / 100
        lines.append(
            _line(f"$RATTM,{number:02d},{range_nm:.2f},{bearing:.1f},T,10.0,200.0,T,0.50,10.0,N,,T,,{clock},A")
        )
    lines.append(_line(f"$GPRMC,{clock},A,5812.{second % 10000:04d},N,01130.0000,E,10.0,045.0,150127,,,A"))
    lines.append(_line("$RARSD,0.00,0.0,,,,,,,,,6.0,N,N"))
    size = sum(map(len, lines))
    number = 0
    while True:
        filler = _line(f"$SDDPT,{20 + (second + number) % 100 / 10:.1f},0.5,{line}")
        if size + len(filler) > SERIAL_BYTES_PER_S:
            return lines
        lines.append(filler)
        size += len(filler)
        number += 1


def udp_second(second: int) -> list[bytes]:
    """One second of the network: AIS of 40 vessels, heading and rate of turn at 50 Hz, satellites in view and depth."""
    lines: list[bytes] = []
    for number in range(UDP_PER_S):
        kind = number % 10
        if kind < 4:
            lines.append(_line(f"$GPHDT,{(45 + number / 500) % 360:.2f},T"))
        elif kind < 6:
            lines.append(_line(f"$TIROT,{(second + number) % 20 / 10:.1f},A"))
        elif kind < 8:
            lines.append(_line(f"$GPGSV,4,{1 + number % 4},13,{second % 99:02d},40,083,46,02,17,308,41,12,07,344,39"))
        elif kind == 8:
            lines.append(_line(f"$VWVHW,,T,,M,{10 + number % 10 / 10:.2f},N,,K"))
        else:
            lines.append(_line(f"$WIMWV,{number % 360}.0,R,{second % 30}.0,N,A"))
    return lines


class Sender(threading.Thread):
    """One source in real time, a hundredth of a second at a time."""

    def __init__(self, send: Send, make: Make, seconds: float) -> None:
        super().__init__(daemon=True)
        self.sent = 0
        self._send, self._make, self._seconds = send, make, seconds

    def run(self) -> None:
        began = time.monotonic()
        second = 0
        while second < self._seconds:
            lines = self._make(second)
            for hundredth in range(100):
                first, last = len(lines) * hundredth // 100, len(lines) * (hundredth + 1) // 100
                for line in lines[first:last]:
                    self._send(line)
                self.sent += last - first
                pause = began + second + (hundredth + 1) / 100 - time.monotonic()
                if pause > 0:
                    time.sleep(pause)
            second += 1


def real_time(minutes: float, folder: Path) -> dict[str, object]:
    """The program itself with archive, events and recorder, beside senders in another process's time."""
    cables = [SerialCable(folder / f"ttyUSB{number}") for number in range(SERIAL_LINES)]
    port = free_port()
    words = [sys.executable, "-m", "daemon.main", "watch", "--quiet"]
    for number, cable in enumerate(cables):
        words += ["--feed", f"serial:{cable.link}@38400?name=serial{number}"]
    words += ["--feed", f"udp:127.0.0.1:{port}?name=net", "--archive", str(folder / "a.sqlite")]
    words += ["--events", str(folder / "events.jsonl"), "--record", str(folder / "recordings")]
    watch = subprocess.Popen(words, cwd=ROOT, env={**os.environ, "XDG_RUNTIME_DIR": str(folder)})
    time.sleep(3)
    seconds = minutes * 60
    network = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    senders = [Sender(cable.send, partial(serial_second, line), seconds) for line, cable in enumerate(cables)]
    senders.append(Sender(lambda data: network.sendto(data, ("127.0.0.1", port)), udp_second, seconds))
    began, used_s = time.monotonic(), processor_s(watch.pid)
    for sender in senders:
        sender.start()
    memory: list[tuple[float, float]] = []
    while any(sender.is_alive() for sender in senders):
        time.sleep(5)
        memory.append((time.monotonic() - began, resident_mb(watch.pid)))
    time.sleep(1)
    share = (processor_s(watch.pid) - used_s) / (time.monotonic() - began)
    stopped = time.monotonic()
    watch.send_signal(signal.SIGTERM)
    code = watch.wait(20)
    stop_s = time.monotonic() - stopped
    network.close()
    for cable in cables:
        cable.pull()
    last = {}
    with (folder / "events.jsonl").open() as events:
        for text in events:
            if text.startswith('{"event":"feed"'):
                event = json.loads(text)
                last[event["name"]] = event
    names = [*(f"serial{number}" for number in range(SERIAL_LINES)), "net"]
    settled = [mib for at, mib in memory if at >= min(60.0, seconds / 3)]
    return {
        "minutes": minutes,
        "sent": {name: sender.sent for name, sender in zip(names, senders, strict=True)},
        "lines": {name: last[name]["lines"] for name in names},
        "dropped": {name: last[name]["dropped"] for name in names},
        "refused": {name: last[name]["refused"] for name in names},
        "processor_share_of_one_core": round(share, 3),
        "memory_mib_first": round(settled[0], 1),
        "memory_mib_last": round(settled[-1], 1),
        "memory_mib_greatest": round(max(settled), 1),
        "exit_code": code,
        "stop_s": round(stop_s, 2),
        "archive_mib": round((folder / "a.sqlite").stat().st_size / 2**20, 1),
    }


def traffic(hours: float) -> Iterator[list[Arrival]]:
    """The same traffic as arrivals, a second at a time, on a clock that goes as fast as it is asked."""
    for second in range(round(hours * 3600)):
        utc_ms = T0_MS + second * 1000
        feeds = {f"serial{line}": serial_second(line, second) for line in range(SERIAL_LINES)}
        feeds["net"] = udp_second(second)
        arrivals = [
            (number / len(lines), Arrival(name, line[:-2], second + number / len(lines), utc_ms))
            for name, lines in feeds.items()
            for number, line in enumerate(lines)
        ]
        yield [arrival for _, arrival in sorted(arrivals, key=lambda pair: pair[0])]


def _let_the_disk_catch_up(archive: Archive) -> None:
    """Hold the accelerated clock while more waits for the disk than some 45 s of real time bring.

    Else a disk that stalls for some seconds, with the clock at sixteen times its pace, fills the backlog to its bound
    of 10,000 events, twice, and the run measures these 20 MB.
    """
    while archive.waiting > MOST_WAITING:
        time.sleep(0.005)


def accelerated(hours: float, folder: Path, most_minutes: float) -> dict[str, object]:
    """Core, archive and recorder in one process; stops after `most_minutes` of real time and says how far it came."""
    from alerts.lookout import Lookout
    from daemon.clock import HostClock
    from daemon.config import from_values
    from daemon.feeds.face import Counters
    from daemon.replaying import lookout_settings
    from daemon.sinks.archive_store import Passage
    from daemon.stream import FeedLine, Stream
    from daemon.timeline import RecordedTimeline
    from parsers.decode import Decoder

    archive = Archive(
        folder / "a.sqlite", Passage(origin="watch", source="soak", program="soak"), HostClock(), lossless=True
    )
    names = [*(f"serial{line}" for line in range(SERIAL_LINES)), "net"]
    feeds = [FeedLine(name=name, decoder=Decoder(name), counters=Counters()) for name in names]
    stream = Stream(Lookout(lookout_settings(from_values({}))), [archive], feeds, RecordedTimeline())
    lines, began, after_an_hour = 0, time.monotonic(), 0.0
    memory: list[float] = []
    second = 0
    for second, part in enumerate(traffic(hours), start=1):
        for arrival in part:
            counters = stream.feeds[arrival.feed].counters
            counters.lines += 1
            counters.taken += 1
        stream.take(part)
        stream.idle(0.0)
        _let_the_disk_catch_up(archive)
        lines += len(part)
        if second % 600 == 0:
            memory.append(resident_mb(os.getpid()))
            if second == 3600:
                after_an_hour = memory[-1]
            print(f"  {second / 3600:.2f} h  {memory[-1]:.1f} MiB  {lines} lines", file=sys.stderr, flush=True)
        if time.monotonic() - began > most_minutes * 60:
            break
    stream.close()
    return {
        "hours": round(second / 3600, 2),
        "lines": lines,
        "lines_per_s": round(lines / (time.monotonic() - began)),
        "memory_mib_after_an_hour": round(after_an_hour, 1),
        "memory_mib_last": round(memory[-1], 1) if memory else None,
        "memory_mib_greatest": round(max(memory), 1) if memory else None,
        "grown_mib_since_first_hour": round(memory[-1] - after_an_hour, 1) if after_an_hour else None,
        "imbalance": [feed.counters.imbalance() for feed in feeds if feed.counters.imbalance()],
        "archive_lost": archive.lost,
        "archived": archive.written,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=15.0, help="real time")
    parser.add_argument("--hours", type=float, default=24.0, help="of traffic, with --accelerated")
    parser.add_argument("--accelerated", action="store_true")
    parser.add_argument("--most-minutes", type=float, default=180.0, help="end an accelerated run after this real time")
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if args.accelerated:
            result = accelerated(args.hours, Path(folder), args.most_minutes)
        else:
            result = real_time(args.minutes, Path(folder))
    print(json.dumps(result, indent=2))


if __name__ == "__main__":
    main()
