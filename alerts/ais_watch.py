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
