"""Life under a service manager: real datagrams, real signals, and a unit file that is held to its words."""

import configparser
import logging
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import pytest

from daemon.clock import VirtualClock
from daemon.feeds.intake import Intake
from daemon.service import JournalFormatter, JournalSink, Notifier, RepeatFilter, Watchdog, harmless, log
from tests.daemon.archive_makers import moment, one_of_each

ROOT = Path(__file__).resolve().parents[2]
UNIT = files("daemon") / "secondplot.service"


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[str, socket.socket]]:
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        name = str(tmp_path / "notify") if request.param == "path" else f"@secondplot-test-{os.getpid()}"
        listener.bind("\0" + name[1:] if name.startswith("@") else name)
        listener.settimeout(5)
        yield name, listener


class TestNotices:
    def test_each_notice_is_one_datagram(self, manager: tuple[str, socket.socket]) -> None:
        """The assignments of sd_notify(3), over a path and in the abstract namespace."""
        name, listener = manager
        notifier = Notifier({"NOTIFY_SOCKET": name}, 1)
        notifier.ready("2 feeds up\x1b[2J")
        notifier.stopping()
        notifier.reloading()
        notifier.alive()
        received = [listener.recv(4096).decode() for _ in range(4)]

        assert received[:2] == ["READY=1\nSTATUS=2 feeds up\\x1b[2J", "STOPPING=1"]
        assert re.fullmatch(r"RELOADING=1\nMONOTONIC_USEC=\d+", received[2])
        assert received[3] == "WATCHDOG=1"

    def test_without_a_manager_nothing_happens(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """No socket is opened; and a manager that has gone is no error."""
        Notifier({"NOTIFY_SOCKET": "/nowhere/notify"}, 1).ready()
        monkeypatch.delattr(socket, "socket")

        Notifier({}, 1).ready()

    @pytest.mark.parametrize(
        ("environment", "expected"),
        [
            ({}, None),
            ({"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "20000000"}, 20.0),
            ({"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "7"}, 20.0),
            ({"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "20000000", "WATCHDOG_PID": "8"}, None),
            ({"NOTIFY_SOCKET": "/n", "WATCHDOG_USEC": "soon"}, None),
        ],
    )
    def test_the_watchdog_is_ours_only_if_the_manager_says_so(
        self, environment: dict[str, str], expected: float | None
    ) -> None:
        """WATCHDOG_PID unset or ours (sd_watchdog_enabled(3))."""
        assert Notifier(environment, 7).watchdog_s == expected


class TestWatchdog:
    def make(self) -> tuple[Watchdog, VirtualClock]:
        clock = VirtualClock()
        notifier = Notifier({"NOTIFY_SOCKET": "/nowhere", "WATCHDOG_USEC": "20000000"}, 1)
        return Watchdog(notifier, clock, ["lines", "alerts"]), clock

    def test_a_sign_of_life_at_half_the_interval(self) -> None:
        """Every 10 s of 20, however often the loop turns."""
        watchdog, clock = self.make()
        sent = 0
        for _ in range(600):
            clock.advance(0.1)
            watchdog.beat("lines")
            watchdog.beat("alerts")
            sent += watchdog.turn()

        assert sent == 6

    def test_one_stage_that_stands_still_stops_them(self) -> None:
        """The loop turns, lines come, but nothing is judged: the manager is told nothing more, and restarts us."""
        watchdog, clock = self.make()
        sent = []
        for _ in range(600):
            clock.advance(0.1)
            watchdog.beat("lines")
            if watchdog.turn():
                sent.append(clock.mono_s())

        assert sent
        assert max(sent) <= 20.0


class TestLog:
    def format(self, for_journal: bool, level: int, text: str, **fields: object) -> str:
        record = logging.LogRecord("secondplot", level, "", 0, text, None, None)
        record.fields = fields
        return JournalFormatter(for_journal).format(record)

    def test_levels_are_prefixes_for_the_journal(self) -> None:
        """sd-daemon(3): <2> critical to <7> debug; on a terminal the program's name instead."""
        assert self.format(True, logging.ERROR, "disk full", lost=3, feed="a b") == '<3>disk full lost=3 feed="a b"'
        assert self.format(False, logging.ERROR, "disk full") == "secondplot: disk full"

    def test_a_hostile_name_is_one_harmless_line(self) -> None:
        """Escapes, line breaks that forge a level, direction marks, and ten thousand letters."""
        line = self.format(True, logging.INFO, "target \x1b[31m\n<0>forged \u202e" + "x" * 10_000)

        assert line.startswith("<6>target \\x1b[31m\\x0a<0>forged \\x202e")
        assert "\n" not in line
        assert len(line) < 2100
        assert harmless("\ud800") == "\\xd800"

    def test_a_fault_a_thousand_times_a_second_does_not_fill_the_journal(self) -> None:
        """Five, the last saying that more are held back; after a minute again."""
        clock = VirtualClock()
        repeats = RepeatFilter(clock)

        def say() -> str | None:
            record = logging.LogRecord("secondplot", logging.ERROR, "", 0, "disk full", None, None)
            return record.msg if repeats.filter(record) else None

        said = [say() for _ in range(1000)]
        clock.advance(61)

        assert [text for text in said if text] == ["disk full"] * 4 + [
            "disk full (more of the same are held back for 60 s)"
        ]
        assert say() == "disk full"

    def test_the_journal_sink_says_alerts_feeds_and_notes(self) -> None:
        """An alarm is critical; plots and own ship are not for the journal."""
        lines: list[str] = []

        class Keep(logging.Handler):
            def emit(self, record: logging.LogRecord) -> None:
                lines.append(JournalFormatter(True).format(record))

        handler = Keep()
        log.addHandler(handler)
        log.setLevel(logging.INFO)
        JournalSink().take(moment(0), one_of_each(0))
        log.removeHandler(handler)

        assert len(lines) == 3
        assert lines[0].startswith("<2>CPA 0.3 NM in 11 min id=3 rule=closest_approach state=active-unacknowledged")
        assert lines[1].startswith("<6>note: sea clutter up author=skipper")
        assert lines[2].startswith("<6>feed radar is up feed=radar lines=9")


SIGNAL_PROGRAM = """
import sys
from daemon.feeds.intake import Intake
from daemon.service import Signals
intake = Intake()
signals = Signals(intake)
signals.install()
print("ready", flush=True)
while not intake.stopped:
    intake.get(60)
    if signals.take_reload():
        print("reload", flush=True)
if len(sys.argv) > 1:
    print("stopping", flush=True)
    import threading
    threading.Event().wait(60)
"""


class TestSignals:
    def start(self, *arguments: str) -> "subprocess.Popen[bytes]":
        child = subprocess.Popen([sys.executable, "-c", SIGNAL_PROGRAM, *arguments], cwd=ROOT, stdout=subprocess.PIPE)
        assert child.stdout
        assert child.stdout.readline() == b"ready\n"
        return child

    @pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
    def test_a_loop_that_waits_is_woken(self, number: signal.Signals) -> None:
        """The loop waits for a minute at a time, and still ends at once with code 0."""
        child = self.start()
        began = time.monotonic()
        child.send_signal(number)

        assert child.wait(10) == 0
        assert time.monotonic() - began < 2
        assert child.stdout
        child.stdout.close()

    def test_a_hangup_wakes_it_for_a_reload_and_a_second_stop_ends_it_at_once(self) -> None:
        """SIGHUP is not the end; a stop that hangs is ended by the second signal with 128 and its number."""
        child = self.start("hang")
        assert child.stdout
        child.send_signal(signal.SIGHUP)
        assert child.stdout.readline() == b"reload\n"
        child.send_signal(signal.SIGTERM)
        assert child.stdout.readline() == b"stopping\n"
        child.send_signal(signal.SIGTERM)

        assert child.wait(10) == 128 + signal.SIGTERM
        child.stdout.close()


def test_waking_from_a_handler_that_interrupts_the_queue_itself() -> None:
    """The signal may come while its own thread holds the queue's lock: that must not be a deadlock."""
    intake = Intake()
    done = threading.Event()

    def interrupted() -> None:
        with intake._changed:
            intake.wake()
            intake.stop()
        done.set()

    thread = threading.Thread(target=interrupted, daemon=True)
    thread.start()

    assert done.wait(5)


class TestUnitFile:
    def unit(self) -> dict[str, str]:
        parser = configparser.ConfigParser(strict=False, interpolation=None)
        parser.optionxform = str  # type: ignore[assignment,method-assign]
        parser.read_string(UNIT.read_text())
        return dict(parser["Service"])

    def test_it_waits_for_readiness_and_is_watched(self) -> None:
        """Readiness, watchdog, reload, an end with time for the archive, a restart that wrong settings do not loop."""
        unit = self.unit()

        assert unit["Type"] == "notify"
        assert unit["NotifyAccess"] == "main"
        assert float(unit["WatchdogSec"]) >= 10
        assert float(unit["TimeoutStopSec"]) >= 5
        assert unit["ExecReload"] == "/bin/kill -HUP $MAINPID"
        assert unit["Restart"] == "on-failure"
        assert unit["RestartPreventExitStatus"].split() == ["2", "3"]
        assert "--service" in unit["ExecStart"]

    @pytest.mark.parametrize(
        ("directive", "value"),
        [
            ("NoNewPrivileges", "yes"),
            ("ProtectSystem", "strict"),
            ("ProtectHome", "yes"),
            ("PrivateTmp", "yes"),
            ("DynamicUser", "yes"),
            ("CapabilityBoundingSet", ""),
            ("DevicePolicy", "closed"),
            ("MemoryDenyWriteExecute", "yes"),
            ("RestrictSUIDSGID", "yes"),
            ("SystemCallArchitectures", "native"),
        ],
    )
    def test_hardening(self, directive: str, value: str) -> None:
        """No new privileges, a read-only system, its own user, serial lines and network only."""
        assert self.unit()[directive] == value

    def test_serial_lines_and_network_are_left_to_it(self) -> None:
        """Without these it would be very safe and of no use."""
        unit = self.unit()

        assert unit["SupplementaryGroups"] == "dialout audio"
        assert {"AF_INET", "AF_INET6", "AF_UNIX"} <= set(unit["RestrictAddressFamilies"].split())
        assert "DeviceAllow=char-ttyUSB rw" in UNIT.read_text()

    @pytest.mark.skipif(not shutil.which("systemd-analyze"), reason="systemd-analyze is not on this machine")
    def test_the_service_managers_own_tools_find_nothing_wrong(self, tmp_path: Path) -> None:
        """`verify` accepts every line, and `security` rates it 2.0 or better."""
        path = tmp_path / "secondplot.service"
        path.write_text(UNIT.read_text().replace("/opt/secondplot/bin/secondplot", sys.executable))
        verified = subprocess.run(["systemd-analyze", "verify", path], capture_output=True, text=True, check=False)
        rated = subprocess.run(
            ["systemd-analyze", "security", "--offline=true", path], capture_output=True, text=True, check=False
        )
        rating = re.search(r"exposure level for secondplot.service: ([0-9.]+)", rated.stdout)

        assert "secondplot.service" not in verified.stderr
        assert rating
        assert float(rating[1]) <= 2.0
