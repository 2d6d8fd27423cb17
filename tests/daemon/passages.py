"""An invented passage as events, for what draws and writes them: straight tracks in a plane, with made-up sensor noise.

The numbers come from plain vectors here, not from the code under test. Nothing in it is a real vessel or place.
"""

import math
import random
from collections.abc import Iterator

from msgspec import Struct

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
from daemon.console.board import Board
from parsers.observations import Orientation

START_MS = 1_800_000_000_000  # 2027-01-15T08:00:00Z
LAT_DEG, LON_DEG = 50.60, -1.40


class Vessel(Struct, frozen=True):
    """A target at the start: from own ship in NM, velocity over ground in knots."""

    key: str
    east_nm: float
    north_nm: float
    course_deg: float
    speed_kn: float
    name: str = ""


OWN_COURSE_DEG, OWN_SPEED_KN = 45.0, 8.0

FLEET = (
    Vessel("radar-07", 3.9, 1.2, 276.0, 10.0, "TEAL"),
    Vessel("radar-03", 1.0, 4.0, 190.0, 12.0),
    Vessel("radar-11", -2.0, 3.0, 95.0, 6.0),
    Vessel("radar-12", -1.5, -1.8, 48.0, 14.0),
    Vessel("radar-15", 4.5, 4.4, 45.0, 7.5),
)


def velocity(course_deg: float, speed_kn: float) -> tuple[float, float]:
    angle = math.radians(course_deg)
    return speed_kn * math.sin(angle), speed_kn * math.cos(angle)


def moment(second: float) -> Moment:
    return Moment(1000.0 + second, Instant(START_MS + round(1000 * second)))


def plot_of(vessel: Vessel, second: float, seen: int, rng: random.Random) -> Plot:
    """The vessel's plot at this second of the passage."""
    own_e, own_n = velocity(OWN_COURSE_DEG, OWN_SPEED_KN)
    east_kn, north_kn = velocity(vessel.course_deg, vessel.speed_kn)
    ve, vn = east_kn - own_e, north_kn - own_n
    e, n = vessel.east_nm + ve * second / 3600, vessel.north_nm + vn * second / 3600
    range_nm = math.hypot(e, n) * (1 + rng.gauss(0, 0.003))
    bearing = (math.degrees(math.atan2(e, n)) + rng.gauss(0, 0.15)) % 360
    relative = (bearing - OWN_COURSE_DEG + 180) % 360 - 180
    speed = math.hypot(ve, vn)
    tcpa_min = -(e * ve + n * vn) / speed**2 * 60
    cpa = abs(e * vn - n * ve) / speed
    drift = math.degrees((e * -vn + n * ve) / (e * e + n * n)) / 60
    settled = seen > 10
    return Plot(
        time=moment(second).time,
        target=vessel.key,
        name=vessel.name,
        range_nm=round(range_nm, 3),
        bearing_deg=round(bearing, 2),
        relative_bearing_deg=round(relative, 2),
        course_deg=vessel.course_deg if settled else None,
        speed_kn=vessel.speed_kn if settled else None,
        cpa_nm=round(cpa, 3) if settled else None,
        cpa_sd_nm=0.08 if settled else None,
        cpa_low_nm=round(max(cpa - 0.16, 0), 3) if settled else None,
        cpa_high_nm=round(cpa + 0.16, 3) if settled else None,
        tcpa_min=round(tcpa_min, 2) if settled else None,
        tcpa_sd_min=0.2 if settled else None,
        inside_probability=round(1 / (1 + math.exp((cpa - 0.5) * 12)), 3) if settled else None,
        bearing_rate_deg_min=round(drift, 3) if settled else None,
        bearing_rate_sd_deg_min=0.1 if settled else None,
        bearing_trend=_trend(drift, relative) if settled else BearingTrend.UNSETTLED,
        bow_crossing_nm=None,
        bow_crossing_min=None,
        passing=_passing(tcpa_min, cpa, drift, relative) if settled else Passing.UNSETTLED,
        encounter=Encounter.CROSSING_FROM_STARBOARD if settled else Encounter.UNSETTLED,
        reported_cpa_nm=round(cpa + 0.05, 2),
        reported_tcpa_min=round(tcpa_min + 0.1, 1),
        reported_course_deg=vessel.course_deg,
        reported_speed_kn=vessel.speed_kn,
        check=Check.AGREES if settled else Check.SETTLING,
        check_cause=None,
        track=TrackState.STEADY if settled else TrackState.SETTLING,
        observations=seen,
    )


def _trend(drift: float, relative: float) -> BearingTrend:
    if abs(drift) < 0.25:
        return BearingTrend.STEADY
    return BearingTrend.DRAWING_AFT if (drift > 0) == (relative > 0) else BearingTrend.DRAWING_AHEAD


