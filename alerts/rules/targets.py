"""The rules on targets, brought together: what happens at a plot, at a tick, and when the data of a target stops."""

from msgspec import structs

from alerts.events import Moment, Plot
from alerts.plotting.terms import TrackState
from alerts.rules import approaching, presence, wording
from alerts.rules.board import Board, Case
from alerts.rules.checking import CheckRule
from alerts.rules.findings import Key, Phase
from alerts.rules.followed import DANGERS, Followed
from alerts.rules.situation import Situation

MOST_TARGETS = 3500
"""Targets followed at once: the radars' tracks (1,000 at most), plots by hand, and AIS in a crowded port (2,000)."""


class TargetRules:
    """The rules on targets, each with its latches; at most MOST_TARGETS are followed."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._check = CheckRule(board)
        self._followed: dict[str, Followed] = {}
        self._began_s: float | None = None

    def see(self, moment: Moment, plot: Plot) -> None:
        """One plot: move this target's latches and settle what is told of it."""
        at_s = moment.at_s
        if self._began_s is None:
            self._began_s = at_s
        followed = self._followed.get(plot.target)
        if followed is None:
            self._make_room()
            followed = self._followed[plot.target] = Followed(plot, at_s)
        followed.plot, followed.is_lost = plot, False
        self._see_place(followed, at_s)
        presence.see_manoeuvre(self._board, followed, at_s)
        self._see_new(followed, at_s)
        self._check.see(at_s, plot)

    def see_carried(self, moment: Moment, plot: Plot) -> None:
        """The target's last plot carried on to now: where it is and how it will pass. That plot stays what is known."""
        followed = self._followed.get(plot.target)
        if followed is None:  # another track spoke for her until now
            self.see(moment, plot)
            return
        known, followed.plot = followed.plot, plot
        self._see_place(followed, moment.at_s)
        followed.plot = known

    def _see_place(self, followed: Followed, at_s: float) -> None:
        approaching.see_approach(self._board, followed, at_s)
        presence.see_zones(self._board, followed, at_s, self._in_grace(at_s, self._board.settings.guard_zone.grace_s))

    def tick(self, moment: Moment, situation: Situation, silent_feeds: frozenset[str]) -> None:
        """Targets that are lost or gone from the picture, and what is only shown for a while."""
        there = {health.target for health in situation.targets}
        known, new = self._board.targets("lost_target"), self._board.targets("new_target")
        scales = {radar.feed: radar.range_scale_nm for radar in situation.radars}
        for health in situation.targets:
            followed = self._followed.get(health.target)
            if followed is None:
                continue
            is_lost = health.track is TrackState.LOST
            if is_lost or followed.is_lost or health.target in known:
                self._tick_lost(followed, is_lost, scales.get(health.feed), health.feed in silent_feeds)
            if health.target in new and ("new_target", health.target, "") in self._board.told:  # still
                self._see_new(followed, moment.at_s)
        for target in [target for target in self._followed if target not in there]:
            self._forget(self._followed.pop(target), "dropped from the picture")
        if not self._in_grace(moment.at_s, self._board.settings.guard_zone.grace_s):
            presence.settle_grace(self._board, list(self._followed.values()))

    def carry(self, old: str, new: str) -> None:
        """The old target is the new one: a danger that is told stays told, one that is on its way goes on."""
        followed = self._followed.pop(old, None)
        if followed is None:
            return
        self._check.lose(followed.plot)  # the set's answer is the radar track's own affair
        mine = self._followed.get(new)
        if mine is None:
            followed.plot = structs.replace(followed.plot, target=new)
            self._followed[new] = followed
        else:
            mine.take_over(followed)
        self._board.carry(old, new)

    def _in_grace(self, at_s: float, grace_s: float) -> bool:
        return self._began_s is None or at_s - self._began_s < grace_s

    def _see_new(self, followed: Followed, at_s: float) -> None:
        there_at_start = self._in_grace(followed.first_s, self._board.settings.new_target.grace_s)
        presence.see_new(self._board, followed, at_s, there_at_start)

    def _tick_lost(self, followed: Followed, is_lost: bool, scale_nm: float | None, is_silent: bool) -> None:
        if is_lost and not followed.is_lost:
            self._lose(followed)
        followed.is_lost = is_lost
        holder = "feed_silent" if is_silent else self._danger_told(followed)
        presence.settle_lost(self._board, followed, scale_nm, holder)

    def _danger_keys(self, followed: Followed) -> list[Key]:
        target = followed.plot.target
        zones: list[Key] = [("guard_zone", target, name) for name in self._board.settings.guard_zone.zones]
        return [(rule, target, "") for rule in DANGERS] + zones

    def _danger_told(self, followed: Followed) -> str:
        """The rule whose alert on this target already tells that it is lost."""
        return next((key[0] for key in self._danger_keys(followed) if key in self._board.told), "")

    def _lose(self, followed: Followed) -> None:
        """The data of a target stopped. A danger stays, as lost; what only describes its motion ends."""
        plot = followed.plot
        for key in self._danger_keys(followed):
            if key in self._board.told:
                case = self._danger_case(key, followed)
                values = {**case.values, "lost": True, "last_seen": str(plot.time)}
                self._board.say(key, Phase.LOST, Case(wording.lost(plot), values), "no more plots")
        self._check.lose(plot)
        for rule in ("target_manoeuvre", "new_target"):
            self._end((rule, plot.target, ""), plot, "target lost")

    def _danger_case(self, key: Key, followed: Followed) -> Case:
        plot, board = followed.plot, self._board
        if key[0] == "closest_approach":
            return approaching.closest_case(followed, board)
        if key[0] == "steady_bearing":
            return approaching.steady_case(plot, board)
        if key[0] == "bow_crossing":
            return approaching.bow_case(plot, board)
        return presence.zone_case(plot, key[2], board.settings.guard_zone.zones[key[2]])

    def _end(self, key: Key, plot: Plot, reason: str) -> None:
        self._board.settle(key, False, lambda: presence.lost_case(plot), reason=reason)

    def _forget(self, followed: Followed, reason: str) -> None:
        """The picture has let the target go: a danger on it is lost, whatever the track said last."""
        if not followed.is_lost:
            self._lose(followed)
        self._end(("lost_target", followed.plot.target, ""), followed.plot, reason)
        for key in self._danger_keys(followed):
            self._board.drop(key)

    def _make_room(self) -> None:
        if len(self._followed) >= MOST_TARGETS:
            oldest = min(self._followed, key=lambda target: self._followed[target].plot.time.utc_ms)
            self._forget(self._followed.pop(oldest), "too many targets")
