"""Faults of the whole program as a process: stopped in every state, flooded, without a disk, without a reader."""

import contextlib
import json
import os
import queue
import random
import re
import signal
import socket
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from pathlib import Path

from tests.daemon.feed_makers import free_port
from tests.faults.archive_faults import tmpfs
from tests.faults.outcome import Outcome
from tests.parsers.lines import sealed

ROOT = Path(__file__).resolve().parents[2]


class Program:
    """A watch with its events on a pipe, each noted with the time at which it came."""

    def __init__(
        self,
        folder: Path,
        *feeds: str,
        archive: Path | None = None,
        events: str = "-",
        extra: Mapping[str, str] | None = None,
        settings: Sequence[str] = (),
        record: Path | None = None,
    ) -> None:
        self.port = free_port()
        words = [sys.executable, "-m", "daemon.main", "watch", "--events", events]
        for feed in (f"udp:127.0.0.1:{self.port}?name=net&cap=100000", *feeds):
            words += ["--feed", feed]
        for setting in settings:
            words += ["--set", setting]
        words += ["--archive", str(archive)] if archive else ["--no-archive"]
        words += ["--record", str(record)] if record else []
        environment = {**os.environ, "XDG_RUNTIME_DIR": str(folder), **(extra or {})}
        self.process = subprocess.Popen(
            words, cwd=ROOT, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0
        )
        self.came: queue.Queue[tuple[float, dict[str, object]]] = queue.Queue()
        self.sender = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def send(self, body: str) -> None:
        self.sender.sendto(f"{sealed(body)}\r\n".encode(), ("127.0.0.1", self.port))

    def until(self, wanted: Callable[[dict[str, object]], bool], within_s: float = 15.0) -> float | None:
        """When an event came that is wanted; None if none did."""
        end = time.monotonic() + within_s
        while (left := end - time.monotonic()) > 0:
            try:
                at, event = self.came.get(timeout=left)
            except queue.Empty:
                return None
            if wanted(event):
                return at
        return None

    def until_up(self) -> bool:
        """Send until the first event comes: the program is up and listens."""
        for _ in range(200):
            self.send("$HEHDT,045.0,T")
            if self.until(lambda event: event["event"] == "feed", 0.1) is not None:
                return True
        return False

    def so_far(self) -> list[dict[str, object]]:
        """The events that have come and were not asked for yet."""
        return [self.came.get_nowait()[1] for _ in range(self.came.qsize())]

    def stop(self, number: signal.Signals = signal.SIGTERM) -> tuple[int, float]:
        """Exit code, and how long it took."""
        began = time.monotonic()
        self.process.send_signal(number)
        try:
            code = self.process.wait(10)
        except subprocess.TimeoutExpired:
            self.process.kill()
            code = self.process.wait()
        took_s = time.monotonic() - began
        assert self.process.stderr
        assert b"does not balance" not in self.process.stderr.read()
        self.close()
        return code, took_s

    def close(self) -> None:
        self._reader.join(5)
        for pipe in (self.process.stdout, self.process.stderr):
            if pipe:
                pipe.close()
        self.sender.close()

    def _read(self) -> None:
        assert self.process.stdout
        rest = b""
        with contextlib.suppress(ValueError, OSError):  # the pipe was closed under us, on purpose
            while data := self.process.stdout.read(1 << 16):
                at = time.monotonic()
                *lines, rest = (rest + data).split(b"\n")
                for line in lines:
                    self.came.put((at, json.loads(line)))


