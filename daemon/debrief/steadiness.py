"""The picture's quality over a passage: how steadily each echo came, and what a note or a range change did to it.

Rhythm and scatter are those of alerts.plotting.scatter: reports expected and received, and scatter about a smoothed
track, in metres along the line of sight and degrees across it.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from msgspec import Struct

from alerts.plotting.scatter import Block, Echo, Scatter, pooled
from alerts.plotting.terms import TrackState
from daemon.debrief.plane import Plane
from daemon.debrief.record import Dated, Passage
from daemon.debrief.study import looks_of

# A change is judged by this long before it and after it, and what is lost within a minute of it.
WINDOW_S = 180.0
LOST_S = 60.0
# A target that says nothing for this many of its intervals was lost, if only for a while.
LOST_INTERVALS = 10.0


class Steadiness(Struct, frozen=True):
    """One target's echo. `losses` are when it was lost for a while, or for good."""

    target: str
    rhythm_s: float | None
    expected: int
    received: int
    scatter: Scatter
    losses: tuple[float, ...]
    times: tuple[float, ...]
    blocks: tuple[Block, ...]


class Side(Struct, frozen=True):
    """The picture on one side of a change."""

    expected: int
    received: int
    scatter: Scatter


class Change(Struct, frozen=True):
    """A note or a range change, and the picture before and after it."""

    at_s: float
    what: str
    before: Side
    after: Side
    lost: tuple[str, ...]


def steadiness(target: str, plots: Sequence[Dated], plane: Plane) -> Steadiness:
    """How steadily one target came, from its plots."""
    echo = Echo(plots[0][0])
    blocks: list[Block] = []
    tracks = [plot.track for _, plot in plots if plot.bearing_deg is not None]
    for look, track in zip(looks_of(plots, plane), tracks, strict=True):
        closed = echo.see(look, track is not TrackState.MANOEUVRING)
        if closed is not None:
            blocks.append(closed)
    closed = echo.close_block()
    blocks += [closed] if closed is not None else []
    times = tuple(at_s for at_s, _ in plots)
    rhythm_s = echo.rhythm_s(times[-1])
    expected = len(times) if rhythm_s is None else expected_in(times, rhythm_s)
    return Steadiness(
        target, rhythm_s, expected, len(times), pooled(blocks), _losses(times, rhythm_s), times, tuple(blocks)
    )


def expected_in(times: Sequence[float], rhythm_s: float) -> int:
    """Reports due between the first and the last, both counted: a gap of n rhythms holds n - 1 that are missing."""
    return 1 + sum(max(1, round((b - a) / rhythm_s)) for a, b in pairwise(times))


def _losses(times: Sequence[float], rhythm_s: float | None) -> tuple[float, ...]:
    if rhythm_s is None:
        return ()
    return tuple(a for a, b in pairwise(times) if b - a > LOST_INTERVALS * rhythm_s)


def changes(passage: Passage, echoes: Iterable[Steadiness]) -> list[Change]:
    """Each note and each range change of the passage, with the picture on both sides."""
    held = list(echoes)
    return [_change(at_s, what, held, passage.last_s) for at_s, what in moments_of(passage)]


def moments_of(passage: Passage) -> list[tuple[float, str]]:
    """When something was done to the picture, or noted: in order."""
    notes = [(at_s, f"note: {note.text}") for at_s, note in passage.notes if note.author != "secondplot"]
    scales: list[tuple[float, str]] = []
    for (_, before), (at_s, after) in pairwise(passage.radar):
        if before.range_scale_nm != after.range_scale_nm and after.range_scale_nm is not None:
            was = "" if before.range_scale_nm is None else f" from {before.range_scale_nm:g}"
            scales.append((at_s, f"range scale{was} to {after.range_scale_nm:g} NM"))
    return sorted(notes + scales)


def _change(at_s: float, what: str, echoes: Sequence[Steadiness], last_s: float) -> Change:
    sides = [_side(echoes, at_s - WINDOW_S, at_s), _side(echoes, at_s, at_s + WINDOW_S)]
    lost = [one.target for one in echoes if _lost_after(one, at_s, last_s)]
    return Change(at_s, what, sides[0], sides[1], tuple(lost))


def _side(echoes: Sequence[Steadiness], from_s: float, to_s: float) -> Side:
    """Only over targets that spoke throughout, so that both sides speak of the same echoes where they can."""
    expected = received = 0
    blocks: list[Block] = []
    for one in echoes:
        if one.rhythm_s is None or one.times[0] > from_s + WINDOW_S / 2 or one.times[-1] < from_s:
            continue
        inside = [at_s for at_s in one.times if from_s < at_s <= to_s]
        received += len(inside)
        expected += max(len(inside), round((min(to_s, one.times[-1]) - max(from_s, one.times[0])) / one.rhythm_s))
        blocks += [block for block in one.blocks if from_s <= block.first_s and block.last_s <= to_s]
    return Side(expected, received, pooled(blocks))


def _lost_after(one: Steadiness, at_s: float, last_s: float) -> bool:
    """Held at the change, and silent from within a minute after it, for a while or for good."""
    gone = [*one.losses]
    if one.rhythm_s is not None and last_s - one.times[-1] > LOST_INTERVALS * one.rhythm_s:
        gone.append(one.times[-1])
    return one.times[0] < at_s and any(at_s <= when <= at_s + LOST_S for when in gone)
