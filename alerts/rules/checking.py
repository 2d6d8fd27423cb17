"""The rule cross_check: the set's own answer differs from ours. Targets that differ for one cause make one alert."""

import re

from alerts.events import Plot
from alerts.plotting.terms import Check
from alerts.rules import wording
from alerts.rules.board import Board, Case
from alerts.rules.latch import Latch, advance

_NUMBERS = re.compile(r"[-+]?\d+(\.\d+)?")


def cause_family(cause: str | None) -> str:
    """A cause without its figures: a wrong speed input is one situation, whether by 2.9 or 3.1 kn."""
    return _NUMBERS.sub("#", cause or "")


class CheckRule:
    """A latch for each target, an alert for each cause. Targets whose difference has no cause have one each.

    The diagnosis may change its mind as more is seen. That is no new situation: a target stays in the alert that it
    came into, and the text gives the latest cause.
    """

    def __init__(self, board: Board) -> None:
        self._board = board
        self._latches: dict[str, Latch] = {}
        self._group_of: dict[str, str] = {}
        self._members: dict[str, dict[str, Plot]] = {}  # by group: targets that differ now, the latest seen last

    def see(self, at_s: float, plot: Plot) -> None:
        if plot.check is not Check.DIFFERS and plot.target not in self._latches:
            return
        rule = self._board.settings.cross_check
        latch = self._latches.setdefault(plot.target, Latch())
        differs = plot.check is Check.DIFFERS
        # Settling, or nothing reported: cannot be judged now.
        advance(latch, at_s, differs, plot.check is not Check.AGREES, rule.hold_s, rule.clear_hold_s)
        if latch.is_set and differs:
            self._join(plot)
        elif not latch.is_set:
            self._leave(plot)
            if plot.check is Check.AGREES:
                del self._latches[plot.target]

    def lose(self, plot: Plot) -> None:
        """The target is lost: there is no more to compare."""
        self._latches.pop(plot.target, None)
        self._leave(plot)

    def _join(self, plot: Plot) -> None:
        group = self._group_of.get(plot.target) or self._group_for(plot)
        self._group_of[plot.target] = group
        members = self._members.setdefault(group, {})
        members.pop(plot.target, None)
        members[plot.target] = plot
        self._settle(group, plot)

    def _group_for(self, plot: Plot) -> str:
        """The alert that tells this cause now, else a new one."""
        family = cause_family(plot.check_cause)
        if not family:
            return plot.target
        for group, members in self._members.items():
            if any(cause_family(member.check_cause) == family for member in members.values()):
                return group
        return family

    def _leave(self, plot: Plot) -> None:
        group = self._group_of.pop(plot.target, None)
        if group is None:
            return
        self._members[group].pop(plot.target, None)
        self._settle(group, plot)
        if not self._members[group]:
            del self._members[group]

    def _settle(self, group: str, plot: Plot) -> None:
        members = self._members[group]
        alone = group == plot.target
        self._board.settle(
            ("cross_check", plot.target if alone else None, "" if alone else group),
            bool(members) and self._board.is_on("cross_check"),
            lambda: _case(list(members.values()) or [plot]),
            reason="agrees again",
        )


def _case(plots: list[Plot]) -> Case:
    latest = plots[-1]
    names = ", ".join(plot.target for plot in plots[:6]) + (" and others" if len(plots) > 6 else "")
    cause = wording.clean(latest.check_cause or "no cause found", 280)
    theirs = wording.reported(latest)
    ours = wording.approach(latest)
    text = f"{names}: the set's answer differs: {cause}; {theirs or 'set reports no CPA'}, ours {ours}"
    return Case(
        text,
        {
            "targets": len(plots),
            "names": names,
            "cause": latest.check_cause,
            "cpa_nm": latest.cpa_nm,
            "tcpa_min": latest.tcpa_min,
            "reported_cpa_nm": latest.reported_cpa_nm,
            "reported_tcpa_min": latest.reported_tcpa_min,
        },
    )
