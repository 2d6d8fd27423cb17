"""Tracks out of an archive: positions against the geodesic, formats against their schemas and readers."""

import csv
import io
import json
from collections.abc import Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import geojson
import pytest
from lxml import etree
from msgspec import structs
from pyarrow import parquet

from alerts.events import AnyEvent, Moment, OwnShip, Plot
from daemon.main import main
from daemon.sinks.archive_reader import ArchiveReader
from daemon.tracks.geojson import cut
from daemon.tracks.positions import OwnTrack, Place, place_of
from tests.daemon.archives import archive_of
from tests.daemon.passages import moment, own_ship, passage

HERE = Path(__file__).parent
HOSTILE = '=cmd|"/C calc"!A0 <b>&\x1b[2J'
Happened = Iterator[tuple[Moment, Sequence[AnyEvent]]]


def with_hostile_name(seconds: int) -> Happened:
    for now, events in passage(seconds):
        yield (
            now,
            [structs.replace(e, name=HOSTILE) if isinstance(e, Plot) and e.target == "radar-11" else e for e in events],
        )


def at_the_antimeridian(seconds: int) -> Happened:
    """The same passage with own ship close west of 180°, so that all tracks to the north-east cross it."""
    for now, events in passage(seconds):
        yield (
            now,
            [
                structs.replace(e, lat_deg=(e.lat_deg or 0) - 65.0, lon_deg=((e.lon_deg or 0) + 361.39) % 360 - 180)
                if isinstance(e, OwnShip)
                else e
                for e in events
            ],
        )


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return archive_of(tmp_path_factory.mktemp("tracks") / "passage.sqlite", with_hostile_name(600))


def export(archive: Path, to: Path, *more: str) -> Path:
    assert main(["tracks", "export", "--archive", str(archive), "--output", str(to), *more]) == 0
    return to


class TestPositions:
    @pytest.mark.parametrize(
        ("start", "azimuth", "miles", "end"),
        [
            ((50, -1), 0, 6, (50.09990108, -1.0)),
            ((50, -1), 45, 6, (50.07058906, -0.89024596)),
            ((50.75, -1.3), 237.3, 3.55, (50.71804485, -1.37834069)),
            ((60, 5), 135, 24, (59.71670363, 5.55848879)),
            ((-36.8, 174.8), 315, 12, (-36.6582608, 174.62423657)),
            ((-0.05, 179.95), 60, 6, (0.00024681, -179.96355267)),
            ((70, 20), 270, 24, (69.9961975, 18.83617106)),
        ],
    )
    def test_a_target_lies_where_the_geodesic_ends(
        self, start: tuple[float, float], azimuth: float, miles: float, end: tuple[float, float]
    ) -> None:
        """Short-line reference positions worked out with the geodesic library itself, to 1e-8 degrees (1 mm)."""
        place = place_of(Place(*start), miles, azimuth)

        assert (place.lat_deg, place.lon_deg) == pytest.approx(end, abs=2e-8)

    def test_own_place_goes_the_short_way_across_the_antimeridian(self) -> None:
        fixes = [
            (moment(0), OwnShip(time=moment(0).time, lat_deg=10.0, lon_deg=179.9995, position_age_s=0.0)),
            (moment(2), OwnShip(time=moment(2).time, lat_deg=10.0, lon_deg=-179.9995, position_age_s=0.0)),
        ]
        place = OwnTrack(fixes).at(moment(1).at_s)

        assert place is not None
        assert abs(place.lon_deg) == pytest.approx(180.0)

    def test_there_is_no_place_in_a_long_gap_nor_without_a_true_bearing(self) -> None:
        track = OwnTrack([(moment(0), own_ship(0)), (moment(120), own_ship(120))])
        plot = next(e for _, events in passage(5) for e in events if isinstance(e, Plot))
        blind = structs.replace(plot, bearing_deg=None)

        assert track.at(moment(60).at_s) is None
        assert track.places(moment(0).at_s, blind)[1] is None
        assert OwnTrack([]).places(moment(0).at_s, plot) == (None, None)


