"""`secondplot plot`: what people type, what they are told, and what is refused."""

import json
from html import escape
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.errors import UserError
from daemon.main import main
from daemon.words import CAUTIONS
from daemon.worksheet.points import bearing, clock_s, distance_nm, from_csv, in_order, leg, point, range_error

KEYS = [
    "relative_course_deg",
    "relative_speed_kn",
    "cpa_nm",
    "cpa_sd_nm",
    "cpa_bearing_deg",
    "tcpa_min",
    "tcpa_time",
    "course_deg",
    "speed_kn",
    "aspect_deg",
    "aspect_side",
    "bearing_rate_deg_min",
    "bearing_trend",
    "passing",
    "residuals",
]
TYPED = ["10:00 61P 4.0", "10:06 60P 3.1", "10:12 58P 2.2"]


def test_the_example_of_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    """DRM, SRM, CPA, TCPA, course, speed, aspect, drift, passing, residuals and the caution, in the trade's words."""
    assert main(["plot", "--course", "340", "--speed", "12", *TYPED]) == 0

    told = capsys.readouterr().out
    for words in (
        "DRM 095°T",
        "SRM 9.0 kn",
        "CPA ",
        "TCPA ",
        "course 025°T",
        "green 77°",
        "ahead of us",
        "off the line",
    ):
        assert words in told
    assert "An aid to look-out, never a substitute" in told
    assert "own course stands in for the heading" in told


