"""A mark at rest is a measurement: EBL and VRM, or the cursor, as an operator lays them on an echo (RSD).

A mark that was moved, in range and bearing both, and has then been at rest is a **lay**: range and bearing at the
moment at which it came to rest. What several lays make is for marks.py to say.
"""

from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated

from msgspec import Meta, Struct

from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.own_frame import bow_frame
from parsers.observations import Orientation, RadarSettings, RangeAndBearing

HANDS = {"1": "EBL/VRM 1", "2": "EBL/VRM 2", "cursor": "cursor"}
"""The marks of a set by their names here, as a person calls them."""

MOST_HANDS = 24
"""Marks followed: three each of eight sets."""


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


class Lay(Struct, frozen=True):
    """A mark at rest: whose (feed and name of the mark), and the measurement that it is."""

    hand: tuple[str, str]
    look: Look

    @property
    def is_off_bow(self) -> bool:
        """See Look."""
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


class Hands:
    """The marks of all sets of one watch, and which of them have come to rest. Times are the stream's own seconds."""

    def __init__(self, settings: MarkSettings) -> None:
        self.settings = settings
        self._hands: dict[tuple[str, str], _Hand] = {}

    def see(self, settings: RadarSettings, own: OwnMotion) -> list[Lay]:
        """One RSD, with own ship at its moment; answers with the marks that came to rest before it."""
        laid = self.tick(settings.at_s)
        for name, pair in _pairs(settings):
            key = (settings.source.feed, name)
            hand = self._hands.get(key)
            value = (pair.range_nm, pair.bearing_deg)
            if hand is None:
                if len(self._hands) < MOST_HANDS:
                    self._hands[key] = _Hand(value, settings.at_s, own, settings.range_scale_nm, settings.orientation)
            elif value != hand.value or settings.orientation is not hand.orientation:
                turned = settings.orientation is not hand.orientation  # the same echo has another number now
                hand.moved_range |= value[0] != hand.value[0]
                hand.moved_bearing |= value[1] != hand.value[1] and not turned
                hand.value, hand.since_s, hand.own = value, settings.at_s, own
                hand.scale_nm, hand.orientation = settings.range_scale_nm, settings.orientation
        return laid

    def tick(self, at_s: float) -> list[Lay]:
        """Time has come to a moment: marks that have been at rest since then are laid."""
        laid: list[Lay] = []
        for key, hand in self._hands.items():
            if hand.moved_range and hand.moved_bearing and at_s - hand.since_s >= self.settings.rest_s:
                hand.moved_range = hand.moved_bearing = False
                lay = self._lay(key, hand)
                laid += [lay] if lay else []
        return laid

    def _lay(self, key: tuple[str, str], hand: _Hand) -> Lay | None:
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
        return Lay(key, look)

    def _is_relative(self, orientation: Orientation | None) -> bool | None:
        if self.settings.bearings is not Bearings.AUTO:
            return self.settings.bearings is Bearings.RELATIVE
        return None if orientation is None else orientation is Orientation.HEAD_UP


def _pairs(settings: RadarSettings) -> Iterator[tuple[str, RangeAndBearing]]:
    """The marks that are counted from own ship, by name."""
    for name, mark, origin in zip(("1", "2"), settings.marks, settings.origins, strict=True):
        if not origin.range_nm:
            yield name, mark
    yield "cursor", settings.cursor
