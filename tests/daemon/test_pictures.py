"""The pictures: places held against geometry, text harmless, and the same drawing as a file of either kind."""

import math
import xml.etree.ElementTree as Xml
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.errors import UserError
from daemon.exercise.plotting_sheet import blank
from daemon.pictures.chart import Flag, Line, chart
from daemon.pictures.drawing import DARK, LIGHT, Drawing, thinned
from daemon.pictures.files import write
from daemon.pictures.sheet import Ellipse, Mark, SheetTrack, plotting_sheet, resumed
from tests.daemon.contrasts import contrast

SVG = "{http://www.w3.org/2000/svg}"


def sheet(name: str = "radar-07") -> Drawing:
    points = [Mark(4.0 - 0.5 * step, 60.0, f"10:0{step}") for step in range(5)]
    ellipse = Ellipse(0.5, 150.0, 0.3, 0.1, 240.0)
    track = SheetTrack(name=name, points=points, cpa=Mark(0.5, 150.0, "CPA 0.50 NM"), ellipse=ellipse)
    return plotting_sheet([track], title="relative track", description="five plots", heading_deg=20.0)


def parsed(drawing: Drawing) -> Xml.Element:
    return Xml.fromstring(drawing.svg(LIGHT))


class TestSheet:
    def test_a_mark_lies_at_its_bearing_and_in_proportion_to_its_range(self) -> None:
        """4.0 NM and 2.0 NM on 060°: on one spoke, one twice as far out, at the angle that 060° is."""
        dots = [one for one in parsed(sheet()).iter(f"{SVG}circle") if one.get("class") == "ours-dot"]
        (x1, y1), (x2, y2) = (
            (float(one.get("cx", 0)) - 260, 260 - float(one.get("cy", 0))) for one in (dots[0], dots[4])
        )

        assert math.degrees(math.atan2(x1, y1)) == pytest.approx(60.0, abs=0.1)
        assert math.hypot(x1, y1) == pytest.approx(2 * math.hypot(x2, y2), abs=0.3)

    def test_no_line_leads_over_a_time_in_which_nothing_was_seen(self) -> None:
        points = [Mark(4.0, 60.0), Mark(3.5, 60.0), Mark(2.0, 60.0, after_gap=True), Mark(1.5, 60.0)]
        drawn = parsed(plotting_sheet([SheetTrack(name="", points=points)], title="lost and found"))
        lines = [one for one in drawn.iter(f"{SVG}polyline") if one.get("class") == "ours"]

        assert [len(str(one.get("points")).split()) for one in lines] == [2, 2]
        assert resumed([0.0, 3.0, 63.0, 124.0, 127.0]) == [124.0]

    def test_the_rim_holds_the_farthest_point_and_names_bearings(self) -> None:
        said = [one.text for one in parsed(sheet()).iter(f"{SVG}text")]

        assert {"000°T", "060°T", "330°T", "1 NM", "4 NM", "10:00", "CPA 0.50 NM"} <= set(said)

    def test_a_blank_sheet_of_an_exercise_says_its_units(self) -> None:
        sheet = blank(6.0, 164.0)

        assert all(f">{ring} NM<" in sheet for ring in range(1, 7))
        assert ">000°T<" in sheet

    def test_no_track_strikes_its_times_through(self) -> None:
        """Beside a track that runs up the sheet, below one that runs across it."""
        for bearing, below in ((0.0, False), (270.0, True)):
            points = [Mark(4.0, bearing, "10:00"), Mark(2.0, bearing, "10:06")]
            drawn = parsed(plotting_sheet([SheetTrack(name="", points=points)], title="track"))
            dot = next(one for one in drawn.iter(f"{SVG}circle") if one.get("class") == "ours-dot")
            label = next(one for one in drawn.iter(f"{SVG}text") if one.text == "10:00")

            assert (float(label.get("y", 0)) - float(dot.get("cy", 0)) > 10) is below

    def test_labels_of_two_near_cpas_stand_apart(self) -> None:
        tracks = [
            SheetTrack(name=name, points=[Mark(4.0, deg)], cpa=Mark(0.05, deg, f"CPA of {name}"))
            for name, deg in (("a", 40.0), ("b", 45.0))
        ]
        drawn = parsed(plotting_sheet(tracks, title="two"))
        one, other = (float(text.get("y", 0)) for text in drawn.iter(f"{SVG}text") if "CPA of" in str(text.text))

        assert abs(one - other) >= 12

    def test_it_says_what_it_shows_to_those_who_cannot_see_it(self) -> None:
        root = parsed(sheet())

        assert root.get("role") == "img"
        assert root[0].tag == f"{SVG}title" and root[0].text == "relative track"
        assert root[1].tag == f"{SVG}desc"

    def test_a_hostile_name_is_text_and_nothing_else(self) -> None:
        root = parsed(sheet('"><script>alert(1)</script>&'))

        assert not list(root.iter(f"{SVG}script"))
        assert '"><script>alert(1)</script>&' in [one.text for one in root.iter(f"{SVG}text")]


