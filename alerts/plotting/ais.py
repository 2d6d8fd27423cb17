"""AIS targets: the stations that are held, from first heard to forgotten.

A station reports where it is and how it goes; nothing need be filtered (ais_report.py makes its report an estimate). A
report without course and speed gives a place alone, which is never settled: it tells no motion.
"""

from math import hypot
from typing import Annotated

from msgspec import Meta, Struct

from alerts.plotting.ais_intervals import coasting_after_s, lost_after_s, reporting_interval_s
from alerts.plotting.ais_report import carried_on, delay_of, estimate_of, look_at_report
from alerts.plotting.kinematics import Estimate, Look, OwnMotion, seen_from
from alerts.plotting.placing import Change, Ending
from alerts.plotting.terms import TrackState
from parsers.observations import AisClass, AisPosition, AisStatic, MotionReference

CAPACITY = 2000
"""Targets kept; ten times what the largest ship's display must show (200 sleeping, MSC.192(79) table 1). Where there
are more within `range_nm`, the nearest are kept."""

ROOM_SHARE, KEPT_SHARE = 0.95, 0.9
"""Fuller than the first, the farthest are let go until no more than the second are left: any second has room."""

FORGET_S = 600.0
"""A station is forgotten so long after it was lost."""

AGAIN_S, AGAIN_WITHIN_NM = 20.0, 6.0
"""A station as near as this is judged again so long after its last word, carried on: a moored one speaks every three
minutes, and meanwhile we may have turned towards her (judgement)."""

DISTRESS = frozenset({AisClass.SART, AisClass.MOB, AisClass.EPIRB})

OLDER_S = 0.5
"""A report measured so much before the one that is held has been overtaken on its way and tells nothing new."""


class AisSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Own ship's number is learnt from VDO where the transponder sends it."""

    on: Annotated[bool, Meta(description="take AIS targets in; distress beacons are always told")] = True
    own_mmsi: Annotated[
        int, Meta(ge=0, le=999_999_999, description="our own MMSI, which is not taken for a target; 0: none")
    ] = 0
    range_nm: Annotated[
        float, Meta(gt=0, le=100, description="stations beyond this are not taken in; distress beacons are")
    ] = 48.0
    tell_within_nm: Annotated[
        float,
        Meta(ge=0, le=24, description="AIS without a radar target, or the reverse, is told within this; 0: never"),
    ] = 2.0
    aids: Annotated[bool, Meta(description="take aids to navigation in; virtual ones are nothing to run into")] = True


class Heard(Struct, gc=False):
    """One station as last heard. Times in stream seconds."""

    key: str
    mmsi: int
    station: AisClass
    report: AisPosition
    measured_s: float
    estimate: Estimate
    name: str = ""
    observations: int = 1
    interval_s: float = 180.0
    first_s: float = 0.0
    judged_s: float = 0.0
    out_of_sight: TrackState | None = None

    @property
    def last_s(self) -> float:
        return self.report.at_s

    @property
    def is_judged(self) -> bool:
        """Whether the rules on vessels are for it: an aircraft passes over, and a beacon has an alert of its own."""
        return self.station not in DISTRESS and self.station is not AisClass.AIRCRAFT

    @property
    def has_body(self) -> bool:
        """Whether radar should see it: an aid to navigation may be virtual, a message and nothing more."""
        return self.is_judged and self.station is not AisClass.AID

    @property
    def state(self) -> TrackState:
        return self.out_of_sight or self.estimate.state

    def predict(self, at_s: float) -> Estimate:
        """Where the station should be; its state says so where it has not been heard when it was due."""
        return carried_on(self.estimate, at_s, self.out_of_sight)


