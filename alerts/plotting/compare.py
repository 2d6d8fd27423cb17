"""Before and after: what a note or a range change did to the picture, over equal times, and whether it is chance.

Three measures are held, each by its own test (`significance`): reports received (Fisher's exact test, mid-p), scatter
of range and of bearing (log-variance test over all targets). They are looked at after one, two and three minutes; lost
targets after 20, 40 and 60 s, against the passage so far. All looks share one chance of 5 % of a false finding.
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from msgspec import Struct

from alerts.plotting.scatter import Echo, residual
from alerts.plotting.significance import Variances, fisher_exact, run_factor, scatter_factor, variance_change

LOOKS_S = (60.0, 120.0, 180.0)
LOST_LOOKS_S = (20.0, 40.0, 60.0)
FALSE_SHARE = 0.05
LEVELS = (0.0010, 0.0030, 0.0085)
"""What p must be under at each look. Over four measures they make up the share of false findings; the last look, which
has the most to go by, is given the most of it (Bonferroni; the division is ours)."""

LEAST_S = 30.0  # shorter windows are not compared


class Held(Struct, frozen=True):
    """A target that was held when the change came, and its rhythm then."""

    echo: Echo
    rhythm_s: float
    until_s: float | None = None  # it was lost, or is out of the new range, from here on


class Counts(Struct, frozen=True):
    """Reports received of those expected, and what share of independent reports they are worth."""

    received: int
    expected: int
    worth: float = 1.0

    @property
    def per_cent(self) -> float | None:
        return 100 * self.received / self.expected if self.expected else None


class Change(Struct, frozen=True):
    """One measure before and after, the p of its test, and whether that is more than chance."""

    name: str  # reports, range scatter, bearing scatter
    unit: str
    before: float | None
    after: float | None
    p: float
    test: str


def reports_change(held: Sequence[Held], at_s: float, window_s: float) -> tuple[Change, Counts, Counts]:
    """The share of expected reports received, over all targets held, in per cent."""
    before, after = _counts(held, at_s - window_s, at_s, at_s), _counts(held, at_s, at_s + window_s, at_s)
    p = fisher_exact(_worth(before), _worth(after), mid=True)
    change = Change("reports received", "%", before.per_cent, after.per_cent, p, "Fisher's exact test, mid-p")
    return change, before, after


def _worth(counts: Counts) -> tuple[int, int]:
    return round(counts.received * counts.worth), round((counts.expected - counts.received) * counts.worth)


def _counts(held: Sequence[Held], from_s: float, to_s: float, change_s: float) -> Counts:
    slots: list[list[bool]] = []
    for one in held:
        end_s = to_s if one.until_s is None else min(to_s, one.until_s)
        rhythm_s = one.rhythm_s
        if from_s >= change_s and one.echo.is_regular(from_s, end_s):
            # A new range may turn the antenna, or the set's round of reports, faster or slower: that is no loss.
            rhythm_s = one.echo.rhythm_s(end_s, from_s) or rhythm_s
        if end_s > from_s:
            slots.append(one.echo.slots(from_s, end_s, rhythm_s))
    received, expected = sum(map(sum, slots)), sum(map(len, slots))
    return Counts(received, expected, 1 / run_factor(_run_correlation(slots)))


def _run_correlation(slots: Sequence[Sequence[bool]]) -> float:
    """Whether misses come in runs: correlation of neighbours about each target's own share, less what chance shows."""
    lagged = squares = 0.0
    for row in slots:
        if len(row) < 2:
            continue
        mean = sum(row) / len(row)
        lagged += sum((a - mean) * (b - mean) for a, b in pairwise(row))
        squares += sum((a - mean) ** 2 for a in row)
    return lagged / squares - sum(map(len, slots)) ** -0.5 if squares else 0.0


def scatter_changes(held: Sequence[Held], at_s: float, window_s: float) -> tuple[Change, Change]:
    """Scatter of range (m) and bearing (deg) about each target's smoothed track, over all targets held."""
    by_range: list[Variances] = []
    by_bearing: list[Variances] = []
    for one in held:
        before = residual(one.echo.blocks_in(at_s - window_s, at_s))
        after = residual(one.echo.blocks_in(at_s, at_s + window_s))
        if before.range_m is None or before.bearing_deg is None or after.range_m is None or after.bearing_deg is None:
            continue
        rho, theta = after.range_correlation, after.bearing_correlation
        by_range.append(
            Variances(
                before.range_m**2,
                before.freedom / scatter_factor(before.range_correlation),
                after.range_m**2,
                after.freedom / scatter_factor(rho),
            )
        )
        by_bearing.append(
            Variances(
                before.bearing_deg**2,
                before.freedom / scatter_factor(before.bearing_correlation),
                after.bearing_deg**2,
                after.freedom / scatter_factor(theta),
            )
        )
    return _scatter_change("scatter of range", "m", by_range), _scatter_change("scatter of bearing", "°", by_bearing)


