"""One vessel under two numbers: pairs of tracks that keep the same place and the same motion."""

from collections.abc import Iterable
from math import hypot, radians

from alerts.plotting.kept import Kept
from alerts.plotting.kinematics import Estimate

CONFIRM_S = 30.0
CONFIRM_TIMES = 5
"""A pair is one vessel when it has agreed so often, over so long, without a break."""

PART_TIMES = 3
"""... and is two again when it has disagreed so often in a row."""

COMPARE_S = 2.0
"""A track is compared with the others at most this often."""

PLACE_NM, PLACE_RATIO = 50 / 1852, 0.01
"""No farther apart than a tracked target may be misplaced (MSC.192(79) 5.25.4.7.1), so that a tow is not her tug."""

BETWEEN_NM = 0.2
"""A vessel goes no farther than this between the looks at her under the one number and under the other."""

MOTION_KN = 1.5
SDS = 3.0
PAIRS = 512
"""More pairs are not watched: a flood of numbers on one place must not fill the memory."""


class _Pair:
    __slots__ = ("agreed", "agreed_since_s", "compared_s", "differed", "is_one")

    def __init__(self, at_s: float) -> None:
        self.agreed_since_s = self.compared_s = at_s
        self.agreed = self.differed = 0
        self.is_one = False

    def compare(self, at_s: float, alike: bool) -> None:
        self.compared_s = at_s
        if alike:
            self.agreed, self.differed = self.agreed + 1, 0
            if self.agreed == 1:
                self.agreed_since_s = at_s
            if self.agreed >= CONFIRM_TIMES and at_s - self.agreed_since_s >= CONFIRM_S:
                self.is_one = True
        else:
            self.agreed, self.differed = 0, self.differed + 1
            if self.differed >= PART_TIMES:
                self.is_one = False


class Pairs:
    """Watches the pairs of tracks that are near each other. Keys are ordered by the age of the tracks."""

    def __init__(self) -> None:
        self._pairs: dict[tuple[str, str], _Pair] = {}
        self._partners: dict[str, list[Kept]] = {}

    def compare(self, kept: Kept, near: Iterable[Kept]) -> None:
        """Holds one track, just measured, against those near it, and against those that it was one with."""
        if kept.estimate is None:
            return
        for other in (*near, *self._partners.get(kept.key, ())):
            if other.estimate is not None and other.is_test == kept.is_test and other.out_of_sight is None:
                self._hold(kept, kept.estimate, other, other.estimate)

    def _hold(self, kept: Kept, mine: Estimate, other: Kept, theirs: Estimate) -> None:
        names = _names(kept, other)
        pair = self._pairs.get(names)
        if pair is not None and mine.at_s - pair.compared_s < COMPARE_S and pair.agreed + pair.differed:
            return
        alike = _alike(mine, theirs, kept.last_look.range_nm)
        if pair is None:
            if not alike or len(self._pairs) >= PAIRS:
                return
            pair = self._pairs[names] = _Pair(mine.at_s)
            self._partners.setdefault(kept.key, []).append(other)
            self._partners.setdefault(other.key, []).append(kept)
        pair.compare(mine.at_s, alike)
        if not pair.is_one and pair.differed >= PART_TIMES:
            self._part(kept, other)

    def _part(self, one: Kept, other: Kept) -> None:
        del self._pairs[_names(one, other)]
        for kept, partner in ((one, other), (other, one)):
            partners = self._partners[kept.key]
            partners.remove(partner)
            if not partners:
                del self._partners[kept.key]

    def drop(self, kept: Kept) -> None:
        """The track has ended."""
        for other in list(self._partners.get(kept.key, ())):
            self._part(kept, other)

    def elder_of(self, key: str) -> list[str]:
        """The elder tracks that this one doubles."""
        elders = []
        for other in self._partners.get(key, ()):
            pair = self._pairs.get((other.key, key))
            if pair is not None and pair.is_one:
                elders.append(other.key)
        return elders


def pair_reach_nm(range_nm: float) -> float:
    """How far apart the last estimates of two tracks on one vessel may be."""
    return max(PLACE_NM, PLACE_RATIO * range_nm) + BETWEEN_NM


def _names(one: Kept, other: Kept) -> tuple[str, str]:
    if (one.began_s, one.key) <= (other.began_s, other.key):
        return one.key, other.key
    return other.key, one.key


def _alike(mine: Estimate, theirs: Estimate, range_nm: float) -> bool:
    """Same place and same velocity within the errors of both, and within what a set may err by."""
    hours = (mine.at_s - theirs.at_s) / 3600
    apart = hypot(
        mine.east_nm - theirs.east_nm - theirs.east_kn * hours,
        mine.north_nm - theirs.north_nm - theirs.north_kn * hours,
    )
    limit = max(PLACE_NM, PLACE_RATIO * range_nm)
    if apart > limit or not (mine.settled and theirs.settled):
        return False
    p, q = mine.covariance, theirs.covariance
    noise: float = SDS * max(0.0, p[0] + p[4] + q[0] + q[4]) ** 0.5 + range_nm * radians(0.1)
    faster = hypot(mine.east_kn - theirs.east_kn, mine.north_kn - theirs.north_kn)
    motion: float = SDS * max(0.0, p[7] + p[9] + q[7] + q[9]) ** 0.5
    return apart <= max(noise, PLACE_NM / 2) and faster <= max(0.5, min(MOTION_KN, motion))
