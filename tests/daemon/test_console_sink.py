"""The two sinks on real outputs: a pseudo-terminal read by a terminal emulator, and a pipe."""

import contextlib
import itertools
import os
import pty
import threading
import tty
from collections.abc import Callable, Iterator
from io import StringIO
from pathlib import Path
from typing import TextIO

import pyte
import pytest
from msgspec import structs
from rich.text import Text

from alerts.events import Alert, Note
from alerts.plotting.terms import AlertState, FeedState, Priority
from alerts.settings import DEFAULT_CONDITIONS
from daemon.clock import VirtualClock
from daemon.console.board import Board, Snapshot
from daemon.console.lines import Limits, Look
from daemon.console.pages import page
from daemon.console.palette import PALETTES, UNICODE
from daemon.console.state import Page, View
from daemon.console.terminal import Terminal
from daemon.control import Request
from daemon.errors import UserError
from daemon.sinks.console import SILENCE_S, Console
from daemon.sinks.face import SinkError
from daemon.sinks.plain import Plain
from tests.daemon.passages import alert, feed, moment, passage


class Emulated:
    """A console sink on a pseudo-terminal, with an emulator on the other side."""

    def __init__(self) -> None:
        self.master, self._slave = pty.openpty()
        self.requests: list[Request] = []
        self.screen = pyte.Screen(80, 24)
        self._stream = pyte.ByteStream(self.screen)
        self._output = os.fdopen(os.dup(self._slave), "w", encoding="utf-8")
        self._changed = threading.Condition()
        self.sink = Console(
            self.ask,
            conditions=DEFAULT_CONDITIONS,
            condition="open water",
            output=self._output,
            keys_fd=os.dup(self._slave),
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def ask(self, request: Request) -> str | None:
        self.requests.append(request)
        if request.verb == "silence":
            raise UserError("nothing sounds")
        return None

    def _read(self) -> None:
        while True:
            try:
                data = os.read(self.master, 65536)
            except OSError:
                return
            with self._changed:
                self._stream.feed(data)
                self._changed.notify_all()

    def until(self, shown: Callable[[str], bool]) -> str:
        """The screen as soon as it shows this; the test fails if it does not within ten seconds."""
        with self._changed:
            assert self._changed.wait_for(lambda: shown(self.text()), 10), self.text()
            return self.text()

    def text(self) -> str:
        return "\n".join(self.screen.display)

    def close(self) -> None:
        """Hang up the near side, and read the far side to its end."""
        self.sink.close()
        self._output.close()
        os.close(self._slave)
        self._reader.join(10)
        os.close(self.master)

    def type(self, data: bytes) -> None:
        os.write(self.master, data)


@pytest.fixture
def emulated() -> Iterator[Emulated]:
    one = Emulated()
    yield one
    one.close()


class TestConsole:
    def test_the_cautions_stand_first_and_an_alert_takes_them_away(self, emulated: Emulated) -> None:
        emulated.until(lambda text: "In restricted visibility no vessel stands on (Rule 19)." in text)
        for now, events in passage(260):
            emulated.sink.take(now, events)

        assert "aid to look-out only" in emulated.until(lambda text: "STEADY BEARING, CLOSING: TEAL" in text)

    def test_keys_reach_the_watch_as_requests(self, emulated: Emulated) -> None:
        for now, events in passage(260):
            emulated.sink.take(now, events)
        emulated.until(lambda text: "ALARM   not ack'd" in text)
        emulated.type(b"a")
        emulated.until(lambda text: "Acknowledgement of alert 1 asked for." in text)
        emulated.type(b"s")
        emulated.until(lambda text: "Silence asked for." in text)
        emulated.sink.idle(0.0)
        emulated.until(lambda text: "nothing sounds" in text)

        assert emulated.requests == [Request("ack", id=1), Request("silence")]

    def test_the_condition_in_force_stands_in_the_head(self, emulated: Emulated) -> None:
        """Chosen by a key, or told by a note in the record because it was chosen elsewhere."""
        emulated.until(lambda text: "The watch is running." in text)
        emulated.type(b"xc2")
        emulated.until(lambda text: "Condition coastal asked for." in text)
        emulated.sink.idle(0.0)
        emulated.until(lambda text: "coastal: CPA 0.3 NM, TCPA 10 min" in text)
        note = Note(time=moment(1).time, text="condition: restricted visibility", author="secondplot")
        emulated.sink.take(moment(1), [note])

        emulated.until(lambda text: "restricted visibility: CPA 1 NM, TCPA 18 min" in text)

    def test_the_pages_open_and_close(self, emulated: Emulated) -> None:
        for now, events in passage(320):
            emulated.sink.take(now, events)
        emulated.until(lambda text: "draws aft" in text and "? help" in text)
        emulated.type(b"\r")
        emulated.until(lambda text: "geometry  crossing from starboard (Rule 15)" in text)
        emulated.type(b"?")
        emulated.until(lambda text: "Keys and words" in text)
        emulated.type(b"x")
        emulated.until(lambda text: "── alerts" in text)

    def test_it_gives_the_terminal_back(self, emulated: Emulated) -> None:
        emulated.until(lambda text: "The watch is running." in text)
        emulated.sink.close()

        emulated.until(lambda text: not emulated.screen.cursor.hidden)

    def test_a_terminal_that_is_not_read_does_not_hold_the_stream(self) -> None:
        """With nobody reading the other side the pseudo-terminal is full; the stream still gets through at once."""
        master, slave = pty.openpty()
        _fill(slave)
        output = os.fdopen(os.dup(slave), "w", encoding="utf-8")
        sink = Console(lambda request: None, output=output, keys_fd=slave)  # the sink closes it
        for now, events in passage(1200):
            sink.take(now, events)
        sink.close()

        assert sink._thread.is_alive(), sink._fault
        os.close(master)
        sink._thread.join(10)
        with contextlib.suppress(OSError):
            output.close()

    def test_a_terminal_that_goes_is_told_to_the_stream_once(self) -> None:
        """A hung-up terminal is the sink's fault, raised in the stream's thread; the watch then goes on without it."""
        sink, output = _hung_up()

        with pytest.raises(SinkError, match="goes on without it"):
            sink.idle(0.0)
        sink.idle(0.0)
        with contextlib.suppress(OSError):
            output.close()

    def test_the_end_of_the_watch_writes_into_no_file_that_took_the_place_of_a_terminal(self, tmp_path: Path) -> None:
        """The terminal went days ago, and its descriptors' numbers are the archive's and the recorder's by now."""
        sink, output = _hung_up()
        with contextlib.ExitStack() as files:
            paths = [tmp_path / str(number) for number in range(20)]
            for path in paths:
                files.enter_context(path.open("wb"))
            sink.close()

        assert [path.read_bytes() for path in paths] == [b""] * 20
        with contextlib.suppress(OSError):
            output.close()


def test_changed_lines_alone_bring_a_terminal_to_every_screen() -> None:
    """Page after page, with full and short lines and every palette: what the emulator shows is what was asked for."""
    snapshot = _snapshot()
    output = StringIO()
    terminal = Terminal(output, None)
    screen = pyte.Screen(*terminal.size)
    emulator = pyte.Stream(screen)
    for palette, shown in itertools.product(PALETTES, (Page.WATCH, Page.TARGET, Page.HELP, Page.CAUTIONS, Page.WATCH)):
        view = View(())
        view.page, view.order, view.chosen = shown, list(snapshot.rows), "radar-07"
        look = Look(*terminal.size, PALETTES[palette], UNICODE)
        lines = page(snapshot, view, Limits("open water", 0.5, 12.0), look)
        terminal.show(lines)
        emulator.feed(output.getvalue())
        output.seek(0)
        output.truncate()

        assert [row.rstrip() for row in screen.display] == [line.plain.rstrip() for line in lines]
    terminal.close()


def test_what_is_not_drawn_again_has_its_colours_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another palette, an alarm that flashes, a window that is drawn wider and smaller: after every change the cells
    hold what a screen drawn from nothing holds, and a change of nothing writes nothing."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setenv("COLORTERM", "truecolor")
    snapshot = _snapshot(alert(470, 9, "radar-07", "closes", AlertState.ACTIVE_UNACKNOWLEDGED, "closest_approach"))
    output = StringIO()
    terminal = Terminal(output, None)
    screen = pyte.Screen(80, 24)
    emulator = pyte.Stream(screen)
    sizes = ((80, 24), (120, 40), (60, 20))
    shown = set()
    for which, (width, height), palette, bright in itertools.product(
        (Page.WATCH, Page.CAUTIONS), sizes, PALETTES, (True, False)
    ):
        monkeypatch.setenv("COLUMNS", str(width))
        monkeypatch.setenv("LINES", str(height))
        screen.resize(height, width)
        view = View(())
        view.page, view.order = which, list(snapshot.rows)
        look = Look(width, height, PALETTES[palette], UNICODE, bright)
        for is_again in (False, True):
            lines = page(snapshot, view, Limits("open water", 0.5, 12.0), look)
            terminal.show(lines)
            written = output.getvalue()
            emulator.feed(written)
            output.seek(0)
            output.truncate()
            assert not (is_again and written)
        cells = _cells(screen)
        if which is Page.WATCH:
            shown.add(str(cells))
        assert cells == _drawn_from_nothing(lines, width, height)
        if palette in ("night", "high contrast"):  # black to the last cell, whatever the terminal's own ground
            assert not [cell for row in cells for cell in row if "default" in cell]
    assert len(shown) == len(sizes) * len(PALETTES) * 2  # the alarm flashes in every palette
    terminal.close()


def _drawn_from_nothing(lines: list[Text], width: int, height: int) -> list[list[tuple[object, ...]]]:
    output, screen = StringIO(), pyte.Screen(width, height)
    terminal = Terminal(output, None)
    terminal.show(lines)
    pyte.Stream(screen).feed(output.getvalue())
    terminal.close()
    return _cells(screen)


def _cells(screen: pyte.Screen) -> list[list[tuple[object, ...]]]:
    return [[tuple(screen.buffer[y][x]) for x in range(screen.columns)] for y in range(screen.lines)]


def _snapshot(*more: Alert) -> Snapshot:
    board = Board()
    for now, events in passage(470):
        board.take(now, events)
    board.take(moment(470), more)
    return board.snapshot(0.0, frozenset(["radar-07"]))


class TestPlain:
    def printed(self, seconds: int) -> list[str]:
        output = StringIO()
        sink = Plain(output, patient=True)
        for now, events in passage(seconds):
            sink.take(now, events)
        sink.close()
        return output.getvalue().splitlines()

    def test_what_happens_once_is_a_line(self) -> None:
        lines = self.printed(470)

        assert (
            "08:04:00 ALARM 1, not acknowledged: radar-07 TEAL: CPA 0.2 NM in 11.9 min, inside 0.5 NM and 12 min"
            in (lines)
        )
        assert (
            "08:05:00 ALARM 1, acknowledged: radar-07 TEAL: CPA 0.2 NM in 10.9 min, inside 0.5 NM and 12 min" in lines
        )
        assert "08:06:00 NOTE (skipper): sea clutter up two steps" in lines
        assert "08:07:00 RADAR: range scale 3 NM, head-up" in lines
        assert "08:00:00 FEED radar is up: 20 lines, 3 refused" in lines

    def test_a_feed_that_comes_and_goes_does_not_fill_the_screen(self) -> None:
        """A loose plug, up and down each second for three minutes, then well again: a line a minute, and its end."""
        output = StringIO()
        sink = Plain(output, patient=True, cautions=False)
        for second in range(400):
            state = FeedState.DOWN if second < 180 and second % 2 else FeedState.UP
            sink.take(moment(second), [feed(second, state=state)])
        sink.close()
        lines = [line for line in output.getvalue().splitlines() if "FEED" in line]

        assert [line.split(":", 3)[2][3:] for line in lines[:4]] == [
            "FEED radar is up",
            "FEED radar is down",
            "FEED radar is up",
            "FEED radar is down",
        ]
        assert lines[4:] == [
            "08:00:04 FEED radar comes and goes: from now on told once a minute",
            "08:01:00 FEED radar comes and goes: 61 changes in the last minute",
            "08:02:00 FEED radar comes and goes: 60 changes in the last minute",
            "08:03:00 FEED radar comes and goes: 60 changes in the last minute",
            "08:04:00 FEED radar is up: 1940 lines, 3 refused",
        ]

    def test_the_most_urgent_targets_have_a_line_each_minute(self) -> None:
        at_five = [line for line in self.printed(310) if line.startswith("08:05:00") and "CPA" in line]

        assert at_five[1].startswith("08:05:00 radar-07 (TEAL): bearing 073°T, 2.7")
        assert "bearing steady, CPA 0.04 NM (95 % 0.00 to 0.20 NM) in 10.1 min, collision course" in at_five[1]
        assert len(at_five) == 4

    def test_a_caution_that_nobody_has_acknowledged_is_not_said_to_be(self) -> None:
        output = StringIO()
        sink = Plain(output, patient=True, cautions=False)
        acknowledged, rule = AlertState.ACTIVE_ACKNOWLEDGED, "picture_changed"
        caution = structs.replace(alert(0, 4, None, "range", acknowledged, rule), priority=Priority.CAUTION)
        sink.take(moment(0), [caution, alert(0, 5, None, "silent", acknowledged, "feed_silent")])
        sink.close()

        assert output.getvalue().splitlines() == [
            "08:00:00 CAUTION 4, stands: range",
            "08:00:00 WARNING 5, acknowledged: silent",
        ]

    def test_a_long_alert_is_said_to_its_end(self) -> None:
        """A difference over several targets has more than 300 characters, and its figures stand last."""
        output = StringIO()
        sink = Plain(output, patient=True, cautions=False)
        text = "radar-03: the set's answer differs: " + "word " * 60 + "set reports CPA 0.16 NM in 4.4 min"
        sink.take(moment(0), [alert(0, 1, "radar-03", text, AlertState.ACTIVE_UNACKNOWLEDGED, "cross_check")])
        sink.close()

        assert output.getvalue().endswith("set reports CPA 0.16 NM in 4.4 min\n")

    @pytest.mark.parametrize(
        ("change", "state"),
        [
            ("supersede: told by closest_approach", "now told by closest approach"),
            ("watch ends: the watch ended", "no longer watched"),
            ("clear: drawing clear", "over"),
        ],
    )
    def test_only_an_alert_whose_condition_ended_is_said_to_be_over(self, change: str, state: str) -> None:
        """One that gave way to a more urgent alert is told by that; one that ends with the watch may hold still."""
        output = StringIO()
        sink = Plain(output, patient=True, cautions=False)
        gone = Alert(
            time=moment(0).time,
            id=1,
            rule="steady_bearing",
            priority=Priority.WARNING,
            state=AlertState.NORMAL,
            target="radar-07",
            text="radar-07: bearing 073°T steady",
            values={"change": change},
        )
        sink.take(moment(0), [gone])
        over = structs.replace(gone, id=2, state=AlertState.RECTIFIED_UNACKNOWLEDGED)
        sink.take(moment(1), [over])
        sink.take(moment(2), [structs.replace(gone, id=2)])
        sink.close()

        first, _, last = output.getvalue().splitlines()
        assert first == f"08:00:00 WARNING 1, {state}: radar-07: bearing 073°T steady"
        assert last.startswith("08:00:00 WARNING 2, over: ")

    def test_the_cautions_come_first(self) -> None:
        assert self.printed(1)[0] == "An aid to a proper look-out, never a substitute."

    def test_an_output_that_is_gone_is_told_to_the_stream(self) -> None:
        reader, writer = os.pipe()
        os.close(reader)
        with os.fdopen(writer, "w", encoding="utf-8", closefd=False) as output:
            sink = Plain(output)
            sink._writer._thread.join(0.5)
            with pytest.raises(SinkError, match="standard output"):
                for _ in range(1000):
                    sink.take(moment(0), [])
                    sink._writer._thread.join(0.01)
            sink.close()
            os.dup2(os.open(os.devnull, os.O_WRONLY), writer)

    def test_a_live_watch_drops_and_counts_for_a_reader_that_has_stopped(self) -> None:
        """The pipe is full and nobody reads: lines are dropped, the oldest first, and the stream is not held."""
        reader, writer = os.pipe()
        output = os.fdopen(writer, "w", encoding="utf-8")
        sink = Plain(output, period_s=0.0, worst=10)
        for now, events in passage(1000):
            sink.take(now, events)
        got = threading.Thread(target=_drain, args=(reader,))
        got.start()
        sink._writer._thread.join(0.2)
        sink.close()
        output.close()
        got.join(5)

        assert sink._writer.lost_in_all > 0


def _hung_up() -> tuple[Console, TextIO]:
    """A sink whose terminal has gone, and which has found that out; and its output, to be closed."""
    master, slave = pty.openpty()
    output = os.fdopen(os.dup(slave), "w", encoding="utf-8")
    clock = VirtualClock()
    sink = Console(lambda request: None, output=output, keys_fd=os.dup(slave), clock=clock)
    os.close(slave)
    os.close(master)
    for _ in range(100):  # again where the first frame was under way: its end counts from the new time
        clock.advance(2 * SILENCE_S)  # now there is something to write
        sink._thread.join(0.1)
        if not sink._thread.is_alive():
            break
    return sink, output


def _fill(slave: int) -> None:
    """Write until the pseudo-terminal takes no more; the kernel moves what it holds on a moment later."""
    tty.setraw(slave)
    writer = os.open(os.ttyname(slave), os.O_WRONLY | os.O_NONBLOCK | os.O_NOCTTY)
    for _ in range(5):
        with contextlib.suppress(BlockingIOError):
            while True:
                os.write(writer, b"x")
        threading.Event().wait(0.02)
    os.close(writer)


def _drain(reader: int) -> None:
    while os.read(reader, 65536):
        pass
