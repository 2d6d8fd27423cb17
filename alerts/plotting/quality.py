"""Picture quality: how steady the echoes are, what the picture holds, gains and loses, and what a setting did to it.

The lookout feeds it (`see`, `lose`, `note`, `radar`, `tick`) and passes on what it remarks. Everything is bounded. A
remark says what was measured, by which test, and that it may be chance where it may.
"""

from collections import deque
from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated

from msgspec import Meta, Struct

from alerts.plotting.compare import (
    LEAST_S,
    LEVELS,
    LOOKS_S,
    LOST_LOOKS_S,
    Held,
    figure,
    is_about_the_set,
    number_word,
    reports_change,
    rounded,
    scatter_changes,
    sentence,
    teaching,
    values_of,
)
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.scatter import BANDS_NM, Block, Echo, Scatter, band_of
from alerts.plotting.significance import rate_rise
from alerts.plotting.terms import TrackState

_MOST_TARGETS = 1000
_MOST_LOSSES = 200
_FORGOTTEN_S = 600.0  # a target not seen for so long, and never said to be lost, is let go
_ACQUIRING_S = 180.0  # predicted motion is due in three minutes (A.823(19) 3.8.3): later it has not settled
_MINUTE_S = 60.0
_UNHEARD_S = 2.0  # a target that is lost while its feed is silent, or as it comes back, was not lost by the radar
_LONGEST_NOTE = 80


class QualitySettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How the picture's quality is told."""

    compare: Annotated[
        bool, Meta(description="compare the picture before and after a note about the set's settings or a range change")
    ] = True
    window_s: Annotated[float, Meta(ge=30, le=1200, description="seconds that a target's own figures look back")] = (
        180.0
    )
    look_again_every_min: Annotated[
        float,
        Meta(ge=0, le=240, description="minutes between reminders to look on a longer and a shorter range; 0: none"),
    ] = 0.0
    tuning_every_min: Annotated[
        float, Meta(ge=0, le=240, description="minutes between reminders to check tuning, gain and clutter; 0: none")
    ] = 0.0


class RemarkKind(StrEnum):
    LOST = "lost after a change"
    REPORTS = "reports after a change"
    SCATTER = "scatter after a change"
    COMPARED = "before and after"
    REMINDER = "reminder"


class Remark(Struct, frozen=True):
    """One sentence for the watchkeeper, and what was measured. `found`: more than chance, by the test it names."""

    at_s: float
    kind: RemarkKind
    text: str
    found: bool
    values: dict[str, float | int | str | None]


class TargetQuality(Struct, frozen=True):
    """One target over the last window. `bands`: scatter in each range band that it crossed, nearest first."""

    target: str
    rhythm_s: float | None
    expected: int
    received: int
    scatter: Scatter
    bands: tuple[Scatter, ...]


class PictureQuality(Struct, frozen=True):
    """The picture now: targets held, gained and lost in the last minute, and the share of acquisitions that settled."""

    at_s: float
    held: int
    gained: int
    lost: int
    acquisitions: int
    settled_share: float | None
    bands: tuple[Scatter, ...]


class _Open(Struct):
    """A comparison that is running."""

    at_s: float
    cause: str
    teaching: str | None
    held: dict[str, Held]
    before_s: float  # how long the picture had stood unchanged
    losses_before: int
    exposure_before_s: float
    found: set[str]
    looked: int = 0
    lost_looked: int = 0


