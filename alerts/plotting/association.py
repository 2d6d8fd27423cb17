"""Which radar track and which AIS track are one vessel: joined when it is clear, parted when it is clear, else said.

Every two seconds the links in reach (pairing.py) are measured. A link is good while it fits and no other explanation of
either track fits nearly as well; good for a while, the two are joined. A joined link parts only when it has been bad
for longer: its tracks have drifted apart, or another fits clearly better. Pairs teach what is common to all
(offsets.py), and what is known of that narrows the reach of the rest: those that stand alone join first, the others
after them. Bounded by the tracks and by MOST_LINKS.
"""

from collections.abc import Iterable, Sequence
from enum import StrEnum

import numpy as np
from msgspec import Struct

from alerts.plotting import offsets
from alerts.plotting.ais import Heard
from alerts.plotting.offsets import Offset, Verdict
from alerts.plotting.pairing import FARTHEST_NM, Link, Links, RadarSide, in_reach, measure

EVERY_S = 2.0
"""How often all is measured: about a scan."""

FITS, FITS_NO_MORE = 13.3, 30.0
"""Squared distances, 4 degrees of freedom: 99 % of true pairs are nearer than the first, 99.9995 % than the second."""

MARGIN = 9.0
"""Any other explanation must be worse by this: a likelihood ratio of 90."""

JOIN_S, PART_S, DOUBT_S = 12.0, 30.0, 60.0
"""Good for so long: joined. Bad for so long: parted. In doubt for so long: said."""

COURTED_S = 40.0
"""A link that fits and has no rival is taken for one vessel as to alerts, for so long at most, until it is joined."""

LEAST_LINK_S = 10.0
"""A link must have been watched so long before its motion tells anything."""

HINT = 12.0
"""What the set's own joining (a label with her name or number, a correlation number) is worth."""

TWIN_VELOCITY, TWIN_S = 9.2, 120.0
"""Two degrees of freedom, 99 %: the same course and speed, for so long, at a place that does not fit."""


VOTING_S = 40.0
"""For so long the same course and speed: a voice in what may be common to all."""

VOTE_HOLDS_S = 60.0
"""So long a vote has to bring its voters together."""


class Change(StrEnum):
    JOINED = "joined"
    PARTED = "parted"
    IN_DOUBT = "in doubt"
    TWINS = "twins"


class PairChange(Struct, frozen=True):
    """What has changed of one link, and why. `others`: the tracks that fit as well, where in doubt."""

    change: Change
    radar: str
    ais: str
    why: str = ""
    apart_nm: float = 0.0
    others: tuple[str, ...] = ()


