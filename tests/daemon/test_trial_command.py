"""`secondplot trial`: one moment from a recording, an archive and a running watch; what is told and what refused."""

import json
from collections.abc import Iterator
from html import escape
from math import atan2, cos, degrees, hypot, radians, sin
from pathlib import Path

import pytest
from msgspec import structs

from alerts.plotting.terms import TrackState
from alerts.plotting.trial import try_out
from daemon import control, status
from daemon.config import Config
from daemon.errors import UserError
from daemon.main import main
from daemon.stream import Stream
from daemon.trialling.moment import encode, from_recordings, situation_of
from daemon.trialling.picture import draw
from daemon.trialling.times import When
from daemon.trialling.words import as_json, text
from daemon.words import CAUTIONS
from parsers import encode as sentences
from tests.parsers.lines import sealed

START_MS = 1_800_000_000_000  # 2027-01-15 08:00:00 UTC


def write_passage(path: Path, seconds: int = 300) -> Path:
    """An invented passage: own ship north at 10 kn; one vessel end on, one crossing from starboard, one overtaken."""
    vessels = {1: (0.1, 6.0, 180.0, 10.0), 2: (4.0, 3.6, 270.0, 11.0), 3: (-0.4, 3.0, 0.0, 4.0)}
    lines = []
    for second in range(seconds):
        ms = START_MS + 1000 * second
        own_north = 10 * second / 3600
        at = f"{8 + second // 3600:02d}{second // 60 % 60:02d}{second % 60:02d}"
        lines.append(sentences.tag_block(rmc(at), ms, "GP0001"))
        lines.append(sentences.tag_block(sealed("$HEHDT,0.0,T"), ms + 20, "HE0001"))
        if second % 3 == 0:
            for number, (east, north, course, speed) in vessels.items():
                x = east + speed * sin(radians(course)) * second / 3600
                y = north + speed * cos(radians(course)) * second / 3600 - own_north
                body = f"$RATTM,{number:02d},{hypot(x, y):.2f},{degrees(atan2(x, y)) % 360:.1f},T,,,T,,,N,,T,,,A"
                lines.append(sentences.tag_block(sealed(body), ms + 100 * number, "RA0001"))
    path.write_bytes(b"".join(line.encode() + b"\r\n" for line in lines))
    return path


def rmc(at: str) -> str:
    return sealed(f"$GPRMC,{at}.00,A,5000.000,N,00100.000,W,10.0,0.0,150127,,,A")


