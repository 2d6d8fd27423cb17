"""The set of an exercise: what it says while acquiring, losing, repeating, overloaded or wrongly fed."""

import itertools
from datetime import UTC, datetime

import msgspec
import numpy as np
import pytest

from daemon.exercise import generate
from daemon.exercise.passage import Passage
from daemon.exercise.scenario import (
    Ais,
    Failure,
    HeadingSensor,
    Mark,
    OwnShip,
    Place,
    PositionSensor,
    Radar,
    RadarErrors,
    RadarFault,
    RadarInputs,
    ScaleChange,
    Scenario,
    Sensors,
    Span,
    SpeedSensor,
    Target,
    TidalStream,
)
from daemon.exercise.tracker import TRACKING

NO_NOISE = RadarErrors()
QUIET = Sensors(
    heading=HeadingSensor(noise_deg=0, rate_hz=1),
    position=PositionSensor(noise_m=0, speed_noise_kn=0),
    speed=SpeedSensor(noise_kn=0),
)
TARGET = Target(name="one", range_nm=4, bearing_deg=60, course_deg=240, speed_kn=9)


def scenario(*targets: Target, minutes: float = 8, sensors: Sensors = QUIET, **radar: object) -> Scenario:
    return Scenario(
        title="test",
        start=datetime(2027, 1, 15, 8, tzinfo=UTC),
        duration_min=minutes,
        place=Place(lat_deg=50.0, lon_deg=-5.0),
        own_ship=OwnShip(course_deg=30.0, speed_kn=10.0),
        sensors=sensors,
        radar=Radar(**{"errors": NO_NOISE, "inputs": RadarInputs(speed="log"), **radar}),  # type: ignore[arg-type]
        targets=targets or (TARGET,),
    )


def said(made: Scenario, kind: str = "TTM") -> list[tuple[float, list[str]]]:
    """Seconds from the start and fields of each sentence of a kind."""
    return [
        ((at - made.start_ms) / 1000, line.split("*")[0].split(","))
        for at, line in generate.lines(made)
        if line[3:6] == kind
    ]


@pytest.mark.parametrize(
    ("style", "motion"),
    [
        ("null", ["", "", "", ""]),
        ("zero", ["0.0", None, "0.00", "0.0"]),
        ("cpa only", ["", "", None, ""]),
        ("placeholder", ["0.0", "2.9", "", "24751376.1"]),
    ],
)
def test_while_acquiring_the_fields_hold_what_sets_put_there(style: str, motion: list[str | None]) -> None:
    """Status Q for the time stated, with nothing, zeros, a CPA alone, or a placeholder; then T with real numbers."""
    made = said(scenario(acquisition_s=20.0, acquiring_fields=style))
    acquiring = [fields for at, fields in made if at < 19]
    fields = acquiring[3]

    assert {f[12] for f in acquiring} == {"Q"}
    assert {f[12] for at, f in made if at > 24} == {"T"}
    for found, expected in zip((fields[5], fields[6], fields[8], fields[9]), motion, strict=True):
        assert found if expected is None else found == expected


def test_an_honest_set_without_errors_is_right() -> None:
    """After three minutes its course, speed, CPA and TCPA are the target's own, to the last figure but one."""
    fields = said(scenario())[-1][1]
    made = Passage(scenario())
    assert made.sweeps is not None
    truth = made.sweeps.echoes.target

    assert float(fields[5]) == pytest.approx(9.0, abs=0.11)
    assert float(fields[6]) == pytest.approx(240.0, abs=0.3)
    assert np.hypot(truth.east_kn[-1, 0], truth.north_kn[-1, 0]) == pytest.approx(9.0)


