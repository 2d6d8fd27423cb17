"""Faults of feeds and clocks, each provoked for real: floods, unplugged lines, lost connections, clocks that jump."""

import gzip
import json
import random
import socket
import tempfile
import time
from pathlib import Path

from daemon.feeds.face import Arrival
from daemon.feeds.intake import Intake
from daemon.main import main
from daemon.sinks.recorder import recorded
from parsers.tag import Tagged, untag
from tests.daemon.feed_makers import SerialCable, Station, free_port
from tests.faults.outcome import Outcome

ROOT = Path(__file__).resolve().parents[2]
HDT = b"$HEHDT,123.4,T*2B"
TTM = b"$RATTM,01,1.00,045.0,T,10.0,200.0,T,0.5,10.0,N,,T,,,A*00"


def resident_kib() -> int:
    """Resident memory of this process (proc(5), VmRSS)."""
    for line in Path("/proc/self/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1])
    raise AssertionError("no VmRSS")


def flood(seconds: float, capacity: int = 8192) -> Outcome:
    """UDP as fast as loopback takes it, while the consumer stands still: what is kept, and is all counted?"""
    bad: list[str] = []
    port = free_port()
    sent = 0
    before_kib = resident_kib()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        with Station(f"udp:127.0.0.1:{port}?cap=1000000", Intake(capacity=capacity)) as station:
            station.until_open()
            end = time.monotonic() + seconds
            while time.monotonic() < end or sent < 3 * capacity:  # however slow the machine, the queue runs over
                sender.sendto(TTM if sent % 10 == 0 else HDT, ("127.0.0.1", port))
                sent += 1
            last = b"$HEHDT,359.9,T*25"
            counters = station.feed.counters
            for _ in range(500):  # what the kernel dropped is told with the next datagram for which it has room
                sender.sendto(last, ("127.0.0.1", port))
                sent += 1
                time.sleep(0.01)
                if counters.lines + counters.kernel_drops == sent:
                    break
            taken = []
            while arrivals := station.intake.get(0):
                taken += [arrival.line for arrival in arrivals]
                for _ in arrivals:
                    counters.accept()
            if last not in taken:
                bad.append("the newest line was not kept")
            if counters.dropped["targets"] and counters.dropped["own ship"] < counters.lines * 0.8:
                bad.append("tracked targets were dropped before own-ship lines")
        if counters.lines + counters.kernel_drops != sent:
            bad.append(f"{sent} sent, {counters.lines} lines and {counters.kernel_drops} kernel drops")
        if counters.imbalance():
            bad.append(counters.imbalance())
    grown_mib = (resident_kib() - before_kib) / 1024
    return Outcome(
        fault="UDP flood, the consumer standing still",
        tried=sent,
        lost=f"{counters.dropped.total()} of {sent} lines dropped and counted, {counters.kernel_drops} by the kernel;"
        f" targets dropped: {counters.dropped['targets']}; newest kept",
        figures={"per_s": sent / seconds, "grown_mib": grown_mib},
        bad=bad,
    )


def unplug(folder: Path, rounds: int) -> Outcome:
    """The adapter pulled out and plugged in again as another device, in full traffic."""
    bad: list[str] = []
    healed_s: list[float] = []
    cable = SerialCable(folder / "ttyUSB0")
    with Station(f"serial:{cable.link}@38400") as station:
        for number in range(rounds):
            if not station.until_open():
                bad.append(f"round {number}: did not open")
            cable.send(HDT + b"\r\n" + HDT[:7])
            before = len(station.lines)
            station.until_lines(before + 1)
            cable.pull()
            if not station.until_down():
                bad.append(f"round {number}: the loss was not noticed")
            cable.plug()
            began = time.monotonic()
            if not station.until_open():
                bad.append(f"round {number}: did not heal")
            healed_s.append(time.monotonic() - began)
    cable.pull()
    worst_s = max(healed_s)
    return Outcome(
        fault="serial line unplugged and plugged in again",
        tried=rounds,
        lost=f"what was sent meanwhile, and the line that was cut; heals within {worst_s:.1f} s",
        figures={"worst_s": worst_s},
        bad=bad,
    )


def reset_connections(rounds: int) -> Outcome:
    """A TCP peer that closes in the middle of a line, again and again."""
    bad: list[str] = []
    healed_s: list[float] = []
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(10)
        with Station(f"tcp:127.0.0.1:{server.getsockname()[1]}") as station:
            for number in range(rounds):
                began = time.monotonic()
                peer, _ = server.accept()
                if number:
                    healed_s.append(time.monotonic() - began)
                before = len(station.lines)
                peer.sendall(HDT + b"\r\n" + HDT[:9])
                if not station.until_lines(before + 1):
                    bad.append(f"round {number}: no line came")
                peer.close()
                station.until(lambda: not station.feed.link.is_open)
    return Outcome(
        fault="TCP connection lost in the middle of a line",
        tried=rounds,
        lost=f"the line that was cut; called again within {max(healed_s, default=0):.1f} s",
        figures={"worst_s": max(healed_s, default=0.0)},
        bad=bad,
    )


def events_of(lines: list[bytes], folder: Path) -> list[dict[str, object]]:
    """A recording through the whole program: its events, without labels of time and without the alert of the jump."""
    path, out = folder / "made.nmea", folder / "made.jsonl"
    path.write_bytes(b"".join(lines))
    code = main(["replay", "--quiet", "--pace", "max", "--events", str(out), str(path)])
    assert code == 0
    events = []
    for line in out.read_text().splitlines():
        event = json.loads(line)
        for key in ("time", "first_time", "last_time", "id", "alerts", "events"):
            event.pop(key, None)
        if event.get("rule") != "clock_jump":
            events.append(event)
    return events


JUMPS_S = (7200, -86_400, -7168 * 86_400, 1, 86_400 * 365, -1)


def clock_jumps(folder: Path, minutes: float) -> Outcome:
    """One recording as our recorder writes it; the wall clock jumps in the middle of it, by each amount in turn."""
    raw = gzip.decompress((ROOT / "recordings" / "fog-crossing.nmea.gz").read_bytes()).split(b"\n")
    pairs: list[tuple[int, bytes]] = []
    for line in raw:
        tagged = untag(line)
        if isinstance(tagged, Tagged) and tagged.utc_ms is not None:
            pairs.append((tagged.utc_ms, line[line.index(b"\\", 1) + 1 :]))
    first = pairs[0][0]
    pairs = [(ms - first, line) for ms, line in pairs if ms - first < minutes * 60_000]
    half = len(pairs) // 2

    def made(jump_s: int) -> list[bytes]:
        return [
            recorded(Arrival("radar", line, ms / 1000, first + ms + (jump_s * 1000 if number > half else 0)))
            for number, (ms, line) in enumerate(pairs)
        ]

    straight = events_of(made(0), folder)
    bad = [
        f"a jump of {jump_s} s changed the events" for jump_s in JUMPS_S if events_of(made(jump_s), folder) != straight
    ]
    plots = sum(event["event"] == "plot" for event in straight)
    alerts = sum(event["event"] == "alert" for event in straight)
    if plots < 100:
        bad.append(f"only {plots} plots: nothing was compared")
    return Outcome(
        fault="wall clock jumps: +2 h, -1 day, -1,024 weeks, +1 s, +1 year, -1 s",
        tried=len(JUMPS_S),
        lost=f"nothing: {len(straight)} events ({plots} plots, {alerts} alert states) the same but for labels",
        bad=bad,
    )


def torn_recordings(rounds: int, seed: int) -> Outcome:
    """Recordings cut at a random byte, plain and packed: every whole line before the cut comes back."""
    from daemon.feeds.replay import Recording

    dice = random.Random(seed)
    lines = [recorded(Arrival("radar", HDT, n / 10, 1_800_000_000_000 + n * 100)) for n in range(400)]
    whole = b"".join(lines)
    bad: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "cut.nmea"
        for number in range(rounds):
            cut = dice.randrange(200, len(whole))
            path.write_bytes(whole[:cut])
            recording = Recording(str(path))
            came = [arrival for part in recording.parts() for arrival in part]
            complete = whole[:cut].count(b"\n")
            if [arrival.line for arrival in came[:complete]] != [HDT] * complete:
                bad.append(f"round {number}, cut at {cut}: lines before the cut are missing")
            if len(came) > complete + 1 or any(counters.imbalance() for counters in recording.counters.values()):
                bad.append(f"round {number}, cut at {cut}: the account does not balance")
    return Outcome(fault="recording torn at a random byte", tried=rounds, lost="the torn line at most", bad=bad)