def _scatter_change(name: str, unit: str, targets: Sequence[Variances]) -> Change:
    _, p = variance_change(targets)
    freedom_before, freedom_after = (
        sum(one.before_freedom for one in targets),
        sum(one.after_freedom for one in targets),
    )
    before = after = None
    if freedom_before > 0 and freedom_after > 0:
        before = (sum(one.before * one.before_freedom for one in targets) / freedom_before) ** 0.5
        after = (sum(one.after * one.after_freedom for one in targets) / freedom_after) ** 0.5
    return Change(name, unit, before, after, p, "log-variance test")


def sentence(change: Change, cause: str, taught: str | None, window_s: float) -> str:
    """What was found, for the watchkeeper; what is taught of the setting where the change is for the worse."""
    assert change.before is not None
    assert change.after is not None
    verb = "grew" if change.after > change.before else "fell"
    worse = change.after > change.before if change.unit != "%" else change.after < change.before
    told = f": {taught}" if taught and worse else ""
    sides = f"from {_amount(change.before, change.unit)} to {_amount(change.after, change.unit)}"
    return (
        f"{change.name} {verb} {sides} in the {window_s:.0f} s after {cause}, against as long before "
        f"({change.test}, p {_p_text(change.p)}){told}"
    )


def figure(change: Change) -> str:
    """The figures alone, found or not."""
    if change.before is None or change.after is None:
        return f"{change.name} not known"
    sides = f"{_amount(change.before, change.unit)} before, {_amount(change.after, change.unit)} after"
    return f"{change.name} {sides} (p {_p_text(change.p)})"


def _amount(value: float, unit: str) -> str:
    return f"{value:.2f}°" if unit == "°" else f"{value:.0f} {unit}"


def values_of(changes: Sequence[Change]) -> dict[str, float | int | str | None]:
    values: dict[str, float | int | str | None] = {}
    for change in changes:
        for side, value in (("before", change.before), ("after", change.after)):
            values[f"{change.name} {side}"] = None if value is None else round(value, 3)
        values[f"{change.name} p"] = rounded(change.p)
    return values


def rounded(p: float) -> float:
    """Two figures: more would claim too much."""
    return float(f"{p:.2g}")


def _p_text(p: float) -> str:
    return "< 0.001" if p < 0.001 else f"= {p:.3f}"


def number_word(count: int) -> str:
    """Small numbers as words."""
    return {2: "two", 3: "three", 4: "four", 5: "five", 6: "six", 7: "seven", 8: "eight"}.get(count, str(count))


# What is known to go with a setting, said beside a finding: general teaching, no source. Words of the note, lower case.
_TEACHING: Mapping[tuple[str, ...], str] = {
    ("sea", "stc"): "too much of it removes real echoes too",
    ("rain", "ftc"): "it thins all echoes, weak ones first",
    ("gain",): "weak echoes are the first to go with too little gain, and drown in noise with too much",
    ("tune", "tuning", "tuned"): "a set out of tune loses weak echoes first",
    ("interference", "filter", "reject"): "a filter may take weak echoes for interference",
    ("auto",): "automatic settings choose for the strong echoes",
    ("pulse",): "a short pulse parts echoes better and sees weak ones less far",
    ("range", "scale"): "pulse and picture change with the range scale",
}
_CLUTTER = ("clutter", "expansion", "stabilised", "stabilisation", "trim", "brilliance", "video", "processing")
_WORDS_OF_SETTINGS = frozenset(_CLUTTER).union(*_TEACHING)


def is_about_the_set(text: str) -> bool:
    """Whether a note speaks of the radar's own settings, and so opens a comparison."""
    return not _WORDS_OF_SETTINGS.isdisjoint(_words(text))


def teaching(text: str) -> str | None:
    """What is generally taught of the setting that a note names; None where nothing is."""
    words = _words(text)
    return next((said for names, said in _TEACHING.items() if not words.isdisjoint(names)), None)


def _words(text: str) -> set[str]:
    return set("".join(letter if letter.isalpha() else " " for letter in text.lower()).split())
