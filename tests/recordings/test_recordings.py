"""The invented passages: made again from their scenarios, true by geographiclib, valid by pynmea2 and pyais."""

import gzip
import itertools
import json
import re
from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pyais
import pynmea2
import pytest
from geographiclib.geodesic import Geodesic

from daemon.exercise import generate, reading
from daemon.exercise.passage import Passage
from daemon.exercise.truth import encoder, records

FOLDER = Path(__file__).resolve().parent.parent.parent / "recordings"
NAMES = sorted(path.stem for path in FOLDER.glob("*.toml"))
LIMIT_M = 5.0
NM_M = 1852.0

NO_CLASS = {"RSD", "THS"}  # sentences that pynmea2 has no class for


@cache
def passage(name: str) -> Passage:
    return Passage(reading.load(FOLDER / f"{name}.toml"))


@cache
def lines(name: str) -> tuple[str, ...]:
    """The recording's lines without their line ends."""
    data = gzip.decompress((FOLDER / f"{name}.nmea.gz").read_bytes())
    assert data.endswith(b"\r\n")
    return tuple(data.decode("ascii").removesuffix("\r\n").split("\r\n"))


@cache
def truth(name: str) -> tuple[dict, ...]:  # type: ignore[type-arg]
    data = gzip.decompress((FOLDER / f"{name}.truth.jsonl.gz").read_bytes())
    return tuple(json.loads(line) for line in data.splitlines())


def sentences(name: str) -> list[str]:
    """The sentences behind their TAG blocks."""
    return [line.split("\\")[2] for line in lines(name)]


def at_minutes(name: str) -> list[float]:
    """When each line came, in minutes from the start."""
    start = passage(name).scenario.start_ms
    return [(int(line[line.index("c:") + 2 :].split("*")[0]) - start) / 60_000 for line in lines(name)]


def reports(name: str, kind: str = "TTM") -> list[tuple[float, list[str]]]:
    """Minute and fields (from 1; 0 is the address) of every sentence of a kind."""
    return [
        (at, line.split("*")[0].split(","))
        for at, line in zip(at_minutes(name), sentences(name), strict=True)
        if line[3:6] == kind
    ]


def closest(name: str) -> dict[str, float]:
    return {record["target"]: record["cpa_nm"] for record in truth(name) if record["record"] == "closest approach"}


# ---------------------------------------------------------------------------------------------- all of them


def test_there_are_enough_and_they_are_small() -> None:
    """At least eight passages, under 3 MB together, each with scenario, truth and its line in the README."""
    readme = (FOLDER / "README.md").read_text(encoding="utf-8")
    size = sum(path.stat().st_size for path in FOLDER.iterdir())

    assert len(NAMES) >= 8
    assert size < 3_000_000
    assert sorted(re.findall(r"^\| `([a-z-]+)` \|", readme, flags=re.MULTILINE)) == NAMES
    assert {path.name for path in FOLDER.iterdir()} == {
        "README.md",
        *(name + end for name in NAMES for end in (".toml", ".nmea.gz", ".truth.jsonl.gz")),
    }


@pytest.mark.parametrize("name", NAMES)
def test_made_again_byte_for_byte(name: str) -> None:
    """The scenario file gives the recording and its truth as they lie here, every byte of both."""
    made = "".join(f"{line}\r\n" for line in generate.tagged(generate.lines(passage(name))))
    told = b"".join(encoder.encode(record) + b"\n" for record in records(passage(name)))

    assert made.encode("ascii") == gzip.decompress((FOLDER / f"{name}.nmea.gz").read_bytes())
    assert told == gzip.decompress((FOLDER / f"{name}.truth.jsonl.gz").read_bytes())


@pytest.mark.parametrize("name", NAMES)
def test_truth_agrees_with_the_geodesic(name: str) -> None:
    """Range and bearing of every target at every moment, within 5 m along and across; own track by its own motion."""
    now = [record for record in truth(name) if record["record"] == "situation"]
    reckoned = None
    for before, after in zip([None, *now], now, strict=False):
        own = after["own_ship"]
        for target in after["targets"]:
            line = Geodesic.WGS84.Inverse(own["lat_deg"], own["lon_deg"], target["lat_deg"], target["lon_deg"])
            across = np.radians((line["azi1"] - target["bearing_deg"] + 180) % 360 - 180) * line["s12"]

            assert abs(line["s12"] - target["range_nm"] * NM_M) < LIMIT_M
            assert abs(across) < LIMIT_M
        if before is None:
            reckoned = own["lat_deg"], own["lon_deg"]
            continue
        velocity = sum(
            ship["sog_kn"] * np.exp(1j * np.radians(ship["cog_deg"])) / 2 for ship in (before["own_ship"], own)
        )
        assert reckoned is not None
        run = Geodesic.WGS84.Direct(*reckoned, np.degrees(np.angle(velocity)), abs(velocity) * NM_M / 360)
        reckoned = run["lat2"], run["lon2"]
        off = Geodesic.WGS84.Inverse(*reckoned, own["lat_deg"], own["lon_deg"])["s12"]

        assert off < LIMIT_M


