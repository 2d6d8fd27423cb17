"""The most that a watch holds without loss: 10,000 sentences a second by UDP, 200 radar and 2,000 AIS targets.

Run: python -m tests.benchmarks.load_held [SECONDS [SENTENCES_A_SECOND]]. The running program with archive and events,
on loopback. The account of the feed at its end is held against what was sent. 80 TTM and 200 VDM a second; all else is
heading, rate of turn and what is not used.
"""

import json
import socket
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path

from parsers import encode
from tests.benchmarks.figure import Figure
from tests.benchmarks.running import processor_s, resident_mb, wait_for_port, watch
from tests.benchmarks.soak import udp_second
from tests.daemon.feed_makers import free_port

RADAR, AIS = 200, 2000
ROUND_S, AIS_ROUND_S = 2.5, 10.0
OWN = (50.0, -5.0)
IN_A_DATAGRAM = 10
"""Sentences that go together, as a multiplexer on board sends them."""


def second_of(second: int, rate: int) -> list[bytes]:
    """One second of the traffic: each radar target in 2.5 s, each AIS target in 10 s, heading, position, all else."""
    made = [_rmc(second)]
    per_s = round(RADAR / ROUND_S)
    for number in (1 + (second * per_s + i) % RADAR for i in range(per_s)):
        drift = 0.001 * second
        made.append(encode.ttm(number, 2.0 + number % 9 + drift, (number * 37 + drift) % 360))
    per_s = round(AIS / AIS_ROUND_S)
    made += [_ais(second, (second * per_s + i) % AIS) for i in range(per_s)]
    lines = [line.encode() + b"\r\n" for line in made]
    rest = rate - len(lines)
    filler = udp_second(second)
    lines += [filler[i % len(filler)] for i in range(rest)]
    step = 7919  # a prime: all kinds are spread over the second
    return [lines[i * step % len(lines)] for i in range(len(lines))]


def _rmc(second: int) -> str:
    body = f"$GPRMC,{8 + second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}.00,A,5000.0,N,00500.0,W,6.0,20.0,"
    return encode.sentence(body[1:] + "150127,,,A")


def _ais(second: int, number: int) -> str:
    lat, lon = OWN[0] + 0.02 * (number % 45 - 22), OWN[1] + 0.03 * (number // 45 - 22)
    fields = {"lat": lat + 1e-5 * second, "lon": lon, "speed": 8.0, "course": 10.0, "heading": 10}
    return encode.vdm({"msg_type": 1, "mmsi": 999_000_000 + number, "second": second % 60, **fields})[0]


class Flood(threading.Thread):
    """Sends in real time, a hundredth of a second at a time; everything is made before it begins."""

    def __init__(self, port: int, seconds: int, rate: int) -> None:
        super().__init__(daemon=True)
        self.sent = 0
        self.late_s = 0.0
        self._port = port
        self._seconds = [_datagrams(second_of(second, rate)) for second in range(seconds)]

    def run(self) -> None:
        began = time.monotonic()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            for second, datagrams in enumerate(self._seconds):
                for hundredth in range(100):
                    first, last = len(datagrams) * hundredth // 100, len(datagrams) * (hundredth + 1) // 100
                    for data in datagrams[first:last]:
                        out.sendto(data, ("127.0.0.1", self._port))
                        self.sent += data.count(b"\n")
                    pause = began + second + (hundredth + 1) / 100 - time.monotonic()
                    self.late_s = max(self.late_s, -pause)
                    if pause > 0:
                        time.sleep(pause)


def _datagrams(lines: list[bytes]) -> list[bytes]:
    return [b"".join(lines[i : i + IN_A_DATAGRAM]) for i in range(0, len(lines), IN_A_DATAGRAM)]


def figures(seconds: int = 30, rate: int = 10_000) -> Iterator[Figure]:
    port = free_port()
    flood = Flood(port, seconds, rate)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        events = folder / "events.jsonl"
        uri = f"udp:127.0.0.1:{port}?name=net&cap={max(2000, 3 * rate)}"
        with watch(folder, "--quiet", "--feed", uri, "--events", str(events)) as process:
            wait_for_port(port)
            began, used_s = time.monotonic(), processor_s(process.pid)
            flood.start()
            flood.join()
            time.sleep(1)
            share = (processor_s(process.pid) - used_s) / (time.monotonic() - began)
            memory = resident_mb(process.pid)
        said = [json.loads(line) for line in events.open() if '"event":"feed"' in line or '"event":"plot"' in line]
    last = [event for event in said if event["event"] == "feed"][-1]
    plotted = {event["target"] for event in said if event["event"] == "plot"}
    radar = sum(target.startswith("radar") for target in plotted)
    lost = flood.sent - last["lines"] + last["dropped"]
    yield Figure(
        f"load held: {rate:,} sentences a second by UDP for {seconds} s, {RADAR} radar and {AIS:,} AIS targets",
        f"{flood.sent:,} sent, {lost:,} lost; {radar} radar and "
        f"{len(plotted) - radar:,} AIS targets plotted; {share:.0%} of a core, {memory:.0f} MB; "
        f"the sender was at most {flood.late_s:.2f} s late",
        "none lost",
        lost == 0 and radar == RADAR,
    )


if __name__ == "__main__":
    words = [int(word) for word in sys.argv[1:]]
    for figure in figures(*words):
        print(figure.line())
