"""Which target a report speaks of. A number is the set's handle, not the vessel: it is reused, exchanged and doubled.

A track is known by its key, `radar-07`; the set's next vessel under the same number is `radar-07.2`. Rules for this
file:

- Identity is number, source and continuity together. An echo that the track's motion cannot explain is not that
  target. One such echo may be an error and is held back; a second that goes with the first begins a new track. After a
  break (the set said lost, or is acquiring anew, or fell silent) one is enough.
- Where the echo stands on the place predicted for another track, the set has moved its number to that vessel. The plot
  goes on with the echo's own history under a new key, so that the key always shows the number the set shows.
- Time is the stream's own. Nothing here asks a clock.
- Everything is bounded: tracks by `capacity`, all else by the tracks or by a constant beside it.
"""

import copy
from collections import OrderedDict, deque
from collections.abc import Callable, Iterator, Sequence

from alerts.plotting import echoes
from alerts.plotting.kept import NAME_LENGTH, Filter, Kept, Slot, slot_of
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.meetings import Exchange, Meetings, meeting_reach_nm
from alerts.plotting.nearby import Nearby
from alerts.plotting.pairs import Pairs, pair_reach_nm
from alerts.plotting.placing import Change, Ended, Ending, Ignored, Placed, is_a_break, not_a_measurement, speaks_second
from alerts.plotting.terms import TrackState
from parsers.observations import TargetLabel, TargetPosition, TargetReport, TargetStatus

CAPACITY = 200
"""Tracks kept at most, unless the set is said to track more: five times what a large ship's set must track (40,
MSC.192(79) table 1)."""

FORGET_S = 600.0
"""A lost target is waited for so long; a number heard again after that is another vessel's."""

NEAR_NM = 1.0
"""Tracks farther apart than this, east or north, are not held against each other."""

SEQUELS = 8192
"""Numbers whose next sequel (.2, .3) is remembered, the least recent being forgotten first."""

EXCHANGED_SDS, COINCIDENT_SDS = 3.5, 3.0
"""An echo so far off its own prediction, and so near another's, is held back as one off its track."""

RECENTLY_ENDED = 16
RECENTLY_ENDED_S = 60.0
"""Tracks ended by a jump whose echo may turn up again under another number."""


