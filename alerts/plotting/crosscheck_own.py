"""Own ship for the cross-check: whether she is steady, and what stream her own sensors show."""

from collections import deque

from alerts.plotting.crosscheck_samples import Vector, toward
from alerts.plotting.kinematics import OwnMotion
from parsers.observations import MotionReference, SetAndDrift, WaterMotion

LOOK_BACK_S = 40.0
SMOOTH_S = 12.0
"""Velocities are means over this, so that yaw (periods of 5 to 10 s) is not an alteration."""

SAMPLE_S = 2.0
ALTERED_KN = 1.5
"""A change of own velocity by this within LOOK_BACK_S is an alteration: 7 degrees at 12 knots, 15 at 6."""

RECENT_S = 180.0
"""After an alteration of either ship a set needs three minutes for its full accuracy (MSC.192(79) 5.25.4.1)."""

SETTLE_S = 75.0
"""From so long after it differences are looked at again, with the standard's one-minute figures in mind."""

STREAM_S = 60.0


class OwnWatch:
    """Own velocity over the last minute, bounded."""

    def __init__(self) -> None:
        self._seen: deque[tuple[float, Vector]] = deque(maxlen=int((LOOK_BACK_S + 2 * SMOOTH_S) / SAMPLE_S))
        self.altered_s: float | None = None
        self.leg = 0
        self.frame = MotionReference.UNKNOWN
        self._stream: tuple[float, Vector] | None = None

    def see(self, own: OwnMotion) -> None:
        self.frame = own.frame
        if own.frame is MotionReference.UNKNOWN or (self._seen and own.at_s - self._seen[-1][0] < SAMPLE_S):
            return
        if self._seen and own.at_s - self._seen[-1][0] > LOOK_BACK_S:
            self._seen.clear()
        self._seen.append((own.at_s, Vector(own.east_kn, own.north_kn)))
        now = self._mean(own.at_s)
        before = self._mean(own.at_s - LOOK_BACK_S)
        if now is not None and before is not None and now.less(before).size > ALTERED_KN:
            if self.altered_s is None or own.at_s - self.altered_s > LOOK_BACK_S:
                self.leg += 1
            self.altered_s = own.at_s

    def _mean(self, until_s: float) -> Vector | None:
        few = [velocity for at_s, velocity in self._seen if until_s - SMOOTH_S <= at_s <= until_s]
        if not few:
            return None
        return Vector(sum(v.east for v in few) / len(few), sum(v.north for v in few) / len(few))

    def altered_within(self, at_s: float, seconds: float) -> bool:
        """Whether own ship has altered course or speed within so long before."""
        return self.altered_s is not None and at_s - self.altered_s <= seconds

    # ------------------------------------------------------------------------------------------ stream

    def see_water(self, own: OwnMotion, water: WaterMotion | None, stream: SetAndDrift | None) -> None:
        """What log and compass say beside the motion over the ground; or the set and drift as entered on board.

        The log's difference is smoothed over a minute: leeway and yaw are in it too.
        """
        seen = _stream_of(own, water, stream)
        if seen is None:
            return
        if self._stream is None or own.at_s - self._stream[0] > STREAM_S:
            self._stream = own.at_s, seen
            return
        gain = min(1.0, max(0.0, own.at_s - self._stream[0]) / STREAM_S)
        self._stream = own.at_s, self._stream[1].plus(seen.less(self._stream[1]).times(gain))

    def stream(self, at_s: float) -> Vector | None:
        if self._stream is None or at_s - self._stream[0] > STREAM_S:
            return None
        return self._stream[1]


def _stream_of(own: OwnMotion, water: WaterMotion | None, stream: SetAndDrift | None) -> Vector | None:
    if own.frame is not MotionReference.GROUND:
        return None
    if water is not None and water.stw_kn is not None and own.heading_deg is not None:
        through = toward(own.heading_deg, water.stw_kn).plus(toward(own.heading_deg + 90, water.athwart_kn or 0.0))
        return Vector(own.east_kn, own.north_kn).less(through)
    return None if stream is None else toward(stream.set_deg, stream.drift_kn)
