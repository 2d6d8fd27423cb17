"""Events for the tests of sinks, with every key filled or left out in turn."""

from alerts.events import Alert, AnyEvent, Feed, Instant, Moment, Note, OwnShip, Pair, Plot, Radar
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

START_MS = 1_800_000_000_000


def moment(at_s: float) -> Moment:
    return Moment(at_s, Instant(START_MS + round(at_s * 1000)))


def plot(at_s: float, target: str = "radar-07", range_nm: float = 4.0, name: str = "") -> Plot:
    return Plot(
        time=moment(at_s).time,
        target=target,
        name=name,
        range_nm=range_nm,
        bearing_deg=61.0,
        relative_bearing_deg=-61.0,
        course_deg=230.5,
        speed_kn=12.1,
        cpa_nm=0.31,
        cpa_sd_nm=0.05,
        cpa_low_nm=0.21,
        cpa_high_nm=0.41,
        tcpa_min=11.2,
        tcpa_sd_min=0.4,
        inside_probability=0.97,
        bearing_rate_deg_min=0.2,
        bearing_rate_sd_deg_min=0.1,
        bearing_trend=BearingTrend.DRAWING_AFT,
        bow_crossing_nm=None,
        bow_crossing_min=None,
        passing=Passing.ASTERN,
        encounter=Encounter.CROSSING_FROM_STARBOARD,
        reported_cpa_nm=0.4,
        reported_tcpa_min=11.0,
        reported_course_deg=231.0,
        reported_speed_kn=12.0,
        check=Check.AGREES,
        check_cause=None,
        track=TrackState.STEADY,
        observations=40,
    )


def own_ship(at_s: float) -> OwnShip:
    return OwnShip(time=moment(at_s).time, lat_deg=58.2, lon_deg=11.5, position_age_s=0.2, heading_source="HDT")


def one_of_each(at_s: float) -> list[AnyEvent]:
    time = moment(at_s).time
    return [
        own_ship(at_s),
        plot(at_s),
        Alert(
            time=time,
            id=3,
            rule="closest_approach",
            priority=Priority.ALARM,
            state=AlertState.ACTIVE_UNACKNOWLEDGED,
            target="radar-07",
            text="CPA 0.3 NM in 11 min",
            values={"cpa_nm": 0.31, "limit_nm": 0.5, "why": None, "held": True},
        ),
        Radar(time=time, range_scale_nm=6.0, orientation=Orientation.HEAD_UP, ebl_1_deg=12.5),
        Note(time=time, text="sea clutter up", author="skipper"),
        Feed(time=time, name="radar", state=FeedState.UP, lines=9, accepted=8, refused={"checksum": 1}, dropped=0),
        Pair(
            time=time,
            target="radar-07",
            ais="ais-219000123",
            name="",
            state=PairState.JOINED,
            speaks="radar-07",
            why="",
        ),
    ]
