"""What the set says of its targets, as streams of TTM, TLL, TTD and TLB."""

from collections.abc import Callable, Iterator

import numpy as np

from daemon.exercise.geodesy import destination
from daemon.exercise.passage import Passage
from daemon.exercise.reports import Reports, reports
from daemon.exercise.scenario import Radar
from daemon.exercise.sentence_stream import SPACING_S, Stream, known
from daemon.exercise.tracker import ACQUIRING, LOST, TRACKING, Tracks
from parsers import encode
from parsers.encode_ttd import CompressedPrediction, CompressedTarget, ttd
from parsers.observations import Acquisition, Reference, TargetStatus

LOST_TCPA_MIN = 24_751_376.1
"""What a set was seen to write for a target that it has lost (a real recording of a moored craft)."""

LABELS_EVERY_S = 30.0

Answer = tuple[float, float, float, float, float, float | None, bool]
"""Range, bearing, course, speed, CPA, TCPA, and whether all that is relative to the bow."""

Motion = tuple[float | None, float | None, float | None, float | None]

_STATUS = {ACQUIRING: TargetStatus.ACQUIRING, TRACKING: TargetStatus.TRACKING, LOST: TargetStatus.LOST}


def water_referenced(passage: Passage) -> bool:
    """Whether the set's courses and speeds are through the water."""
    log = passage.scenario.sensors.speed
    return passage.radar.inputs.speed == "log" and (log is None or log.reference == "water")


def target_streams(passage: Passage) -> Iterator[Stream]:
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
            known(answers.tcpa_min),
            answers.relative.tolist(),
            strict=True,
        )
        headings = self._relative_to(i, j)
        return [
            self._ttm(row, numbers[k], states[k], times[k], columns[k], None if headings is None else headings[k])
            for k, row in enumerate(plain)
        ]

    def _ttm(
        self, row: Answer, number: int, state: int, time_of_day_s: float, column: int, heading_deg: float | None
    ) -> str:
        range_nm, bearing, course, speed, cpa, tcpa, relative = row
        radar = self.radar
        motion = (speed, course, cpa, tcpa) if state == TRACKING else unsettled(radar, state, bearing, cpa)
        automatic = self.sweeps.targets[column].acquisition == "automatic"
        return encode.ttm(
            number,
            range_nm,
            bearing if heading_deg is None or relative else bearing - heading_deg,
            bearing_reference=Reference.RELATIVE if relative or radar.bearing == "relative" else Reference.TRUE,
            speed_kn=motion[0],
            course_deg=motion[1],
            course_reference=Reference.RELATIVE if relative else Reference.TRUE,
            cpa_nm=motion[2],
            tcpa_min=motion[3],
            status=_STATUS[state],
            time_of_day_s=time_of_day_s if radar.time_of_data else None,
            acquisition=Acquisition.AUTOMATIC if automatic else Acquisition.MANUAL,
            talker=radar.talker,
            units=radar.units,
            fields=radar.ttm_fields,
        )

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
            target = CompressedTarget(
                number=numbers[k],
                bearing_deg=float(answers.bearing_deg[k]),
                range_nm=float(answers.range_nm[k]),
                speed_kn=float(answers.speed_kn[k]) if moving else None,
                course_deg=float(answers.course_deg[k]) if moving else None,
                status={ACQUIRING: 1, LOST: 2, TRACKING: 4}[state],
                water=water_referenced(self.passage),
            )
            prediction = CompressedPrediction(
                number=numbers[k], cpa_nm=float(answers.cpa_nm[k]), tcpa_min=None if np.isnan(tcpa) else tcpa
            )
            lines.append("\n".join(ttd([target]) + (ttd([prediction]) if moving else [])))
        return lines


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
