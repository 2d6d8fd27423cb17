"""How things stand at a tick, about once a second of data time: what the rules cannot see in the plots themselves.

The picture fills these in. Ages are seconds of the stream's own clock; None means never seen in this watch.
"""

from msgspec import Struct

from alerts.plotting.terms import FeedState, TrackState
from parsers.observations import AisClass, Orientation


class SensorHealth(Struct, frozen=True, kw_only=True, gc=False):
    """One own-ship sensor, as chosen now.

    `age_s`: since its last valid value. `source`: the sentence, e.g. `compass/HEHDT`. `feed`: the feed that it came by.
    `needed`: the picture has to do without it and is worse for it (targets with relative bearings and no heading;
    targets that tell their position and none of our own; no speed by any sentence). `stand_in`: what takes its place,
    for the text: `course over ground`.
    """

    age_s: float | None = None
    source: str | None = None
    feed: str | None = None
    needed: bool = False
    stand_in: str | None = None


class FeedHealth(Struct, frozen=True, kw_only=True, gc=False):
    """A feed and how long since its last line. `detail`: why it is down, or what is odd about its data."""

    name: str
    state: FeedState
    silent_s: float | None = None
    detail: str = ""


class RadarPicture(Struct, frozen=True, kw_only=True, gc=False):
    """The latest settings of one radar feed and how many targets the set tracks."""

    feed: str
    range_scale_nm: float | None = None
    orientation: Orientation | None = None
    tracked: int = 0


class TargetHealth(Struct, frozen=True, gc=False):
    """A target of the picture, the state of its track NOW, and the feed that reports it.

    A target stays here, as LOST, until the picture forgets it. One that is missing here has been dropped or
    its number reused; a danger on it is then told as lost.
    """

    target: str
    track: TrackState
    feed: str


class OutputHealth(Struct, frozen=True, kw_only=True, gc=False):
    """A sink or annunciator that fails: `problem` in words. `name` `archive` raises `archive_failed`."""

    name: str
    problem: str
    lost: int = 0  # what it has not written so far


class Beacon(Struct, frozen=True, kw_only=True, gc=False):
    """An AIS-SART, man-overboard or EPIRB transmitter heard by AIS. `is_test`: it says that it is being tested."""

    target: str
    station: AisClass
    age_s: float
    name: str = ""
    range_nm: float | None = None
    bearing_deg: float | None = None
    is_test: bool = False


class Situation(Struct, frozen=True, kw_only=True, gc=False):
    """All of the above at one tick. `clock_jump_s`: wall clock against stream since the last tick, where it jumped."""

    heading: SensorHealth = SensorHealth()
    position: SensorHealth = SensorHealth()
    speed: SensorHealth = SensorHealth()
    feeds: tuple[FeedHealth, ...] = ()
    radars: tuple[RadarPicture, ...] = ()
    targets: tuple[TargetHealth, ...] = ()
    outputs: tuple[OutputHealth, ...] = ()
    annunciators: tuple[OutputHealth, ...] = ()
    beacons: tuple[Beacon, ...] = ()
    clock_jump_s: float | None = None