class Association:
    """All links and pairs of one watch. `update` is to be called with time going forward, in the data's own seconds."""

    def __init__(self) -> None:
        self.offset: Offset = offsets.prior()
        self.pairs: dict[str, str] = {}  # radar key -> AIS key
        self.by_ais: dict[str, str] = {}
        self.courted: list[tuple[str, str]] = []  # (radar key, AIS key) of pairs to be, as it seems
        self._links: dict[tuple[str, str], Link] = {}
        self._said: dict[tuple[str, str], Change] = {}
        self._measured = Links([], np.zeros((0, 2, 3)), np.zeros((0, 4, 4)))
        self._voted: tuple[float, Offset] | None = None
        self._last_s: float | None = None

    # ------------------------------------------------------------------------------------------ a moment

    def is_due(self, at_s: float) -> bool:
        return self._last_s is None or at_s - self._last_s >= EVERY_S or at_s < self._last_s

    def update(
        self, at_s: float, own_nm: tuple[float, float], radars: Sequence[RadarSide], stations: Sequence[Heard]
    ) -> list[PairChange]:
        """Measures all links at this moment: tracks that are fresh and settled, own ship's place in the plane."""
        step_s = EVERY_S if self._last_s is None else min(max(at_s - self._last_s, 0.0), 2 * EVERY_S)
        self._last_s = at_s
        radars = [one for one in radars if _is_within(one, own_nm)]
        sides = [(radars[i], stations[j]) for i, j in in_reach(at_s, radars, list(stations))]
        self._measured = measure(at_s, own_nm, sides, self._links, self.offset)
        _take_hints(self._measured.links, sides)
        fresh = {one.key for one in radars}
        changes = self._judge(self._measured.links, step_s, at_s, fresh)
        self._drop_old(at_s)
        self._learn(at_s)
        return changes

    def forget(self, key: str) -> list[PairChange]:
        """A track has ended."""
        gone = [pair for pair in self.pairs.items() if key in pair]
        for link in [link for link in self._links if key in link]:
            del self._links[link]
        for link in [link for link in self._said if key in link]:
            del self._said[link]
        return [self._part(radar, ais, "the track has ended") for radar, ais in gone]

    def is_near(self, key: str) -> bool:
        """Whether a track that is not joined has one of the other kind near it, on much the same course and speed."""
        return any(
            key in (link.radar, link.ais) and link.velocity_distance < 2 * TWIN_VELOCITY
            for link in self._measured.links
        )

    def verdict(self) -> Verdict | None:
        """What all pairs have in common, where it can be named."""
        chosen = self._teachers()
        place = self._measured.covariances[chosen, :2, :2]
        return offsets.verdict(self._measured.h[chosen], self._differences(chosen), place)

    # ------------------------------------------------------------------------------------- joining, parting

    def _judge(self, links: list[Link], step_s: float, at_s: float, fresh: set[str]) -> list[PairChange]:
        rivals = self._rivals(links, fresh)
        self.courted = []
        changes: list[PairChange] = []
        for link in links:
            others = [other for other in rivals[link.radar, link.ais] if other.cost < link.cost + MARGIN]
            if self.pairs.get(link.radar) == link.ais:
                changes += self._hold(link, others, step_s)
            else:
                changes += self._court(link, others, step_s, at_s, fresh)
        return changes

    def _rivals(self, links: list[Link], fresh: set[str]) -> dict[tuple[str, str], list[Link]]:
        """Of each link, those that share a track with it and whose other track is not joined elsewhere.

        What the set reports by AIS itself is no rival of its radar tracks: it is the same AIS again.
        """
        by_radar: dict[str, list[Link]] = {}
        by_ais: dict[str, list[Link]] = {}
        for link in links:
            by_radar.setdefault(link.radar, []).append(link)
            by_ais.setdefault(link.ais, []).append(link)
        return {
            (link.radar, link.ais): [
                *(one for one in by_radar[link.radar] if one is not link and not self._is_taken(one, "ais", fresh)),
                *(
                    one
                    for one in by_ais[link.ais]
                    if one is not link
                    and one.is_reported <= link.is_reported
                    and not self._is_taken(one, "radar", fresh)
                ),
            ]
            for link in links
        }

    def _is_taken(self, link: Link, side: str, fresh: set[str]) -> bool:
        """Whether that side of the link is joined to a third track that is still seen."""
        if side == "ais":
            return self.by_ais.get(link.ais, link.radar) != link.radar and self.by_ais[link.ais] in fresh
        return self.pairs.get(link.radar, link.ais) != link.ais

    def _court(self, link: Link, others: list[Link], step_s: float, at_s: float, fresh: set[str]) -> list[PairChange]:
        """A link that is not joined: good for long enough, it is."""
        free = link.radar not in self.pairs and not self._is_taken(link, "ais", fresh)
        if link.distance < FITS and free and not others and at_s - link.began_s < COURTED_S:
            self.courted.append((link.radar, link.ais))
        fits = link.distance < FITS and at_s - link.began_s >= LEAST_LINK_S
        good = fits and free and not others
        link.good_s = link.good_s + step_s if good else max(0.0, link.good_s - 2 * step_s)
        if link.good_s >= JOIN_S:
            return self._join(link, at_s)
        link.doubt_s = link.doubt_s + step_s if fits and free and others else 0.0
        twin = not fits and free and link.velocity_distance < TWIN_VELOCITY and not others
        link.twin_s = link.twin_s + step_s if twin else max(0.0, link.twin_s - step_s)
        if link.doubt_s >= DOUBT_S:
            names = tuple(sorted({one.ais if one.radar == link.radar else one.radar for one in others}))
            return self._say(PairChange(Change.IN_DOUBT, link.radar, link.ais, "", link.apart_nm, names))
        if link.twin_s >= TWIN_S:
            return self._say(PairChange(Change.TWINS, link.radar, link.ais, "", link.apart_nm))
        return []

    def _join(self, link: Link, at_s: float) -> list[PairChange]:
        changes = []
        if link.ais in self.by_ais:
            changes.append(self._part(self.by_ais[link.ais], link.ais, "seen under another number"))
        self.pairs[link.radar], self.by_ais[link.ais] = link.ais, link.radar
        link.joined_s, link.bad_s, link.doubt_s, link.twin_s = at_s, 0.0, 0.0, 0.0
        self._said.pop((link.radar, link.ais), None)
        return [*changes, PairChange(Change.JOINED, link.radar, link.ais, "", link.apart_nm)]

    def _hold(self, link: Link, others: list[Link], step_s: float) -> list[PairChange]:
        """A joined link: bad for long enough, it parts."""
        better = any(other.cost + MARGIN < link.cost and other.distance < FITS for other in others)
        bad = link.distance > FITS_NO_MORE or better
        link.bad_s = link.bad_s + step_s if bad else max(0.0, link.bad_s - step_s)
        if link.bad_s < PART_S:
            return []
        why = "another fits better" if better else "they drift apart"
        return [self._part(link.radar, link.ais, why, link.apart_nm)]

    def _part(self, radar: str, ais: str, why: str, apart_nm: float = 0.0) -> PairChange:
        del self.pairs[radar]
        del self.by_ais[ais]
        link = self._links.get((radar, ais))
        if link is not None:
            link.joined_s, link.good_s, link.bad_s = None, 0.0, 0.0
        return PairChange(Change.PARTED, radar, ais, why, apart_nm)

    def _say(self, change: PairChange) -> list[PairChange]:
        """Once for each link, until it has been joined."""
        key = (change.radar, change.ais)
        if self._said.get(key) is change.change:
            return []
        self._said[key] = change.change
        return [change]

    # ------------------------------------------------------------------------------------------ what is kept

    def _drop_old(self, at_s: float) -> None:
        """Links that are out of reach are kept for a minute; a pair that is out of reach has drifted apart."""
        self._links.update({(link.radar, link.ais): link for link in self._measured.links})
        old = [key for key, link in self._links.items() if at_s - link.seen_s > 60.0 and link.joined_s is None]
        for key in old:
            del self._links[key]
            self._said.pop(key, None)

    def _learn(self, at_s: float) -> None:
        """The common offset by the pairs; while these are few, by a vote of those that would be pairs but for it."""
        chosen = self._teachers()
        place = self._measured.covariances[chosen, :2, :2]
        self.offset = offsets.estimate(self._measured.h[chosen], self._differences(chosen), place)
        if len(chosen) < offsets.LEAST_PAIRS:
            likely = [i for i, link in enumerate(self._measured.links) if i in chosen or link.twin_s >= VOTING_S]
            voted = offsets.vote(self._measured.h[likely], self._differences(likely))
            if voted is not None:
                self._voted = (at_s, voted)
            if self._voted is not None and at_s - self._voted[0] < VOTE_HOLDS_S:
                self.offset = self._voted[1]

    def _teachers(self) -> list[int]:
        """Indices of the links that tell what is common: joined, seen now, and measured by radar itself."""
        links = self._measured.links
        return [i for i, link in enumerate(links) if self.pairs.get(link.radar) == link.ais and not link.is_reported]

    def _differences(self, chosen: Iterable[int]) -> offsets.Array:
        return np.array([self._measured.links[i].mean[:2] for i in chosen]).reshape(-1, 2)


def _is_within(side: RadarSide, own_nm: tuple[float, float]) -> bool:
    e = side.estimate
    return e.settled and abs(e.east_nm - own_nm[0]) < FARTHEST_NM and abs(e.north_nm - own_nm[1]) < FARTHEST_NM


def _take_hints(links: list[Link], sides: list[tuple[RadarSide, Heard]]) -> None:
    """What the set says itself: a label that is the station's name or number, a correlation that a reported track has
    with a radar track."""
    known = {
        side.correlation: heard.key
        for link, (side, heard) in zip(links, sides, strict=True)
        if side.is_reported and side.correlation is not None and link.distance < FITS
    }
    for link, (side, heard) in zip(links, sides, strict=True):
        named = side.name.strip().upper() in {heard.name.strip().upper(), str(heard.mmsi)} - {""}
        correlated = not side.is_reported and side.correlation is not None and known.get(side.correlation) == heard.key
        if named or correlated:
            link.cost -= HINT
