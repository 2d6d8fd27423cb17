"""The debrief: what it finds in a passage against what is known of it, and the page in a real browser."""

import gzip
import html
import json
import re
from argparse import Namespace
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path

import pytest
from msgspec import structs

from alerts.events import AnyEvent, Moment, OwnShip, Pair, Plot
from alerts.plotting.terms import Priority
from daemon.debrief.making import gather
from daemon.debrief.page import Debrief, Shape, page
from daemon.debrief.plane import Plane, unbroken
from daemon.debrief.record import Archived, Gathered
from daemon.debrief.steadiness import expected_in, moments_of
from daemon.debrief.study import closest_of, own_turns
from daemon.main import main
from daemon.sinks.archive_reader import ArchiveReader
from daemon.tracks.positions import OwnTrack, place_of
from daemon.words import miles
from tests.daemon.archives import archive_of
from tests.daemon.browser import CHROMIUM, Seen, browse
from tests.daemon.passages import passage

FOG = Path(__file__).parent.parent.parent / "recordings" / "fog-crossing.nmea.gz"
HOSTILE = "</script><img src=x onerror=\"document.title='owned'\"><svg onload=alert(1)>"


def hostile(seconds: int) -> Iterator[tuple[Moment, Sequence[AnyEvent]]]:
    """The invented passage, with a name on one target and a note that would do harm in a page."""
    for now, events in passage(seconds):
        yield now, [_harmful(event) for event in events]


def _harmful(event: AnyEvent) -> AnyEvent:
    if isinstance(event, Plot) and event.target == "radar-03":
        return structs.replace(event, name=HOSTILE, check_cause=HOSTILE)
    if isinstance(event, Pair):
        return structs.replace(event, name=HOSTILE, why=HOSTILE)
    return structs.replace(event, text=HOSTILE) if hasattr(event, "author") else event


def gathered(happened: Iterator[tuple[Moment, Sequence[AnyEvent]]]) -> Gathered:
    record = Gathered("invented", "a test")
    for now, events in happened:
        record.take(now, events)
    return record


@pytest.fixture(scope="module")
def record() -> Gathered:
    return gathered(passage(1200))


def test_what_own_ship_had_lost_stands_in_the_passages_paragraph(tmp_path: Path) -> None:
    """'No feed failed' alone would read as if all had been well."""
    recording = FOG.with_name("sensor-failures.nmea.gz")
    assert main(["debrief", str(recording), "--output", str(tmp_path / "page.html")]) == 0
    text = (tmp_path / "page.html").read_text(encoding="utf-8")

    assert "Own ship's sensors without data: heading 1 time, position 1 time." in text


def test_the_timeline_tells_alarm_from_warning_without_colour(record: Gathered) -> None:
    """Thickness says it too, and the words below say what thickness says; alerts are read to their end."""
    debrief = Debrief(record, Shape())
    bars = re.findall(r'height="([0-9.]+)" class="[a-z-]+"><title>[0-9:]+ (alarm|warning)', page(debrief))

    assert {kind: float(height) for height, kind in bars} == {"alarm": 13.0, "warning": 8.0}
    assert "thick for an alarm, half as thick for a warning" in page(debrief)


def test_a_caution_needs_no_acknowledgement_and_is_not_said_to_have_one(tmp_path: Path) -> None:
    recording = FOG.with_name("late-turn.nmea.gz")
    main(["debrief", str(recording), "--output", str(tmp_path / "page.html")])
    row = re.search(
        r"<tr>(?:(?!</tr>).)*caution: target manoeuvre.*?</tr>", (tmp_path / "page.html").read_text(encoding="utf-8")
    )

    assert row is not None
    assert "<td>needs none</td>" in row[0]


def test_no_line_goes_through_what_nobody_saw() -> None:
    """As in exported tracks: a line breaks where nothing was known for more than a minute."""
    track = [(0.0, 0.0, 0.0), (15.0, 0.0, 0.1), (76.0, 0.0, 0.5), (136.0, 0.0, 0.9)]

    assert unbroken(track) == [[(0.0, 0.0), (0.0, 0.1)], [(0.0, 0.5), (0.0, 0.9)]]


def test_the_play_back_says_how_old_each_place_is(record: Gathered) -> None:
    """Where she was plotted last, never where she will be; and no place that is older than twenty seconds."""
    shown = page(Debrief(record, Shape()))
    data = json.loads(html.unescape(re.search(r'id="play-data">(.*?)</script>', shown)[1]))  # type: ignore[index]
    ages = [age for target in data["targets"] for age in target["a"]]

    assert all(
        (r is None) == (a is None) for target in data["targets"] for r, a in zip(target["r"], target["a"], strict=True)
    )
    assert {age for age in ages if age is not None} <= set(range(21))
    assert '<th scope="col">plotted</th>' in shown


