"""What really happened between own ship and each target, and whether it can be told: the judge of every setting.

An encounter is a target's stay inside a circle about own ship, or its whole track where it never came so near. What
happened comes from the exercise's truth, else from the track as smoothed in hindsight, with its uncertainty. An
encounter that cannot be judged is said to be one, and counts neither for a setting nor against it.
"""

from collections.abc import Iterator, Sequence
from enum import StrEnum

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.plotting.chance import LIMIT
from alerts.plotting.motion import assess
from alerts.plotting.noise import NoiseModel
from alerts.plotting.smooth import hindsight
from daemon.bench.known import Known
from daemon.bench.tracks import Track, Tracks

Floats = npt.NDArray[np.float64]

APART = 1.25
"""A target has left the circle when it has been outside by this factor; one that follows its rim has not."""

BEFORE_S, AFTER_S, MOST_LOOKS = 2400.0, 600.0, 400
"""Of a track so much before and after its closest look is smoothed, and so many looks at most: a TCPA limit is at
most two hours, and the warnings that are asked for are minutes."""

LEAST_LOOKS = 5

AHEAD_MIN = 30.0
"""A CPA further ahead than this is none that anybody need have been warned of yet."""

DANGER_S = 60.0
"""A swing of own ship's head that points at a far target for less than this is no danger averted."""

OFF_NM, OFF_SHARE = 0.15, 0.06
"""A track is a vessel of the truth if it lies so near to it, half of the time: a few degrees of heading error."""

SHOWN = 80
"""Points of a relative track that are kept for drawing."""


class Verdict(StrEnum):
    CLOSE = "close"  # passed within what counts as close
    CLEAR = "clear"
    UNJUDGED = "cannot be judged"


class Path(Struct, frozen=True):
    """A target's way relative to own ship as it was, and at each moment its CPA if nobody had altered from then on.

    Columns (K,); `sd_nm` is that of the range.
    """

    at_s: Floats
    east_nm: Floats
    north_nm: Floats
    cpa_nm: Floats
    tcpa_min: Floats
    sd_nm: Floats

    def part(self, first: int, stop: int) -> "Path":
        return Path(*(getattr(self, name)[first:stop] for name in self.__struct_fields__))

    @property
    def range_nm(self) -> Floats:
        return np.hypot(self.east_nm, self.north_nm)


class Encounter(Struct, frozen=True, kw_only=True):
    """One encounter. `keys` are the target keys under which the set had it; times in stream seconds.

    `averted`: on the courses of some moment it would have been close, and somebody altered. `why` says what hinders a
    judgement. `way` are rows of seconds before the closest approach, NM east and NM north.
    """

    recording: str
    target: str
    keys: tuple[str, ...]
    condition: str
    from_s: float
    until_s: float
    closest_s: float
    cpa_nm: float
    sd_nm: float
    verdict: Verdict
    why: str = ""
    averted: bool = False
    close_nm: float
    danger_s: tuple[tuple[float, float], ...]  # when it would have been close: from, until
    way: Floats

    def was_danger(self, at_s: float) -> bool:
        """Whether on the courses and speeds of that moment it would have passed close."""
        return any(from_s <= at_s <= until_s for from_s, until_s in self.danger_s)