class TestChart:
    def test_a_missing_value_breaks_the_line(self) -> None:
        line = Line(name="ours", points=[(0, 1.0), (10, 1.2), (20, None), (30, 1.1), (40, 1.0)])
        drawn = parsed(chart([line], title="CPA", unit="NM", clock=str, limit=0.5, flags=[Flag(10, "alarm")]))

        assert len([one for one in drawn.iter(f"{SVG}polyline") if one.get("class") == "ours"]) == 2
        assert "limit 0.5 NM" in [one.text for one in drawn.iter(f"{SVG}text")]

    def test_a_chart_of_nothing_is_a_chart(self) -> None:
        assert parsed(chart([Line(name="ours", points=[])], title="CPA", unit="NM", clock=str)) is not None

    @pytest.mark.parametrize("days", [1, 3, 7, 14])
    def test_the_times_of_a_long_passage_stand_apart(self, days: int) -> None:
        """Seven or eight along the foot at most, each under its tick: no heap of figures."""
        line = Line(name="ours", points=[(0.0, 1.0), (days * 86_400.0, 2.0)])
        drawn = parsed(chart([line], title="CPA", unit="NM", clock=lambda _: "clock"))

        assert 3 <= [one.text for one in drawn.iter(f"{SVG}text")].count("clock") <= 8


class TestFiles:
    def test_both_kinds_are_written(self, tmp_path: Path) -> None:
        """The PNG is of the size asked for, and not a blank page."""
        write(sheet(), tmp_path / "a.svg")
        write(sheet(), tmp_path / "a.png")
        png = (tmp_path / "a.png").read_bytes()

        assert (tmp_path / "a.svg").read_text(encoding="utf-8").startswith("<svg xmlns=")
        assert png[:8] == b"\x89PNG\r\n\x1a\n"
        assert int.from_bytes(png[16:20], "big") == 1040
        assert len(png) > 20_000

    def test_other_endings_and_places_are_refused(self, tmp_path: Path) -> None:
        with pytest.raises(UserError, match=r"\.svg or \.png"):
            write(sheet(), tmp_path / "a.gif")
        with pytest.raises(UserError, match="cannot be written"):
            write(sheet(), tmp_path / "nowhere" / "a.svg")


@pytest.mark.parametrize("colours", [LIGHT, DARK])
def test_text_and_lines_stand_out_from_the_paper(colours: dict[str, str]) -> None:
    """Contrast of at least 4.5 to 1 for text and 3 to 1 for lines.

    Source: WCAG 2.1, success criteria 1.4.3 and 1.4.11, from memory.
    """
    for name in ("ink", "ours", "theirs", "good", "danger"):
        assert contrast(colours[name], colours["paper"]) >= 4.5, name
    assert contrast(colours["faint"], colours["paper"]) >= 3.0


@settings(max_examples=60, derandomize=True, deadline=None)
@given(st.lists(st.tuples(st.floats(0, 500), st.floats(0, 500)), min_size=1, max_size=60))
def test_a_thinned_line_stays_within_its_tolerance(points: list[tuple[float, float]]) -> None:
    """Every point left out lies near the line that is left; the ends are kept."""
    kept = thinned(points, 2.0)

    assert kept[0] == points[0] and kept[-1] == points[-1]
    for x, y in points:
        assert min(away(x, y, kept[i], kept[min(i + 1, len(kept) - 1)]) for i in range(len(kept))) <= 2.0 + 1e-6


def away(x: float, y: float, start: tuple[float, float], end: tuple[float, float]) -> float:
    """From a point to the straight line through two (thinning measures that), never less than nothing."""
    dx, dy = end[0] - start[0], end[1] - start[1]
    length = math.hypot(dx, dy)
    return (
        math.hypot(x - start[0], y - start[1])
        if length == 0
        else abs(dx * (y - start[1]) - dy * (x - start[0])) / length
    )
