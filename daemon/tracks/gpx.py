"""Tracks as GPX 1.1: a `trk` for own ship and for each target, a new segment after a gap."""

from collections.abc import Iterable, Iterator, Sequence
from xml.sax.saxutils import escape

from alerts.events import Instant, OwnShip
from daemon import words
from daemon.tracks.selection import Track

GAP_MS = 60_000
"""A longer silence than this ends a segment: a line through it would claim what nobody saw."""

HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n'
    '<gpx version="1.1" creator="secondplot" xmlns="http://www.topografix.com/GPX/1/1">\n'
)
CAUTION = "Worked out from radar ranges and bearings: an aid to look-out. Not for navigation."

Fix = tuple[int, float, float]


def gpx(own: Iterable[Sequence[tuple[int, OwnShip]]], tracks: Iterable[Track]) -> Iterator[str]:
    """The file in pieces."""
    yield HEAD
    yield f"<metadata><desc>{CAUTION}</desc></metadata>\n"
    for passage in own:
        fixes = [(at, ship.lat_deg, ship.lon_deg) for at, ship in passage if ship.lat_deg is not None]
        yield from _trk("own ship", "", "own ship", [(at, lat, lon) for at, lat, lon in fixes if lon is not None])
    for track in tracks:
        found = [(one.utc_ms, one.place.lat_deg, one.place.lon_deg) for one in track.points if one.place is not None]
        row = track.row
        about = f"closest {row.closest_range_nm:.2f} NM at {Instant(row.closest_utc_ms)}"
        called = words.clean(row.name, 60)
        yield from _trk(f"{row.target} {called}".strip(), about, "target", found)
    yield "</gpx>\n"


def _trk(name: str, about: str, kind: str, fixes: Sequence[Fix]) -> Iterator[str]:
    if not fixes:
        return
    desc = f"<desc>{escape(about)}</desc>" if about else ""
    yield f"<trk><name>{escape(words.clean(name, 120))}</name>{desc}<type>{kind}</type>\n<trkseg>\n"
    before = fixes[0][0]
    for utc_ms, lat, lon in fixes:
        if utc_ms - before > GAP_MS:
            yield "</trkseg>\n<trkseg>\n"
        before = utc_ms
        yield f'<trkpt lat="{lat:.7f}" lon="{_lon(lon)}"><time>{Instant(utc_ms)}</time></trkpt>\n'
    yield "</trkseg></trk>\n"


def _lon(lon: float) -> str:
    """Longitude in -180 inclusive to 180 exclusive, as the schema has it, after rounding too."""
    text = f"{lon:.7f}"
    return "-180.0000000" if text == "180.0000000" else text
