"""Tracks as GeoJSON (RFC 7946): a feature for own ship and for each target.

A line breaks at a gap, and is cut in two at the antimeridian (section 3.1.9). `times` in the properties has the shape
of the coordinates: RFC 3339 strings, one for each position.
"""

import json
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from alerts.events import Instant, OwnShip
from daemon import words
from daemon.tracks.gpx import CAUTION, GAP_MS, Fix
from daemon.tracks.selection import Track

Position = tuple[float, float]


def geojson(own: Iterable[Sequence[tuple[int, OwnShip]]], tracks: Iterable[Track]) -> Iterator[str]:
    """The file in pieces: a FeatureCollection."""
    yield f'{{"type":"FeatureCollection","caution":{json.dumps(CAUTION)},"features":['
    between = "\n"
    for feature in _features(own, tracks):
        yield between + json.dumps(feature, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
        between = ",\n"
    yield "\n]}\n"


def _features(own: Iterable[Sequence[tuple[int, OwnShip]]], tracks: Iterable[Track]) -> Iterator[dict[str, object]]:
    for passage in own:
        fixes = [
            (at, ship.lat_deg, ship.lon_deg)
            for at, ship in passage
            if ship.lat_deg is not None and ship.lon_deg is not None
        ]
        if fixes:
            yield _feature(fixes, {"target": "own ship"})
    for track in tracks:
        row = track.row
        fixes = [(one.utc_ms, one.place.lat_deg, one.place.lon_deg) for one in track.points if one.place is not None]
        facts: dict[str, object] = {
            "target": row.target,
            "name": words.clean(row.name, 60) or None,
            "passage": row.passage_id,
            "plots": len(track.points),
            "closest_range_nm": round(row.closest_range_nm, 3),
            "closest_bearing_deg": row.closest_bearing_deg,
            "closest_time": str(Instant(row.closest_utc_ms)),
        }
        yield _feature(fixes, facts)


def _feature(fixes: Sequence[Fix], facts: dict[str, object]) -> dict[str, object]:
    lines = [line if len(line) > 1 or len(fixes) == 1 else line * 2 for one in _unbroken(fixes) for line in cut(one)]
    times = [[str(Instant(at)) for at, _, _ in line] for line in lines]
    return {"type": "Feature", "geometry": _geometry(lines), "properties": {**facts, "times": times}}


def _geometry(lines: Sequence[Sequence[Fix]]) -> dict[str, object] | None:
    """Lines of two positions and more (RFC 7946, 3.1.4); a track seen once is a point, one without any has none."""
    whole = [[(round(lon, 7), round(lat, 7)) for _, lat, lon in line] for line in lines]
    if not whole:
        return None
    if len(whole) == 1 and len(whole[0]) == 1:
        return {"type": "Point", "coordinates": whole[0][0]}
    return {"type": "MultiLineString", "coordinates": whole}


def _unbroken(fixes: Sequence[Fix]) -> list[list[Fix]]:
    pieces: list[list[Fix]] = []
    for fix in fixes:
        if not pieces or fix[0] - pieces[-1][-1][0] > GAP_MS:
            pieces.append([])
        pieces[-1].append(fix)
    return pieces


def cut(line: Sequence[Fix]) -> list[list[Fix]]:
    """The line in pieces that do not cross the antimeridian; each ends on it where it did."""
    pieces: list[list[Fix]] = [[line[0]]]
    for before, after in pairwise(line):
        if abs(after[2] - before[2]) > 180.0:
            edge = 180.0 if before[2] > 0 else -180.0
            far = after[2] + 2 * edge
            share = (edge - before[2]) / (far - before[2])
            at = round(before[0] + share * (after[0] - before[0]))
            lat = before[1] + share * (after[1] - before[1])
            pieces[-1].append((at, lat, edge))
            pieces.append([(at, lat, -edge)])
        pieces[-1].append(after)
    return pieces