@pytest.mark.parametrize(("inputs", "stream", "vector"), [
    (RadarInputs(speed="log", speed_bias_kn=3.0), TidalStream(), (3.0, 30.0)),
    (RadarInputs(speed="log", speed_factor=0.5), TidalStream(), (5.0, 210.0)),
    (RadarInputs(speed="manual", manual_speed_kn=12.0), TidalStream(), (2.0, 30.0)),
    (RadarInputs(speed="log"), TidalStream(set_deg=100, drift_kn=2), (2.0, 280.0)),
    (RadarInputs(speed="ground"), TidalStream(set_deg=100, drift_kn=2), (0.0, 0.0)),
])  # fmt: skip
def test_a_wrong_speed_input_is_one_vector(
    inputs: RadarInputs, stream: TidalStream, vector: tuple[float, float]
) -> None:
    """Reported less true motion is the same for all targets: the input's own error; the CPA is not touched.

    Water-referenced reports in a stream are the same thing: the vector is the stream's, reversed.
    """
    other = Target(name="two", range_nm=3, bearing_deg=300, course_deg=90, speed_kn=14)
    sweeps = Passage(msgspec.structs.replace(scenario(TARGET, other, inputs=inputs), tidal_stream=stream)).sweeps
    assert sweeps is not None
    reported = sweeps.tracks.speed_kn[-1] * np.exp(1j * np.radians(sweeps.tracks.course_deg[-1]))
    true = sweeps.echoes.target.north_kn[-1] + 1j * sweeps.echoes.target.east_kn[-1]
    expected = vector[0] * np.exp(1j * np.radians(vector[1]))

    assert np.allclose(reported - true, expected, atol=0.12)


def test_a_wrong_heading_input_turns_the_picture() -> None:
    """A heading 4 degrees too high makes every bearing 4 degrees too high, and every course."""
    honest, wrong = (said(scenario(inputs=RadarInputs(heading_bias_deg=bias)))[-1][1] for bias in (0.0, 4.0))

    assert float(wrong[3]) - float(honest[3]) == pytest.approx(4.0, abs=0.11)
    assert float(wrong[2]) == float(honest[2])
    assert float(wrong[8]) == pytest.approx(float(honest[8]), abs=0.05)


def test_a_late_heading_swings_with_the_yaw() -> None:
    """A yaw of 5 degrees in 8 s, a heading half a second late: bearings swing by 5 x 2 pi x 0.5 / 8, some 2 degrees."""
    made = scenario(inputs=RadarInputs(heading_delay_s=0.5))
    yawing = msgspec.structs.replace(made.own_ship, yaw_deg=5.0, yaw_period_s=8.0)
    sweeps = Passage(msgspec.structs.replace(made, own_ship=yawing)).sweeps
    assert sweeps is not None
    off = (sweeps.tracks.bearing_deg - sweeps.echoes.true_bearing_deg + 180) % 360 - 180

    assert 1.2 < np.abs(off).max() < 2.6
    assert abs(off.mean()) < 0.2


def test_lost_and_found_again() -> None:
    """No echo for ten scans: L, with the number free; with the echo it begins anew at Q, under the lowest number."""
    away = msgspec.structs.replace(TARGET, unseen=(Span(from_min=3, until_min=5),))
    made = said(scenario(away, lost_after_scans=10, lost_reports=2, acquisition_s=10.0))
    states = [(at, fields[12]) for at, fields in made]
    lost = [at for at, state in states if state == "L"]

    assert len(lost) == 2
    assert 180 + 9 * 2.5 <= lost[0] <= 180 + 12 * 2.5
    assert not [at for at, _ in states if lost[-1] < at < 300]
    assert [state for at, state in states if 300 <= at < 308][:3] == ["Q"] * 3
    assert {fields[1] for _, fields in made} == {"01"}


def test_what_is_missed_is_predicted_or_left_out() -> None:
    """A set that sees half the scans reports each of them all the same, or, where the scenario says so, only those."""
    every = said(scenario(detection=0.5))
    only = said(scenario(detection=0.5, missed="nothing"))

    assert len(every) == pytest.approx(192, abs=2)
    assert len(only) == pytest.approx(96, abs=20)


def test_scans_and_report_orders() -> None:
    """Swept, in one burst, or in turn: the same targets at other times; repeats where reports outrun the antenna."""
    many = [Target(name=f"t{i}", range_nm=2 + i, bearing_deg=90.0 * i) for i in range(4)]
    swept = said(scenario(*many))
    burst = said(scenario(*many, report_order="burst"))
    turn = said(scenario(*many, report_order="in turn", report_interval_s=4.0))
    fast = said(scenario(report_interval_s=1.0, scan_s=3.0))

    assert len({round(at % 2.5, 1) for at, _ in swept}) > 3
    assert {round(at % 2.5, 3) for at, _ in burst} == {0.0}
    assert np.allclose(np.diff([at for at, _ in turn[4:]]), 1.0)
    values = [(fields[2], fields[3]) for _, fields in fast]
    repeated = sum(a == b for a, b in itertools.pairwise(values))
    assert repeated == pytest.approx(len(values) * 2 / 3, rel=0.1)
    assert len({fields[14] for _, fields in fast}) < len(fast) / 2, "the time of data is the measurement's"


