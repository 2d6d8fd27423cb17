"""One vessel, two tracks: which radar and AIS tracks are joined, which of the two speaks, and what the pairs tell.

The rules judge one track of a pair: radar's while it is fresh and settled, else the AIS track. What is told of a vessel
goes with her when the other track takes over: a change-over raises nothing anew. All of this is worked out at whole
seconds of stream time, in the first stroke.
"""

from collections.abc import Iterator, Sequence

from msgspec import Struct

from alerts.ais_watch import AisWatch
from alerts.events import Moment, Pair
from alerts.plotting import association_words as words
from alerts.plotting.ais import Heard
from alerts.plotting.association import Association, Change, PairChange
from alerts.plotting.identity import Targets
from alerts.plotting.kinematics import Estimate, OwnMotion, seen_from
from alerts.plotting.offsets import Cause, Verdict
from alerts.plotting.pairing import RadarSide
from alerts.plotting.terms import PairState
from alerts.waiting import Carried, Said, our_note
from parsers.observations import Acquisition, TargetReport

RETURN_S = 10.0
"""Radar must be settled again for so long before it speaks for a pair again."""

VERDICT_HOLD_S, VERDICT_STEP_DEG, VERDICT_STEP_NM = 30.0, 0.5, 30 / 1852
"""A common offset must stand so long before it is told, and is told again when it has changed by so much."""

ALONE_EVERY_S, ALONE_S, WATCHED_S = 10.0, 60.0, 120.0
"""How often lone tracks are looked for; for how long one must be alone, and known at all, before it is told."""

HINTS_KEPT = 1000


class Joined(Struct):
    """A pair. `speaks` is the key of the track that the rules judge."""

    radar: str
    ais: str
    speaks: str
    settled_since_s: float | None = None


class Handover(Struct, frozen=True, gc=False):
    """From now on the second track speaks for the vessel."""

    old: str
    new: str


class PairTold(Struct, frozen=True, gc=False):
    """A pair has been joined or parted, or the other track speaks now (`speaks`; None: parted)."""

    radar: str
    ais: str
    name: str
    speaks: str | None
    why: str = ""


Step = Handover | PairTold | str
"""A `str` is a note for the watchkeeper."""


def waiting_of(moment: Moment, step: Step) -> Carried | Said:
    """A step as what waits for the second stroke."""
    if isinstance(step, Handover):
        return Carried(moment, step.old, step.new)
    if isinstance(step, str):
        return our_note(moment, step)
    state = PairState.PARTED if step.speaks is None else PairState.JOINED
    return moment, Pair(
        time=moment.time,
        target=step.radar,
        ais=step.ais,
        name=step.name,
        state=state,
        speaks=step.speaks,
        why=step.why,
    )


