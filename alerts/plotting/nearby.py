"""Which tracks are near one another: tracks by squares of the plane, so that nobody has to look at all of them.

At 1,000 targets looking at all took 60 us of each report, a third of it; at 20 the two ways cost the same.
"""

from math import floor

from alerts.plotting.kept import Kept

NEAR_NM = 1.0
"""Tracks farther apart than this, east or north, are not held against each other. A side of the squares."""

Square = tuple[int, int]

_AROUND = [(east, north) for east in (-1, 0, 1) for north in (-1, 0, 1)]


class Nearby:
    """All tracks, by the place of their last estimate. `put` is to be called whenever that has changed."""

    def __init__(self) -> None:
        self._squares: dict[Square, list[Kept]] = {}
        self._square_of: dict[Kept, Square] = {}

    def put(self, kept: Kept) -> None:
        """A track where its estimate is now; one without an estimate is near nobody."""
        mine = kept.estimate
        if mine is None:
            return
        square = (floor(mine.east_nm / NEAR_NM), floor(mine.north_nm / NEAR_NM))
        if self._square_of.get(kept) != square:
            self.drop(kept)
            self._square_of[kept] = square
            self._squares.setdefault(square, []).append(kept)

    def drop(self, kept: Kept) -> None:
        """The track has ended."""
        square = self._square_of.pop(kept, None)
        if square is not None:
            there = self._squares[square]
            there.remove(kept)
            if not there:
                del self._squares[square]

    def of(self, kept: Kept) -> list[Kept]:
        """The other tracks within NEAR_NM of this one, the eldest first."""
        mine, square = kept.estimate, self._square_of.get(kept)
        if mine is None or square is None:
            return []
        east_nm, north_nm, (column, row) = mine.east_nm, mine.north_nm, square
        near = []
        for east, north in _AROUND:
            for other in self._squares.get((column + east, row + north), ()):
                theirs = other.estimate
                if (
                    theirs is not None
                    and abs(theirs.east_nm - east_nm) < NEAR_NM
                    and abs(theirs.north_nm - north_nm) < NEAR_NM
                    and other is not kept
                ):
                    near.append(other)
        if len(near) > 1:
            near.sort(key=lambda other: other.order)
        return near