def test_capacity_range_and_acquisition_bound_what_is_tracked() -> None:
    """No more targets than the set holds; none nearer or farther than it sees; none before it is acquired or after."""
    many = [Target(name=f"t{i}", range_nm=1.0 + i, bearing_deg=30.0 * i) for i in range(8)]
    assert len({f[1] for _, f in said(scenario(*many, capacity=5))}) == 5
    own = [
        Target(name=f"at {r}", range_nm=r, bearing_deg=30.0, course_deg=30.0, speed_kn=10.0) for r in (0.1, 3.0, 9.0)
    ]
    ranges = [float(f[2]) for _, f in said(scenario(*own, min_range_nm=0.5, max_range_nm=6.0))]
    assert (min(ranges), max(ranges)) == pytest.approx((3.0, 3.0), abs=0.02)
    late = Target(name="late", range_nm=3, bearing_deg=0, acquire_min=2.0, drop_min=4.0)
    heard = [at for at, _ in said(scenario(late))]
    assert (min(heard), max(heard)) == pytest.approx((120, 240), abs=3)
    assert not [f for _, f in said(scenario(late)) if f[12] == "L"]


def test_a_change_of_scale_blanks_the_picture() -> None:
    """Told by RSD at once; for the stated scans there is no echo, and the tracker runs on by prediction."""
    change = ScaleChange(at_min=4, range_scale_nm=3)
    made = scenario(scale_changes=(change,), blank_scans=4, range_scale_nm=6.0, rsd_interval_s=60.0)
    told = [(at, fields[11]) for at, fields in said(made, "RSD")]
    sweeps = Passage(made).sweeps
    assert sweeps is not None
    blank = np.flatnonzero(~sweeps.seen[:, 0])

    assert [scale for at, scale in told if at < 240][-1] == "6"
    assert next((at, scale) for at, scale in told if scale == "3") == (240.2, "3")
    assert len(blank) == 4
    assert set(sweeps.tracks.status[blank, 0]) == {TRACKING}


def test_faults_in_time() -> None:
    """Old measurements under new times; silence; a second number."""
    repeat = said(scenario(faults=(RadarFault(kind="repeat", from_min=3, until_min=4),)))
    during = {(f[2], f[3]) for at, f in repeat if 184 < at < 238}
    silent = said(scenario(faults=(RadarFault(kind="silent", from_min=3, until_min=4),)))
    double = said(
        scenario(faults=(RadarFault(kind="duplicate", from_min=3, until_min=4, targets=("one",), number=44),))
    )

    assert len(during) == 1
    assert not [at for at, _ in silent if 180 <= at < 240]
    assert len([1 for _, f in double if f[1] == "44"]) == 24


def test_without_a_heading_everything_is_relative() -> None:
    """No compass: bearings off the bow with R, courses with R; with a compass on a relative display only bearings."""
    none = said(scenario(inputs=RadarInputs(heading="none")))[-1][1]
    display = said(scenario(bearing="relative"))[-1][1]
    true = said(scenario())[-1][1]

    assert (none[4], none[7]) == ("R", "R")
    assert (display[4], display[7]) == ("R", "T")
    assert float(none[3]) == pytest.approx((float(true[3]) - 30) % 360, abs=0.2)
    assert float(display[3]) == pytest.approx((float(true[3]) - 30) % 360, abs=0.2)
    assert float(none[8]) == pytest.approx(float(true[8]), abs=0.05)


def test_units_forms_and_other_sentences() -> None:
    """TTM in kilometres; TLL at the true place; TTD and TLB beside it."""
    import pynmea2
    from geographiclib.geodesic import Geodesic

    made = scenario(sentences=("TTM", "TLL", "TTD", "TLB"), units="K")
    ttm, tll = said(made)[-1][1], said(made, "TLL")[-1]
    parsed = pynmea2.parse(next(line for _, line in reversed(list(generate.lines(made))) if "TLL" in line), check=True)
    passage = Passage(made)
    assert passage.sweeps is not None
    looked = passage.sweeps.echoes.target
    off = Geodesic.WGS84.Inverse(parsed.latitude, parsed.longitude, looked.lat_deg[-1, 0], looked.lon_deg[-1, 0])

    assert ttm[10] == "K"
    assert float(ttm[2]) == pytest.approx(passage.sweeps.echoes.true_range_nm[-1, 0] * 1.852, abs=0.006)
    assert tll[1][1] == "01"
    assert off["s12"] < 15  # 0.1 degree and the minute's thousandths
    assert said(made, "TTD")
    assert said(made, "TLB")[-1][1] == ["$RATLB", "1", "one"]


