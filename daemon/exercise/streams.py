"""A passage as streams of sentences, each with its times and a way to write any stretch of it.

The numbers of a stream are worked out when it is made; the sentences are written block by block when they are asked
for, so that a day of traffic never stands in memory as text.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import partial

import numpy as np

from daemon.exercise import ais, marks
from daemon.exercise.geodesy import Floats
from daemon.exercise.passage import COMPASS, INPUTS, LOG, RECEIVER, Passage, chance
from daemon.exercise.scenario import Failure, SpeedSensor
from daemon.exercise.sensors import Compass, Log, Receiver, during
from daemon.exercise.sentence_stream import SPACING_S, Stream, Write, known
from daemon.exercise.target_streams import target_streams, water_referenced
from daemon.exercise.tracker import inputs
from parsers import encode
from parsers.observations import MotionReference


def streams(passage: Passage) -> Iterator[Stream]:
    """Every stream of the passage, in the order in which ties are settled."""
    compass, receiver, log = passage.sensors
    if receiver:
        yield from _position(passage, receiver)
    if compass:
        yield from _heading(passage, compass)
    if log:
        yield from _speed(passage, log)
    if passage.scenario.radar:
        yield from _settings(passage)
        if passage.sweeps:
            yield from target_streams(passage)
    yield from _texts(passage)
    yield from (Stream(times, write) for times, write in ais.streams(passage))


# ------------------------------------------------------------------------------------------------ own ship


def _times(passage: Passage, rate_hz: float, failures: tuple[Failure, ...]) -> Floats:
    """Moments at which a sensor sends, without those in which it is silent."""
    count = int(np.ceil(passage.scenario.duration_s * rate_hz - 1e-9))
    times = np.arange(count) / rate_hz
    return np.asarray(times[~during(failures, "silent", times)])


def _heading(passage: Passage, compass: Compass) -> Iterator[Stream]:
    spec, variation = compass.sensor, passage.scenario.place.variation_deg
    times = _times(passage, spec.rate_hz, spec.failures)
    rng = chance(passage.scenario.seed, COMPASS)
    for place, kind in enumerate(spec.sentences):
        at = times + place * SPACING_S
        if kind == "ROT":
            yield Stream(at, partial(_written, partial(encode.rot, talker="TI"), compass.rate(times)))
            continue
        values = compass.read(times, rng)
        if kind in ("HDG", "HDM"):
            values = (values - (variation or 0.0)) % 360.0
        make: dict[str, Callable[[float | None], str]] = {
            "HDT": partial(encode.hdt, decimals=spec.decimals, talker=spec.talker),
            "THS": partial(encode.ths, decimals=spec.decimals, talker=spec.talker),
            "HDG": partial(encode.hdg, variation_deg=variation, decimals=spec.decimals, talker=spec.talker),
            "HDM": partial(encode.hdm, decimals=spec.decimals, talker=spec.talker),
        }
        yield Stream(at, partial(_written, make[kind], values))


def _written(make: Callable[[float | None], str], values: Floats, i: int, j: int) -> list[str]:
    return [make(value) for value in known(values[i:j])]


def _speed(passage: Passage, log: Log) -> Iterator[Stream]:
    spec = log.sensor
    times = _times(passage, spec.rate_hz, spec.failures)
    rng = chance(passage.scenario.seed, LOG)
    for place, kind in enumerate(spec.sentences):
        make = _speed_writer(kind, spec)
        yield Stream(times + 0.3 + place * SPACING_S, partial(_written, make, log.read(times, rng)))


def _speed_writer(kind: str, spec: SpeedSensor) -> Callable[[float | None], str]:
    if kind == "VHW":
        return partial(encode.vhw, talker=spec.talker)
    if spec.reference == "water":
        return partial(encode.vbw, talker=spec.talker)
    return lambda speed: encode.vbw(None, None, speed, talker=spec.talker)


def _position(passage: Passage, receiver: Receiver) -> Iterator[Stream]:
    spec = receiver.sensor
    times = _times(passage, spec.rate_hz, spec.failures)
    fixes = _Fixes(passage, receiver, times)
    writers: dict[str, Write] = {
        "RMC": fixes.rmc,
        "GGA": fixes.gga,
        "GLL": fixes.gll,
        "GNS": fixes.gns,
        "VTG": fixes.vtg,
        "ZDA": fixes.zda,
    }
    for place, kind in enumerate(spec.sentences):
        yield Stream(times + spec.delay_s + place * SPACING_S, writers[kind])


class _Fixes:
    """The receiver's fixes, and how each sentence tells them."""

    def __init__(self, passage: Passage, receiver: Receiver, times_s: Floats) -> None:
        self.talker = receiver.sensor.talker
        self.variation = passage.scenario.place.variation_deg
        lat, lon = receiver.position(times_s)
        east, north = receiver.velocity(times_s, chance(passage.scenario.seed, RECEIVER))
        speed = np.hypot(east, north)
        course = np.degrees(np.arctan2(east, north)) % 360.0
        course[speed < 0.1] = np.nan  # standing still there is no course (seen in real streams)
        self.lat, self.lon, self.sog, self.cog = lat, lon, speed, course
        self.utc_ms = passage.scenario.start_ms + np.round(times_s * 1000).astype(np.int64)

    def _rows(self, i: int, j: int) -> Iterator[tuple[float, int, float | None, float | None]]:
        """Seconds of the day, day number, latitude and longitude."""
        for ms, lat, lon in zip(self.utc_ms[i:j].tolist(), known(self.lat[i:j]), known(self.lon[i:j]), strict=True):
            day, of_day = divmod(ms, 86_400_000)
            yield of_day / 1000.0, day, lat, lon

    def rmc(self, i: int, j: int) -> list[str]:
        motion = zip(self._rows(i, j), known(self.sog[i:j]), known(self.cog[i:j]), strict=True)
        return [
            encode.rmc(
                at,
                _date(day).strftime("%d%m%y"),
                lat,
                lon,
                sog_kn=sog,
                cog_deg=cog,
                variation_deg=self.variation,
                valid=lat is not None,
                talker=self.talker,
            )
            for (at, day, lat, lon), sog, cog in motion
        ]

    def gga(self, i: int, j: int) -> list[str]:
        return [
            encode.gga(at, lat, lon, quality=0 if lat is None else 1, talker=self.talker)
            for at, _, lat, lon in self._rows(i, j)
        ]

    def gll(self, i: int, j: int) -> list[str]:
        return [
            encode.gll(at, lat, lon, valid=lat is not None, talker=self.talker) for at, _, lat, lon in self._rows(i, j)
        ]

    def gns(self, i: int, j: int) -> list[str]:
        return [encode.gns(at, lat, lon, valid=lat is not None) for at, _, lat, lon in self._rows(i, j)]

    def vtg(self, i: int, j: int) -> list[str]:
        return [
            encode.vtg(cog, sog, variation_deg=self.variation, talker=self.talker)
            for cog, sog in zip(known(self.cog[i:j]), known(self.sog[i:j]), strict=True)
        ]

    def zda(self, i: int, j: int) -> list[str]:
        dates = ((at, _date(day)) for at, day, _, _ in self._rows(i, j))
        return [encode.zda(at, date.day, date.month, date.year, talker=self.talker) for at, date in dates]


