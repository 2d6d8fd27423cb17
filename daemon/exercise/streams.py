"""A passage as streams of sentences, each with its times and a way to write any stretch of it.

The numbers of a stream are worked out when it is made; the sentences are written block by block when they are asked
for, so that a day of traffic never stands in memory as text.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from functools import partial

import numpy as np
from msgspec import Struct

from daemon.exercise import ais, marks
from daemon.exercise.geodesy import Floats, destination
from daemon.exercise.passage import COMPASS, INPUTS, LOG, RECEIVER, Passage, chance
from daemon.exercise.reports import Reports, reports
from daemon.exercise.scenario import Failure, Radar, SpeedSensor
from daemon.exercise.sensors import Compass, Log, Receiver, during
from daemon.exercise.tracker import ACQUIRING, LOST, TRACKING, Tracks
from parsers import encode
from parsers.observations import Acquisition, MotionReference, Reference, TargetStatus

SPACING_S = 0.02
"""Sentences of one sensor and moment follow each other at this distance, as a line of 38,400 baud takes it."""

LOST_TCPA_MIN = 24_751_376.1
"""What a set was seen to write for a target that it has lost (a real recording of a moored craft)."""

LABELS_EVERY_S = 30.0

Write = Callable[[int, int], list[str]]

_STATUS = {ACQUIRING: TargetStatus.ACQUIRING, TRACKING: TargetStatus.TRACKING, LOST: TargetStatus.LOST}


class Stream(Struct, frozen=True):
    """Sentences in order of time. `times_s` (M,) from the start; `write(i, j)` gives those from i up to j."""

    times_s: Floats
    write: Write


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
            yield from _targets(passage)
    yield from _texts(passage)
    yield from (Stream(times, write) for times, write in ais.streams(passage))


# ------------------------------------------------------------------------------------------------ own ship


def _times(passage: Passage, rate_hz: float, failures: tuple[Failure, ...]) -> Floats:
    """Moments at which a sensor sends, without those in which it is silent."""
    count = int(np.ceil(passage.scenario.duration_s * rate_hz - 1e-9))
    times = np.arange(count) / rate_hz
    return np.asarray(times[~during(failures, "silent", times)])


def _known(values: Floats) -> list[float | None]:
    """Plain values, None for NaN."""
    return [None if value != value else value for value in values.tolist()]


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
    return [make(value) for value in _known(values[i:j])]


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
        for ms, lat, lon in zip(self.utc_ms[i:j].tolist(), _known(self.lat[i:j]), _known(self.lon[i:j]), strict=True):
            day, of_day = divmod(ms, 86_400_000)
            yield of_day / 1000.0, day, lat, lon

    def rmc(self, i: int, j: int) -> list[str]:
        motion = zip(self._rows(i, j), _known(self.sog[i:j]), _known(self.cog[i:j]), strict=True)
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
            for cog, sog in zip(_known(self.cog[i:j]), _known(self.sog[i:j]), strict=True)
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
    from daemon.exercise.tracker import inputs

    radar, at = passage.radar, times_s[i:j]
    fed = inputs(radar, passage.own, passage.sensors, at, chance(passage.scenario.seed + i, INPUTS))
    speed = np.hypot(fed.east_kn, fed.north_kn)
    course = np.degrees(np.arctan2(fed.east_kn, fed.north_kn)) % 360.0
    reference = {
        "log": MotionReference.WATER,
        "ground": MotionReference.GROUND,
        "manual": MotionReference.MANUAL,
    }[radar.inputs.speed]
    return [
        encode.osd(h, course_deg=None if h is None else c, speed_kn=s, reference=reference, talker=radar.talker)
        for h, c, s in zip(_known(fed.heading_deg), course.tolist(), speed.tolist(), strict=True)
    ]


def _targets(passage: Passage) -> Iterator[Stream]:
    radar, sweeps = passage.radar, passage.sweeps
    assert sweeps is not None
    told = reports(radar, sweeps, passage.scenario.duration_s)
    writers: dict[str, Callable[[], Stream]] = {
        "TTM": lambda: Stream(told.times_s, _Targets(passage, told).ttm),
        "TLL": lambda: Stream(told.times_s + SPACING_S, _Targets(passage, told).tll),
        "TTD": lambda: Stream(told.times_s, _Targets(passage, told).ttd),
        "TLB": lambda: _labels(passage, told),
    }
    yield from (writers[kind]() for kind in radar.sentences)


class _Targets:
    """What the set reports of its targets, and how each sentence tells it."""

    def __init__(self, passage: Passage, told: Reports) -> None:
        assert passage.sweeps is not None
        self.passage, self.radar, self.told, self.sweeps = passage, passage.radar, told, passage.sweeps

    def _columns(self, i: int, j: int) -> tuple[Tracks, list[int], list[int], list[float], list[int]]:
        """The set's answers for some reports, and their numbers, states, UTC seconds of the day and targets."""
        row, column = self.told.row[i:j], self.told.column[i:j]
        answers = Tracks(*(a[row, column] for a in self.sweeps.tracks))
        looked = self.sweeps.echoes.times_s[row, column] + self.passage.scenario.start_ms % 86_400_000 / 1000.0
        return (
            answers,
            self.told.number[i:j].tolist(),
            self.told.status[i:j].tolist(),
            (looked % 86_400.0).tolist(),
            column.tolist(),
        )

    def ttm(self, i: int, j: int) -> list[str]:
        answers, numbers, states, times, columns = self._columns(i, j)
        plain = zip(
            answers.range_nm.tolist(),
            answers.bearing_deg.tolist(),
            answers.course_deg.tolist(),
            answers.speed_kn.tolist(),
            answers.cpa_nm.tolist(),
            _known(answers.tcpa_min),
            answers.relative.tolist(),
            strict=True,
        )
        radar, targets = self.radar, self.sweeps.targets
        headings = self._relative_to(i, j)
        lines = []
        for k, (range_nm, bearing, course, speed, cpa, tcpa, relative) in enumerate(plain):
            state = states[k]
            motion = (speed, course, cpa, tcpa) if state == TRACKING else unsettled(radar, state, bearing, cpa)
            reference = Reference.RELATIVE if relative or radar.bearing == "relative" else Reference.TRUE
            automatic = targets[columns[k]].acquisition == "automatic"
            lines.append(
                encode.ttm(
                    numbers[k],
                    range_nm,
                    bearing if headings is None or relative else bearing - headings[k],
                    bearing_reference=reference,
                    speed_kn=motion[0],
                    course_deg=motion[1],
                    course_reference=Reference.RELATIVE if relative else Reference.TRUE,
                    cpa_nm=motion[2],
                    tcpa_min=motion[3],
                    status=_STATUS[state],
                    time_of_day_s=times[k] if radar.time_of_data else None,
                    acquisition=Acquisition.AUTOMATIC if automatic else Acquisition.MANUAL,
                    talker=radar.talker,
                    units=radar.units,
                    fields=radar.ttm_fields,
                )
            )
        return lines

    def _relative_to(self, i: int, j: int) -> list[float] | None:
        """Headings to take off the bearings, where the set reports relative ones: those it made them true with."""
        if self.radar.bearing != "relative":
            return None
        row, column = self.told.row[i:j], self.told.column[i:j]
        measured = self.sweeps.echoes
        taken = self.sweeps.tracks.bearing_deg[row, column] - measured.relative_deg[row, column]
        headings: list[float] = taken.tolist()
        return headings

    def tll(self, i: int, j: int) -> list[str]:
        """Positions from the set's range and bearing and the receiver's fix; nothing where either is missing."""
        receiver = self.passage.sensors[1]
        answers, numbers, states, times, _ = self._columns(i, j)
        row, column = self.told.row[i:j], self.told.column[i:j]
        looked = self.sweeps.echoes.times_s[row, column]
        if receiver is None:
            return [""] * (j - i)
        lat, lon = destination(*receiver.position(looked), answers.bearing_deg, answers.range_nm)
        known = ~np.isnan(lat) & ~answers.relative
        return [
            encode.tll(number, la, lo, time_of_day_s=at, status=_STATUS[state], talker=self.radar.talker)
            if there
            else ""
            for number, la, lo, at, state, there in zip(
                numbers, lat.tolist(), lon.tolist(), times, states, known.tolist(), strict=True
            )
        ]

    def ttd(self, i: int, j: int) -> list[str]:
        """One compressed target to a sentence; CPA and TCPA follow in structure 1 once it is tracked."""
        answers, numbers, states, _, _ = self._columns(i, j)
        lines = []
        for k, state in enumerate(states):
            moving = state == TRACKING
            tcpa = float(answers.tcpa_min[k])
            target = encode.CompressedTarget(
                number=numbers[k],
                bearing_deg=float(answers.bearing_deg[k]),
                range_nm=float(answers.range_nm[k]),
                speed_kn=float(answers.speed_kn[k]) if moving else None,
                course_deg=float(answers.course_deg[k]) if moving else None,
                status={ACQUIRING: 1, LOST: 2, TRACKING: 4}[state],
                water=self.radar.inputs.speed == "log",
            )
            prediction = encode.CompressedPrediction(
                number=numbers[k], cpa_nm=float(answers.cpa_nm[k]), tcpa_min=None if np.isnan(tcpa) else tcpa
            )
            lines.append("\n".join(encode.ttd([target]) + (encode.ttd([prediction]) if moving else [])))
        return lines