def _passing(tcpa_min: float, cpa_nm: float, drift: float, relative: float) -> Passing:
    if tcpa_min < 0:
        return Passing.OPENING
    if cpa_nm < 0.05:
        return Passing.COLLISION_COURSE
    return Passing.ASTERN if (drift > 0) == (relative > 0) else Passing.AHEAD


def own_ship(second: float) -> OwnShip:
    east, north = velocity(OWN_COURSE_DEG, OWN_SPEED_KN)
    return OwnShip(
        time=moment(second).time,
        lat_deg=round(LAT_DEG + north * second / 3600 / 60, 6),
        lon_deg=round(LON_DEG + east * second / 3600 / 60 / math.cos(math.radians(LAT_DEG)), 6),
        position_age_s=0.6,
        sog_kn=OWN_SPEED_KN,
        sog_age_s=0.6,
        cog_deg=OWN_COURSE_DEG + 2,
        cog_age_s=0.6,
        heading_deg=OWN_COURSE_DEG,
        heading_source="compass/HEHDT",
        heading_age_s=0.1,
        stw_kn=7.8,
        stw_age_s=0.4,
    )


def alert(second: float, number: int, target: str | None, text: str, state: AlertState, rule: str) -> Alert:
    priority = Priority.ALARM if rule == "closest_approach" else Priority.WARNING
    return Alert(
        time=moment(second).time,
        id=number,
        rule=rule,
        priority=priority,
        state=state,
        target=target,
        text=text,
        values={"cpa_limit_nm": 0.5, "tcpa_limit_min": 12},
    )


def feed(second: float, name: str = "radar", state: FeedState = FeedState.UP) -> Feed:
    lines = 20 + int(second) * 8
    return Feed(
        time=moment(second).time,
        name=name,
        state=state,
        lines=lines,
        accepted=lines - 3,
        refused={"checksum": 3},
        dropped=0,
    )


def pair(second: float, state: PairState, speaks: str | None, why: str = "") -> Pair:
    return Pair(
        time=moment(second).time,
        target="radar-07",
        ais="ais-999000107",
        name="TEAL",
        state=state,
        speaks=speaks,
        why=why,
    )


def happenings(second: int) -> list[AnyEvent]:
    """What comes once: feeds, the radar's scale, an alarm that is acknowledged, a loss, a note, a range change."""
    due: dict[int, list[AnyEvent]] = {
        0: [
            feed(0),
            feed(0, "gps"),
            Radar(time=moment(0).time, range_scale_nm=6.0, orientation=Orientation.HEAD_UP),
        ],
        180: [pair(180, PairState.JOINED, "radar-07"), pair(180.5, PairState.JOINED, "ais-999000107")],
        200: [pair(200, PairState.PARTED, None, "0.4 NM apart")],
        240: [
            alert(
                240, 1, "radar-07", "radar-07 TEAL: CPA 0.2 NM in 11.9 min, inside 0.5 NM and 12 min",
                AlertState.ACTIVE_UNACKNOWLEDGED, "closest_approach",
            )
        ],
        300: [
            alert(
                300, 1, "radar-07", "radar-07 TEAL: CPA 0.2 NM in 10.9 min, inside 0.5 NM and 12 min",
                AlertState.ACTIVE_ACKNOWLEDGED, "closest_approach",
            )
        ],
        360: [Note(time=moment(360).time, text="sea clutter up two steps", author="skipper")],
        420: [Radar(time=moment(420).time, range_scale_nm=3.0, orientation=Orientation.HEAD_UP)],
        450: [
            alert(
                450, 2, "radar-15", "radar-15 lost for 30 s, last 045°T 5.9 NM",
                AlertState.ACTIVE_UNACKNOWLEDGED, "lost_target",
            )
        ],
    }  # fmt: skip
    return due.get(second, [])


def passage(seconds: int, fleet: tuple[Vessel, ...] = FLEET) -> Iterator[tuple[Moment, list[AnyEvent]]]:
    """A moment each second: own ship, each vessel's plot every three seconds, and what happens once.

    radar-15 falls silent after seven minutes.
    """
    rng = random.Random(7)
    seen = dict.fromkeys((vessel.key for vessel in fleet), 0)
    for second in range(seconds):
        events: list[AnyEvent] = [own_ship(second), *happenings(second)]
        for number, vessel in enumerate(fleet):
            if (second + number) % 3 == 0 and not (vessel.key == "radar-15" and second > 420):
                seen[vessel.key] += 1
                events.append(plot_of(vessel, second, seen[vessel.key], rng))
        yield moment(second), events


def board_after(seconds: int) -> Board:
    """The console's board after so much of the passage."""
    board = Board()
    for now, events in passage(seconds):
        board.take(now, events)
    return board
