"""A moment for every line: the stream's own seconds, which never jump, and the UTC label beside them.

Recorded lines bring their time with them; live ones get the host's. Either way a clock that is put forward or back
moves the label and never the seconds: nothing ages, and nothing gets younger, because somebody set a clock.
"""

from collections.abc import Iterable
from typing import Protocol

from alerts.events import Instant, Moment
from daemon.feeds.face import UNTIMED, Arrival
from daemon.instrument_time import WEEKS_MS, InstrumentTime
from parsers.observations import DateAndTime, Observation, TimeOfDay
from parsers.tag import Tagged

DISORDER_MS = 2000
"""Lines of several talkers may stand this much out of order; time then stands still for a moment."""

JUMP_MS = 2000
"""A wall clock that moves by more than this against the monotonic one has been put."""

DAY_S = 86400.0
DAY_MS = 86_400_000

LONGEST_GAP_MS = DAY_MS
"""A step forward up to this is a gap in the recording. A longer one is another passage, or a clock gone astray: all
is stale after a day, so no more than a day is let pass."""

ASTRAY_MS = 600_000
"""A receiver that restarts may claim any date, or several in turn; for this long it may come back to where it was."""

JUST_AFTER_MIDNIGHT_MS = 60_000


class Timeline(Protocol):
    """What dates lines: seconds that never go back, and a label of UTC."""

    def moment(self, arrival: Arrival, tagged: Tagged) -> Moment:
        """The moment of one line. Never before that of the line before it."""

    def learn(self, observations: Iterable[Observation]) -> None:
        """What the line itself said of time, for recordings that carry no other."""

    def take_jump(self) -> float | None:
        """By how many seconds a clock has jumped since the last call; None if none did."""


class RecordedTimeline:
    """Time by the recording: the TAG block's `c:` or a leading time, else the own-ship sentences, else a rate.

    A step back of more than `DISORDER_MS` is a clock put back: the seconds go on from where they were. A step forward
    is a gap in the recording, and everything ages by it, unless it only takes back a step before it.
    """

    def __init__(self, lines_per_second: float | None = None) -> None:
        self._rate = lines_per_second
        self._at_ms = 0
        self._begun = False
        self._utc_ms: int | None = None
        self._mono_ms = 0
        self._fraction = 0.0
        self._tagged = False
        self._before: tuple[int, int] | None = None  # UTC and seconds when the clock went astray
        self._rolled_over = False
        self._jump_s: float | None = None
        self._moment = Moment(0.0, Instant(0))

    def moment(self, arrival: Arrival, tagged: Tagged) -> Moment:
        """See Timeline."""
        if arrival.mono_s != UNTIMED:
            self._tagged = True
            self._follow(arrival)
        elif tagged.utc_ms is not None:
            self._tagged = True
            self._reach(tagged.utc_ms)
        elif self._rate is not None and not self._tagged:
            self._fraction += 1000.0 / self._rate
            step = int(self._fraction)
            self._fraction -= step
            self._at_ms += step
            self._utc_ms = (self._utc_ms or 0) + step
        self._begun = True
        return self._now()

    def learn(self, observations: Iterable[Observation]) -> None:
        """See Timeline."""
        if self._tagged or self._rate is not None:
            return
        for observation in observations:
            if isinstance(observation, DateAndTime):
                self._reach(self._believed(observation.utc_ms))
            elif isinstance(observation, TimeOfDay):
                self._reach(self._dated(observation.time_of_day_s))

    def take_jump(self) -> float | None:
        """See Timeline."""
        jump_s, self._jump_s = self._jump_s, None
        return jump_s

    def _reach(self, utc_ms: int) -> None:
        if self._utc_ms is None:
            if not self._begun:  # else lines went before, whose seconds cannot be moved any more
                self._at_ms = utc_ms
            self._utc_ms = utc_ms
            return
        if self._before is not None and self._comes_back(utc_ms):
            return
        step_ms = utc_ms - self._utc_ms
        if 0 <= step_ms <= LONGEST_GAP_MS:
            self._at_ms += step_ms
            self._utc_ms = utc_ms
        elif step_ms > 0 or step_ms < -DISORDER_MS:
            self._jump_s = step_ms / 1000.0
            if step_ms > 0 and self._before is None:
                self._at_ms += LONGEST_GAP_MS
            elif self._before is None:
                self._before = (self._utc_ms, self._at_ms)
            self._utc_ms = utc_ms

    def _comes_back(self, utc_ms: int) -> bool:
        """Whether a clock that went astray is back where it would be by now; the seconds then go on as if nothing was.

        Also forgets, in time, that it ever went astray.
        """
        if self._before is None or self._utc_ms is None:
            return False
        before_utc_ms, before_at_ms = self._before
        if self._at_ms - before_at_ms > ASTRAY_MS:
            self._before = None
            return False
        step_ms = utc_ms - self._utc_ms
        since_ms = utc_ms - before_utc_ms
        if step_ms <= DISORDER_MS or not 0 <= since_ms <= ASTRAY_MS:
            return False
        self._jump_s = step_ms / 1000.0
        self._at_ms = max(self._at_ms, before_at_ms + since_ms)
        self._utc_ms, self._before = utc_ms, None
        return True

    def _believed(self, utc_ms: int) -> int:
        """What an instrument claims, less two well-known mistakes: weeks that rolled over, and a date that is late."""
        if self._utc_ms is None:
            return utc_ms
        if abs(utc_ms + WEEKS_MS - self._utc_ms) < DAY_MS:
            if not self._rolled_over:
                self._jump_s = -WEEKS_MS / 1000.0
            self._rolled_over = True
            return utc_ms + WEEKS_MS
        late_ms = utc_ms + DAY_MS - self._utc_ms
        if utc_ms % DAY_MS < JUST_AFTER_MIDNIGHT_MS and abs(late_ms) < JUST_AFTER_MIDNIGHT_MS:
            return utc_ms + DAY_MS
        return utc_ms

    def _follow(self, arrival: Arrival) -> None:
        """A line of our own recorder: seconds by its monotonic clock, which begins anew with each run of the watch."""
        mono_ms = round(arrival.mono_s * 1000)
        if self._utc_ms is None:
            self._at_ms, self._utc_ms, self._mono_ms = arrival.utc_ms, arrival.utc_ms, mono_ms
            return
        step_ms = mono_ms - self._mono_ms
        if step_ms < 0:
            step_ms = max(0, arrival.utc_ms - self._utc_ms)
        elif abs(arrival.utc_ms - self._utc_ms - step_ms) > JUMP_MS:
            self._jump_s = (arrival.utc_ms - self._utc_ms - step_ms) / 1000.0
        self._at_ms += min(step_ms, LONGEST_GAP_MS)
        self._utc_ms, self._mono_ms = arrival.utc_ms, mono_ms

    def _dated(self, time_of_day_s: float) -> int:
        """The time of day on the day nearest to now; on the first of January 1970 if no date was ever heard."""
        now_ms = self._utc_ms or 0
        day = round((now_ms / 1000.0 - time_of_day_s) / DAY_S)
        return int((max(0, day) * DAY_S + time_of_day_s) * 1000)

    def _now(self) -> Moment:
        at_s = self._at_ms / 1000.0
        utc_ms = self._utc_ms or 0
        if at_s != self._moment.at_s or utc_ms != self._moment.time.utc_ms:
            self._moment = Moment(at_s, Instant(utc_ms))
        return self._moment