class AisTargets:
    """All stations but our own. `utc_second` tells the UTC second of the minute now, where own ship knows it."""

    def __init__(self, settings: AisSettings | None = None, capacity: int = CAPACITY) -> None:
        self.settings = settings or AisSettings()
        self.capacity = capacity
        self.crowded_out = self.overtaken = 0
        self.edge_nm: float | None = None  # nothing farther off than this is taken in, for want of room
        self._own: set[int] = {self.settings.own_mmsi} - {0}
        self._heard: dict[int, Heard] = {}
        self._mistaken: list[Change] = []  # own ship, taken for a target before she named herself
        self._names: dict[int, str] = {}

    def is_own(self, mmsi: int) -> None:
        """Own ship's transponder has named itself. Two at most: a watch may be moved from one to another."""
        if len(self._own) < 2 and mmsi not in self._own:
            self._own.add(mmsi)
            mistaken = self._heard.pop(mmsi, None)
            if mistaken is not None:
                self._mistaken.append(Change(mistaken.key, TrackState.LOST, Ending.FORGOTTEN))

    def learn(self, static: AisStatic) -> None:
        """A name is kept for stations that are heard, and for as many more as may yet be."""
        if static.name and (static.mmsi in self._names or len(self._names) < 2 * self.capacity):
            self._names[static.mmsi] = static.name
            if static.mmsi in self._heard:
                self._heard[static.mmsi].name = static.name

    def take(
        self, report: AisPosition, own: OwnMotion, own_lat_deg: float, own_lon_deg: float, utc_second: float | None
    ) -> tuple[Heard, Look] | None:
        """The station's new estimate and its place as a look from own ship.

        None for own ship, for base stations, for what is out of range, and for a report that a newer one has overtaken.
        """
        if not self._is_wanted(report):
            return None
        before = self._heard.get(report.mmsi)
        delay_s, delay_sd_s = delay_of(report, utc_second)
        if before is not None and report.at_s - delay_s < before.measured_s - OLDER_S:
            self.overtaken += 1
            return None
        look = look_at_report(report, own, own_lat_deg, own_lon_deg, delay_s)
        if look.range_nm > self.settings.range_nm or (before is None and not self._has_room(look.range_nm)):
            return None
        estimate = estimate_of(report, look, delay_sd_s, (before.observations if before else 0) + 1, before)
        heard = Heard(
            key=f"ais-{report.mmsi:09d}",
            mmsi=report.mmsi,
            station=report.station,
            report=report,
            measured_s=report.at_s - delay_s,
            estimate=estimate,
            name=self._names.get(report.mmsi, ""),
            observations=estimate.observations,
            interval_s=reporting_interval_s(report.station, report.sog_kn, report.navigational_status),
            first_s=before.first_s if before else report.at_s,
            judged_s=report.at_s,
        )
        self._heard[report.mmsi] = heard
        return heard, look

    def _is_wanted(self, report: AisPosition) -> bool:
        unwanted = report.station is AisClass.BASE or (report.station is AisClass.AID and not self.settings.aids)
        return self.settings.on and not unwanted and report.mmsi not in self._own

    def _has_room(self, range_nm: float) -> bool:
        is_near = self.edge_nm is None or range_nm < self.edge_nm
        if is_near and len(self._heard) < self.capacity:
            return True
        self.crowded_out += 1
        return False

    def _make_room(self, own: OwnMotion) -> list[Change]:
        """Lets the farthest go where there are too many; those that are lost before any other."""
        if len(self._heard) <= ROOM_SHARE * self.capacity:
            if len(self._heard) < KEPT_SHARE * self.capacity:
                self.edge_nm = None
            return []
        by_range = sorted(self._heard.values(), key=lambda heard: _farness(heard, own))
        kept = int(KEPT_SHARE * self.capacity)
        self.edge_nm = max(_range_nm(heard, own) for heard in by_range[:kept])
        for heard in by_range[kept:]:
            del self._heard[heard.mmsi]
        self.crowded_out += len(by_range) - kept
        return [Change(heard.key, heard.state, Ending.CROWDED_OUT) for heard in by_range[kept:]]

    def tick(self, at_s: float, own: OwnMotion) -> list[Change]:
        """Ages the stations: silent ones coast, then are lost, then forgotten. For use once a second."""
        changes, self._mistaken = self._mistaken, []
        for heard in list(self._heard.values()):
            silent_s = at_s - heard.last_s
            if silent_s > lost_after_s(heard.interval_s) + FORGET_S:
                del self._heard[heard.mmsi]
                changes.append(Change(heard.key, TrackState.LOST, Ending.FORGOTTEN))
                continue
            state = None
            if silent_s > lost_after_s(heard.interval_s):
                state = TrackState.LOST
            elif silent_s > coasting_after_s(heard.interval_s):
                state = TrackState.COASTING
            if state is not heard.out_of_sight and state is not None:
                heard.out_of_sight = state
                changes.append(Change(heard.key, state))
        return changes + self._make_room(own)

    def due(self, at_s: float, own: OwnMotion) -> list[tuple[Heard, Look, Estimate]]:
        """Stations near by that are to be judged again, each with where it should be by now, as a look from own ship.

        None that is late: what has not been heard when it was due is not taken to be where it should be.
        """
        if own.frame is not MotionReference.GROUND:
            return []
        found = []
        for heard in self._heard.values():
            if at_s - heard.judged_s < AGAIN_S or not heard.is_judged or heard.out_of_sight is not None:
                continue
            heard.judged_s = at_s
            estimate = heard.predict(at_s)
            range_nm, bearing_deg = seen_from(own, estimate)
            if estimate.settled and range_nm <= AGAIN_WITHIN_NM:
                found.append((heard, Look(at_s, range_nm, bearing_deg, own), estimate))
        return found

    def get(self, key: str) -> Heard | None:
        """The station of a target's key, `ais-219000123`."""
        mmsi = key.removeprefix("ais-")
        found = self._heard.get(int(mmsi)) if len(mmsi) == 9 and mmsi.isdecimal() else None
        return found if found is not None and found.key == key else None

    def heard(self) -> list[Heard]:
        """All stations, in the order in which they were first heard."""
        return list(self._heard.values())

    @property
    def load(self) -> float:
        """Share of the capacity in use, 0 to 1."""
        return len(self._heard) / self.capacity


def _range_nm(heard: Heard, own: OwnMotion) -> float:
    return hypot(heard.estimate.east_nm - own.east_nm, heard.estimate.north_nm - own.north_nm)


def _farness(heard: Heard, own: OwnMotion) -> tuple[bool, float]:
    return heard.out_of_sight is TrackState.LOST, _range_nm(heard, own)
