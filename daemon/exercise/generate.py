"""A scenario to its sentences, its truth and its recording: the one generator for exercises, tests and benchmarks."""

import gzip
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

import numpy as np
from msgspec import Struct

from daemon.errors import CANNOT_OPEN, UserError
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import Scenario
from daemon.exercise.streams import streams
from daemon.exercise.truth import encoder, records
from parsers.encode import tag_block

BLOCK_S = 60.0
"""Sentences are written and put in order a minute at a time."""


def lines(scenario: Scenario | Passage) -> Iterator[tuple[int, str]]:
    """Every sentence with the UNIX milliseconds of its arrival, in order, without TAG block and line end."""
    passage = scenario if isinstance(scenario, Passage) else Passage(scenario)
    start_ms, duration_s = passage.scenario.start_ms, passage.scenario.duration_s
    parts = list(streams(passage))
    done = [0] * len(parts)
    for block in range(int(np.ceil(duration_s / BLOCK_S))):
        end_s = min((block + 1) * BLOCK_S, duration_s)
        gathered: list[tuple[int, str]] = []
        for which, part in enumerate(parts):
            upto = int(np.searchsorted(part.times_s, end_s))
            if upto == done[which]:
                continue
            times = part.times_s[done[which] : upto]
            stamps = (start_ms + np.round(times * 1000).astype(np.int64)).tolist()
            for stamp, text in zip(stamps, part.write(done[which], upto), strict=True):
                if "\n" in text:
                    gathered.extend((stamp, line) for line in text.split("\n"))
                elif text:
                    gathered.append((stamp, text))
            done[which] = upto
        gathered.sort(key=_stamp)
        yield from gathered


def _stamp(line: tuple[int, str]) -> int:
    return line[0]


def tagged(made: Iterable[tuple[int, str]]) -> Iterator[str]:
    """The lines of a recording: each sentence behind its TAG block, without line end. The source is its talker's."""
    sources: dict[str, str] = {}
    for utc_ms, line in made:
        talker = line[1:3]
        yield tag_block(line, utc_ms, sources.setdefault(talker, f"{talker}0001"))


class Load(Struct):
    """How full the serial line is: characters a second, ten bits each."""

    baud: int
    sentences: int = 0
    characters: int = 0
    seconds: int = 0
    busiest_characters: int = 0
    over: int = 0  # seconds in which more was sent than fits

    @property
    def share(self) -> float:
        """Mean use of the line, 1 for full."""
        return self.characters * 10 / self.baud / max(1, self.seconds)

    @property
    def fits(self) -> bool:
        """Whether nothing has to wait for longer than the next second: no second holds more than the line carries."""
        return self.over == 0

    def text(self) -> str:
        """One line for a person."""
        busiest = self.busiest_characters * 10 / self.baud
        whole = (
            f"{self.sentences} sentences; a line of {self.baud} baud is {self.share:.0%} full, {busiest:.0%} at most"
        )
        if self.fits:
            return whole
        return f"{whole}: IT DOES NOT FIT in {self.over} of {self.seconds} seconds; real equipment would drop or delay"


def measure(scenario: Scenario | Passage, baud: int | None = None) -> Load:
    """Runs through all sentences and says how full the line is."""
    passage = scenario if isinstance(scenario, Passage) else Passage(scenario)
    load = Load(baud or passage.scenario.line.baud)
    for _ in counted(lines(passage), load):
        pass
    return load


def counted(made: Iterator[tuple[int, str]], load: Load) -> Iterator[tuple[int, str]]:
    """Passes lines on and counts what they load the line with, CR LF included. Seconds of silence count too."""
    second, in_second = None, 0
    for utc_ms, line in made:
        if utc_ms // 1000 != second:
            _close_second(load, second, in_second)
            load.seconds += utc_ms // 1000 - (second if second is not None else utc_ms // 1000 - 1)
            second, in_second = utc_ms // 1000, 0
        load.sentences += 1
        in_second += len(line) + 2
        yield utc_ms, line
    _close_second(load, second, in_second)


def _close_second(load: Load, second: int | None, characters: int) -> None:
    if second is None:
        return
    load.characters += characters
    load.over += characters * 10 > load.baud
    load.busiest_characters = max(load.busiest_characters, characters)


def write(scenario: Scenario, recording: Path, truth: Path | None = None) -> Load:
    """Writes the recording (gzip where the name ends in .gz) and its truth. The same scenario gives the same bytes.

    Raises UserError where a file cannot be written.
    """
    passage = Passage(scenario)
    load = Load(scenario.line.baud)
    with _created(recording) as file:
        file.writelines(line.encode("ascii") + b"\r\n" for line in tagged(counted(lines(passage), load)))
    if truth is not None:
        with _created(truth) as file:
            file.writelines(encoder.encode(record) + b"\n" for record in records(passage))
    return load


@contextmanager
def _created(path: Path) -> Iterator[IO[bytes]]:
    """A file for writing; gzip without name and time in its header, so that equal contents give equal files."""
    try:
        with path.open("wb") as raw:
            if path.suffix != ".gz":
                yield raw
                return
            with gzip.GzipFile(filename="", fileobj=raw, mode="wb", mtime=0) as packed:
                yield packed  # type: ignore[misc]
    except OSError as error:
        raise UserError(f"cannot write {path}: {error.strerror}", CANNOT_OPEN) from None
