"""The desk: gives every notice to every annunciator that it is for, and never waits for any of them.

Each annunciator has a clerk: a thread and a bounded queue. When a queue is full its oldest notice is dropped and
counted: the newest state of things is worth more. What an annunciator cannot do is told in `problems()`, which the
watch makes an alert of, and so the other annunciators tell it.
"""

import threading
from collections import deque
from collections.abc import Callable, Iterable, Sequence

from msgspec import Struct

from alerts.annunciators.face import Annunciator, AnnunciatorError, Telling
from alerts.notices import Notice
from alerts.rules.situation import OutputHealth

MOST_WAITING = 200
"""Notices waiting for one annunciator: more than any list of alerts that a person could still work through."""

IDLE_S = 0.5


class Outcome(Struct, frozen=True):
    """How one annunciator fared with one notice."""

    name: str
    problem: str  # empty: it works
    told: bool  # False: there was nothing in it that this annunciator tells


class Clerk:
    """One annunciator with its thread and queue. `now_s` gives a monotonic time."""

    def __init__(self, annunciator: Annunciator, now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self.annunciator = annunciator
        self.problem = ""
        self.dropped = 0
        self.told = False  # the last time
        self._queue: deque[Telling] = deque()
        self._wake = threading.Condition()
        self._closing = False
        self._busy = False
        self._thread = threading.Thread(target=self._run, name=f"annunciator {annunciator.name}", daemon=True)
        self._thread.start()

    def take(self, notice: Telling) -> None:
        with self._wake:
            if len(self._queue) >= MOST_WAITING:
                self._queue.popleft()
                self.dropped += 1
            self._queue.append(notice)
            self._wake.notify_all()

    def wait(self, deadline_s: float) -> bool:
        """Wait until everything has been told; False if the time is up first."""
        with self._wake:
            return self._wake.wait_for(lambda: not self._queue and not self._busy, deadline_s - self._now_s())

    def close(self) -> None:
        with self._wake:
            self._closing = True
            self._wake.notify_all()

    def join(self, deadline_s: float) -> None:
        self._thread.join(max(0.0, deadline_s - self._now_s()))

    def _run(self) -> None:
        while batch := self._next():
            self._try(batch[0])
            with self._wake:
                self._busy = False
                self._wake.notify_all()
        self._guard(self.annunciator.close)

    def _next(self) -> tuple[Sequence[Telling]] | None:
        """The notices that wait, possibly none (then it is time to idle); None at the end."""
        with self._wake:
            self._wake.wait_for(lambda: self._queue or self._closing, IDLE_S)
            batch = tuple(self._queue)
            self._queue.clear()
            if self._closing and not batch:
                return None
            self._busy = True
            return (batch,)

    def _try(self, batch: Sequence[Telling]) -> None:
        """A problem lasts until something has really been told again."""
        told: list[bool] = []
        if batch:
            problem = self._guard(lambda: told.append(self.annunciator.tell(batch)))
            self.told = any(told)
        else:
            problem = self._guard(lambda: self.annunciator.idle(self._now_s()))
        if problem or any(told):
            self.problem = problem

    def _guard(self, work: Callable[[], None]) -> str:
        """Whatever goes wrong is a problem of this annunciator alone."""
        try:
            work()
        except AnnunciatorError as error:
            return str(error)
        except Exception as error:
            return f"a fault of ours: {type(error).__name__}: {error}"
        return ""


class Desk:
    """All annunciators of a watch. `take` returns at once, whatever they do. `now_s` gives a monotonic time."""

    def __init__(self, annunciators: Sequence[Annunciator], now_s: Callable[[], float]) -> None:
        self._now_s = now_s
        self._clerks = [Clerk(annunciator, now_s) for annunciator in annunciators]

    @property
    def names(self) -> list[str]:
        return [clerk.annunciator.name for clerk in self._clerks]

    def take(self, notices: Iterable[Telling]) -> None:
        for notice in notices:
            for clerk in self._clerks:
                chosen = notice.annunciators if isinstance(notice, Notice) else ()
                if not chosen or clerk.annunciator.name in chosen:
                    clerk.take(notice)

    def problems(self) -> tuple[OutputHealth, ...]:
        """What does not work now, for the watch to make an alert of."""
        return tuple(
            OutputHealth(name=clerk.annunciator.name, problem=clerk.problem, lost=clerk.dropped)
            for clerk in self._clerks
            if clerk.problem
        )

    def try_out(self, notice: Notice, timeout_s: float) -> list[Outcome]:
        """Tell one notice by every annunciator and wait how each fares."""
        deadline_s = self._now_s() + timeout_s
        for clerk in self._clerks:
            clerk.take(notice)
        outcomes = []
        for clerk in self._clerks:
            in_time = clerk.wait(deadline_s)
            problem = clerk.problem if in_time else f"no answer within {timeout_s:g} s"
            outcomes.append(Outcome(clerk.annunciator.name, problem, clerk.told))
        return outcomes

    def close(self, timeout_s: float = 1.5) -> None:
        """Let what waits be told, for so long at most."""
        deadline_s = self._now_s() + timeout_s
        for clerk in self._clerks:
            clerk.close()
        for clerk in self._clerks:
            clerk.join(deadline_s)
