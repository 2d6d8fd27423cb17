"""The watch as a process: real pseudo-terminals, real sockets, real signals."""

import gzip
import json
import os
import select
import signal
import socket
import sqlite3
import subprocess
import sys
import time
import tty
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

import pytest

from daemon.main import main
from parsers.encode import sentence, tag_block

ROOT = Path(__file__).parents[2]
FOG = ROOT / "recordings" / "fog-crossing.nmea.gz"

BYTES_A_SECOND = 3840
"""38,400 baud, ten bits to a byte. A pseudo-terminal enforces no rate, so the test keeps it."""

LINES = 900
"""Half a minute of the passage: all its targets have been plotted, and the first have settled."""


def some_lines() -> list[bytes]:
    with gzip.open(FOG) as file:
        return [line.rstrip(b"\r\n") + b"\r\n" for line, _ in zip(file, range(LINES), strict=False)]


def start(*arguments: str, home: Path) -> "subprocess.Popen[bytes]":
    environment = {**os.environ, "XDG_CONFIG_HOME": str(home), "XDG_DATA_HOME": str(home), "XDG_RUNTIME_DIR": str(home)}
    command = [sys.executable, "-m", "daemon.main", "watch", *arguments]
    return subprocess.Popen(command, cwd=ROOT, env=environment, stderr=subprocess.PIPE)


def at_line_speed(lines: list[bytes]) -> Iterator[bytes]:
    """The lines, each when a serial line of 38,400 baud would have carried it."""
    began, sent = time.monotonic(), 0
    for line in lines:
        sent += len(line)
        time.sleep(max(0.0, began + sent / BYTES_A_SECOND - time.monotonic()))
        yield line


def plots_and_alerts(path: Path) -> list[dict[str, object]]:
    events = [json.loads(line) for line in path.read_text(encoding="utf-8").splitlines()]
    return [event for event in events if event["event"] in ("plot", "own_ship", "radar", "note")]


def wait_for(path: Path, text: str, seconds: float = 10.0) -> None:
    until = time.monotonic() + seconds
    while not (path.exists() and text in path.read_text(encoding="utf-8")):
        assert time.monotonic() < until, f"{path} does not say {text!r}"
        time.sleep(0.02)


def until(ready: Callable[[], bool], seconds: float = 20.0) -> None:
    """Wait until it is so; a loaded machine takes its time to start a watch."""
    latest = time.monotonic() + seconds
    while not ready():
        assert time.monotonic() < latest
        time.sleep(0.02)


def open_files(pid: int) -> list[str]:
    """What a process has open (proc(5)); nothing of one that is only just starting."""
    links = []
    for link in Path(f"/proc/{pid}/fd").glob("*"):
        with suppress(OSError):
            links.append(str(link.readlink()))
    return links


def write_until(stop: Event, master: int, lines: list[bytes]) -> None:
    """Join it before the descriptor is closed: its number is soon another file's."""
    for line in lines:
        while not select.select([], [master], [], 0.05)[1]:
            if stop.is_set():
                return
        if stop.is_set():
            return
        os.write(master, line)
        time.sleep(0.0006)


@pytest.fixture(scope="module")
def replayed(tmp_path_factory: pytest.TempPathFactory) -> list[dict[str, object]]:
    folder = tmp_path_factory.mktemp("replayed")
    (folder / "line.nmea").write_bytes(b"".join(some_lines()))
    events = folder / "events.jsonl"
    main(["replay", str(folder / "line.nmea"), "--events", str(events), "--quiet"])
    return plots_and_alerts(events)


def carried(folder: Path) -> list[Path]:
    """The events of two watches, one on a serial line and one on UDP, that were sent the passage at line speed."""
    master, slave = os.openpty()
    tty.setraw(slave)
    serial_events, udp_events = folder / "serial.jsonl", folder / "udp.jsonl"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    serial_uri = f"serial:{os.ttyname(slave)}@38400?name=line&time=tag"
    udp_uri = f"udp:127.0.0.1:{port}?name=line&time=tag"
    watches = [
        start("--feed", uri, "--events", str(events), "--no-archive", "--quiet", "--name", name, home=folder)
        for uri, events, name in ((serial_uri, serial_events, "serial"), (udp_uri, udp_events, "udp"))
    ]
    serial, _ = watches
    until(lambda: any(link == os.ttyname(slave) for link in open_files(serial.pid)))
    until(lambda: f":{port:04X} " in Path("/proc/net/udp").read_text(encoding="ascii"))

    def send_serial() -> None:
        for line in at_line_speed(some_lines()):
            os.write(master, line)

    def send_udp() -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            for line in at_line_speed(some_lines()):
                out.sendto(line, ("127.0.0.1", port))

    senders = [Thread(target=send_serial), Thread(target=send_udp)]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join()
    time.sleep(0.5)
    for process in watches:
        process.send_signal(signal.SIGTERM)
        assert b"does not balance" not in process.communicate(timeout=5)[1]
    os.close(master)
    os.close(slave)
    return [serial_events, udp_events]


