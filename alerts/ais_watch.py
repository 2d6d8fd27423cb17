"""The lookout's ear for AIS: stations, their names, own number, distress beacons."""

from collections.abc import Iterator

from msgspec import Struct

from alerts.plotting.ais import DISTRESS, AisSettings, AisTargets, Heard
from alerts.plotting.beacons import Beacons
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.picture import OwnShip
from alerts.plotting.terms import TrackState
from alerts.rules.situation import Beacon
from parsers.observations import AisDistress, AisOwnShip, AisPosition, AisStatic

CROWD_AGAIN_S, CROWD_SHRUNK = 1800.0, 0.8
"""That not all stations can be held is told again after half an hour, or when the reach has shrunk by a fifth."""

AisObservation = AisPosition | AisStatic | AisOwnShip | AisDistress


class AisSighting(Struct, frozen=True, gc=False):
    """A station that has reported, seen from own ship."""

    heard: Heard
    look: Look


class AisWatch:
    """All that comes by AIS, held against own ship's place. Without a fix there is none, and only beacons are told."""

    def __init__(self, settings: AisSettings, own: OwnShip) -> None:
        self.stations = AisTargets(settings)
        self.beacons = Beacons()
        self._own = own
        self._crowd_told: tuple[float, float] | None = None  # when, and how far it reached

    def take(self, seen: AisObservation) -> AisSighting | None:
        """One observation; a sighting where it is a target's position that tells something new."""
        if isinstance(seen, AisOwnShip):
            self.stations.is_own(seen.mmsi)
        elif isinstance(seen, AisStatic):
            self._learn(seen)
        elif isinstance(seen, AisDistress):
            self.beacons.take(seen)
        else:
            return self._take_position(seen)
        return None

    def _learn(self, static: AisStatic) -> None:
        self.stations.learn(static)
        if static.name:
            self.beacons.learn(static.mmsi, static.name)

    def _take_position(self, report: AisPosition) -> AisSighting | None:
        if report.station in DISTRESS:
            self.beacons.take(report)
        at_s = report.at_s
        place = self._own.place(at_s)
        if place is None:
            return None
        taken = self.stations.take(report, self._own.motion(at_s), *place, self._own.utc_second(at_s))
        return None if taken is None else AisSighting(*taken)

    def crowd_told(self, at_s: float) -> str | None:
        """What to tell the watch where there are more stations than can be held; again when that reaches less far."""
        edge_nm = self.stations.edge_nm
        if edge_nm is None:
            return None
        if self._crowd_told is not None:
            told_s, told_nm = self._crowd_told
            if at_s - told_s < CROWD_AGAIN_S and edge_nm > CROWD_SHRUNK * told_nm:
                return None
        self._crowd_told = (at_s, edge_nm)
        held = self.stations.capacity
        return f"more AIS stations than the {held} that can be held: none beyond {edge_nm:.1f} NM is plotted"

    def states(self) -> Iterator[tuple[str, float, TrackState]]:
        """Each station's key, when it was heard last, and the state of its track now."""
        for heard in self.stations.heard():
            yield heard.key, heard.last_s, heard.state

    def predict(self, key: str, at_s: float) -> Estimate | None:
        """Where the station should be; None for a key that is none."""
        heard = self.stations.get(key)
        return None if heard is None else heard.predict(at_s)

    def distress(self, at_s: float) -> tuple[Beacon, ...]:
        return self.beacons.at(at_s, self._own.place(at_s)) if self.beacons else ()
