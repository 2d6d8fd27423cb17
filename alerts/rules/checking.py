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
    """A latch for each target; an alert for each cause, on the target if there is only one cause-less one."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._latches: dict[str, Latch] = {}
        self._family: dict[str, str] = {}
        self._members: dict[str, dict[str, Plot]] = {}  # by family: targets that differ now

    def see(self, at_s: float, plot: Plot) -> None:
        if plot.check is not Check.DIFFERS and plot.target not in self._latches:
            return
        rule = self._board.settings.cross_check
        latch = self._latches.setdefault(plot.target, Latch())
        differs = plot.check is Check.DIFFERS
        # Settling, or nothing reported: cannot be judged now.
        advance(latch, at_s, differs, plot.check is not Check.AGREES, rule.hold_s, rule.clear_hold_s)
        self._move(plot, latch.is_set)
        if not latch.is_set and plot.check is Check.AGREES:
            del self._latches[plot.target]

    def lose(self, plot: Plot) -> None:
        """The target is lost: there is no more to compare."""
        self._latches.pop(plot.target, None)
        self._move(plot, False)

    def _move(self, plot: Plot, is_set: bool) -> None:
        """Keep the target under the cause that is given for it now, and settle the causes touched."""
        before = self._family.get(plot.target)
        now = before
        if not is_set:
            now = None
        elif plot.check is Check.DIFFERS:
            now = cause_family(plot.check_cause) or plot.target
        if before is not None and before != now:
            self._members[before].pop(plot.target, None)
            self._settle(before, plot)
            if not self._members[before]:
                del self._members[before]
        if now is None:
            self._family.pop(plot.target, None)
            return
        self._family[plot.target] = now
        self._members.setdefault(now, {})[plot.target] = plot
        self._settle(now, plot)

    def _settle(self, family: str, plot: Plot) -> None:
        members = self._members[family]
        target = family if family == plot.target else None
        wanted = bool(members) and self._board.is_on("cross_check")
        self._board.settle(
            ("cross_check", target, family if target is None else ""),
            wanted,
            lambda: _case(list(members.values()) or [plot]),
            reason="agrees again",
        )


def _case(plots: list[Plot]) -> Case:
    latest = plots[-1]
    names = ", ".join(plot.target for plot in plots[:6]) + (" and others" if len(plots) > 6 else "")
    cause = wording.clean(latest.check_cause or "no cause found", 160)
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