class LiveTimeline:
    """Time by the host: monotonic seconds, and beside them a label that its wall clock, or the instruments, give.

    The label goes on with the seconds and follows a wall clock that is being put right slowly. A clock that leaps takes
    the label with it, and is told. A leap of an instrument's time is told as well, whoever gives the label.
    """

    def __init__(self, mono_s: float, utc_ms: int, by_instruments: bool = False) -> None:
        self._anchor_ms = utc_ms - round(mono_s * 1000)
        self._moment = Moment(mono_s, Instant(utc_ms))
        self._jump_s: float | None = None
        self._followed_ms = round(mono_s * 1000)
        self._by_instruments = by_instruments
        self.instruments = InstrumentTime()

    def moment(self, arrival: Arrival, tagged: Tagged) -> Moment:
        """See Timeline."""
        return self.at(arrival.mono_s, arrival.utc_ms)

    def at(self, mono_s: float, utc_ms: int) -> Moment:
        """A moment by the host's clocks, for a line or for the passing of time."""
        mono_s = max(mono_s, self._moment.at_s)
        mono_ms = round(mono_s * 1000)
        offset_ms = self.instruments.offset_ms(mono_s) if self._by_instruments else None
        self._follow((utc_ms - mono_ms) if offset_ms is None else offset_ms, mono_ms)
        label_ms = self._anchor_ms + mono_ms
        if mono_s != self._moment.at_s or label_ms != self._moment.time.utc_ms:
            self._moment = Moment(mono_s, Instant(label_ms))
        return self._moment

    def learn(self, observations: Iterable[Observation]) -> None:
        """See Timeline. What instruments claim moves no seconds."""
        for observation in observations:
            if isinstance(observation, DateAndTime):
                step_s = self.instruments.see(str(observation.source), observation.utc_ms, observation.at_s)
                if step_s is not None:
                    self._jump_s = step_s

    def take_jump(self) -> float | None:
        """See Timeline."""
        jump_s, self._jump_s = self._jump_s, None
        return jump_s

    def _follow(self, offset_ms: int, mono_ms: int) -> None:
        """Leap with a clock that leapt; else go after it by at most a thousandth, so that labels never run back."""
        apart_ms = offset_ms - self._anchor_ms
        if abs(apart_ms) > JUMP_MS:
            self._jump_s = apart_ms / 1000.0
            self._anchor_ms = offset_ms
        elif mono_ms - self._followed_ms >= 1000:
            self._anchor_ms += max(-1, min(1, apart_ms))
        else:
            return
        self._followed_ms = mono_ms


class TaggedTimeline(RecordedTimeline):
    """Live lines that bring their own time (`?time=tag`): the same moments as a replay of them gives.

    When no line has come for a while the host's clock carries time on, so that silence is noticed.
    """

    CARRY_ON_AFTER_S = 3.0

    def __init__(self) -> None:
        super().__init__()
        self._heard_s: float | None = None
        self._carried_s = 0.0

    def moment(self, arrival: Arrival, tagged: Tagged) -> Moment:
        """See Timeline."""
        self._heard_s = arrival.mono_s
        return super().moment(Arrival(arrival.feed, arrival.line), tagged)

    def at(self, mono_s: float, utc_ms: int) -> Moment | None:
        """The moment by the host's clock; None while lines drive the time, or before the first.

        A late line that is older than the time so carried on leaves it standing: see RecordedTimeline.
        """
        if self._heard_s is None or mono_s - self._heard_s < self.CARRY_ON_AFTER_S:
            return None
        self._reach((self._utc_ms or 0) + round((mono_s - max(self._heard_s, self._carried_s)) * 1000))
        self._carried_s = mono_s
        return self._now()
