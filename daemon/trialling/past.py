"""The situation in an archive at a moment: its plots are laid again, so that the trial knows how sure each target is.

An archive keeps what was measured and said, not the filters. The plots of the last quarter of an hour go through the
same tracks again, with own ship reckoned from her archived motion.
"""

from bisect import bisect_right
from collections.abc import Sequence
from math import cos, radians, sin
from pathlib import Path

from alerts.events import Instant, OwnShip
from alerts.plotting.estimate import Track
from alerts.plotting.kinematics import Look, OwnMotion
from alerts.plotting.noise import NoiseModel
from alerts.plotting.terms import TrackState
from daemon.config import Config
from daemon.errors import UserError
from daemon.sinks.archive_reader import ArchiveReader, PassageRow
from daemon.trialling.moment import Held, Situation
from daemon.trialling.times import When
from parsers.observations import MotionReference

BACK_S = 900.0
VELOCITY_SD_KN, HEADING_SD_DEG = 0.15, 1.0
"""Satellite speed to a count of 0.1 kn; a heading device by MSC.116(73)."""


def from_archive(path: Path, when: When | None, config: Config) -> Situation:
    """At a moment of the last passage that holds it, or at the end of the last passage."""
    with ArchiveReader(path) as reader:
        passage, utc_ms = _passage(path, reader.passages(), when)
        own = _Reckoned([(moment.at_s, event) for moment, event in reader.own_track(passage.passage_id)])
        at_s = passage.last_at_s - (passage.last_utc_ms - utc_ms) / 1000
        motion = own.motion(at_s)
        if motion is None:
            raise UserError(f"{path}: own course and speed are not known at {Instant(utc_ms)}, so nothing can be tried")
        noise = NoiseModel()
        targets: list[Held] = []
        left_out: dict[str, str] = {}
        for row in reader.targets(passage.passage_id):
            if row.first_at_s > at_s or row.last_at_s < at_s - BACK_S:
                continue
            track, name = Track(noise), row.name
            last: TrackState | None = None
            for moment, plot in reader.plots(row.target_id):
                if at_s - BACK_S <= moment.at_s <= at_s and plot.bearing_deg is not None:
                    there = own.motion(moment.at_s)
                    if there is not None:
                        last = track.observe(Look(moment.at_s, plot.range_nm, plot.bearing_deg, there)).state
            if last is None:
                continue
            estimate = track.predict(at_s)
            if estimate.state is TrackState.LOST:
                left_out[row.target] = "lost"
            elif not estimate.settled:
                left_out[row.target] = "unsettled"
            else:
                targets.append(Held(row.target, name, estimate))
    limit_nm = config.conditions[config.condition].cpa_nm
    return Situation(
        utc_ms=utc_ms, condition=config.condition, limit_nm=limit_nm, own=motion, targets=targets, left_out=left_out
    )


def _passage(path: Path, passages: Sequence[PassageRow], when: When | None) -> tuple[PassageRow, int]:
    if not passages:
        raise UserError(f"{path} holds no passage yet")
    if when is None:
        return passages[-1], passages[-1].last_utc_ms
    for passage in reversed(passages):
        utc_ms = When(when.text).utc_ms(passage.started_utc_ms)
        if passage.started_utc_ms <= utc_ms <= passage.last_utc_ms:
            return passage, utc_ms
    last = passages[-1]
    raise UserError(
        f"{path}: no passage holds the moment {when.text}; the last runs from {Instant(last.started_utc_ms)} "
        f"to {Instant(last.last_utc_ms)}"
    )


class _Reckoned:
    """Own ship through a passage: places in a plane of her own, reckoned from archived course and speed over ground."""

    def __init__(self, track: Sequence[tuple[float, OwnShip]]) -> None:
        known = [
            (at_s, one) for at_s, one in track if one.sog_kn is not None and (one.cog_deg is not None or not one.sog_kn)
        ]
        self._times = [at_s for at_s, _ in known]
        self._own = [one for _, one in known]
        self._places = [(0.0, 0.0)]
        for k in range(1, len(known)):
            hours = (self._times[k] - self._times[k - 1]) / 3600
            east_kn, north_kn = _velocity(self._own[k - 1])
            east, north = self._places[-1]
            self._places.append((east + east_kn * hours, north + north_kn * hours))

    def motion(self, at_s: float) -> OwnMotion | None:
        """Own ship at a moment; None where nothing was known within a quarter of a minute before it."""
        k = bisect_right(self._times, at_s) - 1
        if k < 0 or at_s - self._times[k] > 15.0:
            return None
        own, hours = self._own[k], (at_s - self._times[k]) / 3600
        east_kn, north_kn = _velocity(own)
        east, north = self._places[k]
        return OwnMotion(
            at_s=at_s,
            east_nm=east + east_kn * hours,
            north_nm=north + north_kn * hours,
            east_kn=east_kn,
            north_kn=north_kn,
            velocity_sd_kn=VELOCITY_SD_KN,
            frame=MotionReference.GROUND,
            heading_deg=own.heading_deg,
            heading_sd_deg=HEADING_SD_DEG,
        )


def _velocity(own: OwnShip) -> tuple[float, float]:
    assert own.sog_kn is not None
    course = radians(own.cog_deg or 0.0)
    return own.sog_kn * sin(course), own.sog_kn * cos(course)
