"""Marks from RSD: an operator who lays EBL and VRM, or the cursor, on the same echo several times is making a plot.

Two things are told apart. A **lay** is a mark that was moved, in range and bearing both, and has then been at rest: it
is a measurement of the moment at which it came to rest. A **plot** is three lays or more that one vessel at a steady
course and speed could have made: far enough apart in time, on a straight track within their errors, at a speed that
vessels have. The first such three make a target, `mark-1`; later lays inside its gate go on with it. What fits nothing
is kept for a while in case it is the beginning of another.

The errors are those of a hand on a small set (`MarkSettings`), larger than a tracker's. A mark is never said to be
lost: nobody has to lay it again. It coasts, and is forgotten.
"""

from collections import deque
from collections.abc import Iterator, Sequence
from enum import StrEnum
from itertools import combinations, pairwise
from math import cos, hypot, inf, radians, sin
from typing import Annotated

import numpy as np
from msgspec import Meta, Struct

from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.own_frame import bow_frame
from alerts.plotting.sheet import upper
from alerts.plotting.terms import TrackState
from alerts.plotting.trackline import TrackLine, fit
from parsers.observations import Orientation, RadarSettings, RangeAndBearing

GATE = 13.8
"""Chi-squared of two degrees that an honest lay exceeds once in a thousand."""

LEAST_LAYS = 3
"""Three plots on a line before it is trusted (Pub. 1310 ch. 3, second-hand)."""

SETTLED_SD_KN, SETTLED_SHARE = 2.0, 0.12
"""As for a tracked target: the velocity's greater sd is under 2 kn, or under 12 % of the speed."""

VAGUE_NM, VAGUE_SHARE = 0.3, 0.15
"""A plot that does not know its place better than this (or this share of the range) claims no lay for its own."""

_HANDS = {"1": "EBL/VRM 1", "2": "EBL/VRM 2", "cursor": "cursor"}
_LAYS_USED = 12  # of one leg: an hour at one in five minutes
_LOOSE_LAYS = 24  # kept in case they are the beginning of a plot
_MOST_MARKS = 20
_MOST_HANDS = 24
_COASTING_S = (180.0, 600.0)


class Bearings(StrEnum):
    """What the marks' bearings are counted from. AUTO: off the bow on a head-up picture, else true."""

    AUTO = "auto"
    TRUE = "true"
    RELATIVE = "relative"


class MarkSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Errors are one standard deviation of one lay; the range's is the greater of the two."""

    on: Annotated[bool, Meta(description="recognise plots that are made by hand with EBL and VRM or the cursor")] = True
    bearings: Annotated[
        Bearings,
        Meta(
            description="what the bearings of marks are counted from; auto: off the bow on a head-up picture, else true"
        ),
    ] = Bearings.AUTO
    rest_s: Annotated[
        float, Meta(ge=1, le=30, description="seconds that a mark stands still before it counts as laid")
    ] = 3.0
    least_gap_s: Annotated[
        float, Meta(ge=5, le=300, description="seconds between two marks of a plot, at least; sooner is a correction")
    ] = 25.0
    most_gap_min: Annotated[
        float, Meta(gt=0, le=60, description="minutes between two marks of a plot, at most; later it is forgotten")
    ] = 12.0
    top_speed_kn: Annotated[float, Meta(gt=0, le=100, description="no vessel is faster, knots")] = 45.0
    range_sd_nm: Annotated[float, Meta(gt=0, le=1, description="error of a range, one sigma, NM, at least")] = 0.02
    range_sd_share: Annotated[
        float, Meta(ge=0, le=0.2, description="error of a range, one sigma, as a share of it")
    ] = 0.01
    bearing_sd_deg: Annotated[float, Meta(gt=0, le=10, description="error of a bearing, one sigma, degrees")] = 1.0
    yaw_sd_deg: Annotated[
        float, Meta(ge=0, le=30, description="how far (one sigma) the bow may swing where no heading is known")
    ] = 3.0


class Marked(Struct, frozen=True):
    """A lay that belongs to a plot: whose, by which mark, the measurement, and what all its lays make of it."""

    key: str
    hand: str
    look: Look
    estimate: Estimate
    begun: bool


class _Lay(Struct, frozen=True):
    """A mark at rest. Those counted from the bow alone are never mixed with the others."""

    hand: tuple[str, str]
    look: Look

    @property
    def is_bow(self) -> bool:
        return self.look.is_off_bow


class _Hand(Struct):
    """One mark of one set: where it stands, since when, and which parts have moved since it was last laid."""

    value: tuple[float | None, float | None]
    since_s: float
    own: OwnMotion
    scale_nm: float | None
    orientation: Orientation | None
    moved_range: bool = False
    moved_bearing: bool = False


