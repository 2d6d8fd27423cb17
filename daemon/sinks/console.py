"""The live screen. The stream hands it events; a thread of its own draws them and reads the keys.

A terminal that stands still (a stopped ssh session, a slow serial line) holds up the drawing thread and nothing else.
"""

import os
import sys
from collections.abc import Mapping, Sequence
from queue import Empty, SimpleQueue
from threading import Event, Thread
from typing import TextIO

from alerts.events import AnyEvent, Moment, Note
from alerts.plotting.terms import AlertState
from alerts.settings import Condition
from daemon import words
from daemon.clock import Clock, HostClock
from daemon.console import urgency
from daemon.console.alert_lines import ranked
from daemon.console.board import Board, Snapshot
from daemon.console.keys import Keys, split
from daemon.console.lines import Limits, Look, line
from daemon.console.pages import STRIPS, page
from daemon.console.palette import PALETTES, glyphs_for
from daemon.console.state import Ask, Page, View
from daemon.console.terminal import Terminal
from daemon.control import Request
from daemon.errors import UserError
from daemon.sinks.face import SinkError

FRAME_S = 0.25
# The order of the targets is looked at this often, so that a line can be read before it moves.
ORDER_S = 2.0
# How long the first screen with its cautions stands if no key is pressed; an alert takes it away at once.
CAUTIONS_S = 12.0
# The stream gives a sign of life four times a second. Longer than this without one and the screen says so: what it
# shows is then history.
SILENCE_S = 3.0
# How long the end of the watch waits for the terminal to be put right.
CLOSE_S = 1.0
# How the record tells that another condition was put in force, by whatever way.
CONDITION_NOTE = "condition: "


def open_keys(stdin: TextIO | None = None) -> int | None:
    """Where keys come from: standard input if it is a terminal, else the controlling terminal, else None."""
    stream = sys.stdin if stdin is None else stdin
    try:
        if stream.isatty():
            return os.dup(stream.fileno())
        return os.open("/dev/tty", os.O_RDONLY | os.O_CLOEXEC | os.O_NOCTTY)
    except (OSError, ValueError):
        return None