def test_the_sheet_carries_the_cautions(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """It may be printed and looked at alone."""
    picture = tmp_path / "sheet.svg"
    assert main(["plot", "--course", "340", "--speed", "12", *TYPED, "--plot", str(picture)]) == 0

    drawn = picture.read_text(encoding="utf-8")
    assert all(escape(one) in drawn for one in CAUTIONS)
    assert ">Manual plot, 10:00 to 10:12." in drawn


def test_json_has_exactly_its_keys(capsys: pytest.CaptureFixture[str]) -> None:
    """In their order; warnings go to stderr, so that stdout is one object."""
    assert main(["plot", "--json", "--course", "340", "--speed", "12", *TYPED]) == 0

    out, err = capsys.readouterr()
    told = json.loads(out)
    assert list(told) == KEYS
    assert all(told[key] is not None for key in KEYS)
    assert told["tcpa_time"] == "10:26:31"
    assert told["aspect_side"] == "starboard"
    assert [one["time"] for one in told["residuals"]] == ["10:00:00", "10:06:00", "10:12:00"]
    assert "warning" in err


def test_json_is_null_where_own_motion_is_needed(capsys: pytest.CaptureFixture[str]) -> None:
    """True bearings without own course: relative movement and CPA are there, the target's motion is not."""
    main(["plot", "--json", "10:00 279 4.0", "10:06 280 3.1", "10:12 282 2.2"])
    told = json.loads(capsys.readouterr().out)

    assert {key for key in KEYS if told[key] is None} == {
        "course_deg",
        "speed_kn",
        "aspect_deg",
        "aspect_side",
        "passing",
        "bearing_trend",  # it draws, and whether ahead or aft needs our bow
    }
    main(["plot", "--json", *TYPED])
    bow = json.loads(capsys.readouterr().out)
    assert bow["relative_course_deg"] is None  # off the bow: no true direction
    assert bow["cpa_bearing_deg"] is None
    assert bow["cpa_nm"] == pytest.approx(told["cpa_nm"], abs=0.01)


def test_limits_are_there_for_who_asks(capsys: pytest.CaptureFixture[str]) -> None:
    """`--limits` adds the 95 % limits and the warnings to the JSON."""
    main(["plot", "--json", "--limits", *TYPED])
    told = json.loads(capsys.readouterr().out)

    low, high = told["limits"]["cpa_nm"]
    assert low <= told["cpa_nm"] <= high
    assert any("yaw" in text for text in told["warnings"])


def test_units_bearings_and_times_mean_the_same(capsys: pytest.CaptureFixture[str]) -> None:
    """The same plot in yards, kilometres, metres and cables; in four forms of bearing and of time."""
    answers = []
    for points in (
        ["10:00 279T 4.0", "10:12 282 2.2"],
        ["1000 279 8101.5yd", "1012 282 4455.8 yd"],
        ["10:00:00 279 7.408km", "101200 282 4.0744km"],
        ["10:00 299R 7408m", "10:12 R302 4074.4m"],
        ["10:00 61P 40cab", "10:12 58p 22cab"],
    ):
        main(["plot", "--json", "--heading", "340", *points])
        answers.append(json.loads(capsys.readouterr().out))

    for answer in answers[1:]:
        assert answer["cpa_nm"] == pytest.approx(answers[0]["cpa_nm"], abs=0.002)
        assert answer["tcpa_time"] == answers[0]["tcpa_time"]


def test_csv_with_own_ship_and_midnight(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file with heading, course and speed, over midnight, with a byte-order mark and blank lines as editors leave."""
    path = tmp_path / "watch.csv"
    path.write_text(
        "\ufefftime, bearing, range, heading, course, speed\n"
        "23:54, 61P, 4.0, 342, 340, 12\n\n00:00, 60P, 3.1, 342, 340, 12\n00:06, 58P, 2.2, 342, 340, 12\n",
        encoding="utf-8",
    )
    assert main(["plot", "--json", "--csv", str(path)]) == 0

    told = json.loads(capsys.readouterr().out)
    assert told["tcpa_time"].startswith("00:2")
    assert told["course_deg"] is not None


def test_own_motion_as_a_list(capsys: pytest.CaptureFixture[str]) -> None:
    """`--own` alters own ship from its time on: a stopped buoy stays stopped through our turn."""
    points = ["10:00 000 4.0", "10:06 000 3.0", "10:12 341.57 3.162"]
    main(["plot", "--json", "--course", "0", "--speed", "10", "--own", "10:06 090 10", *points])

    told = json.loads(capsys.readouterr().out)
    assert told["speed_kn"] == pytest.approx(0, abs=0.02)
    assert told["course_deg"] is None


@pytest.mark.parametrize(
    ("words", "told"),
    [
        ([], "no points"),
        (["10:00 61P 4.0"], "two points or more"),
        (["10:00 61X 4.0", "10:06 60P 3.1"], "bearing '61X'"),
        (["10:00 61P 4.0miles", "10:06 60P 3.1"], "range '4.0miles'"),
        (["25:00 61P 4.0", "10:06 60P 3.1"], "no time '25:00'"),
        (["10:00 181P 4.0", "10:06 60P 3.1"], "no bearing '181P'"),
        (["10:00 61P 0", "10:06 60P 3.1"], "range '0'"),
        (["10:00 61P", "10:06 60P 3.1"], "time, bearing, range"),
        (["10:00 61P 4", "10:06 060T 3.1"], "mixed"),
        (["--course", "340", *TYPED], "go together"),
        (["--course", "61P", "--speed", "5", *TYPED], "a course is true"),
        (["--course", "340", "--speed", "nan", *TYPED], "speed 'nan'"),
        (["--bearing-error", "0", *TYPED], "--bearing-error"),
        (["--range-error", "x%", *TYPED], "share"),
        (["--csv", "/nowhere/at-all.csv"], "cannot be read"),
    ],
)
def test_refusals_name_the_mend(words: list[str], told: str, capsys: pytest.CaptureFixture[str]) -> None:
    """One line on stderr, nothing on stdout; code 2, or 3 for a file."""
    code = main(["plot", *words])

    out, err = capsys.readouterr()
    assert code == (3 if "--csv" in words else 2)
    assert told in err
    assert out == ""
    assert "Traceback" not in err


def test_csv_errors_name_the_line(tmp_path: Path) -> None:
    """A wrong cell is named with file and line; a file without the columns is told which."""
    path = tmp_path / "x.csv"
    path.write_text("time,bearing,range\n10:00,061,4\n10:06,06x,4\n")
    with pytest.raises(UserError, match=r"x\.csv, line 3"):
        from_csv(path)
    path.write_text("when,where\n1,2\n")
    with pytest.raises(UserError, match="no column time, bearing, range"):
        from_csv(path)
    path.write_text("time,time,bearing,range\n10:00,10:00,061,4\n")
    with pytest.raises(UserError, match="two columns are called time"):
        from_csv(path)
    path.write_text("time,bearing,range,course,speed\n10:00,061,4,340,\n")
    with pytest.raises(UserError, match=r"line 2: own course and own speed go together"):
        from_csv(path)


def test_csv_cells_are_read_as_typed_points_are(tmp_path: Path) -> None:
    """Blanks inside a bearing, a range or a time are no reason to refuse a line."""
    path = tmp_path / "x.csv"
    path.write_text("time,bearing,range\n2027-01-15 10:00,R 299,800 m\n")
    (reading,), _ = from_csv(path)

    assert reading == point("2027-01-15T10:00 R299 800m")


@settings(max_examples=200, derandomize=True)
@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever is typed: a reading, or an error for a person; never another exception."""
    for reader in (point, clock_s, bearing, distance_nm, range_error):
        try:
            reader(text)
        except UserError as error:
            assert str(error)


def test_times_run_on_past_midnight() -> None:
    """A fall back of more than half a day is the next day; less is a matter of order."""
    readings, _ = in_order([point("23:58 000 4"), point("00:04 000 3"), point("00:01 000 3.5")], [])

    assert [one.at_s for one in readings] == [86_280, 86_460, 86_640]


@pytest.mark.parametrize(
    ("readings", "own", "hours"),
    [
        (["00:10", "00:16"], ["23:55", "00:15"], [-0.25, 0.0833]),  # altered before midnight, plotted after
        (["23:50", "00:20"], ["23:40", "00:05"], [-0.1667, 0.25]),
        (["08:00", "19:00", "21:00"], ["07:00", "20:30"], [-1.0, 12.5]),
        (["2027-01-15T10:00", "2027-01-15T10:12"], ["09:50", "10:06"], [-0.1667, 0.1]),
        (["2027-01-15T00:10", "2027-01-15T00:16"], ["23:55", "00:15"], [-0.25, 0.0833]),
        (["2027-01-15T10:00", "2027-01-15T10:12"], ["2027-01-14T20:00"], [-14.0]),
    ],
)
def test_own_motion_is_placed_beside_the_readings(readings: list[str], own: list[str], hours: list[float]) -> None:
    """Hours from the first reading to each leg: over midnight on either side, and where the readings have a date."""
    placed, legs = in_order([point(f"{at} 000 4") for at in readings], [leg(f"{at} 010 8") for at in own])

    assert [(one.at_s - placed[0].at_s) / 3600 for one in legs] == pytest.approx(hours, abs=0.0001)


def test_dated_readings_are_never_moved_by_a_day() -> None:
    """Out of order by more than half a day they are put in order; a date and no date don't go together."""
    late, early = point("2027-01-15T10:00 000 4"), point("2027-01-14T20:00 000 5")

    assert in_order([late, early], []) == ([early, late], [])
    for readings, legs in (
        ([late, point("10:06 000 3")], []),
        ([point("10:06 000 3")], [leg("2027-01-15T10:00 010 8")]),
    ):
        with pytest.raises(UserError, match="some times have a date and some have none"):
            in_order(readings, legs)


def test_the_plotting_sheet_is_drawn(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Points with their times, the CPA and its ellipse, rim true or off the bow; no CPA of an opening target."""
    sheet = tmp_path / "sheet.svg"
    assert main(["plot", "--course", "340", "--speed", "12", "--plot", str(sheet), *TYPED]) == 0
    drawn = sheet.read_text(encoding="utf-8")
    assert all(f">{at}<" in drawn for at in ("10:00", "10:06", "10:12"))
    assert "CPA 0.26 NM at 10:26:31" in drawn
    assert "<ellipse" in drawn
    assert "330°T" in drawn

    assert main(["plot", "--plot", str(sheet), *TYPED]) == 0
    assert "330°R" in sheet.read_text(encoding="utf-8")
    assert main(["plot", "--plot", str(sheet), "10:00 000 2", "10:06 000 3"]) == 0
    assert "CPA" not in sheet.read_text(encoding="utf-8").split("</desc>")[1]
    assert main(["plot", "--plot", str(tmp_path / "no" / "sheet.svg"), *TYPED]) == 3


def test_a_closest_approach_that_is_past_is_said_to_be(capsys: pytest.CaptureFixture[str]) -> None:
    """Not as minutes after the last point with a minus sign."""
    assert main(["plot", "10:00 060 3.1", "10:06 061 4.0"]) == 0

    assert "TCPA               past, 26.6 min before the last point: it is opening" in capsys.readouterr().out


def test_a_csv_file_that_is_not_there_is_said_plainly(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plot", "--csv", "no-such.csv"]) == 3
    assert capsys.readouterr().err == "secondplot plot: no-such.csv: cannot be read: No such file or directory\n"


def test_bearings_round_to_north_and_times_beyond_a_day_have_no_clock(capsys: pytest.CaptureFixture[str]) -> None:
    """359.97 is 000.0; a CPA in four days is told in minutes, not by the hour of a day that is not today."""
    assert main(["plot", "10:00 359.97T 4.0", "10:30 000T 3.98", "11:00 000T 3.96"]) == 0
    told = capsys.readouterr().out

    assert "000.0°T  4.00 NM" in told
    assert "360.0" not in told
    (line,) = [line for line in told.splitlines() if line.startswith("TCPA")]
    assert "5923.9 min after the last point" in line
    assert " at " not in line


def test_the_ellipse_is_that_of_the_place_at_the_cpa(tmp_path: Path) -> None:
    """Half axes and direction as 100,000 draws from the line's own error have them, run on to the CPA."""
    import re

    import numpy as np

    from alerts.plotting.manual import OwnLeg, plot
    from daemon.worksheet.picture import drawing

    readings = [point(text) for text in ("10:00 020T 6.0", "10:06 022T 5.0", "10:12 025T 4.0")]
    answer = plot(readings, [OwnLeg(0, 340, 12)])
    full = np.zeros((4, 4))
    full[np.triu_indices(4)] = answer.covariance
    full = full + np.triu(full, 1).T
    drawn = np.random.default_rng(3).multivariate_normal(answer.state, full, 100_000)
    assert answer.movement.tcpa_min is not None
    places = drawn[:, :2] + drawn[:, 2:] * answer.movement.tcpa_min.best / 60
    values, axes = np.linalg.eigh(np.cov(places.T))
    found = re.search(
        r'<ellipse cx=".*?" cy=".*?" rx="(.*?)" ry="(.*?)" transform="rotate\((.*?) ', drawing(answer).svg()
    )
    assert found is not None
    along, across, turned = (float(value) for value in found.groups())
    direction = float(np.degrees(np.arctan2(axes[0, 1], axes[1, 1])))

    assert along / across == pytest.approx(float(np.sqrt(values[1] / values[0])), rel=0.05)
    assert (turned + 90 - direction + 90) % 180 == pytest.approx(90, abs=2)