Motion = tuple[float | None, float | None, float | None, float | None]


def unsettled(radar: Radar, state: int, bearing_deg: float, cpa_nm: float) -> Motion:
    """Speed, course, CPA and TCPA of a target that is not tracked, as sets of various makes fill the fields."""
    kind = radar.acquiring_fields
    if kind == "placeholder":
        return 0.0, 2.9, None, LOST_TCPA_MIN
    if kind == "zero" and state == ACQUIRING:
        return 0.0, bearing_deg, 0.0, 0.0
    if kind == "cpa only" and state == ACQUIRING:
        return None, None, cpa_nm, None
    return None, None, None, None


def _labels(passage: Passage, told: Reports) -> Stream:
    """TLB each half minute: the names of the targets that were reported in the last ten seconds."""
    times = np.arange(5.0, passage.scenario.duration_s, LABELS_EVERY_S)
    assert passage.sweeps is not None
    names = [target.name for target in passage.sweeps.targets]
    talker = passage.radar.talker

    def write(i: int, j: int) -> list[str]:
        lines = []
        for at in times[i:j].tolist():
            first, last = np.searchsorted(told.times_s, [at - 10.0, at])
            held = dict(zip(told.number[first:last].tolist(), told.column[first:last].tolist(), strict=True))
            pairs = [(number, names[column][:12]) for number, column in sorted(held.items())]
            lines.append("\n".join(encode.tlb(pairs[k : k + 3], talker=talker) for k in range(0, len(pairs), 3)))
        return lines

    return Stream(times, write)


# ---------------------------------------------------------------------------------------------------- text


def _texts(passage: Passage) -> Iterator[Stream]:
    notes = sorted(passage.scenario.notes, key=lambda note: note.at_min)
    if notes:
        times = np.array([note.at_min * 60.0 for note in notes])
        yield Stream(times, lambda i, j: [encode.txt(note.text) for note in notes[i:j]])
