"""What the program says: the events, in the order and with the keys that a reader of `--events` meets.

Every sink (console, archive, JSON Lines) and the control socket take these same objects. Unknown is None. Field order
is the order of the keys. Units stand in the names; bearings and courses are true degrees in [0, 360) unless the
name says relative (-180 to 180, starboard positive). Numbers are rounded where the event is made, so that the
same recording gives the same bytes on any machine.
"""

from datetime import UTC, datetime
from functools import lru_cache

import msgspec
from msgspec import Struct

from alerts.plotting.terms import (
    AlertState,
    BearingTrend,
    Check,
    Encounter,
    FeedState,
    PairState,
    Passing,
    Priority,
    TrackState,
)
from parsers.observations import Orientation


class Instant:
    """A moment as a label: UTC, whole milliseconds. Never subtract it from another kind of time."""

    __slots__ = ("utc_ms",)

    def __init__(self, utc_ms: int) -> None:
        self.utc_ms = utc_ms

    def __str__(self) -> str:
        return _second_text(self.utc_ms // 1000) + _MS_TEXTS[self.utc_ms % 1000]

    def __repr__(self) -> str:
        return f"Instant({self})"

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Instant) and other.utc_ms == self.utc_ms

    def __hash__(self) -> int:
        return hash(self.utc_ms)


_MS_TEXTS = tuple(f".{ms:03d}Z" for ms in range(1000))  # a label is made in a quarter of the time with them


@lru_cache(maxsize=4096)
def _second_text(unix_s: int) -> str:
    return datetime.fromtimestamp(unix_s, UTC).strftime("%Y-%m-%dT%H:%M:%S")


class Moment(Struct, frozen=True, gc=False):
    """When: the stream's own seconds, for all ages and motion, and the label that goes with them."""

    at_s: float
    time: Instant


class Event(Struct, frozen=True, tag_field="event"):
    time: Instant


class OwnShip(Event, frozen=True, kw_only=True, tag="own_ship"):
    """Own ship, at most once a second. `heading_source` names the sentence, or `cog` where course stands in."""

    lat_deg: float | None = None
    lon_deg: float | None = None
    position_age_s: float | None = None
    sog_kn: float | None = None
    sog_age_s: float | None = None
    cog_deg: float | None = None
    cog_age_s: float | None = None
    heading_deg: float | None = None
    heading_source: str | None = None
    heading_age_s: float | None = None
    stw_kn: float | None = None
    stw_age_s: float | None = None


class Plot(Event, frozen=True, tag="plot"):
    """One accepted observation of a target and all that is worked out from its track up to then.

    `cpa_low_nm` and `cpa_high_nm` are 95 % limits. `tcpa_min` is negative when the CPA is past. A track that has not
    settled has None for its motion and `unsettled` for its words.
    """

    target: str
    name: str
    range_nm: float
    bearing_deg: float | None
    relative_bearing_deg: float | None
    course_deg: float | None
    speed_kn: float | None
    cpa_nm: float | None
    cpa_sd_nm: float | None
    cpa_low_nm: float | None
    cpa_high_nm: float | None
    tcpa_min: float | None
    tcpa_sd_min: float | None
    inside_probability: float | None
    bearing_rate_deg_min: float | None
    bearing_rate_sd_deg_min: float | None
    bearing_trend: BearingTrend
    bow_crossing_nm: float | None
    bow_crossing_min: float | None
    passing: Passing
    encounter: Encounter
    reported_cpa_nm: float | None
    reported_tcpa_min: float | None
    reported_course_deg: float | None
    reported_speed_kn: float | None
    check: Check
    check_cause: str | None
    track: TrackState
    observations: int


class Alert(Event, frozen=True, kw_only=True, tag="alert"):
    """A change of state of one alert. `values`: what was measured and the limits it was held against."""

    id: int
    rule: str
    priority: Priority
    state: AlertState
    target: str | None
    text: str
    values: dict[str, float | int | str | bool | None]


class Radar(Event, frozen=True, kw_only=True, tag="radar"):
    """The set's range scale, orientation and marks, when they change. Bearings as the set shows them."""

    range_scale_nm: float | None = None
    orientation: Orientation | None = None
    ebl_1_deg: float | None = None
    vrm_1_nm: float | None = None
    ebl_2_deg: float | None = None
    vrm_2_nm: float | None = None
    cursor_range_nm: float | None = None
    cursor_bearing_deg: float | None = None


class Feed(Event, frozen=True, kw_only=True, tag="feed"):
    """A feed's health, when its state changes and at the end. lines = accepted + the sum of refused + dropped."""

    name: str
    state: FeedState
    lines: int
    accepted: int
    refused: dict[str, int]
    dropped: int


class Note(Event, frozen=True, kw_only=True, tag="note"):
    """What a person wrote into the record, or what the program says of its own work; `author` tells whose it is."""

    text: str
    author: str


class Pair(Event, frozen=True, kw_only=True, tag="pair"):
    """A radar track (`target`) and an AIS track are one vessel, or no longer. `speaks`: the one that alerts are for."""

    target: str
    ais: str
    name: str
    state: PairState
    speaks: str | None
    why: str


class Summary(Event, frozen=True, kw_only=True, tag="summary"):
    """The last event of a replay. `time` is that of the last line."""

    first_time: Instant | None
    last_time: Instant | None
    events: dict[str, int]
    targets: int
    alerts: dict[str, int]
    lines: int
    accepted: int
    refused: dict[str, int]


AnyEvent = OwnShip | Plot | Alert | Radar | Feed | Note | Pair | Summary


def _encode_hook(value: object) -> str:
    if isinstance(value, Instant):
        return str(value)
    raise NotImplementedError(f"an event holds a {type(value).__name__}")


encoder = msgspec.json.Encoder(enc_hook=_encode_hook, order=None)
"""One event to its JSON bytes, without a line end: `encoder.encode(event)`."""
