"""A passage of an archive read again: its measured ranges and bearings, plotted anew by the ordinary lookout.

An archive holds no sentences, but each plot's measurement, what the set reported of it, and own ship once a second.
They go through the same filters again, so that any limit can be tried. Figures are those of a replay but for what the
archive rounds (0.001 NM, 0.1 degrees) and leaves out: own ship between the seconds, the set's word of a lost target.
"""

import heapq
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

from alerts.events import Moment, OwnShip, Plot, Radar
from alerts.lookout import LookoutSettings
from alerts.rules.approaching import BY_HAND
from daemon.bench.observer import Observer, Watcher
from daemon.bench.reading import Progress, Reading
from daemon.replaying import BATCH
from daemon.sinks.archive_reader import ArchiveReader
from daemon.stream import Stream
from daemon.timeline import RecordedTimeline
from parsers import observations as seen

FRESH_S = 1.0
"""A value of own ship's is taken for new where it is no older than this: she is archived once a second."""

FEED = "archive"
_UNMARKED = seen.RangeAndBearing(None, None)

Heard = tuple[Moment, Sequence[seen.Observation]]


def read(
    path: str,
    passage_id: int,
    settings: LookoutSettings,
    watchers: Sequence[Watcher],
    *,
    stop: threading.Event | None = None,
    progress: Progress | None = None,
) -> Reading:
    """Reads one passage to its end, or until `stop` is set. Raises UserError where the archive can't be read."""
    observer = Observer(settings, watchers)
    stream = Stream(observer, [], [], RecordedTimeline())
    stop = stop or threading.Event()
    rows = 0
    with ArchiveReader(Path(path)) as reader:
        for moment, observations in _in_order(reader, passage_id):
            if stop.is_set():
                break
            stream.advance(moment)
            observer.take(moment, observations)
            rows += 1
            if rows % BATCH == 0:
                stream.flush()
                if progress is not None:
                    progress(BATCH, 0)
    stream.flush()
    if stream.moment is not None:
        observer.watcher.close(stream.moment)
    return Reading(last=stream.moment, lines=rows, accepted=rows, is_whole=not stop.is_set(), notices=())


def _in_order(reader: ArchiveReader, passage_id: int) -> Iterator[Heard]:
    """Everything by the stream's seconds. A target's plots are opened only when their time has come."""
    waiting: list[tuple[float, int, Iterator[Heard], Heard | None]] = []
    streams: list[Iterator[Heard]] = [
        map(_own, reader.own_track(passage_id)),
        map(_radar, reader.radar(passage_id)),
    ]
    for order, stream in enumerate(streams):
        waiting.append((float("-inf"), order, stream, None))
    for number, row in enumerate(reader.targets(passage_id), start=1):
        if not row.target.startswith(BY_HAND):
            plots = _plots(reader, row.target_id, number, row.target)
            waiting.append((row.first_at_s, number + len(streams), plots, None))
    heapq.heapify(waiting)
    while waiting:
        _, order, stream, heard = heapq.heappop(waiting)
        if heard is not None:
            yield heard
        following = next(stream, None)
        if following is not None:
            heapq.heappush(waiting, (following[0].at_s, order, stream, following))


def _plots(reader: ArchiveReader, target_id: int, number: int, key: str) -> Iterator[Heard]:
    """One archived track as a target number of its own: who was who had been told apart already."""
    for moment, plot in reader.plots(target_id):
        yield moment, (_report(moment, plot, number, key),)


def _report(moment: Moment, plot: Plot, number: int, key: str) -> seen.TargetReport:
    true = plot.bearing_deg is not None
    return seen.TargetReport(
        at_s=moment.at_s,
        source=seen.Source(FEED, "RA", "TTM"),
        number=number,
        range_nm=plot.range_nm,
        bearing_deg=plot.bearing_deg if true else plot.relative_bearing_deg,
        bearing_reference=seen.Reference.TRUE if true else seen.Reference.RELATIVE,
        speed_kn=plot.reported_speed_kn,
        course_deg=plot.reported_course_deg,
        cpa_nm=plot.reported_cpa_nm,
        tcpa_min=plot.reported_tcpa_min,
        name=plot.name or key,
    )


def _own(dated: tuple[Moment, OwnShip]) -> Heard:
    """What of own ship's values was new in that second. A course that stood in for the heading is no heading."""
    (moment, own), heard = dated, list[seen.Observation]()

    def is_new(age_s: float | None) -> bool:
        return age_s is not None and age_s <= FRESH_S

    at_s = moment.at_s
    if own.lat_deg is not None and own.lon_deg is not None and is_new(own.position_age_s):
        source = seen.Source(FEED, "GP", "RMC")
        heard.append(seen.Position(at_s=at_s, source=source, lat_deg=own.lat_deg, lon_deg=own.lon_deg))
    if own.sog_kn is not None and is_new(own.sog_age_s):
        source = seen.Source(FEED, "GP", "RMC")
        heard.append(seen.GroundMotion(at_s=at_s, source=source, sog_kn=own.sog_kn, cog_deg=own.cog_deg))
    if own.heading_deg is not None and is_new(own.heading_age_s):
        source = seen.Source(FEED, "HE", "HDT")
        heard.append(seen.Heading(at_s=at_s, source=source, heading_deg=own.heading_deg))
    if own.stw_kn is not None and is_new(own.stw_age_s):
        heard.append(seen.WaterMotion(at_s=at_s, source=seen.Source(FEED, "VW", "VHW"), stw_kn=own.stw_kn))
    return moment, heard


def _radar(dated: tuple[Moment, Radar]) -> Heard:
    moment, radar = dated
    settings = seen.RadarSettings(
        at_s=moment.at_s,
        source=seen.Source(FEED, "RA", "RSD"),
        range_scale_nm=radar.range_scale_nm,
        orientation=radar.orientation,
        marks=(_UNMARKED, _UNMARKED),
        origins=(_UNMARKED, _UNMARKED),
        cursor=_UNMARKED,
    )
    return moment, (settings,)
