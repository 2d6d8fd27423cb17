"""The situation at one moment, to try a manoeuvre on: from a recording, an archive or a running watch."""

from collections.abc import Sequence

import msgspec
from msgspec import Struct

from alerts.events import Moment
from alerts.judging import RESTRICTED_VISIBILITY
from alerts.lookout import Lookout
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import TrackState
from daemon.clock import HostClock
from daemon.config import Config
from daemon.errors import UserError
from daemon.feeds.replay import Recording
from daemon.replaying import MAX, feeds_of, lookout_settings, run
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline
from daemon.trialling.times import When
from daemon.undated import undated


class Held(Struct, frozen=True):
    """A target whose motion is known, at the situation's moment."""

    target: str
    name: str
    estimate: Estimate


class Situation(Struct, frozen=True, kw_only=True):
    """Own ship and targets at one moment. `left_out`: targets that cannot be tried, each with the reason."""

    utc_ms: int
    condition: str
    limit_nm: float
    own: OwnMotion
    targets: list[Held]
    left_out: dict[str, str]

    @property
    def is_restricted(self) -> bool:
        return self.condition == RESTRICTED_VISIBILITY


def situation_of(lookout: Lookout, moment: Moment) -> Situation:
    """How things stand in a lookout. Flush first."""
    at_s = moment.at_s
    targets: list[Held] = []
    left_out: dict[str, str] = {}
    states = (*lookout.targets.states(), *lookout.marks.states(at_s), *lookout.ais.states())
    for key, _, state in states:
        plot = lookout.judging.plots.get(key)
        estimate = (
            lookout.targets.predict(key, at_s) or lookout.marks.predict(key, at_s) or lookout.ais.predict(key, at_s)
        )
        if plot is None or estimate is None:
            continue
        if state is TrackState.LOST:
            left_out[key] = "lost"
        elif plot.bearing_deg is None:
            left_out[key] = "plotted off the bow alone, no heading"
        elif not estimate.settled:
            left_out[key] = "unsettled"
        else:
            targets.append(Held(key, plot.name, estimate))
    return Situation(
        utc_ms=moment.time.utc_ms,
        condition=lookout.condition,
        limit_nm=lookout.conditions[lookout.condition].cpa_nm,
        own=lookout.own.motion(at_s),
        targets=targets,
        left_out=left_out,
    )


class _Reached(Exception):  # noqa: N818  (not an error: the moment that was asked for has come)
    pass


def from_recordings(
    paths: Sequence[str], when: When | None, config: Config, rate: float | None = None, require_checksum: bool = True
) -> Situation:
    """The situation in recordings at a moment, or at their end. Everything before it is watched as in a replay."""
    recordings = [Recording(path) for path in paths]
    stream = Stream(
        Lookout(lookout_settings(config)), [], feeds_of(recordings, require_checksum), RecordedTimeline(rate)
    )

    def wait_for(moment: Moment) -> None:
        if when is not None and when.has_come(moment.time.utc_ms):
            raise _Reached

    stream.wait_for = wait_for
    import threading

    try:
        run(stream, recordings, MAX, HostClock(), threading.Event(), require_checksum)
    except _Reached:
        pass
    else:
        if when is not None:
            ends = f"it ends at {stream.moment.time}" if stream.moment else "it holds no line that can be read"
            raise UserError(f"{', '.join(paths)}: the moment {when.text} does not come; {ends}")
    stream.flush()
    if stream.moment is None:
        raise UserError(f"{', '.join(paths)}: no line could be read, so there is nothing to try")
    for notice in undated(stream):
        raise UserError(notice)
    return situation_of(stream.lookout, stream.moment)


def encode(situation: Situation) -> bytes:
    """As a running watch sends it."""
    return msgspec.json.encode(situation)


def from_watch(watch: str | None) -> Situation:
    """The situation of a running watch, now."""
    from daemon import control

    reply = control.ask(control.Request("situation"), watch)
    if not reply.ok:
        raise UserError(reply.text)
    return msgspec.json.decode(bytes(reply.status), type=Situation)