def _date(day: int) -> datetime:
    return datetime.fromtimestamp(day * 86_400, UTC)


# --------------------------------------------------------------------------------------------------- radar


def _settings(passage: Passage) -> Iterator[Stream]:
    radar = passage.radar
    if radar.rsd_interval_s or passage.scenario.marks:
        yield Stream(*marks.settings(passage))
    if radar.osd_interval_s:
        times = np.arange(0.4, passage.scenario.duration_s, radar.osd_interval_s)
        yield Stream(times, partial(_osd, passage, times))


def _osd(passage: Passage, times_s: Floats, i: int, j: int) -> list[str]:
    """Own ship as the set has it, from the set's inputs."""
    radar, at = passage.radar, times_s[i:j]
    fed = inputs(radar, passage.own, passage.sensors, at, chance(passage.scenario.seed + i, INPUTS))
    speed = np.hypot(fed.east_kn, fed.north_kn)
    course = np.degrees(np.arctan2(fed.east_kn, fed.north_kn)) % 360.0
    reference = MotionReference.MANUAL if radar.inputs.speed == "manual" else MotionReference.GROUND
    if water_referenced(passage):
        reference = MotionReference.WATER
    return [
        encode.osd(h, course_deg=None if h is None else c, speed_kn=s, reference=reference, talker=radar.talker)
        for h, c, s in zip(known(fed.heading_deg), course.tolist(), speed.tolist(), strict=True)
    ]


# ---------------------------------------------------------------------------------------------------- text


def _texts(passage: Passage) -> Iterator[Stream]:
    notes = sorted(passage.scenario.notes, key=lambda note: note.at_min)
    if notes:
        times = np.array([note.at_min * 60.0 for note in notes])
        yield Stream(times, lambda i, j: [encode.txt(note.text) for note in notes[i:j]])