@pytest.mark.parametrize(("how", "values"), [("silent", 0), ("null", 1), ("frozen", 1), ("offset", 60)])
def test_a_failing_compass(how: str, values: int) -> None:
    """Silent: no sentence. Null: sentences without a heading. Frozen: one value. Offset: wrong by what is stated."""
    failing = HeadingSensor(
        rate_hz=1,
        noise_deg=0.2,
        decimals=3,
        failures=(Failure(from_min=2, until_min=3, how=how, offset=20),),  # type: ignore[arg-type]
    )
    made = scenario(sensors=Sensors(heading=failing, position=QUIET.position, speed=QUIET.speed))
    during = [fields[1] for at, fields in said(made, "HDT") if 120 <= at < 180]

    assert len(set(during)) == values
    if how == "null":
        assert set(during) == {""}
    if how == "offset":
        assert np.mean([float(v) for v in during]) == pytest.approx(50, abs=0.2)


def test_a_receiver_that_stands_still_repeats_its_fix() -> None:
    """Frozen from minute 2 to 3: one position under a running clock, and then the ship has jumped on."""
    frozen = (Failure(from_min=2, until_min=3, how="frozen"),)
    made = scenario(sensors=msgspec.structs.replace(QUIET, position=PositionSensor(failures=frozen)))
    fixes = [(at, fields[3:9]) for at, fields in said(made, "RMC")]
    standing = [fix for at, fix in fixes if 120 <= at < 180]

    assert len(standing) > 50
    assert all(fix == standing[0] for fix in standing)
    assert next(fix for at, fix in fixes if at >= 181)[0] != standing[0][0]


