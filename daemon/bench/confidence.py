"""95 % limits of every figure of a setting, worked out once for all settings whose encounters went alike.

Of what never happened a bootstrap says that it never will; there the rule of three stands in: with no event in n
trials, or n hours, the rate is under 3/n with 95 % (Hanley and Lippman-Hand 1983, from memory). Of the worst warning
there are none: what was drawn again is never worse than what was.
"""

from daemon.bench.figures import LOW_QUANTILE, Bootstrap, Figures, limits_of

Limits = dict[str, tuple[float, float]]
"""Low and high by the figure's name; NaN where a figure has none."""

LIMITED = (
    "caught_share",
    "late_share",
    "missed_share",
    "warning_median_min",
    "warning_low_min",
    "nuisance_clear_nm",
    "nuisance_per_h",
    "alerts_per_h",
    "again_per_h",
    "alarm_share",
)
"""What has limits. Shares are of the close passes, and of the time in `alarm_share`."""


class Confidence:
    """Limits by the bootstrap, for any setting."""

    def __init__(self, drawn: Bootstrap, given: Figures, late_min: float) -> None:
        self._drawn = drawn
        self._given = given
        self._late_min = late_min
        self._warnings: dict[bytes, Limits] = {}
        self._alerts: dict[bytes, Limits] = {}

    def of(self, setting: int) -> Limits:
        """All of `LIMITED`."""
        pool = self._drawn.pool
        warned = pool.warned_min[setting, pool.close].tobytes()
        if warned not in self._warnings:
            self._warnings[warned] = self._of_warnings(setting)
        rows = (pool.raised, pool.nuisance, pool.again, pool.alarm_s, pool.elsewhere.T, pool.in_alarm_s.T)
        told = b"".join(one[setting].tobytes() for one in rows)
        if told not in self._alerts:
            self._alerts[told] = self._of_alerts(setting)
        both = {**self._warnings[warned], **self._alerts[told]}
        return {name: both[name] for name in LIMITED}

    def _of_warnings(self, setting: int) -> Limits:
        drawn, given = self._drawn, self._given
        caught = limits_of(drawn.caught_share(setting))
        late = limits_of(drawn.late_share(setting, self._late_min))
        if given.close and given.missed[setting] == 0:
            caught = (max(0.0, 1.0 - 3.0 / given.close), 1.0)
        if given.close and given.late[setting] == 0:
            late = (0.0, min(1.0, 3.0 / given.close))
        return {
            "caught_share": caught,
            "late_share": late,
            "missed_share": (1.0 - caught[1], 1.0 - caught[0]),
            "warning_median_min": limits_of(drawn.warning_min(setting, 0.5)),
            "warning_low_min": limits_of(drawn.warning_min(setting, LOW_QUANTILE)),
        }

    def _of_alerts(self, setting: int) -> Limits:
        drawn, given = self._drawn, self._given
        never = (0.0, 3.0 / given.hours) if given.hours > 0 else (float("nan"), float("nan"))
        return {
            "nuisance_clear_nm": limits_of(drawn.nuisance_clear_nm(setting)),
            "nuisance_per_h": limits_of(drawn.nuisance_per_h(setting)) if given.nuisance[setting] else never,
            "alerts_per_h": limits_of(drawn.alerts_per_h(setting)) if given.alerts[setting] else never,
            "again_per_h": limits_of(drawn.again_per_h(setting)) if given.again[setting] else never,
            "alarm_share": limits_of(drawn.alarm_share(setting)),
        }