class Judge:
    """Tells the encounters of one recording. `close_nm` None: the CPA limit of the condition then in force."""

    def __init__(
        self, recording: str, tracks: Tracks, within_nm: float, close_nm: float | None, known: Known | None
    ) -> None:
        self._recording = recording
        self._tracks = tracks
        self._within_nm = within_nm
        self._close_nm = close_nm
        self._known = known
        self._noise = NoiseModel()

    def encounters(self, alerted: frozenset[str]) -> list[Encounter]:
        """All of them, in order of time. `alerted` are the targets of which any setting tells anything."""
        tracks = self._tracks.all()
        found: list[Encounter] = []
        if self._known is not None:
            whose = {track.target: _whose(track, self._known) for track in tracks}
            for vessel in sorted({v for v in whose.values() if v is not None}):
                keys = tuple(key for one in tracks if whose[one.target] == vessel for key in one.keys)
                found.extend(self._by_truth(vessel, keys, tracks))
            strays = [track for track in tracks if whose[track.target] is None]
            found.extend(
                self._whole(track, Verdict.UNJUDGED, "no vessel of the truth is there")
                for track in strays
                if not alerted.isdisjoint(track.keys) or self._is_near(track)
            )
        else:
            for track in tracks:
                found.extend(self._by_hindsight(track, not alerted.isdisjoint(track.keys)))
        return sorted(found, key=lambda one: (one.closest_s, one.target))

    def untracked(self, found: Sequence[Encounter]) -> tuple[str, ...]:
        """Vessels of the truth that passed close and were never on the plot: no limit could warn of them."""
        known = self._known
        if known is None:
            return ()
        on_plot = {one.target for one in found}
        return tuple(
            name
            for name, clutter, nm in zip(known.names, known.clutter, known.closest_nm.tolist(), strict=True)
            if not clutter and name not in on_plot and nm <= self._close_at_first()
        )

    def _close_at_first(self) -> float:
        return self._close_nm or self._tracks.conditions[self._tracks.condition_at(0.0)].cpa_nm

    def _is_near(self, track: Track) -> bool:
        return bool(np.min(track.range_nm) <= self._within_nm)

    # ------------------------------------------------------------------------------------------- by the truth

    def _by_truth(self, vessel: int, keys: tuple[str, ...], tracks: Sequence[Track]) -> Iterator[Encounter]:
        known = self._known
        assert known is not None
        mine = [track for track in tracks if track.target in keys]
        first, last = min(track.at_s[0] for track in mine), max(track.at_s[-1] for track in mine)
        at_s = known.utc_ms / 1000.0 + _offset_s(mine)
        path = Path(
            at_s,
            known.east_nm[:, vessel],
            known.north_nm[:, vessel],
            known.cpa_nm[:, vessel],
            known.tcpa_min[:, vessel],
            np.zeros(len(at_s)),
        )
        for start, stop in segments(path.range_nm, self._within_nm):
            part = path.part(start, stop)
            if part.at_s[-1] < first or part.at_s[0] > last:
                continue
            if known.clutter[vessel]:
                yield self._told(part, known.names[vessel], keys, Verdict.CLEAR, "clutter: no vessel")
            else:
                yield self._told(part, known.names[vessel], keys)

    # ---------------------------------------------------------------------------------------- by hindsight

    def _by_hindsight(self, track: Track, alerted: bool) -> Iterator[Encounter]:
        near = self._is_near(track)
        if not (near or alerted):
            return
        if len(track.at_s) < LEAST_LOOKS:
            yield self._whole(track, Verdict.UNJUDGED, f"fewer than {LEAST_LOOKS} plots")
            return
        for start, stop in segments(track.range_nm, self._within_nm):
            path = smoothed(track, start, stop, self._noise)
            if path is None:
                yield self._whole(track, Verdict.UNJUDGED, "the track never settled")
                return
            first, last = track.at_s[start], track.at_s[stop - 1]
            yield self._told(path, track.name or track.target, track.keys, span=(first, last))

    # ------------------------------------------------------------------------------------------- the verdict

    def _told(
        self,
        path: Path,
        target: str,
        keys: tuple[str, ...],
        verdict: Verdict | None = None,
        why: str = "",
        span: tuple[float, float] | None = None,
    ) -> Encounter:
        closest_s, cpa_nm, row = closest(path)
        condition = self._tracks.condition_at(closest_s)
        close_nm = self._close_nm or self._tracks.conditions[condition].cpa_nm
        sd_nm = float(path.sd_nm[row])
        if verdict is None:
            verdict, why = _verdict(path, closest_s, cpa_nm, sd_nm, close_nm)
        danger = _dangers(path, close_nm) if not why.startswith("clutter") else ()
        from_s, until_s = span or (float(path.at_s[0]), float(path.at_s[-1]))
        return Encounter(
            recording=self._recording,
            target=target,
            keys=keys,
            condition=condition,
            from_s=from_s,
            until_s=until_s,
            closest_s=closest_s,
            cpa_nm=cpa_nm,
            sd_nm=sd_nm,
            verdict=verdict,
            why=why,
            averted=verdict is Verdict.CLEAR and bool(danger),
            close_nm=close_nm,
            danger_s=danger,
            way=_way(path, closest_s),
        )

    def _whole(self, track: Track, verdict: Verdict, why: str) -> Encounter:
        """A track as it was seen, where nothing better is known."""
        angle = np.radians(track.bearing_deg)
        unknown = np.full(len(track.at_s), np.nan)
        path = Path(
            track.at_s,
            track.range_nm * np.sin(angle),
            track.range_nm * np.cos(angle),
            unknown,
            unknown,
            unknown,
        )
        return self._told(path, track.name or track.target, track.keys, verdict, why)


def segments(range_nm: Floats, within_nm: float) -> list[tuple[int, int]]:
    """Where to part a track (start, stop) so that each piece holds one stay inside the circle, or none at all."""
    inside = np.flatnonzero(range_nm <= within_nm)
    cuts = [0]
    for gap in np.flatnonzero(np.diff(inside) > 1):
        low, high = inside[gap] + 1, inside[gap + 1]
        peak = int(low + np.argmax(range_nm[low:high]))
        if range_nm[peak] > APART * within_nm:
            cuts.append(peak)
    return list(zip(cuts, [*cuts[1:], len(range_nm)], strict=True))