class TestStudy:
    def test_the_closest_approach_is_that_of_the_track_not_of_one_plot(self, record: Gathered) -> None:
        """Truth by plane geometry of the invented passage: radar-12 0.49 NM at 1370 s is after its end; radar-03
        0.71 NM at 13.0 min, radar-07 0.04 NM at 15.2 min. Within 0.03 NM and 0.2 min with the made-up noise."""
        plane = Plane(record.passage.own)
        three = closest_of(record.plots("radar-03"), plane)
        seven = closest_of(record.plots("radar-07"), plane)
        start = record.passage.first_s

        assert three.range_nm == pytest.approx(0.71, abs=0.03)
        assert (three.at_s - start) / 60 == pytest.approx(12.8, abs=0.3)
        assert seven.range_nm == pytest.approx(0.04, abs=0.03)
        assert (seven.at_s - start) / 60 == pytest.approx(15.1, abs=0.3)

    def test_a_record_that_breaks_off_says_so(self, record: Gathered) -> None:
        assert closest_of(record.plots("radar-15"), Plane(record.passage.own)).ended

    def test_the_alarm_s_lead_is_counted_to_the_closest_approach(self, record: Gathered) -> None:
        """Raised four minutes into the passage, CPA at about fifteen."""
        one = next(one for one in Debrief(record, Shape()).studies if one.target == "radar-07")

        assert one.alarm is not None and one.alarm.alert.priority is Priority.ALARM
        assert one.alarm.acknowledged_s == one.alarm.raised_s + 60
        assert one.warning_min == pytest.approx(11.1, abs=0.3)

    def test_an_own_alteration_is_found_where_it_was_and_none_where_there_was_none(self) -> None:
        """60° to starboard at 600 s, then steady; and a passage on one course."""
        ships = [
            (1000.0 + s, e) for s, (_, events) in enumerate(passage(1200)) for e in events if isinstance(e, OwnShip)
        ]
        turned = [
            (at_s, structs.replace(ship, cog_deg=107.0 if at_s >= 1600 else ship.cog_deg)) for at_s, ship in ships
        ]
        found = own_turns(turned)

        assert own_turns(ships) == []
        assert len(found) == 1
        assert found[0].at_s == pytest.approx(1600, abs=10)
        assert (round(found[0].course_before_deg), round(found[0].course_after_deg)) == (47, 107)

    def test_reports_due_count_the_gaps(self) -> None:
        assert expected_in([0, 3, 6, 15, 18], 3.0) == 7

    def test_only_real_changes_are_compared(self, record: Gathered) -> None:
        assert [what for _, what in moments_of(record.passage)] == [
            "note: sea clutter up two steps",
            "range scale from 6 to 3 NM",
        ]

    def test_places_over_the_ground_agree_with_the_geodesic(self, record: Gathered) -> None:
        """The plane of the track plot against geodesic positions: within 0.01 NM over the passage."""
        own = record.passage.own
        plane, track = Plane(own), OwnTrack([])
        assert track.at(0) is None
        first, last = own[0][1], own[-1][1]
        assert first.lat_deg is not None and first.lon_deg is not None
        east, north = plane.track[-1][1:]
        away = (east**2 + north**2) ** 0.5
        from math import atan2, degrees

        from daemon.tracks.positions import Place

        end = place_of(Place(first.lat_deg, first.lon_deg), away, degrees(atan2(east, north)))

        assert end.lat_deg == pytest.approx(last.lat_deg, abs=0.01 / 60)
        assert end.lon_deg == pytest.approx(last.lon_deg, abs=0.016 / 60)


def test_closest_approaches_are_those_of_the_recording_s_truth() -> None:
    """The fog recording's truth file, written by the exercise that made it: within 0.02 NM (two units of a tracked
    target's range) and 10 s."""
    record = gather(Namespace(files=[str(FOG)], config=None, set=[], condition=None, rate=None, no_checksum=False))
    plane = Plane(record.passage.own)
    found = [closest_of(record.plots(one.target), plane) for one in record.passage.targets]
    with gzip.open(FOG.with_name("fog-crossing.truth.jsonl.gz"), "rt", encoding="utf-8") as file:
        truth = [one for line in file if (one := json.loads(line))["record"] == "closest approach"]

    assert len(truth) == len(found) == 5
    for one in truth:
        at_s = datetime.fromisoformat(one["time"]).timestamp()
        assert any(abs(c.range_nm - one["cpa_nm"]) < 0.02 and abs(c.at_s - at_s) < 10 for c in found), one["target"]


def test_an_archive_and_a_stream_give_the_same_page(tmp_path: Path) -> None:
    """What was gathered from the stream and what the archive holds lead to the same words and pictures."""
    archive = archive_of(tmp_path / "p.sqlite", passage(600))
    shape = Shape(title="x")
    with ArchiveReader(archive) as reader:
        row = reader.passages()[-1]
        kept = page(Debrief(Archived(reader, row), shape))
        live = gathered(passage(600))
        live._source, live._program = row.source, row.program
        assert page(Debrief(live, shape)) == kept
    assert kept.count("radar-07 (TEAL) and ais-999000107 are taken for one vessel") == 1
    assert kept.count("radar-07 (TEAL) and ais-999000107 are no longer taken for one vessel: 0.4 NM apart") == 1