class _Mark(Struct):
    key: str
    lays: list[_Lay]
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
        self._hands: dict[tuple[str, str], _Hand] = {}
        self._loose: deque[_Lay] = deque(maxlen=_LOOSE_LAYS)
        self._marks: dict[str, _Mark] = {}
        self._begun = 0

    # --------------------------------------------------------------------------------------------- what comes in

    def see(self, settings: RadarSettings, own: OwnMotion) -> list[Marked]:
        """One RSD, with own ship at its moment. Marks from an origin other than own ship are passed over."""
        if not self.settings.on:
            return []
        told = self.tick(settings.at_s)
        for name, pair in _pairs(settings):
            key = (settings.source.feed, name)
            hand = self._hands.get(key)
            value = (pair.range_nm, pair.bearing_deg)
            if hand is None:
                if len(self._hands) < _MOST_HANDS:
                    self._hands[key] = _Hand(value, settings.at_s, own, settings.range_scale_nm, settings.orientation)
            elif value != hand.value or settings.orientation is not hand.orientation:
                turned = settings.orientation is not hand.orientation  # the same echo has another number now
                hand.moved_range |= value[0] != hand.value[0]
                hand.moved_bearing |= value[1] != hand.value[1] and not turned
                hand.value, hand.since_s, hand.own = value, settings.at_s, own
                hand.scale_nm, hand.orientation = settings.range_scale_nm, settings.orientation
        return told

    def tick(self, at_s: float) -> list[Marked]:
        """Time has come to a moment: marks that have been at rest since then are laid."""
        told: list[Marked] = []
        for key, hand in self._hands.items():
            if hand.moved_range and hand.moved_bearing and at_s - hand.since_s >= self.settings.rest_s:
                hand.moved_range = hand.moved_bearing = False
                lay = self._lay(key, hand)
                told += self._place(lay) if lay else []
        return told

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

    # ------------------------------------------------------------------------------------------------- a lay

    def _lay(self, key: tuple[str, str], hand: _Hand) -> _Lay | None:
        """The measurement that a mark at rest is; None where its bearing cannot be told, or it lies on own ship."""
        range_nm, bearing_deg = hand.value
        relative = self._is_relative(hand.orientation)
        if range_nm is None or bearing_deg is None or relative is None or range_nm <= 0:
            return None
        own, sd_deg, is_off_bow = hand.own, 0.0, False
        if relative and own.heading_deg is not None:
            bearing_deg, sd_deg = bearing_deg + own.heading_deg, own.heading_sd_deg
        elif relative:
            own, sd_deg, is_off_bow = bow_frame(own), self.settings.yaw_sd_deg, True
        look = Look(hand.since_s, range_nm, bearing_deg % 360, own, sd_deg, hand.scale_nm, is_off_bow=is_off_bow)
        return _Lay(key, look)

    def _is_relative(self, orientation: Orientation | None) -> bool | None:
        if self.settings.bearings is not Bearings.AUTO:
            return self.settings.bearings is Bearings.RELATIVE
        return None if orientation is None else orientation is Orientation.HEAD_UP

    def _place(self, lay: _Lay) -> list[Marked]:
        """Goes on with the plot that the lay fits best, or begins one with two that were left over."""
        corrected = next((mark for mark in self._marks.values() if self._corrects(mark, lay)), None)
        if corrected is not None:
            corrected.lays[-1] = lay
            return [Marked(corrected.key, _HANDS[lay.hand[1]], lay.look, self._estimate(corrected), begun=False)]
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

    def _corrects(self, mark: _Mark, lay: _Lay) -> bool:
        """Whether the same hand lays the same echo again, at once: the mark is being set better, not plotted anew."""
        last = mark.lays[-1]
        at_once = last.hand == lay.hand and lay.look.at_s - mark.last_s < self.settings.least_gap_s
        return at_once and last.is_bow == lay.is_bow and self._distance(mark, lay) < GATE

    def _may_go_on(self, mark: _Mark, lay: _Lay) -> bool:
        gap_s = lay.look.at_s - mark.last_s
        in_time = self.settings.least_gap_s <= gap_s <= 60 * self.settings.most_gap_min
        return in_time and lay.is_bow == mark.lays[-1].is_bow and lay.look.own.frame is mark.lays[-1].look.own.frame

    def _distance(self, mark: _Mark, lay: _Lay) -> float:
        """Chi-squared of a lay against what the plot says of its moment; infinite where that is too vague to say."""
        line, (east_nm, north_nm) = self._fit(mark.lays, lay.look.at_s), _place_nm(lay.look)
        bearing, range_sd_nm = radians(lay.look.bearing_deg), self._sds(lay.look)[0]
        turn = np.array([[sin(bearing), cos(bearing)], [cos(bearing), -sin(bearing)]])  # along, athwart
        covariance = turn @ line.covariance[:2, :2] @ turn.T
        if float(np.linalg.eigvalsh(covariance)[-1]) ** 0.5 > max(VAGUE_NM, VAGUE_SHARE * lay.look.range_nm):
            return inf
        covariance += np.diag([range_sd_nm**2, self._athwart_nm(lay.look) ** 2])
        off = turn @ (np.array([east_nm, north_nm]) - line.state[:2])
        return float(off @ np.linalg.solve(covariance, off))

    def _go_on(self, mark: _Mark, lay: _Lay) -> Marked:
        mark.lays = [*mark.lays, lay][-_LAYS_USED:]
        mark.observations += 1
        return Marked(mark.key, _HANDS[lay.hand[1]], lay.look, self._estimate(mark), begun=False)

    def _line_with(self, lay: _Lay) -> list[_Lay] | None:
        """The two loose lays that make the best straight track with this one; None where no two do."""
        usable = [
            one
            for one in self._loose
            if one.is_bow == lay.is_bow
            and one.look.own.frame is lay.look.own.frame
            and lay.look.at_s - one.look.at_s <= 2 * 60 * self.settings.most_gap_min
        ]
        best: tuple[float, list[_Lay]] | None = None
        for first, second in combinations(usable, 2):
            line = [first, second, lay]
            if not self._is_plausible(line):
                continue
            found = self._fit(line)
            if found.chi_squared < GATE and (best is None or found.chi_squared < best[0]):
                best = (found.chi_squared, line)
        return best[1] if best else None

    def _is_plausible(self, line: Sequence[_Lay]) -> bool:
        """Gaps of a plot, and no speed between two lays that no vessel has; quick, before anything is fitted."""
        for earlier, later in pairwise(line):
            gap_s = later.look.at_s - earlier.look.at_s
            if not self.settings.least_gap_s <= gap_s <= 60 * self.settings.most_gap_min:
                return False
            (east, north), (east_2, north_2) = _place_nm(earlier.look), _place_nm(later.look)
            error_nm = 3 * sum(max(self._sds(one.look)[0], self._athwart_nm(one.look)) for one in (earlier, later))
            if hypot(east_2 - east, north_2 - north) - error_nm > self.settings.top_speed_kn * gap_s / 3600:
                return False
        return True

    def _begin(self, line: list[_Lay]) -> Marked:
        """A new target, or the old one of the same hand on a new course: that is what the hand was following."""
        old = next((mark for mark in self._marks.values() if self._has_turned(mark, line)), None)
        if old is not None:
            old.lays, old.manoeuvre_s = line, line[0].look.at_s
            old.observations += len(line)
            estimate = self._estimate(old, turned=True)
            return Marked(old.key, _HANDS[line[-1].hand[1]], line[-1].look, estimate, begun=False)
        self._begun += 1
        mark = _Mark(f"mark-{self._begun}", line, len(line))
        if len(self._marks) >= _MOST_MARKS:
            del self._marks[min(self._marks, key=lambda key: self._marks[key].last_s)]
        self._marks[mark.key] = mark
        return Marked(mark.key, _HANDS[line[-1].hand[1]], line[-1].look, self._estimate(mark), begun=True)

    def _has_turned(self, mark: _Mark, line: Sequence[_Lay]) -> bool:
        """Whether a new line begins where an old plot of the same hand could have come to from its last lay."""
        last = mark.lays[-1]
        return last.hand == line[0].hand and last.is_bow == line[0].is_bow and self._is_plausible([last, line[0]])

    # ----------------------------------------------------------------------------------------------- the line

    def _sds(self, look: Look) -> tuple[float, float]:
        """Range (NM) and bearing (deg) error of one lay, the heading's part in it."""
        own = self.settings
        return max(own.range_sd_nm, own.range_sd_share * look.range_nm), hypot(own.bearing_sd_deg, look.bearing_sd_deg)

    def _athwart_nm(self, look: Look) -> float:
        return radians(self._sds(look)[1]) * look.range_nm

    def _fit(self, lays: Sequence[_Lay], at_s: float | None = None) -> TrackLine:
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


def _pairs(settings: RadarSettings) -> Iterator[tuple[str, RangeAndBearing]]:
    """The marks that are counted from own ship, by name."""
    for name, mark, origin in zip(("1", "2"), settings.marks, settings.origins, strict=True):
        if not origin.range_nm:
            yield name, mark
    yield "cursor", settings.cursor


def _place_nm(look: Look) -> tuple[float, float]:
    bearing = radians(look.bearing_deg)
    return look.own.east_nm + look.range_nm * sin(bearing), look.own.north_nm + look.range_nm * cos(bearing)