def stopping(folder: Path, rounds: int, seed: int) -> Outcome:
    """SIGTERM and SIGINT while it starts, idles, is flooded, has an adapter that is gone, and a disk that is full."""
    # A shell starts its background jobs with SIGINT ignored, and a child inherits that until it says otherwise.
    signal.signal(signal.SIGINT, signal.default_int_handler)
    dice = random.Random(seed)
    bad: list[str] = []
    took: list[float] = []

    def judge(state: str, answer: tuple[int, float]) -> None:
        code, took_s = answer
        took.append(took_s)
        if took_s > 2.0 or (code != 0 and state != "starting"):
            bad.append(f"{state}: code {code} after {took_s:.2f} s")

    def up(state: str, program: Program) -> Program:
        if not program.until_up():
            bad.append(f"{state}: it never came up")
        return program

    for _ in range(rounds):
        number = dice.choice((signal.SIGTERM, signal.SIGINT))
        program = Program(folder)
        time.sleep(dice.uniform(0.0, 0.3))
        judge("starting", program.stop(number))
        judge("idle", up("idle", Program(folder, archive=folder / "idle.sqlite")).stop(number))
        judge("adapter gone", up("adapter gone", Program(folder, f"serial:{folder / 'absent'}")).stop(number))
        program = up("flooded", Program(folder, archive=folder / "flood.sqlite"))
        flood = _Flood(program.port)
        time.sleep(0.5)
        judge("flooded", program.stop(number))
        flood.stop()
        with tmpfs(folder / "disk", 256) as disk:
            (disk / "ballast").write_bytes(bytes(240 * 1024))
            judge("disk full", up("disk full", Program(folder, archive=disk / "a.sqlite")).stop(number))
    return Outcome(
        fault="SIGTERM or SIGINT while starting, idle, flooded, without its adapter, with a full disk",
        tried=len(took),
        lost=f"nothing; ended after {max(took):.2f} s at most",
        figures={"worst_s": max(took)},
        bad=bad,
    )


MOST_LOST_S = 1.5
"""The second that is promised, and what a busy machine adds."""


def killed(folder: Path, rounds: int, seed: int, at_once: int = 1) -> Outcome:
    """The whole watch by SIGKILL, at a random moment: what the recording and the archive lack of what was sent."""
    dice = random.Random(seed)
    folders = [folder / f"killed-{number}" for number in range(rounds)]
    with ThreadPoolExecutor(at_once) as hands:
        found = list(hands.map(_kill, folders, [dice.uniform(0.2, 3.0) for _ in folders]))
    bad = [text for problems, _, _ in found for text in problems]
    recording_s, archive_s = max(one[1] for one in found), max(one[2] for one in found)
    return Outcome(
        fault="kill -9 of the whole watch, lines and plots still on their way",
        tried=rounds,
        lost=f"of the recording the last {recording_s:.2f} s, of the archive the last {archive_s:.2f} s; none before",
        figures={"recording_s": recording_s, "archive_s": archive_s},
        bad=bad + [f"{worst_s:.2f} s lost" for worst_s in (recording_s, archive_s) if worst_s > MOST_LOST_S],
    )


def _kill(folder: Path, after_s: float) -> tuple[list[str], float, float]:
    """What is wrong afterwards, and the age at the kill of the oldest line, and report of a target, that is missing."""
    folder.mkdir()
    program = Program(folder, archive=folder / "a.sqlite", record=folder / "recorded")
    if not program.until_up():
        return ["not up"], 0.0, 0.0
    lines: list[float] = []
    reports: list[float] = []
    began = time.monotonic()
    while time.monotonic() - began < after_s:
        program.send(f"$SDDPT,{len(lines)}.0,0.5")  # a line that wakes nobody
        lines.append(time.monotonic())
        if len(lines) % 7 == 0:
            program.send(f"$RATTM,01,{4 - len(lines) * 0.002:.3f},045.0,T,10.0,225.0,T,0.0,20.0,N,,T,,,A")
            reports.append(time.monotonic())
        time.sleep(0.05)
    program.process.kill()
    killed_s = time.monotonic()
    program.process.wait()
    program.close()
    recorded = b"".join(path.read_bytes() for path in sorted((folder / "recorded").iterdir()))
    numbers = [int(number) for number in re.findall(rb"SDDPT,(\d+)\.0,0\.5\*..\r?\n", recorded)]
    bad = [] if numbers == list(range(len(numbers))) else [f"lines missing in the middle: {numbers}"]
    with contextlib.closing(sqlite3.connect(folder / "a.sqlite")) as connection:
        if (answer := connection.execute("PRAGMA integrity_check").fetchone()[0]) != "ok":
            bad.append(f"integrity: {answer}")
        plots = connection.execute("SELECT count(*) FROM plots").fetchone()[0]
    recording_s, archive_s = (
        max((killed_s - at for at in times[kept:]), default=0.0)
        for times, kept in ((lines, len(numbers)), (reports, plots))
    )
    return bad, recording_s, archive_s