class Vessels:
    """All pairs of one watch."""

    def __init__(self, targets: Targets, ais: AisWatch, tell_within_nm: float) -> None:
        self.association = Association()
        self._targets = targets
        self._ais = ais
        self._tell_within_nm = tell_within_nm
        self._joined: dict[str, Joined] = {}  # by either key
        self._hints: dict[str, tuple[bool, int | None]] = {}
        self._teller = words.Teller()
        self._verdict: tuple[float, str] | None = None  # since when there is one, and of what cause
        self._told: Verdict | None = None
        self._seen_s: dict[str, float] = {}  # since when each radar track is settled
        self._known_s = float("-inf")  # when that was looked at last: those before the first station were there first
        self._courted: set[str] = set()
        self._alone: dict[str, float] = {}
        self._looked_s = float("-inf")

    # -------------------------------------------------------------------------------------- asked by the lookout

    def is_folded(self, key: str) -> bool:
        """Whether the other track of a pair speaks for this one; of a pair to be, the track known first speaks."""
        pair = self._joined.get(key)
        return pair.speaks != key if pair is not None else key in self._courted

    def name_of(self, key: str, name: str) -> str:
        """A radar track's name: that of the vessel's AIS, else her number there, where the two are joined."""
        pair = self._joined.get(key)
        heard = self._ais.stations.get(pair.ais) if pair is not None else None
        return name if heard is None else heard.name or heard.key

    def hint(self, key: str, report: TargetReport) -> None:
        """What the set says itself of a target's being an AIS target (TTD)."""
        if report.acquisition is None and report.correlation is None and key not in self._hints:
            return
        if key in self._hints or len(self._hints) < HINTS_KEPT:
            self._hints[key] = (report.acquisition is Acquisition.REPORTED, report.correlation)

    def forget(self, key: str) -> None:
        """A track has ended; a pair of it is dissolved at the next tick."""
        self._hints.pop(key, None)
        self._alone.pop(key, None)

    # --------------------------------------------------------------------------------------------------- a tick

    def tick(self, at_s: float, own: OwnMotion) -> list[Step]:
        """What has changed, in order."""
        stations = [heard for heard in self._ais.stations.heard() if _is_comparable(heard)]
        if not stations and not self._joined:
            self._courted.clear()
            self._known_s = float("-inf")
            return []
        steps = list(self._dissolve())
        if self.association.is_due(at_s):
            radars = [self._side(key, estimate) for key, estimate in self._targets.in_sight(at_s)]
            for change in self.association.update(at_s, (own.east_nm, own.north_nm), radars, stations):
                steps += self._take(change, at_s)
            self._court(at_s, radars)
            steps += self._tell_common(at_s, own)
            if at_s - self._looked_s >= ALONE_EVERY_S:
                self._looked_s = at_s
                steps += self._tell_alone(at_s, own, radars, stations)
        for pair in [pair for key, pair in self._joined.items() if key == pair.radar]:
            steps += self._choose(pair, at_s)
        return steps

    def _side(self, key: str, estimate: Estimate) -> RadarSide:
        is_reported, correlation = self._hints.get(key, (False, None))
        return RadarSide(key, estimate, self._targets.name_of(key), is_reported, correlation)

    def _dissolve(self) -> Iterator[Step]:
        """Pairs of which a track has ended: the other goes on for the vessel."""
        for pair in [pair for key, pair in self._joined.items() if key == pair.radar]:
            has_radar, has_ais = self._targets.has(pair.radar), self._ais.stations.get(pair.ais) is not None
            if has_radar and has_ais:
                continue
            left = pair.ais if has_ais else pair.radar
            if (has_ais or has_radar) and pair.speaks != left:
                yield Handover(pair.speaks, left)
            for change in self.association.forget(pair.ais if has_radar else pair.radar):
                yield from self._separate(change)

    def _take(self, change: PairChange, at_s: float) -> Iterator[Step]:
        name = self._name(change.ais)
        if change.change is Change.JOINED:
            yield from self._join(change, name)
        elif change.change is Change.PARTED:
            yield from self._separate(change)
        text = words.change_told(change, name)
        if text and self._teller.may_say((change.change, change.radar, change.ais), at_s):
            yield text

    def _court(self, at_s: float, radars: Sequence[RadarSide]) -> None:
        """The younger track of each pair to be keeps silent for the few seconds until it is known for one."""
        self._seen_s = {side.key: self._seen_s.get(side.key, self._known_s) for side in radars}
        self._known_s = at_s
        self._courted = set()
        for radar, ais in self.association.courted:
            heard = self._ais.stations.get(ais)
            if heard is not None and not self._joined.keys() & {radar, ais}:
                self._courted.add(ais if self._seen_s.get(radar, at_s) < heard.first_s else radar)

    def _join(self, change: PairChange, name: str) -> Iterator[Step]:
        pair = Joined(change.radar, change.ais, change.radar)
        self._joined[pair.radar] = self._joined[pair.ais] = pair
        self._alone.pop(pair.radar, None)
        self._alone.pop(pair.ais, None)
        yield Handover(pair.ais, pair.radar)
        yield PairTold(pair.radar, pair.ais, name, pair.speaks)

    def _separate(self, change: PairChange) -> Iterator[Step]:
        self._joined.pop(change.radar, None)
        self._joined.pop(change.ais, None)
        yield PairTold(change.radar, change.ais, self._name(change.ais), None, change.why)

    def _choose(self, pair: Joined, at_s: float) -> Iterator[Step]:
        """Which track speaks: radar's while it is fresh and settled, else the AIS track if that is."""
        heard = self._ais.stations.get(pair.ais)
        hears = heard is not None and _is_comparable(heard)
        sees = self._targets.is_settled(pair.radar)
        pair.settled_since_s = (pair.settled_since_s if pair.settled_since_s is not None else at_s) if sees else None
        speaks = pair.speaks
        if speaks == pair.radar and not sees and hears:
            speaks = pair.ais
        elif speaks == pair.ais and sees and (_stood_s(pair, at_s) >= RETURN_S or not hears):
            speaks = pair.radar
        if speaks != pair.speaks:
            yield Handover(pair.speaks, speaks)
            pair.speaks = speaks
            yield PairTold(pair.radar, pair.ais, self._name(pair.ais), speaks)

    def _name(self, ais_key: str) -> str:
        heard = self._ais.stations.get(ais_key)
        return heard.name if heard is not None else ""

    # ------------------------------------------------------------------------------------ what the pairs tell

    def _tell_common(self, at_s: float, own: OwnMotion) -> Iterator[str]:
        """The common offset, once it stands, and again when it has changed."""
        found = self.association.verdict()
        if found is None:
            self._verdict = None
            return
        if self._verdict is None or self._verdict[1] != found.cause:
            self._verdict = (at_s, found.cause)
        if at_s - self._verdict[0] < VERDICT_HOLD_S or not _is_news(self._told, found):
            return
        self._told = found
        yield words.verdict_told(found, own)

    def _tell_alone(
        self, at_s: float, own: OwnMotion, radars: Sequence[RadarSide], stations: Sequence[Heard]
    ) -> Iterator[str]:
        """Close tracks of one kind where the other kind is at work and should have seen them."""
        lone: dict[str, str] = {}
        if radars:
            lone |= dict(self._lone_stations(at_s, own, stations))
        if any(at_s - heard.last_s < WATCHED_S for heard in stations):
            lone |= dict(self._lone_echoes(own, radars))
        self._alone = {key: self._alone.get(key, at_s) for key in lone}
        for key, text in lone.items():
            if at_s - self._alone[key] >= ALONE_S and self._teller.may_say(("alone", key), at_s):
                yield text

    def _lone_stations(self, at_s: float, own: OwnMotion, stations: Sequence[Heard]) -> Iterator[tuple[str, str]]:
        for heard in stations:
            if heard.key in self._joined or heard.first_s > at_s - WATCHED_S or not heard.has_body:
                continue
            e = heard.predict(at_s)
            range_nm, bearing_deg = seen_from(own, e)
            if range_nm <= self._tell_within_nm and not self.association.is_near(heard.key):
                yield heard.key, words.no_echo_told(heard.key, heard.name, range_nm, bearing_deg)

    def _lone_echoes(self, own: OwnMotion, radars: Sequence[RadarSide]) -> Iterator[tuple[str, str]]:
        for side in radars:
            if side.key in self._joined or side.is_reported:
                continue
            e = side.estimate
            range_nm, bearing_deg = seen_from(own, e)
            if range_nm <= self._tell_within_nm and not self.association.is_near(side.key):
                yield side.key, words.no_ais_told(side.key, range_nm, bearing_deg)


def _stood_s(pair: Joined, at_s: float) -> float:
    return 0.0 if pair.settled_since_s is None else at_s - pair.settled_since_s


def _is_comparable(heard: Heard) -> bool:
    """Whether a station tells where it is and how it goes, now; what is no vessel is not held against an echo."""
    return heard.is_judged and heard.estimate.settled and heard.out_of_sight is None


def _is_news(told: Verdict | None, found: Verdict) -> bool:
    if told is None or told.cause is not found.cause:
        return True
    turned = abs(found.bearing_deg - told.bearing_deg) >= VERDICT_STEP_DEG
    moved = abs(found.shift_nm - told.shift_nm) >= VERDICT_STEP_NM
    return turned if found.cause is Cause.BEARING else moved if found.cause is Cause.SHIFT else turned or moved