def smoothed(track: Track, start: int, stop: int, noise: NoiseModel) -> Path | None:
    """The track about its closest look, with all looks known; None where it never settled."""
    nearest_s = track.at_s[start + int(np.argmin(track.range_nm[start:stop]))]
    rows = np.arange(start, stop)
    rows = rows[(track.at_s[rows] >= nearest_s - BEFORE_S) & (track.at_s[rows] <= nearest_s + AFTER_S)]
    if len(rows) > MOST_LOOKS:
        rows = rows[np.unique(np.linspace(0, len(rows) - 1, MOST_LOOKS).round().astype(int))]
    looks = track.looks(rows)
    estimates = hindsight(looks, noise)
    if not any(one.settled for one in estimates):
        return None
    owns = [look.own for look in looks]
    answers = assess(estimates, owns, 0.5)
    east = np.array([one.east_nm - own.east_nm for one, own in zip(estimates, owns, strict=True)])
    north = np.array([one.north_nm - own.north_nm for one, own in zip(estimates, owns, strict=True)])
    c = np.array([one.covariance for one in estimates])
    least = np.maximum(np.hypot(east, north), 1e-3)
    ue, un = east / least, north / least
    variance = ue * ue * c[:, 0] + 2 * ue * un * c[:, 1] + un * un * c[:, 4]
    sd_nm = np.sqrt(np.maximum(variance, 0.0))
    return Path(track.at_s[rows], east, north, answers.cpa_nm, answers.tcpa_min, sd_nm)


def closest(path: Path) -> tuple[float, float, int]:
    """When a path comes nearest to own ship, how near, and the row next to it. Straight between its points."""
    e0, n0 = path.east_nm[:-1], path.north_nm[:-1]
    de, dn = np.diff(path.east_nm), np.diff(path.north_nm)
    length = de * de + dn * dn
    share = np.clip(-(e0 * de + n0 * dn) / np.where(length > 0.0, length, 1.0), 0.0, 1.0)
    if not len(share):
        return float(path.at_s[0]), float(path.range_nm[0]), 0
    away = np.hypot(e0 + share * de, n0 + share * dn)
    leg = int(np.argmin(away))
    at_s = path.at_s[leg] + share[leg] * (path.at_s[leg + 1] - path.at_s[leg])
    return float(at_s), float(away[leg]), leg + int(share[leg] > 0.5)


def _verdict(path: Path, closest_s: float, cpa_nm: float, sd_nm: float, close_nm: float) -> tuple[Verdict, str]:
    if closest_s <= path.at_s[0]:
        return Verdict.UNJUDGED, "seen only after its closest approach"
    if closest_s >= path.at_s[-1] and cpa_nm > close_nm:
        return Verdict.UNJUDGED, "not seen up to its closest approach"
    if sd_nm > 0.0 and abs(cpa_nm - close_nm) < LIMIT * sd_nm:
        return Verdict.UNJUDGED, f"passed at {cpa_nm:.2f} ± {LIMIT * sd_nm:.2f} NM, too near to {close_nm:g} NM to tell"
    return (Verdict.CLOSE if cpa_nm <= close_nm else Verdict.CLEAR), ""


def _dangers(path: Path, close_nm: float) -> tuple[tuple[float, float], ...]:
    """When it would have passed close on the courses and speeds of the moment; not what lasts less than a minute."""
    with np.errstate(invalid="ignore"):
        would = (path.cpa_nm <= close_nm) & (path.tcpa_min > 0.0) & (path.tcpa_min <= AHEAD_MIN)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], would, [False]]).astype(np.int8)))
    half_s = float(np.median(np.diff(path.at_s))) / 2.0 if len(path.at_s) > 1 else 0.0
    spans = [
        (float(path.at_s[first]) - half_s, float(path.at_s[stop - 1]) + half_s)
        for first, stop in zip(edges[::2], edges[1::2], strict=True)
    ]
    return tuple(span for span in spans if span[1] - span[0] >= DANGER_S)


def _way(path: Path, closest_s: float) -> Floats:
    """Seconds from the closest approach, NM east, NM north, for drawing: (<= SHOWN, 3)."""
    near = np.flatnonzero(np.abs(path.at_s - closest_s) <= BEFORE_S)
    rows = near[np.unique(np.linspace(0, len(near) - 1, SHOWN).round().astype(int))] if len(near) else near
    return np.stack([path.at_s[rows] - closest_s, path.east_nm[rows], path.north_nm[rows]], axis=1)


def _offset_s(tracks: Sequence[Track]) -> float:
    """From the labels of time (UTC) to the stream's own seconds."""
    return float(np.median(np.concatenate([track.at_s - track.utc_ms / 1000.0 for track in tracks])))


def _whose(track: Track, known: Known) -> int | None:
    """Which vessel of the truth this track is of; None where it follows none."""
    rows = np.unique(np.linspace(0, len(track.at_s) - 1, 60).round().astype(int))
    utc_ms = track.utc_ms[rows]
    angle = np.radians(track.bearing_deg[rows])
    east, north = track.range_nm[rows] * np.sin(angle), track.range_nm[rows] * np.cos(angle)
    off = [
        float(
            np.median(np.hypot(np.interp(utc_ms, known.utc_ms, e) - east, np.interp(utc_ms, known.utc_ms, n) - north))
        )
        for e, n in zip(known.east_nm.T, known.north_nm.T, strict=True)
    ]
    if not off:
        return None
    best = int(np.argmin(off))
    return best if off[best] <= OFF_NM + OFF_SHARE * float(np.median(track.range_nm[rows])) else None