def test_ebl_and_vrm_are_laid_each_by_itself() -> None:
    """A mark whose part is the VRM leaves the EBL where it was, and the other way round."""
    laid = (
        Mark(at_min=1, range_nm=2.0, bearing_deg=30.0),
        Mark(at_min=2, range_nm=3.0, bearing_deg=90.0, parts="vrm"),
        Mark(at_min=3, range_nm=5.0, bearing_deg=60.0, parts="ebl"),
    )
    made = msgspec.structs.replace(scenario(minutes=4), marks=laid)
    shown = {int(at // 60): tuple(fields[3:5]) for at, fields in said(made, "RSD")}

    assert shown == {0: ("", ""), 1: ("2.00", "30.0"), 2: ("3.00", "30.0"), 3: ("3.00", "60.0")}


def test_a_target_that_is_cancelled_is_not_told_as_lost() -> None:
    """Lost, and cancelled by the operator before all reports of that are sent: no more of them."""
    gone = msgspec.structs.replace(TARGET, unseen=(Span(from_min=2, until_min=8),))
    cancelled = msgspec.structs.replace(gone, drop_min=2.5)
    lost = {"lost_after_scans": 10, "lost_reports": 20}

    assert sum(f[12] == "L" for _, f in said(scenario(gone, **lost))) == 20  # type: ignore[arg-type]
    assert 0 < sum(f[12] == "L" for _, f in said(scenario(cancelled, **lost))) < 5  # type: ignore[arg-type]


def test_ais_reports_are_lost_and_late_as_stated() -> None:
    """A third lost; the rest late by one to three seconds, put on the line as they arrive."""
    from daemon.exercise.ais import Positions

    ais = Ais(mmsi=999_000_001, interval_s=2.0, loss=1 / 3, delay_s=1.0, delay_spread_s=2.0)
    passage = Passage(scenario(msgspec.structs.replace(TARGET, ais=ais), minutes=60))
    found = Positions(passage, 0, passage.scenario.targets[0], ais, np.random.default_rng(5))
    late = found.arrives_s - found.at_s

    assert len(found.at_s) == pytest.approx(1200, rel=0.05)
    assert late.min() == pytest.approx(1.0, abs=0.01)
    assert late.max() == pytest.approx(3.0, abs=0.01)
    assert np.all(np.diff(found.arrives_s[found.order()]) >= 0)


def test_sensor_errors_have_the_size_they_state() -> None:
    """Compass noise, bias and delay; position error; log factor."""
    sensors = Sensors(
        heading=HeadingSensor(noise_deg=0.8, bias_deg=2.0, rate_hz=10, decimals=3),
        position=PositionSensor(noise_m=12, speed_noise_kn=0.3, offset_east_m=50),
        speed=SpeedSensor(factor=1.1, bias_kn=-0.5, noise_kn=0.0),
    )
    made = scenario(sensors=sensors, minutes=60)
    headings = np.array([float(f[1]) for _, f in said(made, "HDT")])
    speeds = np.array([float(f[7]) for _, f in said(made, "RMC")])
    stw = {float(f[5]) for _, f in said(made, "VHW")}

    assert headings.std() == pytest.approx(0.8, rel=0.03)
    assert headings.mean() == pytest.approx(32.0, abs=0.05)
    assert speeds.std() == pytest.approx(0.3, rel=0.05)
    assert stw == {10.5}
    passage = Passage(made)
    assert passage.sensors[1] is not None
    times = np.arange(0.0, 3600.0, 5.0)
    lat, lon = passage.sensors[1].position(times)
    true = passage.own.state(times)
    north = (lat - true.lat_deg) * 60 * 1853.8  # metres in a minute of latitude at 50 degrees (WGS-84)
    east = (lon - true.lon_deg) * 60 * 1194.9
    assert east.mean() == pytest.approx(50, abs=12)
    assert np.hypot(north.std(), east.std()) / np.sqrt(2) == pytest.approx(12, rel=0.35)  # slow: few are independent


def test_a_log_tells_what_it_measures_against() -> None:
    """In a stream of 2 kn from ahead: 10 through the water in the water fields, 8 over the ground in the others."""
    against = TidalStream(set_deg=210, drift_kn=2)
    for reference, fields in (("water", ["10.00", "", "A", "", "", "V"]), ("ground", ["", "", "V", "8.00", "", "A"])):
        log = SpeedSensor(sentences=("VBW",), noise_kn=0, reference=reference)  # type: ignore[arg-type]
        made = scenario(sensors=msgspec.structs.replace(QUIET, speed=log))
        told = said(msgspec.structs.replace(made, tidal_stream=against), "VBW")

        assert told[-1][1][1:7] == fields


def test_late_readings_are_those_of_before() -> None:
    """While own ship slows down by 6 kn in a minute, a log that is 5 s late reads 0.5 kn more, a compass likewise."""
    from daemon.exercise.scenario import Leg

    slowing = (Leg(at_min=2, speed_kn=4.0, course_deg=90.0, speed_rate_kn_min=6, turn_rate_deg_min=60),)
    read: dict[float, tuple[float, float]] = {}
    for delay in (0.0, 5.0):
        sensors = msgspec.structs.replace(
            QUIET, speed=SpeedSensor(noise_kn=0, delay_s=delay), heading=HeadingSensor(noise_deg=0, delay_s=delay)
        )
        made = scenario(sensors=sensors)
        made = msgspec.structs.replace(made, own_ship=msgspec.structs.replace(made.own_ship, legs=slowing))
        speed = next(float(f[5]) for at, f in said(made, "VHW") if at > 150)
        heading = next(float(f[1]) for at, f in said(made, "HDT") if at >= 150)
        read[delay] = speed, heading

    assert read[5.0][0] - read[0.0][0] == pytest.approx(0.5, abs=0.011)
    assert read[0.0][1] - read[5.0][1] == pytest.approx(5.0, abs=0.11)


def test_ais_carries_any_name_and_any_speed() -> None:
    """Accents are left off and letters that six bits do not hold are told as '?'; 115 kn read 102.2, not 12.6."""
    import pyais

    against = TidalStream(set_deg=240, drift_kn=15)
    fast = msgspec.structs.replace(
        TARGET, name="Göta Älv {1} @€", speed_kn=100.0, over="water", ais=Ais(mmsi=999_000_001, delay_spread_s=0.0)
    )
    made = msgspec.structs.replace(scenario(fast, minutes=1), tidal_stream=against)
    lines = [line for _, line in generate.lines(made) if line.startswith("!AIVDM")]
    reports = [pyais.decode(line).asdict() for line in lines if ",1,1,," in line]
    static = pyais.decode(*[line for line in lines if ",2," in line][:2]).asdict()

    assert static["shipname"] == "GOTA ALV ?1? ??"
    assert {report["speed"] for report in reports} == {102.2}