@pytest.fixture(scope="module")
def passage(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_passage(tmp_path_factory.mktemp("trial") / "passage.nmea")


def told(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["trial", *words]) == 0
    return capsys.readouterr().out


def test_every_line_says_trial(passage: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Text, table and each part of the JSON; the assumption and the caution are there."""
    for words in (["--course", "080"], ["--table"], ["--leg", "1 080 -", "--leg", "5 000 6"]):
        lines = told(capsys, str(passage), *words).splitlines()

        assert all(line.startswith("TRIAL  ") for line in lines)
        assert any("assumes that every target holds its course and speed" in line for line in lines)
        assert lines[-len(CAUTIONS) :] == [f"TRIAL  {one}" for one in CAUTIONS]
    answer = json.loads(told(capsys, str(passage), "--course", "080", "--json"))
    assert answer["trial"] is True
    assert all(one["trial"] is True for one in answer["targets"] + answer["cautions"])


def test_holding_on_and_the_trial(passage: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A vessel end on: 60° to port clears her by more than a mile, and Rule 19(d) is named for her and not for all."""
    answer = json.loads(told(capsys, str(passage), "--course", "-060", "--cpa", "0.5", "--json"))
    targets = {one["target"]: one for one in answer["targets"]}

    assert set(targets) == {"radar-01", "radar-02", "radar-03"}
    assert targets["radar-01"]["hold_on"]["cpa_nm"] == pytest.approx(0.1, abs=0.05)
    assert targets["radar-01"]["hold_on"]["tcpa_min"] == pytest.approx(13.0, abs=0.2)
    assert targets["radar-01"]["trial_manoeuvre"]["cpa_nm"] > 1.5
    assert targets["radar-01"]["trial_manoeuvre"]["side"] == "starboard"
    rules = {(one["rule"], one["target"]) for one in answer["cautions"]}
    assert ("19(d)(i)", "radar-01") in rules
    assert not any(rule.startswith("19") and target == "radar-03" for rule, target in rules)  # being overtaken


def test_where_no_targets_motion_is_known_nothing_is_called_clear(
    passage: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A few seconds into the passage nothing has settled. 'All of none' would be certain to keep clear."""
    early = [str(passage), "--at", "+0.1"]
    one, table = told(capsys, *early, "--course", "080"), told(capsys, *early, "--table")
    answer = json.loads(told(capsys, *early, "--course", "080", "--json"))
    cells = json.loads(told(capsys, *early, "--table", "--json"))["table"]

    for said in (one, table):
        assert "CANNOT BE SAID: no target's motion is known" in said
        assert "100" not in said
    assert answer["not_tried"]
    assert answer["all_clear_probability"] is None
    assert not any(cell["clear"] or cell["all_clear_probability"] is not None for cell in cells)
    assert main(["trial", *early, "--table", "--plot", str(tmp_path / "table.svg")]) == 2


def test_what_is_not_tried_is_said_beside_the_figure(passage: Path) -> None:
    """So that 'all' is not read as all that are on the plot."""
    whole = from_recordings([str(passage)], When("+4"), Config())
    situation = structs.replace(whole, left_out={"radar-09": "unsettled"})
    trial = try_out([held.estimate for held in situation.targets], situation.own, [], situation.limit_nm)
    said = text(situation, [], trial, [])

    assert "all 3 tried outside 0.5 NM for 60 min: " in said
    assert "; NOT in this figure: radar-09" in said


def test_a_picture_names_what_it_does_not_show(passage: Path, tmp_path: Path) -> None:
    """Looked at alone, a sheet without a target's track would read as a clear sea."""
    whole = from_recordings([str(passage)], When("+4"), Config())
    first = whole.targets[0]
    late = structs.replace(first.estimate, state=TrackState.COASTING, last_change_s=first.estimate.at_s - 40.0)
    targets = [structs.replace(first, estimate=late), *whole.targets[1:]]
    situation = structs.replace(whole, targets=targets, left_out={"radar-09": "not settled"})
    trial = try_out([held.estimate for held in targets], situation.own, [], situation.limit_nm)
    draw(tmp_path / "trial.svg", situation, trial, [])
    drawn = (tmp_path / "trial.svg").read_text(encoding="utf-8")

    assert ">NOT tried: radar-09: not settled<" in drawn
    assert f">{first.target}, NOT UPDATED for 40 s<" in drawn


def test_a_target_that_is_only_carried_on_is_said_to_be(passage: Path) -> None:
    """Her figures are worked out from where she would be by now: they do not stand there like the others."""
    whole = from_recordings([str(passage)], When("+4"), Config())
    first = whole.targets[0]
    late = structs.replace(first.estimate, state=TrackState.COASTING, last_change_s=first.estimate.at_s - 40.0)
    situation = structs.replace(whole, targets=[structs.replace(first, estimate=late), *whole.targets[1:]])
    trial = try_out([held.estimate for held in situation.targets], situation.own, [], situation.limit_nm)

    assert text(situation, [], trial, []).count("NOT UPDATED for 40 s: carried on") == 1
    assert [one["not_updated_s"] for one in as_json(situation, [], trial, [])["targets"]] == [40.0, None, None]  # type: ignore[union-attr,index,call-overload]


def test_the_condition_decides_limit_and_words(passage: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In restricted visibility the limit is a mile, and Rule 19 needs no "in restricted visibility"."""
    fog = json.loads(told(capsys, str(passage), "--course", "-60", "--condition", "restricted visibility", "--json"))
    clear = json.loads(told(capsys, str(passage), "--course", "-60", "--json"))

    assert (fog["limit_nm"], clear["limit_nm"]) == (1.0, 0.5)
    texts = [one["text"] for one in fog["cautions"] if one["rule"] == "19(d)(i)"]
    assert texts
    assert not any(text.startswith("in restricted visibility") for text in texts)


def test_a_moment_by_clock_by_date_and_by_minutes(passage: Path) -> None:
    """The same moment in three ways; the situation is that of then, not of the end."""
    moments = [
        from_recordings([str(passage)], When(text), Config()) for text in ("08:04", "2027-01-15T08:04:00Z", "+4")
    ]

    assert len({one.utc_ms for one in moments}) == 1
    assert 239_000 <= moments[0].utc_ms - START_MS <= 240_000
    assert all(encode(one) == encode(moments[0]) for one in moments)
    with pytest.raises(UserError, match=r"09:30 does not come; it ends at 2027-01-15T08:04:59"):
        from_recordings([str(passage)], When("09:30"), Config())


def test_young_targets_are_not_tried(passage: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve seconds after the first plot nothing has settled: said by name, never tried on."""
    answer = told(capsys, str(passage), "--at", "+0.2", "--course", "080")

    assert "radar-01         not tried: unsettled" in answer
    assert "no target whose motion is known" in answer


def test_an_archive_gives_nearly_the_same_answer(
    passage: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The plots of the archive through the same tracks again: CPA within 0.02 NM, TCPA within 0.2 min."""
    archive = tmp_path / "passage.sqlite"
    assert main(["replay", str(passage), "--archive", str(archive), "--quiet"]) == 0
    capsys.readouterr()
    words = ["--at", "08:04:30", "--course", "070", "--json"]
    from_lines = json.loads(told(capsys, str(passage), *words))
    from_archive = json.loads(told(capsys, str(archive), *words))

    for ours, theirs in zip(from_lines["targets"], from_archive["targets"], strict=True):
        assert ours["target"] == theirs["target"]
        for way in ("hold_on", "trial_manoeuvre"):
            assert theirs[way]["cpa_nm"] == pytest.approx(ours[way]["cpa_nm"], abs=0.02)
            assert theirs[way]["tcpa_min"] == pytest.approx(ours[way]["tcpa_min"], abs=0.2)
    assert main(["trial", str(archive), "--course", ""]) == 2
    assert "cannot read the course ''" in capsys.readouterr().err
    assert main(["trial", str(archive), "--at", "11:00", "--course", "070"]) == 2
    assert "no passage holds the moment 11:00" in capsys.readouterr().err


@pytest.fixture
def watching(passage: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Stream]:
    """A watch that has seen the passage, and its control socket."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    stream = replayed(passage)
    server = control.ControlServer("watch", lambda pending: status.obey(pending, stream, "watch"))
    yield stream
    server.close()


def replayed(path: Path) -> Stream:
    import threading

    from alerts.lookout import Lookout
    from daemon.clock import HostClock
    from daemon.feeds.replay import Recording
    from daemon.replaying import MAX, feeds_of, lookout_settings, run
    from daemon.timeline import RecordedTimeline

    recording = Recording(str(path))
    stream = Stream(Lookout(lookout_settings(Config())), [], feeds_of([recording]), RecordedTimeline())
    run(stream, [recording], MAX, HostClock(), threading.Event())
    return stream


def test_a_running_watch_is_tried_as_it_stands(watching: Stream, capsys: pytest.CaptureFixture[str]) -> None:
    """Over its socket: the same as its own lookout says; --at makes no sense there."""
    answer = json.loads(told(capsys, "--course", "080", "--json"))
    assert watching.moment is not None
    own = situation_of(watching.lookout, watching.moment)

    assert [one["target"] for one in answer["targets"]] == [held.target for held in own.targets]
    assert len(answer["targets"]) == 3
    assert main(["trial", "--course", "080", "--at", "+3"]) == 2
    assert "a running watch is tried as it stands" in capsys.readouterr().err


def test_without_a_watch_it_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """No file and no watch: code 3, one line."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))

    assert main(["trial", "--course", "080"]) == 3
    assert "no watch is running" in capsys.readouterr().err


def test_without_own_motion_nothing_is_tried(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Targets alone, no course and speed of our own: a trial would be of nothing."""
    lines = [sealed(f"$RATTM,01,{3 - k / 100:.2f},040.0,T,,,T,,,N,,T,,,A") for k in range(60)]
    path = tmp_path / "blind.nmea"
    path.write_text("\r\n".join(sentences.tag_block(line, START_MS + 3000 * k, "RA") for k, line in enumerate(lines)))

    assert main(["trial", str(path), "--course", "080"]) == 2
    assert "own course and speed are not known" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "why"),
    [
        ([], "nothing to try"),
        (["--course", "61P"], "a course is true"),
        (["--course", "080", "--speed", "-3"], "speed"),
        (["--leg", "080 6"], "minutes, course, speed"),
        (["--course", "080", "--delay", "-1"], "delay"),
        (["--course", "080", "--turn-rate", "0"], "--turn-rate"),
        (["--course", "080", "--cpa", "0"], "--cpa"),
        (["--course", "080", "--at", "noon"], "--at 'noon'"),
        (["--course", "080", "--advance", "9"], "--advance"),
    ],
)
def test_refusals_name_the_mend(passage: Path, words: list[str], why: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Code 2, one line on stderr, nothing on stdout."""
    assert main(["trial", str(passage), *words]) == 2

    out, err = capsys.readouterr()
    assert why in err
    assert out == ""


def test_pictures_say_trial(passage: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Tracks of every target with their trial CPA, and the table, as SVG; each says TRIAL to eye and reader."""
    tracks, cells = tmp_path / "trial.svg", tmp_path / "table.svg"
    told(capsys, str(passage), "--course", "080", "--plot", str(tracks))
    told(capsys, str(passage), "--table", "--plot", str(cells))

    drawn, table = tracks.read_text(encoding="utf-8"), cells.read_text(encoding="utf-8")
    assert "<title>TRIAL" in drawn
    assert "TRIAL  course 080°T at once" in drawn
    assert all(f">radar-0{number}<" in drawn for number in (1, 2, 3))
    assert "TRIAL CPA" in drawn
    assert "<title>TRIAL" in table
    assert all(escape(one) in picture for one in CAUTIONS for picture in (drawn, table))
    assert table.count("<rect") >= 36 * 5
    assert main(["trial", str(passage), "--course", "080", "--plot", "trial.gif"]) == 2
    assert ".svg or .png" in capsys.readouterr().err