@pytest.fixture(scope="module", autouse=True)
def at_leisure(tmp_path_factory: pytest.TempPathFactory) -> Iterator["Future[list[Path]]"]:
    """Begun first and asked for last: the fifteen seconds at line speed pass while the other tests run."""
    with ThreadPoolExecutor(1) as beside:
        yield beside.submit(carried, tmp_path_factory.mktemp("line"))


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_ends_the_watch_in_order(tmp_path: Path, number: signal.Signals) -> None:
    """Within two seconds, exit code 0, with the archive whole and the last events in it."""
    archive, events = tmp_path / "watch.sqlite", tmp_path / "events.jsonl"
    master, slave = os.openpty()
    tty.setraw(slave)
    uri = f"serial:{os.ttyname(slave)}@38400?name=line"
    process = start("--feed", uri, "--archive", str(archive), "--events", str(events), "--quiet", home=tmp_path)
    stop = Event()
    writer = Thread(target=write_until, args=(stop, master, some_lines() * 5))
    writer.start()
    wait_for(events, '"event":"plot"')
    asked = time.monotonic()
    process.send_signal(number)
    assert b"does not balance" not in process.communicate(timeout=5)[1]
    took_s = time.monotonic() - asked
    stop.set()
    writer.join()
    os.close(master)
    os.close(slave)
    with sqlite3.connect(archive) as connection:
        plots = connection.execute("SELECT count(*) FROM plots").fetchone()[0]
        integrity = connection.execute("PRAGMA integrity_check").fetchone()[0]
    told = sum('"event":"plot"' in line for line in events.read_text(encoding="utf-8").splitlines())

    assert process.returncode == 0
    assert took_s < 2.0
    assert integrity == "ok"
    assert plots == told > 0


def test_a_feed_that_is_not_there_is_said_and_does_not_end_the_watch(tmp_path: Path) -> None:
    """A serial port that can't be opened is told as down; the watch goes on and tries again."""
    events = tmp_path / "events.jsonl"
    process = start(
        "--feed",
        "serial:/dev/ttyNOTHING@4800?name=gyro",
        "--events",
        str(events),
        "--no-archive",
        "--quiet",
        home=tmp_path,
    )
    wait_for(events, '"state":"down"')
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=5)

    assert process.returncode == 0


def test_a_watch_of_which_no_line_could_be_used_says_so(tmp_path: Path) -> None:
    """A wrong file piped in: it is at its end at once, and a quiet watch would end without a word."""
    (tmp_path / "letter.txt").write_text("Dear all,\nthe radar is at home.\n", encoding="utf-8")
    process = start("--feed", f"file:{tmp_path}/letter.txt", "--no-archive", "--quiet", home=tmp_path)
    said = process.communicate(timeout=20)[1].decode()

    assert said == "secondplot watch: no line could be used; `secondplot survey` says what is there\n"


def test_a_wrong_rate_stands_in_the_alert_of_the_silent_feed(tmp_path: Path) -> None:
    """Bytes come, but no sentence: the alert does not leave it at 'silent'. It names the rate, and what to try."""
    master, slave = os.openpty()
    tty.setraw(slave)
    events, config = tmp_path / "events.jsonl", tmp_path / "boat.toml"
    config.write_text(f'[feeds.radar]\nuri = "serial:{os.ttyname(slave)}@4800"\nsilent_after_s = 1\n')
    mute = ("--set", "annunciators.sound.on=false")
    process = start(
        "--config", str(config), "--events", str(events), "--no-archive", "--quiet", *mute, home=tmp_path
    )  # fmt: skip
    until(lambda: any(link == os.ttyname(slave) for link in open_files(process.pid)))
    os.write(master, bytes((byte * 7 + 131) & 0xFF for byte in b"".join(some_lines()[:40])))
    wait_for(events, "feed_silent")
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=5)
    os.close(master)
    os.close(slave)
    alerts = [json.loads(line) for line in events.read_text(encoding="utf-8").splitlines() if "feed_silent" in line]

    assert "4800 baud is probably the wrong rate (try 38400)" in alerts[0]["text"]


def test_a_danger_that_was_acknowledged_sounds_again_after_a_crash(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """kill -9, a new start while the vessel still comes: raised anew, unacknowledged, to be acknowledged once more."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    told = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.bind(("127.0.0.1", 0))
        port = out.getsockname()[1]
    for run, first in (("before", 0), ("after", 40)):
        events = tmp_path / f"{run}.jsonl"
        uri = f"udp:127.0.0.1:{port}?name=radar&time=tag"
        process = start("--feed", uri, "--events", str(events), "--no-archive", "--quiet", home=tmp_path)
        until(lambda: f":{port:04X} " in Path("/proc/net/udp").read_text(encoding="ascii"))
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
            for plot in range(first, first + 30):
                body = f"RATTM,01,{4 - plot * 0.02:.2f},010.0,T,,,T,,,N,,T,,,A"
                line = tag_block(sentence(body), 1_800_000_000_000 + 3000 * plot, "RA0001")
                out.sendto(line.encode(), ("127.0.0.1", port))
                time.sleep(0.005)
        wait_for(events, '"rule":"closest_approach"')
        assert main(["ack"]) == 0
        wait_for(events, '"change":"acknowledge: acknowledged"')
        process.kill()
        process.communicate(timeout=5)
        lines = [json.loads(line) for line in events.read_text(encoding="utf-8").splitlines()]
        told.append([event["state"] for event in lines if event.get("rule") == "closest_approach"])

    assert told == [["active-unacknowledged", "active-acknowledged"]] * 2


def test_no_feed_is_a_usage_error(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A watch without a feed says how to give one, with code 2."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    assert main(["watch", "--no-archive"]) == 2
    assert "--feed" in capsys.readouterr().err


def test_serial_and_udp_at_line_speed_give_the_events_of_the_file(
    at_leisure: "Future[list[Path]]", replayed: list[dict[str, object]]
) -> None:
    """Nothing is lost on the way, and the path is the same: only the feed's name differs."""
    for events in at_leisure.result():
        last = json.loads(events.read_text(encoding="utf-8").splitlines()[-1])
        assert (last["lines"], last["accepted"], last["dropped"]) == (LINES, LINES, 0)
        assert plots_and_alerts(events) == replayed
