"""What the console costs: processor time of a frame, and bytes sent, at four frames a second.

    python -m tests.benchmarks.console_figures [TARGETS]

Bound: under 10 % of a core. A frame is a snapshot of the board, the order, the page on 80 x 24 and the lines that
changed, written to a buffer; own ship moves each second and a third of the targets report in it.
"""

import resource
import sys
from io import StringIO

from daemon.console import urgency
from daemon.console.board import Board
from daemon.console.lines import Limits, Look
from daemon.console.pages import STRIPS, page
from daemon.console.palette import PALETTES, UNICODE
from daemon.console.state import Page, View
from daemon.console.terminal import Terminal
from tests.daemon.passages import FLEET, Vessel, passage

SECONDS = 120


def processor_s() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_utime


def measure(count: int) -> None:
    extra = tuple(Vessel(f"ais-{n}", 1 + n % 9, 2 + n % 7, 10 * (n % 36), 8.0) for n in range(count - len(FLEET)))
    output, board, view = StringIO(), Board(), View(())
    terminal = Terminal(output, None)
    view.page = Page.WATCH
    look, limits = Look(80, 24, PALETTES["day"], UNICODE), Limits("open water", 0.5, 12.0)
    moments = list(passage(240 + SECONDS, FLEET + extra))
    for now, events in moments[:240]:
        board.take(now, events)
    used = 0.0
    for now, events in moments[240:]:
        board.take(now, events)
        for quarter in range(4):
            began = processor_s()
            snapshot = board.snapshot(quarter / 4, frozenset(view.order[:STRIPS]))
            if quarter == 0:
                of_alerts = urgency.alert_scores(snapshot.alerts)
                scores = {key: urgency.score(row, of_alerts.get(key, 0.0)) for key, row in snapshot.rows.items()}
                view.order = urgency.order(view.order, scores)
            terminal.show(page(snapshot, view, limits, look))
            used += processor_s() - began
    sent = len(output.getvalue().encode("utf-8")) / SECONDS
    print(f"{count} targets: {100 * used / SECONDS:.1f} % of a core at four frames a second, {sent:.0f} bytes a second")


if __name__ == "__main__":
    for number in [int(word) for word in sys.argv[1:]] or [5, 40, 200]:
        measure(number)