class Quality:
    """The measure of one radar's picture. Times are the stream's own seconds."""

    def __init__(self, settings: QualitySettings | None = None) -> None:
        self._settings = settings or QualitySettings()
        self._echoes: dict[str, Echo] = {}
        self._gains: deque[float] = deque(maxlen=_MOST_LOSSES)
        self._losses: deque[tuple[float, str]] = deque(maxlen=_MOST_LOSSES)
        self._bands = [[0.0, 0.0, 0.0] for _ in range(len(BANDS_NM) + 1)]  # freedom, m2, deg2, since the start
        self._acquired = self._settled = self._failed = 0
        self._lost_count, self._exposure_s = 0, 0.0
        self._now_s: float | None = None
        self._changed_s: float | None = None
        self._scale_nm: float | None = None
        self._open: _Open | None = None
        self._mute_s: float | None = None  # when the radar's feed was last known to be silent
        self._reminded_s: dict[str, float] = {}

    # ------------------------------------------------------------------------------------------- what comes in

    def see(self, target: str, look: Look, estimate: Estimate) -> None:
        """One accepted measurement of a radar target and the estimate after it. A repeat counts for none."""
        self._pass_time(look.at_s)
        echo = self._echoes.get(target)
        if echo is not None and estimate.repeats > echo.repeats:
            echo.repeats = estimate.repeats
            return
        if echo is None:
            echo = self._echoes[target] = Echo(look.at_s)
            echo.repeats = estimate.repeats
            self._gains.append(look.at_s)
            self._acquired += 1
            if len(self._echoes) > _MOST_TARGETS:
                del self._echoes[next(iter(self._echoes))]
        if estimate.settled and not echo.settled:
            echo.settled = True
            self._settled += 1
        self._count(echo.see(look, estimate.state != TrackState.MANOEUVRING))

    def lose(self, target: str, at_s: float | None = None) -> None:
        """The track is lost or has ended, now or at a moment. One that ran out of the range scale is not lost."""
        at_s = at_s if at_s is not None else self._now_s
        if at_s is None:
            return
        self._pass_time(at_s)
        echo = self._echoes.pop(target, None)
        if echo is None:
            return
        if not echo.settled:
            self._failed += 1
        out_of_range = self._scale_nm is not None and echo.range_nm > 0.95 * self._scale_nm
        unheard = self._mute_s is not None and at_s - self._mute_s <= _UNHEARD_S
        if not out_of_range and not unheard:
            self._losses.append((at_s, target))
            self._lost_count += 1
        if self._open is not None and target in self._open.held:
            held = self._open.held[target]
            self._open.held[target] = Held(held.echo, held.rhythm_s, echo.last_s if out_of_range else at_s)

    def note(self, at_s: float, text: str) -> list[Remark]:
        """A watchkeeper's note: one about the set's own settings opens a comparison."""
        if not is_about_the_set(text):
            return []
        quoted = "".join(letter for letter in text if letter.isprintable())[:_LONGEST_NOTE]
        return self._change(at_s, f'the note "{quoted}"', teaching(text))

    def radar(self, at_s: float, range_scale_nm: float | None) -> list[Remark]:
        """The set's range scale: a change opens a comparison."""
        before, self._scale_nm = self._scale_nm, range_scale_nm
        if before is None or range_scale_nm is None or before == range_scale_nm:
            return []
        cause = f"the range change from {before:g} to {range_scale_nm:g} NM"
        return self._change(at_s, cause, teaching("range"), range_scale_nm)

    def mute(self, at_s: float) -> list[Remark]:
        """No line comes by the radar's feed: what is missing now says nothing of the picture. Ends the comparison."""
        self._mute_s = self._changed_s = at_s
        one, self._open = self._open, None
        if one is None:
            return []
        text = f"{one.cause}: the radar's feed fell silent, not compared"
        return [Remark(at_s, RemarkKind.COMPARED, text, False, {})]

    def tick(self, at_s: float) -> list[Remark]:
        """Called about once a second: comparisons that are due, reminders."""
        self._pass_time(at_s)
        self._let_go(at_s)
        return [*self._due(at_s), *self._reminders(at_s)]

    # ------------------------------------------------------------------------------------------ what is told

    def target(self, target: str, at_s: float) -> TargetQuality | None:
        """One target's steadiness over the last window; None where it is not held."""
        echo = self._echoes.get(target)
        if echo is None:
            return None
        rhythm_s = echo.rhythm_s(at_s)
        from_s = max(at_s - self._settings.window_s, echo.first_s)
        slots = echo.slots(from_s, at_s, rhythm_s) if rhythm_s else []
        bands = tuple(echo.scatter(band=band) for band in range(len(BANDS_NM) + 1))
        return TargetQuality(
            target, rhythm_s, len(slots), sum(slots), echo.scatter(at_s - self._settings.window_s), bands
        )

    def targets(self, at_s: float) -> Iterator[TargetQuality]:
        """Every target that is held, in the order of their keys."""
        return (told for key in sorted(self._echoes) if (told := self.target(key, at_s)) is not None)

    def picture(self, at_s: float) -> PictureQuality:
        """The picture at a moment."""
        failed = self._failed + sum(
            not echo.settled and at_s - echo.first_s > _ACQUIRING_S for echo in self._echoes.values()
        )
        ended = self._settled + failed
        return PictureQuality(
            at_s=at_s,
            held=len(self._echoes),
            gained=sum(at_s - _MINUTE_S < gained_s <= at_s for gained_s in self._gains),
            lost=sum(at_s - _MINUTE_S < lost_s <= at_s for lost_s, _ in self._losses),
            acquisitions=self._acquired,
            settled_share=self._settled / ended if ended else None,
            bands=tuple(
                Scatter((m2 / freedom) ** 0.5, (deg2 / freedom) ** 0.5, freedom)
                if freedom
                else Scatter(None, None, 0.0)
                for freedom, m2, deg2 in self._bands
            ),
        )

    # ----------------------------------------------------------------------------------------- comparisons

    def _pass_time(self, at_s: float) -> None:
        if self._now_s is not None and at_s > self._now_s:
            self._exposure_s += (at_s - self._now_s) * len(self._echoes)
        if self._now_s is None or at_s > self._now_s:
            self._now_s = at_s

    def _count(self, block: Block | None) -> None:
        """A closed block goes into the picture's own figures, by its range."""
        if block is None:
            return
        for i, amount in enumerate((block.freedom, block.range_m2, block.bearing_deg2)):
            self._bands[band_of(block.range_nm)][i] += amount

    def _let_go(self, at_s: float) -> None:
        """Targets that nobody has said to be lost and that have not been seen for long."""
        gone = [key for key, echo in self._echoes.items() if at_s - echo.last_s > _FORGOTTEN_S]
        for key in gone:
            self._failed += not self._echoes[key].settled
            del self._echoes[key]

    def _change(self, at_s: float, cause: str, taught: str | None, range_scale_nm: float | None = None) -> list[Remark]:
        """Ends the comparison that runs, and opens one around this moment."""
        self._pass_time(at_s)
        told = list(self._end(at_s)) if self._open is not None else []
        unchanged_s = at_s - (self._changed_s if self._changed_s is not None else float("-inf"))
        self._changed_s = at_s
        if not self._settings.compare:
            return told
        held = {}
        for key, echo in self._echoes.items():
            self._count(echo.close_block())
            rhythm_s = echo.rhythm_s(at_s)
            beyond = range_scale_nm is not None and echo.range_nm > 0.95 * range_scale_nm
            if rhythm_s is not None and not beyond and at_s - echo.last_s <= 5 * rhythm_s:
                held[key] = Held(echo, rhythm_s)
        self._open = _Open(
            at_s=at_s,
            cause=cause,
            teaching=taught,
            held=held,
            before_s=unchanged_s,
            losses_before=self._lost_count,
            exposure_before_s=self._exposure_s,
            found=set(),
        )
        return told

    def _due(self, at_s: float) -> Iterator[Remark]:
        one = self._open
        if one is None:
            return
        elapsed_s = at_s - one.at_s
        while one.lost_looked < len(LOST_LOOKS_S) and elapsed_s >= LOST_LOOKS_S[one.lost_looked]:
            yield from self._lost(one, LOST_LOOKS_S[one.lost_looked], LEVELS[one.lost_looked])
            one.lost_looked += 1
        while one.looked < len(LOOKS_S) and elapsed_s >= LOOKS_S[one.looked]:
            one.looked += 1
            level = LEVELS[one.looked - 1]
            yield from self._compare(one, LOOKS_S[one.looked - 1], level, last=one.looked == len(LOOKS_S))
        if one.looked == len(LOOKS_S):
            self._open = None

    def _end(self, at_s: float) -> Iterator[Remark]:
        """Another change has come: what could be compared until now."""
        one, self._open = self._open, None
        if one is not None and at_s - one.at_s >= LEAST_S:
            yield from self._compare(one, at_s - one.at_s, LEVELS[one.looked], last=True)

    def _lost(self, one: _Open, within_s: float, level: float) -> Iterator[Remark]:
        lost = sorted(at_s for at_s, key in self._losses if one.at_s < at_s <= one.at_s + within_s)
        if len(lost) < 2 or RemarkKind.LOST in one.found:
            return
        exposure_s = self._exposure_s - one.exposure_before_s
        p = rate_rise(one.losses_before, one.exposure_before_s, len(lost), exposure_s)
        if p >= level:
            return
        one.found.add(RemarkKind.LOST)
        taught = f": {one.teaching}" if one.teaching else ""
        text = f"{number_word(len(lost))} targets lost within {lost[-1] - one.at_s:.0f} s of {one.cause}{taught}"
        values: dict[str, float | int | str | None] = {
            "lost": len(lost),
            "lost_before": one.losses_before,
            "target_minutes_before": round(one.exposure_before_s / 60, 1),
            "p": rounded(p),
            "test": "binomial test of two rates",
        }
        yield Remark(one.at_s + within_s, RemarkKind.LOST, text, True, values)

    def _compare(self, one: _Open, window_s: float, level: float, last: bool) -> Iterator[Remark]:
        window_s = min(window_s, one.before_s)
        if window_s < LEAST_S or not one.held:
            if last:
                why = "no target was held" if not one.held else "the picture had changed just before"
                yield Remark(one.at_s + window_s, RemarkKind.COMPARED, f"{one.cause}: {why}, not compared", False, {})
            return
        held = list(one.held.values())
        if last:
            for item in held:
                self._count(item.echo.close_block())
        reports, *_ = reports_change(held, one.at_s, window_s)
        changes = [reports, *scatter_changes(held, one.at_s, window_s)]
        for change in changes:
            if change.p < level and change.name not in one.found:
                one.found.add(change.name)
                kind = RemarkKind.REPORTS if change is reports else RemarkKind.SCATTER
                text = sentence(change, one.cause, one.teaching, window_s)
                yield Remark(one.at_s + window_s, kind, text, True, values_of([change]))
        if last:
            figures = "; ".join(figure(change) for change in changes)
            chance = "" if one.found else ", no more than chance"
            text = f"{window_s:.0f} s before and after {one.cause}{chance}: {figures}"
            yield Remark(one.at_s + window_s, RemarkKind.COMPARED, text, bool(one.found), values_of(changes))

    def _reminders(self, at_s: float) -> Iterator[Remark]:
        due = {
            "look again on a longer and on a shorter range": self._settings.look_again_every_min,
            "check tuning, gain and clutter again": self._settings.tuning_every_min,
        }
        for text, every_min in due.items():
            if every_min <= 0:
                continue
            if at_s - self._reminded_s.setdefault(text, at_s) >= every_min * 60:
                self._reminded_s[text] = at_s
                yield Remark(at_s, RemarkKind.REMINDER, f"{every_min:g} min gone: {text}", False, {})