class TestGpx:
    def test_it_is_valid_and_holds_every_plot(self, archive: Path, tmp_path: Path) -> None:
        tree = etree.parse(export(archive, tmp_path / "a.gpx"))
        schema = etree.XMLSchema(etree.parse(HERE / "gpx11.xsd"))
        space = {"g": "http://www.topografix.com/GPX/1/1"}
        named = {trk.findtext("g:name", namespaces=space): trk for trk in tree.iterfind("g:trk", space)}

        assert schema.validate(tree), schema.error_log
        assert len(named) == 6
        assert len(named["radar-07 TEAL"].findall(".//g:trkpt", space)) == 200
        assert any('=cmd|"/C calc"!A0 <b>&?[2J' in (name or "") for name in named)

    def test_a_silence_ends_a_segment(self, tmp_path: Path) -> None:
        parts = [(now, events) for now, events in passage(300) if not 100 < now.at_s - 1000 < 200]
        tree = etree.parse(export(archive_of(tmp_path / "p.sqlite", parts), tmp_path / "a.gpx"))

        assert len(tree.findall(".//{*}trkseg")) == 2 * len(tree.findall("{*}trk"))

    def test_longitudes_stay_in_the_schema_s_range(self, tmp_path: Path) -> None:
        schema = etree.XMLSchema(etree.parse(HERE / "gpx11.xsd"))
        out = export(archive_of(tmp_path / "p.sqlite", at_the_antimeridian(300)), tmp_path / "a.gpx")

        assert schema.validate(etree.parse(out)), schema.error_log


class TestGeojson:
    def test_a_reader_takes_it_and_every_feature_is_valid(self, archive: Path, tmp_path: Path) -> None:
        found = geojson.loads(export(archive, tmp_path / "a.geojson").read_text(encoding="utf-8"))

        assert found.is_valid, found.errors()
        assert found.features[0].properties["target"] == "own ship"
        for one in found.features:
            lines = one.geometry.coordinates
            assert [len(line) for line in lines] == [len(times) for times in one.properties["times"]]
            assert all(-180 <= lon <= 180 and -90 <= lat <= 90 for line in lines for lon, lat in line)

    def test_no_line_crosses_the_antimeridian(self, tmp_path: Path) -> None:
        """RFC 7946, 3.1.9: cut in two, one part ending at 180 and the next beginning at -180, or the reverse."""
        archive = archive_of(tmp_path / "p.sqlite", at_the_antimeridian(600))
        found = geojson.loads(export(archive, tmp_path / "a.geojson").read_text(encoding="utf-8"))
        lines = [line for one in found.features for line in one.geometry.coordinates]
        ends = {abs(line[0][0]) for line in lines} | {abs(line[-1][0]) for line in lines}

        assert found.is_valid, found.errors()
        assert 180.0 in ends
        for line in lines:
            assert all(abs(a[0] - b[0]) < 180 for a, b in pairwise(line))

    def test_the_cut_lies_on_the_straight_line(self) -> None:
        west, east = cut([(0, 10.0, 179.0), (4000, 14.0, -179.0)])

        assert west == [(0, 10.0, 179.0), (2000, 12.0, 180.0)]
        assert east == [(2000, 12.0, -180.0), (4000, 14.0, -179.0)]


class TestTables:
    def test_csv_holds_what_the_archive_holds(self, archive: Path, tmp_path: Path) -> None:
        text = export(archive, tmp_path / "a.csv").read_text(encoding="utf-8")
        rows = list(csv.DictReader(io.StringIO(text)))
        with ArchiveReader(archive) as reader:
            row = next(one for one in reader.targets() if one.target == "radar-07")
            plots = [plot for _, plot in reader.plots(row.target_id)]
        mine = [one for one in rows if one["target"] == "radar-07"]

        assert [float(one["range_nm"]) for one in mine] == [plot.range_nm for plot in plots]
        assert [one["cpa_nm"] for one in mine[:2]] == ["", ""], "unknown is empty, not zero"
        assert mine[-1]["time"] == str(plots[-1].time)
        assert {one["name"] for one in rows if one["target"] == "radar-11"} == {'\'=cmd|"/C calc"!A0 <b>&?[2J'}

    def test_parquet_holds_the_same_with_types(self, archive: Path, tmp_path: Path) -> None:
        table = parquet.read_table(export(archive, tmp_path / "a.parquet"))
        rows = csv.DictReader(io.StringIO(export(archive, tmp_path / "a.csv").read_text(encoding="utf-8")))

        assert str(table.schema.field("time").type) == "timestamp[ms, tz=UTC]"
        assert str(table.schema.field("cpa_nm").type) == "double"
        assert table.column("cpa_nm").null_count > 0
        assert [f"{one:g}" for one in table.column("range_nm").to_pylist()] == [
            f"{float(one['range_nm']):g}" for one in rows
        ]