class Targets:
    """The targets of all radar feeds.

    `begin` makes a filter for a new target of the feed named. With more than one name in `feeds` each feed's name is
    its keys' prefix; else the first feed heard is `radar`, and any other goes by its name.
    """

    def __init__(self, begin: Callable[[str], Filter], capacity: int = CAPACITY, feeds: Sequence[str] = ()) -> None:
        self._begin_filter = begin
        self.capacity = capacity
        self.crowded_out = 0  # tracks ended for want of room while they were seen
        self._prefixes = {name: name for name in feeds} if len(feeds) > 1 else {}
        self._tracks: dict[str, Kept] = {}
        self._numbers: dict[Slot, list[Kept]] = {}
        self._sequels: OrderedDict[Slot, int] = OrderedDict()
        self._ended: deque[Kept] = deque(maxlen=RECENTLY_ENDED)
        self._labels: dict[Slot, str] = {}
        self._begun = 0
        self._nearby = Nearby()
        self._pairs = Pairs()
        self._meetings = Meetings()

    # ------------------------------------------------------------------------------------------ reports

    def place(self, report: TargetReport | TargetPosition, look: Look | None) -> Placed:
        """Finds or begins the report's track and gives it the measurement. `look` is None where there is none."""
        if report.number is None:
            return Placed(track=None, ignored=Ignored.MARK)
        slot = slot_of(report, report.number)
        kept = self._find(slot, report, look)
        if report.status is TargetStatus.LOST:
            return self._give_up(kept, report, slot[2])
        if look is None:
            return Placed(track=kept.key if kept else None, ignored=Ignored.NO_MEASUREMENT, is_test=slot[2])
        if kept is None:
            return self._begin(slot, report, [look])
        ignored = not_a_measurement(kept, report, look)
        if ignored is not None:
            return Placed(track=kept.key, ignored=ignored, is_test=kept.is_test)
        return self._follow(kept, report, look)

    def label(self, label: TargetLabel) -> None:
        """A label for a numbered target (TLB). None takes it away. A label for no track is not kept."""
        slot = (label.source.feed, label.number, False)
        if label.label is None:
            self._labels.pop(slot, None)
        elif slot in self._numbers:
            self._labels[slot] = label.label[:NAME_LENGTH]

    def _find(self, slot: Slot, report: TargetReport | TargetPosition, look: Look | None) -> Kept | None:
        """The number's track by the same talker; else by another, if the echo is on it."""
        candidates = self._numbers.get(slot, [])
        for kept in candidates:
            if kept.source.talker == report.source.talker:
                return kept
        for kept in candidates:
            if look is not None and self._belongs(kept, look):
                return kept
        return None

    def _belongs(self, kept: Kept, look: Look) -> bool:
        unseen_s = look.at_s - kept.last_s
        if echoes.is_bow_relative(look) != echoes.is_bow_relative(kept.last_look):
            return echoes.range_belongs(kept.last_look, look, unseen_s)
        out_of_sight = kept.is_lost or unseen_s > kept.rhythm.lost_after_s
        return echoes.belongs(kept.filter.predict(max(look.at_s, kept.last_s)), look, unseen_s, out_of_sight)

    def _is_on_track(self, kept: Kept, look: Look) -> bool:
        """Whether the echo is hers: on her place, and not rather on another's."""
        if kept.estimate is not None and look.at_s >= kept.last_s:
            off_nm, noise_nm = echoes.carried_off(kept.estimate, look)
            if off_nm < EXCHANGED_SDS * noise_nm and off_nm <= echoes.REACQUIRED_NM:
                return True
        return self._belongs(kept, look) and not self._is_on_anothers_place(kept, look)

    def _is_on_anothers_place(self, kept: Kept, look: Look) -> bool:
        """Whether the echo, near enough to be this target's, is off her place by what noise does not do, and on that of
        another: so two neighbours look whose numbers have been exchanged."""
        if kept.estimate is None or not kept.estimate.settled:
            return False
        near = self._nearby.of(kept, NEAR_NM)
        if not near:
            return False
        off = echoes.sds_off(kept.filter.predict(look.at_s), look)
        if off < EXCHANGED_SDS:
            return False
        for other in near:
            if not other.is_established or other.out_of_sight is not None:
                continue
            if other.is_test == kept.is_test and other.last_s <= look.at_s:
                theirs = echoes.sds_off(other.filter.predict(look.at_s), look)
                if theirs < min(COINCIDENT_SDS, off / 2):
                    return True
        return False

    def _give_up(self, kept: Kept | None, report: TargetReport | TargetPosition, is_test: bool) -> Placed:
        """The set has lost the target: what the report carries beside is junk, its range and bearing the last ones."""
        if kept is None:
            return Placed(track=None, ignored=Ignored.NOT_TRACKED, is_test=is_test)
        if speaks_second(kept, report) and kept.is_fresh(report.at_s):
            return Placed(track=kept.key, ignored=Ignored.SECOND_SOURCE, is_test=kept.is_test)
        newly = not kept.is_lost
        kept.status, kept.out_of_sight, kept.suspect = TargetStatus.LOST, TrackState.LOST, None
        return Placed(track=kept.key, ignored=Ignored.LOST, lost=newly, is_test=kept.is_test)

    # ------------------------------------------------------------------------------------------- tracks

    def _follow(self, kept: Kept, report: TargetReport | TargetPosition, look: Look) -> Placed:
        if echoes.is_bow_relative(look) != echoes.is_bow_relative(kept.last_look):
            return self._change_plane(kept, report, look)
        repeated = echoes.same_measurement(kept.last_look, look)
        near = self._nearby.of(kept, self._reach_nm(kept))
        if not repeated:
            exchange = self._meetings.see(kept, look, near)
            if exchange is not None:
                return self._exchange(exchange, kept, report, look)
        if repeated or self._is_on_track(kept, look):
            return self._take(kept, report, look, near)
        earlier = kept.suspect
        if earlier is not None and echoes.same_vessel(earlier, look):
            return self._renew(kept, report, [earlier, look])
        if is_a_break(kept, report, look):
            return self._renew(kept, report, [look])
        kept.suspect = look
        ignored = Ignored.CONTESTED if kept.jumped() else Ignored.JUMP
        return Placed(track=kept.key, ignored=ignored, is_test=kept.is_test)

    def _take(self, kept: Kept, report: TargetReport | TargetPosition, look: Look, near: Sequence[Kept]) -> Placed:
        out_of_sight = kept.out_of_sight is not None
        kept.take_note(report)
        estimate = kept.take(look)
        self._nearby.put(kept)
        self._pairs.compare(kept, near)
        continues, kept.unannounced = kept.unannounced, None
        return Placed(
            track=kept.key,
            estimate=estimate,
            is_new=continues is not None,
            continues=continues,
            reacquired=out_of_sight and kept.out_of_sight is None,
            is_test=kept.is_test,
            duplicate_of=self.duplicate_of(kept.key),
        )

    def _reach_nm(self, kept: Kept) -> float:
        """How far off a track others are looked for."""
        range_nm, mine = kept.last_look.range_nm, kept.estimate
        pairs_nm = pair_reach_nm(range_nm)
        meets_nm = 0.0 if mine is None else meeting_reach_nm(mine.bearing_sd_deg, range_nm)
        reach_nm = meets_nm if meets_nm > pairs_nm else pairs_nm
        return reach_nm if reach_nm < NEAR_NM else NEAR_NM

    def _exchange(self, exchange: Exchange, kept: Kept, report: TargetReport | TargetPosition, look: Look) -> Placed:
        """The vessels have parted, and each number is on the other's line: both end, and go on as each other."""
        ended = tuple(Ended(track.key, Ending.EXCHANGED) for track in exchange.tracks)
        for track in exchange.tracks:
            self._end(track)
        for i, track in enumerate(exchange.tracks):
            new = Kept(self._new_key(track.slot), track.slot, report, exchange.filters[i], look)
            new.continue_from(track, exchange.tracks[1 - i], exchange.last_looks[i])
            self._enter(new)
            if track is kept:
                mine = new
        mine.take_note(report)
        continues, mine.unannounced = mine.unannounced, None
        estimate = mine.predict(look.at_s)
        return Placed(
            track=mine.key, estimate=estimate, is_new=True, continues=continues, is_test=mine.is_test, ended=ended
        )

    def _change_plane(self, kept: Kept, report: TargetReport | TargetPosition, look: Look) -> Placed:
        """A heading was lost or found, and bearings are counted from something else: only the range can tell now. The
        target stays herself if it can be hers; her motion is learnt anew."""
        unseen_s = look.at_s - kept.last_s
        if not echoes.range_belongs(kept.last_look, look, unseen_s):
            return self._renew(kept, report, [look])
        reacquired = kept.out_of_sight is not None
        self._meetings.drop(kept)
        kept.filter = self._begin_filter(kept.slot[0])
        kept.take_note(report)
        estimate = kept.take(look)
        self._nearby.put(kept)
        return Placed(track=kept.key, estimate=estimate, reacquired=reacquired, is_test=kept.is_test)

    def _renew(self, kept: Kept, report: TargetReport | TargetPosition, looks: list[Look]) -> Placed:
        """The number goes to another echo: its track ends, and one begins with the echo's history if it has any."""
        origin = self._history_of(looks, kept)
        if origin is not None and self._meetings.are_meeting(kept, origin):
            kept.suspect = looks[-1]  # who is who is told for both at once, in a few looks
            return Placed(track=kept.key, ignored=Ignored.JUMP, is_test=kept.is_test)
        self._end(kept)
        self._ended.append(kept)
        why = Ending.REUSED if origin is None else Ending.EXCHANGED
        return self._begin(kept.slot, report, looks, origin, (Ended(kept.key, why),))

    def _history_of(self, looks: list[Look], leaving: Kept) -> Kept | None:
        """The other track, live or just ended by such a jump, on whose predicted place all these echoes stand."""
        at_s = looks[0].at_s
        gone = [kept for kept in self._ended if at_s - kept.last_s <= RECENTLY_ENDED_S]
        for kept in (*gone, *self._tracks.values()):
            if kept is leaving or not kept.is_established or kept.is_lost or kept.is_test != leaving.is_test:
                continue
            if echoes.is_bow_relative(kept.last_look) != echoes.is_bow_relative(looks[0]):
                continue
            if all(echoes.coincides(kept.filter.predict(max(look.at_s, kept.last_s)), look) for look in looks):
                return kept
        return None

    def _begin(
        self,
        slot: Slot,
        report: TargetReport | TargetPosition,
        looks: list[Look],
        origin: Kept | None = None,
        ended: tuple[Ended, ...] = (),
    ) -> Placed:
        ended = ended + self._make_room()
        filter_ = self._begin_filter(slot[0]) if origin is None else copy.deepcopy(origin.filter)
        kept = Kept(self._new_key(slot), slot, report, filter_, looks[0])
        kept.looks = 0 if origin is None else origin.looks
        for look in looks:
            if origin is None or look.at_s > origin.last_s:
                kept.take(look)
        estimate = kept.predict(looks[-1].at_s)
        self._enter(kept)
        return Placed(
            track=kept.key,
            estimate=estimate,
            is_new=True,
            continues=origin.key if origin else None,
            is_test=kept.is_test,
            ended=ended,
        )

    def _enter(self, kept: Kept) -> None:
        self._begun += 1
        kept.order = self._begun
        self._tracks[kept.key] = kept
        self._numbers.setdefault(kept.slot, []).append(kept)
        self._nearby.put(kept)

    def _new_key(self, slot: Slot) -> str:
        feed, number, test = slot
        if feed not in self._prefixes:
            name = feed if self._prefixes else "radar"
            taken = set(self._prefixes.values())
            self._prefixes[feed] = name if name not in taken else f"{name}-{len(taken) + 1}"
        name = f"{self._prefixes[feed]}-{'test-' if test else ''}{number:02d}"
        sequel = self._sequels.pop(slot, 0) + 1
        while (key := name if sequel == 1 else f"{name}.{sequel}") in self._tracks:
            sequel += 1  # a flood made the number be forgotten, but its track lives
        self._sequels[slot] = sequel
        if len(self._sequels) > SEQUELS:
            self._sequels.popitem(last=False)
        return key

    def _make_room(self) -> tuple[Ended, ...]:
        """Ends the target that is missed least: lost before new before established, and among these the stalest."""
        if len(self._tracks) < self.capacity:
            return ()
        kept = min(self._tracks.values(), key=lambda kept: (not kept.is_lost, kept.is_established, kept.last_s))
        self._end(kept)
        self.crowded_out += not kept.is_lost
        return (Ended(kept.key, Ending.CROWDED_OUT),)

    def _end(self, kept: Kept) -> None:
        del self._tracks[kept.key]
        self._nearby.drop(kept)
        self._pairs.drop(kept)
        self._meetings.drop(kept)
        tracks = self._numbers[kept.slot]
        tracks.remove(kept)
        if not tracks:
            del self._numbers[kept.slot]
            self._labels.pop(kept.slot, None)

    # --------------------------------------------------------------------------------------- time and views

    def tick(self, at_s: float) -> list[Change]:
        """Ages the tracks: silent ones coast, then are lost, then end. Call it at least once a second of data."""
        changes = []
        for kept in list(self._tracks.values()):
            silent_s = at_s - kept.last_s
            if silent_s > FORGET_S:
                self._end(kept)
                changes.append(Change(kept.key, TrackState.LOST, Ending.FORGOTTEN))
                continue
            state = _state_by_silence(kept, silent_s)
            if state is not None and state is not kept.out_of_sight and not kept.is_lost:
                kept.out_of_sight = state
                changes.append(Change(kept.key, state))
        return changes

    def predict(self, key: str, at_s: float) -> Estimate | None:
        """The track's estimate for a moment not before its last measurement; None for a track that has ended."""
        kept = self._tracks.get(key)
        return None if kept is None else kept.predict(max(at_s, kept.last_s))

    def has(self, key: str) -> bool:
        """Whether the track goes on, seen or not."""
        return key in self._tracks

    def is_settled(self, key: str) -> bool:
        """Whether the track is in sight and its motion known."""
        kept = self._tracks.get(key)
        return kept is not None and kept.out_of_sight is None and kept.estimate is not None and kept.estimate.settled

    def in_sight(self, at_s: float) -> Iterator[tuple[str, Estimate]]:
        """Tracks that can be held against other sensors: settled, seen, true in bearing, one to a vessel, no tests."""
        for key, kept in self._tracks.items():
            if kept.is_test or not self.is_settled(key) or echoes.is_bow_relative(kept.last_look):
                continue
            if self.duplicate_of(key) is None:
                yield key, kept.predict(max(at_s, kept.last_s))

    def keys(self) -> list[str]:
        """All tracks, lost ones too, in the order in which they began."""
        return list(self._tracks)

    def states(self) -> Iterator[tuple[str, float, TrackState]]:
        """Key, time of the last measurement and state of each track, lost ones too, in the order of their beginning."""
        for key, kept in self._tracks.items():
            seen_as = kept.estimate.state if kept.estimate is not None else TrackState.SETTLING
            yield key, kept.last_s, kept.out_of_sight or seen_as

    def name_of(self, key: str) -> str:
        """A track's label (TLB), else the name in the target's own sentence, if there is one."""
        kept = self._tracks.get(key)
        return "" if kept is None else self._labels.get(kept.slot) or kept.name

    def duplicate_of(self, key: str) -> str | None:
        """The elder track on the same vessel, while it is being seen: alerts are raised for that one alone."""
        for elder in self._pairs.elder_of(key):
            if self._tracks[elder].out_of_sight is None:
                return elder
        return None

    @property
    def load(self) -> float:
        """Share of the capacity in use, 0 to 1 (for `radar_capacity`)."""
        return len(self._tracks) / self.capacity


def _state_by_silence(kept: Kept, silent_s: float) -> TrackState | None:
    if silent_s > kept.rhythm.lost_after_s:
        return TrackState.LOST
    if silent_s > kept.rhythm.coasting_after_s:
        return TrackState.COASTING
    return None