def test_a_passage_without_position_heading_or_targets_is_still_a_page() -> None:
    bare: list[tuple[Moment, list[AnyEvent]]] = [(now, [OwnShip(time=now.time)]) for now, _ in passage(120)]
    text = page(Debrief(gathered(iter(bare)), Shape(title="bare")))

    assert "Own position is not in the record" in text
    assert "0 targets tracked; no alert raised" in text


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return archive_of(tmp_path_factory.mktemp("debrief") / "p.sqlite", hostile(1100))


@pytest.fixture(scope="module")
def seen(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> Seen:
    output = archive.with_name("report.html")
    assert main(["debrief", str(archive), "--output", str(output), "--title", HOSTILE]) == 0
    return browse(output, tmp_path_factory.mktemp("profile"))


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
class TestInABrowser:
    def test_it_renders_without_a_complaint(self, seen: Seen) -> None:
        """No script error, and nothing that the page's own security policy had to stop."""
        assert seen.complaints == []

    def test_hostile_text_is_text(self, seen: Seen) -> None:
        """No element came of it and no handler ran; it stands on the page to be read."""
        assert "<img" not in seen.dom
        assert "onload=alert(1)>" not in re.sub(r"&lt;.*?&gt;", "", seen.dom)
        assert "owned" not in seen.text(r"<title>(.*?)</title>").replace("document.title='owned'", "")
        assert "</script><img src=x" in seen.text(r'<table id="all-targets">(.*?)</table>')

    def test_the_values_are_the_archive_s(self, seen: Seen, archive: Path) -> None:
        """Each target's line in the table: closest plot, number of plots."""
        body = re.search(r'<table id="all-targets">.*?<tbody>(.*?)</tbody>', seen.dom, re.DOTALL)
        assert body is not None
        told = {}
        for row in re.findall(r"<tr>(.*?)</tr>", body.group(1), re.DOTALL):
            cells = [
                html.unescape(re.sub(r"<[^>]+>", "", cell)) for cell in re.findall(r"<td>(.*?)</td>", row, re.DOTALL)
            ]
            told[cells[0].split(" ")[0]] = (cells[1], int(cells[5]))
        with ArchiveReader(archive) as reader:
            held = {one.target: (miles(one.closest_range_nm), one.plots) for one in reader.targets()}

        assert told == held

    def test_the_play_back_ran(self, seen: Seen) -> None:
        """It stands at the first alarm, and its table says where the targets were then."""
        assert seen.text(r'id="play-clock">(.*?)</output>') == "08:04:00 UTC"
        assert "TEAL" in seen.text(r'id="play-rows">(.*?)</tbody>')
        assert '<circle cx="' in seen.dom[seen.dom.index('id="play-stage"') :][:4000]

    def test_it_needs_nothing_else(self, archive: Path, seen: Seen) -> None:
        """No address, no other file: one page that can be mailed and read at sea."""
        text = archive.with_name("report.html").read_text(encoding="utf-8")
        text = text.replace("http://www.w3.org/2000/svg", "")  # the name of a namespace, never fetched

        assert "http:" not in text.replace("http-equiv", "") and "https:" not in text
        assert not re.search(r"(src|href)=\"(?!#)", text)
        assert "@import" not in text and "url(" not in text

    def test_the_cautions_stand_at_its_head(self, seen: Seen) -> None:
        assert "no vessel stands on (Rule 19)" in seen.text(r"<header>(.*?)</header>")

    def test_every_picture_has_a_name_and_every_control_a_label(self, seen: Seen) -> None:
        pictures = re.findall(r"<svg[^>]*>(<title>[^<]+</title>)?", seen.dom)

        assert len(pictures) > 10 and all(pictures)
        assert '<label for="play-time">' in seen.dom
        assert '<html lang="en">' in seen.dom
        assert len(re.findall(r"<th (?!scope)", seen.dom)) == 0


def test_the_command_says_what_cannot_be_done(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    archive = archive_of(tmp_path / "p.sqlite", passage(30))
    for words, code, said in (
        (["nowhere.nmea"], 3, "nowhere.nmea"),
        ([str(archive), "--passage", "7"], 2, "--passage 7"),
        ([str(archive), "--within", "-1"], 2, "--within"),
        ([str(archive), "--output", f"{archive}/x.html"], 3, "p.sqlite/x.html"),  # root could make any folder
        ([str(archive), str(archive)], 2, "one archive"),
    ):
        assert main(["debrief", *words]) == code, words
        assert said in capsys.readouterr().err