@pytest.mark.parametrize("name", NAMES)
def test_closest_approaches_are_those_of_the_tracks(name: str) -> None:
    """No situation of the truth is nearer than the closest approach, and the nearest comes close to it."""
    least: dict[str, float] = {}
    for record in truth(name):
        for target in record.get("targets", ()):
            least[target["target"]] = min(least.get(target["target"], 99.0), target["range_nm"])
    for target, cpa in closest(name).items():
        assert cpa <= least[target] + 1e-3
        assert least[target] - cpa < 0.05


@pytest.mark.parametrize("name", NAMES)
def test_sentences_are_valid(name: str) -> None:
    """By pynmea2 with its checksum required, by pyais for AIS; none over 82 characters with its line end."""
    parts: list[str] = []
    for line in sentences(name):
        assert len(line) + 2 <= 82
        if line.startswith("!"):
            parts = [*parts, line] if line.split(",")[2] != "1" else [line]
            if line.split(",")[1] == line.split(",")[2]:
                assert int(str(pyais.decode(*parts).asdict()["mmsi"])) > 0
        elif line[3:6] in NO_CLASS:
            with pytest.raises(pynmea2.SentenceTypeError):  # raised after the checksum has been found right
                pynmea2.parse(line, check=True)
        else:
            parsed = pynmea2.parse(line, check=True)
            assert parsed.sentence_type == line[3:6]


@pytest.mark.parametrize("name", NAMES)
def test_lines_are_in_order_and_the_line_carries_them(name: str) -> None:
    """Times never go back; no second holds more than 38,400 baud carry, as the generator says too."""
    times = at_minutes(name)
    load = generate.Load(38400)
    per_second = Counter(int(at * 60 + 1e-6) for at in times)
    made = [(round(at * 60_000), line) for at, line in zip(times, sentences(name), strict=True)]
    for _ in generate.counted(iter(made), load):
        pass

    assert times == sorted(times)
    assert load.fits
    assert load.sentences == sum(per_second.values())
    assert load.busiest_characters * 10 <= 38400


# --------------------------------------------------------------------------------------------- one by one


def test_fog_crossing_is_what_it_says() -> None:
    """One target on a steady bearing well inside half a mile, the others beyond 0.6; yaw at 10 Hz; a range change."""
    name = "fog-crossing"
    near = closest(name)
    headings = [float(fields[1]) for _, fields in reports(name, "HDT")]
    scales = [float(fields[11]) for _, fields in reports(name, "RSD")]
    situations = [record for record in truth(name) if record["record"] == "situation"]
    steady = [s["targets"][0]["bearing_deg"] for s in situations if situations.index(s) < 72]

    assert near.pop("Corvus Trader") < 0.1
    assert min(near.values()) > 0.6
    assert len(headings) == 26 * 600
    assert 2.5 < max(headings) - 164 < 5
    assert set(scales) == {6.0, 3.0}
    assert max(steady) - min(steady) < 1.5
    assert passage(name).scenario.duration_min >= 20
    lost = [(at, fields[1]) for at, fields in reports(name) if fields[12] == "L"]
    assert len(lost) == 3
    assert 9 < lost[0][0] < 10
    again = [at for at, fields in reports(name) if fields[12] == "Q" and at > 2]
    assert 11.4 < min(again) < 11.8


def test_harbour_approach_is_what_it_says() -> None:
    """Many slow targets about, and one that comes near: the ferry."""
    speeds = [target.speed_kn for target in passage("harbour-approach").scenario.targets]

    assert len(speeds) >= 12
    assert np.median(speeds) < 5
    assert min(closest("harbour-approach"), key=lambda n: closest("harbour-approach")[n]) == "Ferry"
    assert passage("harbour-approach").scenario.duration_min >= 20


def test_night_overtaking_is_what_it_says() -> None:
    """The coaster comes from more than 22.5 degrees abaft our beam, closes, and is faster than we are."""
    first = next(record for record in truth("night-overtaking") if record["record"] == "situation")
    coaster = first["targets"][0]
    off_bow = (coaster["bearing_deg"] - first["own_ship"]["heading_deg"] + 180) % 360 - 180

    assert abs(off_bow) > 112.5
    assert coaster["speed_kn"] > first["own_ship"]["sog_kn"]
    assert closest("night-overtaking")["Coaster coming up"] < 0.2


def test_head_up_has_no_heading() -> None:
    """All bearings relative, TTM of 13 fields, the picture head-up, and not one heading on the line."""
    name = "head-up-no-heading"
    kinds = {line[3:6] for line in sentences(name)}

    assert kinds == {"RMC", "GGA", "TTM", "RSD"}
    assert {fields[4] for _, fields in reports(name)} == {"R"}
    assert {len(fields) for _, fields in reports(name)} == {14}
    assert {fields[13] for _, fields in reports(name, "RSD")} == {"H"}


