"""Marks from RSD: an operator who lays EBL and VRM, or the cursor, on the same echo several times is making a plot.

A **lay** is a mark that came to rest (lays.py). A **plot** is three lays or more that one vessel at a steady course and
speed could have made: far enough apart in time, on a straight track within their errors, at a speed that vessels have.
The first such three make a target, `mark-1`; later lays inside its gate go on with it. What fits nothing is kept for a
while in case it is the beginning of another. Lays counted from the bow alone are never mixed with the others.

The errors are those of a hand on a small set (`MarkSettings`), larger than a tracker's. A mark is never said to be
lost: nobody has to lay it again. It coasts, and is forgotten.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise
from math import cos, hypot, inf, radians, sin

import numpy as np
from msgspec import Struct

from alerts.plotting.echoes import place_of
from alerts.plotting.kinematics import Estimate, Look, OwnMotion, upper
from alerts.plotting.lays import HANDS, Hands, Lay, MarkSettings
from alerts.plotting.terms import TrackState
from alerts.plotting.trackline import TrackLine, fit
from parsers.observations import RadarSettings

GATE = 13.8
"""Chi-squared of two degrees that an honest lay exceeds once in a thousand."""

SETTLED_SD_KN, SETTLED_SHARE = 2.0, 0.12
"""As for a tracked target: the velocity's greater sd is under 2 kn, or under 12 % of the speed."""

VAGUE_NM, VAGUE_SHARE = 0.3, 0.15
"""A plot that does not know its place better than this (or this share of the range) claims no lay for its own."""

_LAYS_USED = 12  # of one leg: an hour at one in five minutes
_LOOSE_LAYS = 24  # kept in case they are the beginning of a plot
_MOST_MARKS = 20
_COASTING_S = (180.0, 600.0)


class Marked(Struct, frozen=True):
    """A lay that belongs to a plot: whose, by which mark, the measurement, and what all its lays make of it."""

    key: str
    hand: str
    look: Look
    estimate: Estimate
    begun: bool


class _Mark(Struct):
    key: str
    lays: list[Lay]
    observations: int
    manoeuvre_s: float | None = None

    @property
    def last_s(self) -> float:
        return self.lays[-1].look.at_s

    @property
    def coasting_after_s(self) -> float:
        gap_s = (self.lays[-1].look.at_s - self.lays[0].look.at_s) / (len(self.lays) - 1)
        return min(max(2 * gap_s, _COASTING_S[0]), _COASTING_S[1])


