"""Recordings through workers: in this process, over the cores, or over a Dask cluster, by one executor interface.

Each worker gets whole passages and gives back figures, never plots; what it works out depends on its task alone, so
that the figures are the same to the last digit wherever it runs. An interrupt lets what is being read end where it is,
leaves out what was not begun, and is said.
"""

import multiprocessing
import os
import signal
import sys
import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from types import FrameType
from typing import Any

from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn, TimeRemainingColumn

from daemon.bench.outcome import Outcome, Task, work
from daemon.errors import UserError

LOOK_ROUND_S = 0.2

_stop = threading.Event()
"""Of a worker process: set by an interrupt."""


class Run:
    """All passages through workers. `outcomes` holds what is finished, in the order of the tasks."""

    def __init__(self, tasks: Sequence[Task], sizes: Sequence[int], quiet: bool = False) -> None:
        self.tasks = tasks
        self.outcomes: dict[int, Outcome] = {}
        self.failed: list[str] = []
        self.stopped = False
        self._sizes = sizes
        self._quiet = quiet or not sys.stderr.isatty()

    def in_process(self) -> None:
        """One after the other, here."""
        stop = threading.Event()
        with _interrupts(stop), self._bar() as (bar, item):
            for number, task in enumerate(self.tasks):
                if stop.is_set():
                    break
                bar.update(item, description=task.name)
                read = 0

                def show(lines: int, taken: int) -> None:
                    nonlocal read
                    read += taken
                    bar.advance(item, taken)

                self._take(number, lambda task=task, show=show: work(task, stop, show))
                bar.advance(item, self._sizes[number] - read)
        self.stopped = stop.is_set()

    def over(self, executor: Executor, forward: bool) -> None:
        """Through an executor. `forward`: an interrupt is passed on to this process's children."""
        stop = threading.Event()
        with _interrupts(stop), self._bar() as (bar, item):
            futures: dict[Future[Outcome], int] = {}
            for number, task in enumerate(self.tasks):
                futures[executor.submit(work_here, task)] = number
            waiting = set(futures)
            while waiting and not (stop.is_set() and not forward):
                done, waiting = wait(waiting, timeout=LOOK_ROUND_S, return_when="FIRST_COMPLETED")
                for future in done:
                    if not future.cancelled():
                        self._take(futures[future], future.result)
                        bar.advance(item, self._sizes[futures[future]])
                        bar.update(item, description=self.tasks[futures[future]].name)
                if stop.is_set() and not self.stopped:
                    self.stopped = True
                    self._give_up(waiting, forward)
            self.stopped = stop.is_set()

    def _give_up(self, waiting: set[Future[Outcome]], forward: bool) -> None:
        for future in waiting:
            future.cancel()
        if forward:
            for child in multiprocessing.active_children():
                if child.pid is not None:
                    os.kill(child.pid, signal.SIGINT)

    def _take(self, number: int, result: Any) -> None:
        """One outcome, or why there is none: one recording that cannot be read does not cost the others."""
        try:
            self.outcomes[number] = result()
        except UserError as error:
            self.failed.append(str(error))

    @contextmanager
    def _bar(self) -> Iterator[tuple[Progress, TaskID]]:
        columns = (TextColumn("{task.description}", markup=False), BarColumn(), "{task.percentage:>3.0f} %")
        bar = Progress(
            *columns,
            TimeElapsedColumn(),
            TimeRemainingColumn(),
            console=Console(stderr=True),
            transient=True,
            disable=self._quiet,
        )
        with bar:
            yield bar, bar.add_task("", total=max(1, sum(self._sizes)))


def run(tasks: Sequence[Task], sizes: Sequence[int], workers: int, scheduler: str | None, quiet: bool = False) -> Run:
    """All tasks, by a Dask cluster where its scheduler's address is given, else over `workers` processes."""
    this = Run(tasks, sizes, quiet)
    if scheduler is not None:
        with _cluster(scheduler) as executor:
            this.over(executor, forward=False)
    elif workers <= 1 or len(tasks) <= 1:
        this.in_process()
    else:
        context = multiprocessing.get_context("spawn")
        pool = ProcessPoolExecutor(min(workers, len(tasks)), mp_context=context, initializer=_begin_worker)
        with pool:
            this.over(pool, forward=True)
    return this


def work_here(task: Task) -> Outcome:
    """A task in a worker process, which an interrupt may stop."""
    return work(task, _stop)


def _begin_worker() -> None:
    signal.signal(signal.SIGINT, lambda *_: _stop.set())


@contextmanager
def _cluster(address: str) -> Iterator[Executor]:
    try:
        from distributed import Client
    except ImportError:
        raise UserError("--scheduler needs Dask: pip install distributed") from None
    connect: Any = Client  # Dask's own types are not complete
    try:
        client = connect(address, timeout="10s", set_as_default=False)
    except (OSError, ValueError) as error:
        raise UserError(f"--scheduler {address}: no Dask scheduler answers: {error}", 3) from None
    try:
        # Not retried: a recording that kills its worker would kill the next.
        executor: Executor = client.get_executor(pure=False, retries=0)
        yield executor
    finally:
        client.close()


@contextmanager
def _interrupts(stop: threading.Event) -> Iterator[None]:
    """The first interrupt asks for an end, the second insists. Only in the main thread can one be caught."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def ask(number: int, frame: FrameType | None) -> None:
        if stop.is_set():
            raise KeyboardInterrupt
        stop.set()

    before = signal.signal(signal.SIGINT, ask)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
