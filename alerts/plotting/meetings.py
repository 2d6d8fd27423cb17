"""Two echoes that meet: who is who afterwards?

Where two vessels pass within what the radar can tell apart, a set may carry their numbers on with the wrong echoes. No
single look shows it, for each echo is near enough to be either. So the plots of both are kept as they were before the
meeting, and when the vessels have parted, the looks since are held against the straight lines of both, as they are
and the other way round.
"""

import copy
from collections import deque
from collections.abc import Iterable
from math import hypot, pi
from typing import NamedTuple

from alerts.plotting import echoes
from alerts.plotting.kept import Filter, Kept
from alerts.plotting.kinematics import Look

MEETING_NM, MEETING_SDS = 0.15, 6.0
"""A meeting begins when the plots are this near each other, or within so many standard deviations of a look."""

PARTED_SDS = 2.5
"""It is judged while the lines from before it are farther apart than this. One that is judged as it was, and is still
near, begins again with the plots of now."""

CROSSING_KN = 2.0
"""Vessels in company, or one under two numbers, with less between their velocities have nothing to exchange."""

LEAST_LOOKS = 5
LAST_LOOKS = 6
"""It is judged from the last looks of each, when each has had so many since the meeting began."""

CLEARLY = 30.0
"""Chi-square between the two readings: e to the 15th to one."""

FITS = 4.0
"""... and the better one must fit: mean square of its looks, where noise alone gives 2."""

RADIAN = pi / 180
MEETINGS = 16
LONGEST_S = 300.0
MOST_LOOKS = 160


class Exchange(NamedTuple):
    """Two tracks whose numbers have been exchanged. `filters` are for the echoes that the numbers show now, in the same
    order: each the other's plot from before the meeting, with this number's looks since, down to `last_looks`."""

    tracks: tuple[Kept, Kept]
    filters: tuple[Filter, Filter]
    last_looks: tuple[Look, Look]


class _Meeting:
    __slots__ = ("before", "began_s", "looks", "misfits", "tracks")

    def __init__(self, one: Kept, other: Kept, at_s: float) -> None:
        self.tracks = (one, other)
        self.before = (copy.deepcopy(one.filter), copy.deepcopy(other.filter))
        self.looks: tuple[list[Look], list[Look]] = ([], [])
        # Of the last looks of each: chi-square against either of the lines from before the meeting.
        self.misfits = tuple(deque[tuple[float, float]](maxlen=LAST_LOOKS) for _ in self.tracks)
        self.began_s = at_s

    def take(self, kept: Kept, look: Look) -> bool | None:
        """A look of one of the two. True: exchanged; False: as they were, or both on one line; None: not to be told
        yet."""
        side = self.tracks.index(kept)
        one, other = (filter_.predict(look.at_s) for filter_ in self.before)
        self.looks[side].append(look)
        self.misfits[side].append((echoes.sds_off(one, look) ** 2, echoes.sds_off(other, look) ** 2))
        apart_nm = hypot(one.east_nm - other.east_nm, one.north_nm - other.north_nm)
        have_parted = apart_nm > PARTED_SDS * one.bearing_sd_deg * look.range_nm * RADIAN
        return self._judged() if have_parted and min(map(len, self.looks)) >= LEAST_LOOKS else None

    def _judged(self) -> bool | None:
        (one_as_one, one_as_other), (other_as_one, other_as_other) = (
            (sum(one for one, _ in last), sum(other for _, other in last)) for last in self.misfits
        )
        straight, crossed = one_as_one + other_as_other, one_as_other + other_as_one
        if crossed + CLEARLY < straight and crossed < FITS * sum(map(len, self.misfits)):
            return True
        doubled = min(one_as_one + other_as_one, one_as_other + other_as_other)
        return False if min(straight + CLEARLY, doubled + CLEARLY) < crossed else None

    def exchange(self) -> Exchange:
        crossed = (self.before[1], self.before[0])
        for filter_, looks in zip(crossed, self.looks, strict=True):
            for look in looks:
                filter_.observe(look)
        return Exchange(self.tracks, crossed, (self.looks[0][-1], self.looks[1][-1]))


class Meetings:
    """All meetings under way, bounded in number, length and looks."""

    def __init__(self) -> None:
        self._meetings: list[_Meeting] = []
        self._meet: set[Kept] = set()  # who is in one

    def see(self, kept: Kept, look: Look, others: Iterable[Kept]) -> Exchange | None:
        """Takes a look of a track, before it is decided whether it is hers. `others` are the tracks near her."""
        found = None
        mine = [meeting for meeting in self._meetings if kept in meeting.tracks] if kept in self._meet else ()
        for meeting in mine:
            judged = meeting.take(kept, look)
            too_long = look.at_s - meeting.began_s > LONGEST_S or max(map(len, meeting.looks)) > MOST_LOOKS
            if judged is not None or too_long:
                self._keep([other for other in self._meetings if other is not meeting])
            if judged and found is None:
                found = meeting.exchange()
        if found is None:
            self._begin(kept, look, others)
        return found

    def are_meeting(self, kept: Kept, other: Kept) -> bool:
        return kept in self._meet and any(
            kept in meeting.tracks and other in meeting.tracks for meeting in self._meetings
        )

    def drop(self, kept: Kept) -> None:
        """The track has ended, or its plane has changed."""
        if kept in self._meet:
            self._keep([meeting for meeting in self._meetings if kept not in meeting.tracks])

    def _keep(self, meetings: list[_Meeting]) -> None:
        self._meetings, self._meet = meetings, {track for meeting in meetings for track in meeting.tracks}

    def _begin(self, kept: Kept, look: Look, others: Iterable[Kept]) -> None:
        mine = kept.estimate
        if mine is None or not mine.settled or kept.out_of_sight is not None:
            return
        for other in others:
            if len(self._meetings) >= MEETINGS:
                return
            theirs = other.estimate
            if theirs is None or not theirs.settled or other.out_of_sight is not None or other.is_test != kept.is_test:
                continue
            if hypot(mine.east_kn - theirs.east_kn, mine.north_kn - theirs.north_kn) < CROSSING_KN:
                continue
            apart = hypot(mine.east_nm - theirs.east_nm, mine.north_nm - theirs.north_nm)
            if apart <= meeting_reach_nm(mine.bearing_sd_deg, look.range_nm) and not self.are_meeting(kept, other):
                meeting = _Meeting(kept, other, look.at_s)
                meeting.take(kept, look)
                self._keep([*self._meetings, meeting])


def meeting_reach_nm(bearing_sd_deg: float, range_nm: float) -> float:
    """Nearer than this two echoes may be taken for each other."""
    return max(MEETING_NM, MEETING_SDS * bearing_sd_deg * range_nm * RADIAN)