class Marks:
    """All plots that are made by hand on the sets of one watch. Times are the stream's own seconds."""

    def __init__(self, settings: MarkSettings | None = None) -> None:
        self.settings = settings or MarkSettings()
        self._hands = Hands(self.settings)
        self._loose: deque[Lay] = deque(maxlen=_LOOSE_LAYS)
        self._marks: dict[str, _Mark] = {}
        self._begun = 0

    def see(self, settings: RadarSettings, own: OwnMotion) -> list[Marked]:
        """One RSD, with own ship at its moment. Marks from an origin other than own ship are passed over."""
        return self._placed(self._hands.see(settings, own)) if self.settings.on else []

    def tick(self, at_s: float) -> list[Marked]:
        """Time has come to a moment: marks that have been at rest since then are laid."""
        return self._placed(self._hands.tick(at_s))

    def forget(self, at_s: float) -> list[str]:
        """The marks that nobody has gone on with for too long; they are let go."""
        old = [key for key, mark in self._marks.items() if at_s - mark.last_s > 60 * self.settings.most_gap_min]
        for key in old:
            del self._marks[key]
        return old

    def states(self, at_s: float) -> Iterator[tuple[str, float, TrackState]]:
        """Each mark's key, when it was laid last, and the state of its track now."""
        for mark in self._marks.values():
            coasts = at_s - mark.last_s > mark.coasting_after_s
            yield mark.key, mark.last_s, TrackState.COASTING if coasts else self._estimate(mark).state

    def predict(self, key: str, at_s: float) -> Estimate | None:
        """The plot's line at a moment not before its last lay; None for a mark that is not there."""
        mark = self._marks.get(key)
        return None if mark is None else self._estimate(mark, at_s=at_s)

    # ------------------------------------------------------------------------------------------ lays to plots

    def _placed(self, lays: Sequence[Lay]) -> list[Marked]:
        return [told for lay in lays for told in self._place(lay)]

    def _place(self, lay: Lay) -> list[Marked]:
        """Goes on with the plot that the lay fits best, or begins one with two that were left over."""
        corrected = next((mark for mark in self._marks.values() if self._corrects(mark, lay)), None)
        if corrected is not None:
            corrected.lays[-1] = lay
            return [Marked(corrected.key, HANDS[lay.hand[1]], lay.look, self._estimate(corrected), begun=False)]
        fits = [(self._distance(mark, lay), key) for key, mark in self._marks.items() if self._may_go_on(mark, lay)]
        near = min(fits, default=(GATE, ""))
        if near[0] < GATE:
            return [self._go_on(self._marks[near[1]], lay)]
        line = self._line_with(lay)
        if line is None:
            self._loose.append(lay)
            return []
        for used in line[:-1]:
            self._loose.remove(used)
        return [self._begin(line)]

    def _corrects(self, mark: _Mark, lay: Lay) -> bool:
        """Whether the same hand lays the same echo again, at once: the mark is being set better, not plotted anew."""
        last = mark.lays[-1]
        at_once = last.hand == lay.hand and lay.look.at_s - mark.last_s < self.settings.least_gap_s
        return at_once and last.is_off_bow == lay.is_off_bow and self._distance(mark, lay) < GATE

    def _may_go_on(self, mark: _Mark, lay: Lay) -> bool:
        gap_s = lay.look.at_s - mark.last_s
        in_time = self.settings.least_gap_s <= gap_s <= 60 * self.settings.most_gap_min
        return (
            in_time
            and lay.is_off_bow == mark.lays[-1].is_off_bow
            and lay.look.own.frame is mark.lays[-1].look.own.frame
        )

    def _distance(self, mark: _Mark, lay: Lay) -> float:
        """Chi-squared of a lay against what the plot says of its moment; infinite where that is too vague to say."""
        line, (east_nm, north_nm) = self._fit(mark.lays, lay.look.at_s), place_of(lay.look)
        bearing, range_sd_nm = radians(lay.look.bearing_deg), self._sds(lay.look)[0]
        turn = np.array([[sin(bearing), cos(bearing)], [cos(bearing), -sin(bearing)]])  # along, athwart
        covariance = turn @ line.covariance[:2, :2] @ turn.T
        if float(np.linalg.eigvalsh(covariance)[-1]) ** 0.5 > max(VAGUE_NM, VAGUE_SHARE * lay.look.range_nm):
            return inf
        covariance += np.diag([range_sd_nm**2, self._athwart_nm(lay.look) ** 2])
        off = turn @ (np.array([east_nm, north_nm]) - line.state[:2])
        return float(off @ np.linalg.solve(covariance, off))

    def _go_on(self, mark: _Mark, lay: Lay) -> Marked:
        mark.lays = [*mark.lays, lay][-_LAYS_USED:]
        mark.observations += 1
        return Marked(mark.key, HANDS[lay.hand[1]], lay.look, self._estimate(mark), begun=False)

    def _line_with(self, lay: Lay) -> list[Lay] | None:
        """The two loose lays that make the best straight track with this one; None where no two do.

        Three on a line before it is trusted: Pub. 1310 ch. 3 (second-hand).
        """
        usable = [
            one
            for one in self._loose
            if one.is_off_bow == lay.is_off_bow
            and one.look.own.frame is lay.look.own.frame
            and lay.look.at_s - one.look.at_s <= 2 * 60 * self.settings.most_gap_min
        ]
        best: tuple[float, list[Lay]] | None = None
        for first, second in combinations(usable, 2):
            line = [first, second, lay]
            if not self._is_plausible(line):
                continue
            found = self._fit(line)
            if found.chi_squared < GATE and (best is None or found.chi_squared < best[0]):
                best = (found.chi_squared, line)
        return best[1] if best else None

    def _is_plausible(self, line: Sequence[Lay]) -> bool:
        """Gaps of a plot, and no speed between two lays that no vessel has; quick, before anything is fitted."""
        for earlier, later in pairwise(line):
            gap_s = later.look.at_s - earlier.look.at_s
            if not self.settings.least_gap_s <= gap_s <= 60 * self.settings.most_gap_min:
                return False
            (east, north), (east_2, north_2) = place_of(earlier.look), place_of(later.look)
            error_nm = 3 * sum(max(self._sds(one.look)[0], self._athwart_nm(one.look)) for one in (earlier, later))
            if hypot(east_2 - east, north_2 - north) - error_nm > self.settings.top_speed_kn * gap_s / 3600:
                return False
        return True

    def _begin(self, line: list[Lay]) -> Marked:
        """A new target, or the old one of the same hand on a new course: that is what the hand was following."""
        old = next((mark for mark in self._marks.values() if self._has_turned(mark, line)), None)
        if old is not None:
            old.lays, old.manoeuvre_s = line, line[0].look.at_s
            old.observations += len(line)
            estimate = self._estimate(old, turned=True)
            return Marked(old.key, HANDS[line[-1].hand[1]], line[-1].look, estimate, begun=False)
        self._begun += 1
        mark = _Mark(f"mark-{self._begun}", line, len(line))
        if len(self._marks) >= _MOST_MARKS:
            del self._marks[min(self._marks, key=lambda key: self._marks[key].last_s)]
        self._marks[mark.key] = mark
        return Marked(mark.key, HANDS[line[-1].hand[1]], line[-1].look, self._estimate(mark), begun=True)

    def _has_turned(self, mark: _Mark, line: Sequence[Lay]) -> bool:
        """Whether a new line begins where an old plot of the same hand could have come to from its last lay."""
        last = mark.lays[-1]
        return (
            last.hand == line[0].hand and last.is_off_bow == line[0].is_off_bow and self._is_plausible([last, line[0]])
        )

    # ----------------------------------------------------------------------------------------------- the line

    def _sds(self, look: Look) -> tuple[float, float]:
        """Range (NM) and bearing (deg) error of one lay, the heading's part in it."""
        own = self.settings
        return max(own.range_sd_nm, own.range_sd_share * look.range_nm), hypot(own.bearing_sd_deg, look.bearing_sd_deg)

    def _athwart_nm(self, look: Look) -> float:
        return radians(self._sds(look)[1]) * look.range_nm

    def _fit(self, lays: Sequence[Lay], at_s: float | None = None) -> TrackLine:
        """The line through the lays, at a moment or at the last of them."""
        looks = [lay.look for lay in lays]
        at_s = looks[-1].at_s if at_s is None else at_s
        sds = np.array([self._sds(look) for look in looks])
        return fit(
            np.array([(look.at_s - at_s) / 3600 for look in looks]),
            np.array([look.range_nm for look in looks]),
            np.array([look.bearing_deg for look in looks]),
            np.array([(look.own.east_nm, look.own.north_nm) for look in looks]),
            sds[:, 0],
            sds[:, 1],
        )

    def _estimate(self, mark: _Mark, turned: bool = False, at_s: float | None = None) -> Estimate:
        """The plot's line at its last lay, or at a later moment."""
        line, look = self._fit(mark.lays, at_s), mark.lays[-1].look
        east, north, east_kn, north_kn = (float(value) for value in line.state)
        covariance = upper(line.covariance)
        sd_kn = float(np.linalg.eigvalsh(line.covariance[2:, 2:])[-1]) ** 0.5
        settled = sd_kn <= max(SETTLED_SD_KN, SETTLED_SHARE * hypot(east_kn, north_kn))
        state = TrackState.STEADY if settled else TrackState.SETTLING
        if turned:
            state = TrackState.MANOEUVRING
        range_sd_nm, bearing_sd_deg = self._sds(look)
        return Estimate(
            at_s=look.at_s if at_s is None else at_s,
            east_nm=east,
            north_nm=north,
            east_kn=east_kn,
            north_kn=north_kn,
            covariance=covariance,
            state=state,
            settled=settled,
            observations=mark.observations,
            last_change_s=look.at_s,
            manoeuvre_at_s=mark.manoeuvre_s,
            range_sd_nm=range_sd_nm,
            bearing_sd_deg=bearing_sd_deg,
        )
