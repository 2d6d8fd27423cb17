"""Whether a replay's time grows in proportion to its length and to its targets, and what an archive takes.

Run: python -m tests.benchmarks.growth [HOURS...]. Lengths at 20 targets; targets in a quarter of an hour each, ten in
an hour and a half, so that there are reports enough. Time is processor time less that of a replay of half a minute (the
start), for each sentence; or less that of the same time without targets, for each target's report.
"""

import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from tests.benchmarks.figure import Figure
from tests.benchmarks.passages import recording
from tests.benchmarks.replay_speed import Cost, whole_replay

LENGTHS_H = (1.0, 6.0, 24.0)
TARGETS_H = {10: 1.5, 100: 0.25, 200: 0.25, 1000: 0.25}
"""How long so many are followed."""


def _each_us(costs: Sequence[Cost], start: Cost) -> list[float]:
    return [1e6 * (cost.cpu_s - start.cpu_s) / (cost.lines - start.lines) for cost in costs]


def lengths(hours: Sequence[float]) -> Iterator[Figure]:
    start = whole_replay(recording(1 / 120, 20))
    costs = [whole_replay(recording(length, 20)) for length in hours]
    each = _each_us(costs, start)
    told = ", ".join(f"{length:g} h {cost:.0f} us" for length, cost in zip(hours, each, strict=True))
    apart = max(each) / min(each) - 1
    yield Figure("growth with length, for each sentence", told, "within 10 % of one another", apart <= 0.1)
    target_hours = 20 * hours[-1]
    size = f"{costs[-1].archive_bytes / target_hours / 1024:.0f} KiB"
    yield Figure("archive, for each target hour (one TTM in 2.5 s; own ship each second included)", size)
    memory = ", ".join(f"{length:g} h {cost.resident_mb:.0f} MB" for length, cost in zip(hours, costs, strict=True))
    yield Figure("resident at most", memory, "under 120 MB", max(cost.resident_mb for cost in costs) < 120)


def targets() -> Iterator[Figure]:
    with tempfile.TemporaryDirectory() as folder:
        large = Path(folder) / "large-set.toml"
        large.write_text(f"[alerts.radar_capacity]\ncapacity = {max(TARGETS_H)}\n")  # so many are followed

        def cost(hours: float, count: int) -> Cost:
            return whole_replay(recording(hours, count), "--config", str(large))

        alone = {hours: cost(hours, 0) for hours in set(TARGETS_H.values())}
        each = [_each_us([cost(hours, count)], alone[hours])[0] for count, hours in TARGETS_H.items()]
    told = ", ".join(f"{count} targets {us:.0f} us" for count, us in zip(TARGETS_H, each, strict=True))
    apart = max(each) / min(each) - 1
    yield Figure("growth with targets, for each report", told, "within 10 % of one another", apart <= 0.1)


def figures(hours: Sequence[float] = LENGTHS_H) -> Iterator[Figure]:
    yield from targets()
    yield from lengths(hours)


if __name__ == "__main__":
    for figure in figures([float(word) for word in sys.argv[1:]] or LENGTHS_H):
        print(figure.line(), flush=True)