class _Flood:
    """UDP from another process, so that the flood does not slow the measuring."""

    PROGRAM = (
        "import socket, sys, time\n"
        "port, per_s = int(sys.argv[1]), float(sys.argv[2])\n"
        "s = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)\n"
        "lines = [l.encode() + b'\\r\\n' for l in sys.argv[3:]]\n"
        "began, sent = time.monotonic(), 0\n"
        "while True:\n"
        "    due = (time.monotonic() - began) * per_s\n"
        "    while sent < due:\n"
        "        s.sendto(lines[sent % len(lines)], ('127.0.0.1', port)); sent += 1\n"
        "    time.sleep(0.002)\n"
    )

    def __init__(self, port: int, per_s: float = 1e9) -> None:
        lines = [sealed(f"$HEHDT,{degrees / 10:.1f},T") for degrees in range(400, 440)]
        words = [sys.executable, "-c", self.PROGRAM, str(port), str(per_s), *lines]
        self._process = subprocess.Popen(words)

    def stop(self) -> None:
        self._process.kill()
        self._process.wait()


def latency(folder: Path, seconds: float, per_s: float) -> Outcome:
    """From a sentence of a target on the wire to its plot on a pipe, beside that much other traffic."""
    program = Program(folder)
    if not program.until_up():
        return Outcome(fault="latency", tried=0, lost="the watch did not come up", bad=["not up"])
    flood = _Flood(program.port, per_s)
    for _ in range(3):
        program.send("$GPRMC,080000.00,A,5812.0000,N,01130.0000,E,10.0,045.0,150127,,,A")
        time.sleep(0.3)
    waits: list[float] = []
    end = time.monotonic() + seconds
    number = missed = 0
    while time.monotonic() < end:
        number += 1
        range_nm = round(8.0 - number * 0.01, 2)
        sent = time.monotonic()
        program.send(f"$RATTM,01,{range_nm:.2f},045.0,T,10.0,225.0,T,0.0,20.0,N,,T,,,A")
        came = program.until(lambda event, r=range_nm: event["event"] == "plot" and event["range_nm"] == r, 3.0)  # type: ignore[misc]
        if came is None:
            missed += 1
        else:
            waits.append(came - sent)
        time.sleep(0.05)
    flood.stop()
    program.stop()
    waits.sort()
    p99 = waits[int(0.99 * (len(waits) - 1))] if waits else float("nan")
    bad = [f"{missed} of {number} target sentences never became a plot"] if missed else []
    return Outcome(
        fault=f"target sentence to plot, beside {per_s:,.0f} sentences/s",
        tried=number,
        lost=f"{missed} sentences; half within {waits[len(waits) // 2] * 1000:.0f} ms, 99 % within {p99 * 1000:.0f} ms,"
        f" all within {waits[-1] * 1000:.0f} ms"
        if waits
        else "all",
        figures={"p99_ms": p99 * 1000},
        bad=bad,
    )


def reader_gone(folder: Path) -> Outcome:
    """Standard output closed by its reader in the middle of the watch: no traceback, and the watch goes on or ends."""
    program = Program(folder)
    program.until_up()
    assert program.process.stdout
    program.process.stdout.close()
    for number in range(50):
        program.send(f"$RATTM,01,{4 - number / 100:.2f},045.0,T,10.0,225.0,T,0.0,20.0,N,,T,,,A")
        time.sleep(0.02)
    time.sleep(0.5)
    still = program.process.poll() is None
    if still:
        program.process.send_signal(signal.SIGTERM)
    code = program.process.wait(10)
    assert program.process.stderr
    words = program.process.stderr.read().decode()
    program.process.stderr.close()
    program.sender.close()
    bad = [f"stderr: {words[-300:]}"] if "Traceback" in words else []
    if code not in (0, 141):
        bad.append(f"exit code {code}")
    how = "the watch goes on" if still else "the watch ends"
    return Outcome(fault="standard output closed by its reader", tried=1, lost=f"nothing: {how}, code {code}", bad=bad)


HOST_JUMPS = ("+7200", "-86400", "-619315200", "+1", "+31536000", "-1", "+0")
"""What the host's clock is put to, against the truth, one after the other: seconds, as libfaketime reads them."""


ZONE = ("zones.ring.to_nm=4", "grace_s=0", "hold_s=0")
"""An alarm from the first report on, and so over every jump: the closest approach is told after some 25 s."""

DANGERS = ("guard_zone", "closest_approach")


def faketime() -> Path | None:
    """The library that moves a process's wall clock (Debian package libfaketime), if it is installed."""
    return next(iter(sorted(Path("/usr/lib").glob("*/faketime/libfaketimeMT.so.1"))), None)