class TestSelection:
    def listed(self, capsys: pytest.CaptureFixture[str], archive: Path, *more: str) -> list[dict[str, object]]:
        assert main(["tracks", "list", "--json", "--archive", str(archive), *more]) == 0
        return [json.loads(line) for line in capsys.readouterr().out.splitlines()]

    def test_by_closest_approach(self, archive: Path, capsys: pytest.CaptureFixture[str]) -> None:
        near = self.listed(capsys, archive, "--within", "1.5")

        assert {one["target"] for one in near} == {"radar-03", "radar-07", "radar-12"}
        assert all(isinstance(one["closest_range_nm"], float) and one["closest_range_nm"] <= 1.5 for one in near)

    def test_by_time(self, archive: Path, capsys: pytest.CaptureFixture[str]) -> None:
        """radar-15 fell silent at 08:07."""
        late = self.listed(capsys, archive, "--since", "2027-01-15T08:08")

        assert "radar-15" not in {one["target"] for one in late}
        assert len(late) == 4

    def test_by_target_and_time_together_cut_the_track(self, archive: Path, tmp_path: Path) -> None:
        times = ("--since", "2027-01-15T08:01:00Z", "--until", "2027-01-15T09:02:00+01:00")
        out = export(archive, tmp_path / "a.csv", "--target", "radar-07", *times)

        assert len(out.read_text(encoding="utf-8").splitlines()) == 1 + 21

    @pytest.mark.parametrize(
        ("words", "code", "said"),
        [
            (["list", "--passage", "9"], 2, "--passage 9"),
            (["show", "radar-99"], 2, "no target 'radar-99'"),
            (["list", "--since", "yesterday"], 2, "--since yesterday"),
            (["export"], 2, "--format"),
            (["export", "--format", "parquet"], 2, "--output"),
            (["export", "--output", "/dev/null/a.gpx"], 3, "/dev/null/a.gpx"),
        ],
    )
    def test_what_cannot_be_done_is_said(
        self, archive: Path, capsys: pytest.CaptureFixture[str], words: list[str], code: int, said: str
    ) -> None:
        assert main(["tracks", *words, "--archive", str(archive)]) == code
        assert said in capsys.readouterr().err


class TestShow:
    def test_figures_have_units_and_gaps_have_dashes(self, archive: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["tracks", "show", "radar-07", "--archive", str(archive)]) == 0
        lines = capsys.readouterr().out.splitlines()

        assert lines[2].startswith("08:00:00  073°T    4.0")
        assert "– NM" in lines[2]
        assert "NM" in lines[-2] and "in 5." in lines[-2] and "collision course" in lines[-2]

    def test_a_picture_is_drawn(self, archive: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        out = tmp_path / "a.svg"

        assert main(["tracks", "show", "radar-07", "--archive", str(archive), "--plot", str(out)]) == 0
        assert "Relative track of TEAL" in out.read_text(encoding="utf-8")

    def test_a_hostile_name_is_harmless(self, archive: Path, capsys: pytest.CaptureFixture[str]) -> None:
        assert main(["tracks", "list", "--archive", str(archive)]) == 0
        assert "\x1b" not in capsys.readouterr().out


def test_the_archive_that_is_not_named_is_the_one_that_the_watch_keeps(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """As the configuration says, not where it would be without one."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "secondplot").mkdir()
    text = f"[archive]\npath = {json.dumps(str(archive))}\n"
    (tmp_path / "secondplot" / "secondplot.toml").write_text(text, encoding="utf-8")

    assert main(["tracks", "list"]) == 0
    assert "radar-07" in capsys.readouterr().out


def test_an_export_of_nothing_says_so(archive: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    export(archive, tmp_path / "none.gpx", "--since", "2099-01-01")

    assert "no track in the archive is what was asked for" in capsys.readouterr().err