def test_wrong_speed_input_is_one_vector() -> None:
    """After three minutes the set's course and speed of all five targets are off by 3 kn along our heading."""
    name = "wrong-speed-input"
    sweeps = passage(name).sweeps
    assert sweeps is not None
    settled = slice(90, None)
    reported = sweeps.tracks.speed_kn * np.exp(1j * np.radians(sweeps.tracks.course_deg))
    true = sweeps.echoes.target.north_kn + 1j * sweeps.echoes.target.east_kn
    off = (reported - true)[settled].mean(axis=0)

    assert len(off) == 5
    assert np.allclose(np.abs(off), 3.0, atol=0.3)
    assert np.allclose(np.degrees(np.angle(off)), 75.0, atol=6)


def test_numbers_are_reused_swapped_and_doubled() -> None:
    """Number 1 stands for two places; 2 and 3 change theirs at minute 8; 14 repeats 4 for two minutes."""
    name = "numbers-reused"
    first = [(at, fields) for at, fields in reports(name) if fields[1] == "01"]
    before = [fields for at, fields in first if at < 4.5]
    after = [fields for at, fields in first if at > 5.4]

    assert any(fields[12] == "L" for _, fields in first)
    assert abs(float(before[-1][3]) - float(after[0][3])) > 90
    swapped = {}
    for minute in (7.9, 8.2):
        for number in ("02", "03"):
            swapped[minute, number] = next(
                (float(f[2]), float(f[3])) for at, f in reports(name) if at > minute and f[1] == number
            )
    assert swapped[7.9, "02"] != swapped[8.2, "02"]
    assert np.hypot(swapped[7.9, "02"][0] - swapped[8.2, "03"][0], 0) < 0.06
    doubled = [at for at, fields in reports(name) if fields[1] == "14"]
    assert (min(doubled), max(doubled)) == pytest.approx((10, 12), abs=0.05)
    ranges = [fields[2] for at, fields in reports(name) if fields[1] == "04" and at < 10]
    assert len(set(itertools.pairwise(ranges))) < len(ranges)


def test_sensors_fail_as_they_should() -> None:
    """No THS from minute 4 to 6, the same heading from 14 to 15, no fix from 8 to 9.5, no VHW 11 to 12, no TTM then."""
    name = "sensor-failures"
    headings = [(at, fields[1]) for at, fields in reports(name, "THS")]
    fixes = [(at, fields[2]) for at, fields in reports(name, "RMC")]

    assert not [at for at, _ in headings if 4 <= at < 6]
    assert len({value for at, value in headings if 14.01 < at < 14.99}) == 1
    assert {status for at, status in fixes if 8.01 < at < 9.49} == {"V"}
    assert {status for at, status in fixes if not 7.99 < at < 9.51} == {"A"}
    assert not [at for at, _ in reports(name, "VHW") if 11.01 < at < 11.99]
    assert not [at for at, _ in reports(name) if 16 <= at < 16.66]
    relative = [at for at, fields in reports(name) if fields[4] == "R"]
    assert relative, "a set without a heading gives relative bearings"
    assert (min(relative), max(relative)) == pytest.approx((4, 6), abs=0.1)


def test_late_turn_makes_a_safe_pass_close() -> None:
    """Before minute 7 the ship would pass beyond a mile; in the end she passes inside two cables."""
    situations = [record for record in truth("late-turn") if record["record"] == "situation"]

    assert all(record["targets"][0]["cpa_nm"] > 1.0 for record in situations[:42])
    near = closest("late-turn")
    assert near["Turns towards us"] < 0.2
    assert min(near["Slows down"], near["The third vessel"]) > 1.0


def test_heavy_traffic_is_heavy() -> None:
    """A hundred target numbers at once, each once a scan."""
    numbers = Counter(fields[1] for at, fields in reports("heavy-traffic") if 1.5 <= at < 2.5)

    assert len(numbers) == 100
    assert set(sorted(numbers.values())[1:]) <= {19, 20, 21}  # one leaves by the range in that minute


def test_marks_make_two_plots() -> None:
    """Six readings of each pair, off the bow; the first keeps its bearing while its range falls."""
    name = "ebl-vrm-only"
    assert not reports(name)
    first = list(dict.fromkeys((f[3], f[4]) for _, f in reports(name, "RSD") if f[3]))
    second = list(dict.fromkeys((f[7], f[8]) for _, f in reports(name, "RSD") if f[7]))

    assert (len(first), len(second)) == (6, 6)
    assert all(float(a[0]) > float(b[0]) for a, b in itertools.pairwise(first))
    bearings = [float(bearing) for _, bearing in first]
    assert max(bearings) - min(bearings) < 5


def test_ais_and_radar_differ_by_the_bias() -> None:
    """The radar's bearings are 2 degrees above the truth, and the AIS positions are those of the vessels."""
    name = "ais-beside-radar"
    sweeps = passage(name).sweeps
    assert sweeps is not None
    off = (sweeps.tracks.bearing_deg - sweeps.echoes.true_bearing_deg + 180) % 360 - 180

    assert off[20:].mean() == pytest.approx(2.0, abs=0.05)
    heard = {pyais.decode(line).asdict()["mmsi"] for line in sentences(name) if line.startswith("!AIVDM,1,1")}
    assert heard == {999000101, 999000102, 999000103, 999000104, 999000105}