def host_clock(folder: Path, seconds: float) -> Outcome:
    """The clock of the machine is put, under a running watch that follows a vessel on a collision course."""
    library = faketime()
    assert library
    stamp, archive = folder / "stamp", folder / "jumps.sqlite"
    stamp.write_text("+0\n")
    fake = {
        "LD_PRELOAD": str(library),
        "FAKETIME_TIMESTAMP_FILE": str(stamp),
        "FAKETIME_NO_CACHE": "1",
        "FAKETIME_DONT_FAKE_MONOTONIC": "1",
        "DONT_FAKE_MONOTONIC": "1",  # the name that older versions read
    }
    program = Program(folder, archive=archive, extra=fake, settings=[f"alerts.guard_zone.{key}" for key in ZONE])
    if not program.until_up():
        return Outcome(fault="host clock", tried=0, lost="the watch did not come up", bad=["not up"])
    events: list[dict[str, object]] = []
    sent = expected = 0
    stay_s = seconds / (len(HOST_JUMPS) + 1)
    for before, jump in pairwise(("+0", "+0", *HOST_JUMPS)):
        stamp.write_text(f"{jump}\n")
        expected += is_told(before, jump)
        put = time.monotonic()
        while (now_s := time.monotonic() - put) < stay_s or (len(_jumps(events)) < expected and now_s < 10):
            program.send("$HEHDT,045.0,T")
            program.send("$IIVHW,,T,,M,10.0,N,18.5,K")
            program.send(f"$RATTM,01,{3 - 0.002 * sent:.3f},010.0,T,10.0,190.0,T,0.0,20.0,N,,T,,,A")
            sent += 1
            time.sleep(0.2)
            events += program.so_far()
    time.sleep(0.3)
    code, took_s = program.stop()
    events += program.so_far()
    bad = _unmoved(events, sent, archive)
    if code or took_s > 2:
        bad.append(f"code {code} after {took_s:.2f} s")
    return Outcome(
        fault="the host's clock put under a running watch (libfaketime): +2 h, -1 day, -1,024 weeks, +1 year and back",
        tried=len(HOST_JUMPS),
        lost=f"nothing: {sent} reports, {sent} plots of one track, no feed or sensor called silent; each jump told",
        bad=bad,
    )


def is_told(before: str, jump: str) -> bool:
    """Whether the step is one that the watch tells."""
    return abs(float(jump) - float(before)) > 2


def _jumps(events: list[dict[str, object]]) -> set[object]:
    return {event["id"] for event in events if event["event"] == "alert" and event["rule"] == "clock_jump"}


def _unmoved(events: list[dict[str, object]], sent: int, archive: Path) -> list[str]:
    """What a clock that was put has done to the events and the archive; nothing, if all is well."""
    bad = []
    plots = [event for event in events if event["event"] == "plot"]
    if len(plots) != sent or {plot["target"] for plot in plots} != {"radar-01"}:
        bad.append(f"{sent} reports, {len(plots)} plots of {len({plot['target'] for plot in plots})} tracks")
    alerts = [event for event in events if event["event"] == "alert"]
    if len(_jumps(events)) != sum(is_told(before, jump) for before, jump in pairwise(("+0", *HOST_JUMPS))):
        bad.append(f"{len(_jumps(events))} jumps told")
    others = {event["rule"] for event in alerts} - {"clock_jump", *DANGERS, "annunciator_failed"}
    if others:  # a machine without a sound player has a cause for the last of these
        bad.append(f"alerts without a cause: {', '.join(map(str, others))}")
    bad += _told_again(alerts)
    if {event["state"] for event in events if event["event"] == "feed"} != {"up"}:
        bad.append("a feed was called silent")
    with contextlib.closing(sqlite3.connect(archive)) as connection:
        times = [row[0] for row in connection.execute("SELECT at_s FROM plots ORDER BY plot_id")]
        if times != sorted(times) or len(times) != sent:
            bad.append(f"{len(times)} of {sent} plots in the archive, in order: {times == sorted(times)}")
    return bad


def _told_again(alerts: list[dict[str, object]]) -> list[str]:
    """Each danger is one alert, told once and at most repeated once; that of the guard zone is there in any case."""
    bad = []
    for rule in DANGERS:
        told = [event for event in alerts if event["rule"] == rule]
        raised = sum(event["state"] == "active-unacknowledged" for event in told)
        if len({event["id"] for event in told}) > 1 or raised > 2 or (rule == "guard_zone" and not raised):
            bad.append(f"{rule}: {[(event['id'], event['state']) for event in told]}")
    return bad
