"""A stream of sentences: its times, and a way to write any stretch of it."""

from collections.abc import Callable

from msgspec import Struct

from daemon.exercise.geodesy import Floats

SPACING_S = 0.02
"""Sentences of one sensor and moment follow each other at this distance, as a line of 38,400 baud takes it."""

Write = Callable[[int, int], list[str]]


class Stream(Struct, frozen=True):
    """Sentences in order of time. `times_s` (M,) from the start; `write(i, j)` gives those from i up to j.

    An empty text is no sentence; a text with line ends is several.
    """

    times_s: Floats
    write: Write


def known(values: Floats) -> list[float | None]:
    """Plain values, None for NaN."""
    return [None if value != value else value for value in values.tolist()]