class Console:
    """A sink for a terminal.

    `ask` gets each request that a key makes, in the stream's own thread, from `idle`; what it returns, or the text of
    a UserError, is shown. `pace` is how many stream seconds go by in one of the host's; ages on the screen grow by it
    between moments.
    """

    name = "console"
    lost = 0

    def __init__(
        self,
        ask: Ask,
        *,
        conditions: Mapping[str, Condition] | None = None,
        condition: str = "",
        palette: str = "day",
        pace: float = 1.0,
        output: TextIO | None = None,
        keys_fd: int | None = None,
        clock: Clock | None = None,
    ) -> None:
        self._board = Board()
        self._clock = (clock or HostClock()).mono_s
        self._pace = pace
        self._conditions = dict(conditions or {})
        self._limits: Limits | None = None
        self._put_in_force(condition)
        self._taken_s = self._alive_s = self._began_s = self._clock()
        self._ended = Event()
        self._fault: str | None = None
        self.trouble = ""
        stream = sys.stdout if output is None else output
        self._glyphs = glyphs_for(stream.encoding or "ascii")
        self._terminal = Terminal(stream, open_keys() if keys_fd is None else keys_fd)
        self._view = View(tuple(self._conditions))
        self._ask = ask
        self._requests: SimpleQueue[Request] = SimpleQueue()
        self._keys = Keys(self._view, self._requests.put, palette)
        self._ordered_s = -ORDER_S
        self._thread = Thread(target=self._run, name="console", daemon=True)
        self._thread.start()

    # ------------------------------------------------------------------------- the stream's side

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self._taken_s = self._alive_s = self._clock()
        self._board.take(moment, events)
        for event in events:
            if isinstance(event, Note) and event.text.startswith(CONDITION_NOTE):
                self._put_in_force(event.text.removeprefix(CONDITION_NOTE))
        self._complain()

    def idle(self, now_s: float) -> None:
        self._alive_s = self._clock()
        self._pass_on()
        self._complain()

    def _pass_on(self) -> None:
        """Ask the watch what keys have asked since."""
        while True:
            try:
                request = self._requests.get_nowait()
            except Empty:
                return
            try:
                answer = self._ask(request)
            except UserError as error:
                answer = str(error)
            else:
                self._put_in_force(request.text or "" if request.verb == "condition" else "")
            if answer:
                self._view.message = words.clean(answer, 70)

    def _complain(self) -> None:
        fault, self._fault = self._fault, None
        if fault is not None:
            raise SinkError(f"console: {self.trouble}; the watch goes on without it")

    def _put_in_force(self, condition: str) -> None:
        held = self._conditions.get(condition)
        if held is not None:
            self._limits = Limits(condition, held.cpa_nm, held.tcpa_min)

    def close(self) -> None:
        """Give the terminal back. Waits at most CLOSE_S for one that stands still."""
        if self._ended.is_set():
            return
        self._ended.set()
        self._terminal.wake()
        self._thread.join(CLOSE_S)
        if self._thread.is_alive():
            self._terminal.restore()

    # ------------------------------------------------------------------------- the drawing thread's side

    def _run(self) -> None:
        try:
            self._frame()
            drawn_s = self._clock()
            while not self._ended.is_set():
                keys = split(self._terminal.wait(max(drawn_s + FRAME_S - self._clock(), 0.0)))
                for key in keys:
                    self._keys.press(key)
                if keys or self._clock() - drawn_s >= FRAME_S:
                    self._frame()
                    drawn_s = self._clock()
        except Exception as error:  # raised again, as the sink's own, in the stream's thread
            self._fault = f"{type(error).__name__}: {error}"
            self.trouble = f"the terminal can no longer be drawn on ({self._fault})"
        finally:
            self._terminal.close()

    def _frame(self) -> None:
        now_s = self._clock()
        view = self._view
        elapsed_s = max(now_s - self._taken_s, 0.0) * self._pace
        snapshot = self._board.snapshot(elapsed_s, frozenset([*view.order[:STRIPS], view.chosen or ""]))
        self._arrange(snapshot, now_s)
        width, height = self._terminal.size
        look = Look(width, height, PALETTES[self._keys.palette], self._glyphs, bright=int(now_s) % 2 == 0)
        lines = page(snapshot, view, self._limits, look)
        silent_s = now_s - self._alive_s
        if silent_s > SILENCE_S:
            said = f"THE WATCH DOES NOT ANSWER, for {words.age(silent_s)}: nothing below is current"
            lines[0] = line(look, (said.ljust(width), "alarm"))
        self._terminal.show(lines)

    def _arrange(self, snapshot: Snapshot, now_s: float) -> None:
        """Order the targets now and then, at once when an alert comes or goes, and choose what a key speaks of."""
        view = self._view
        waiting = [
            raised for raised in ranked(snapshot.alerts) if raised.alert.state is not AlertState.ACTIVE_ACKNOWLEDGED
        ]
        of_target = [raised for raised in waiting if raised.alert.target == view.chosen and view.page is Page.TARGET]
        first = next(iter(of_target or waiting), None)
        changed = (None if first is None else first.alert.id) != view.first_alert
        view.first_alert = None if first is None else first.alert.id
        if view.page is Page.CAUTIONS and (snapshot.alerts or now_s - self._began_s > CAUTIONS_S):
            view.page = Page.WATCH
        fresh = len(view.order) != len(snapshot.rows)
        if changed or fresh or now_s - self._ordered_s >= ORDER_S:
            self._ordered_s = now_s
            of_alerts = urgency.alert_scores(snapshot.alerts)
            scores = {key: urgency.score(row, of_alerts.get(key, 0.0)) for key, row in snapshot.rows.items()}
            view.order = urgency.order(view.order, scores)
        view.order = [key for key in view.order if key in snapshot.rows]
