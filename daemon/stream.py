"""The one place where data flows: feeds, parsers, lookout, sinks. Live and replay differ only in what calls it.

    arrivals ─▶ TAG block off ─▶ a moment ─▶ ticks due ─▶ decoded ─▶ lookout ─▶ flush ─▶ every sink

A line is accepted or refused with its reason, and counted; a sink that fails is named, and the others go on.
"""

import sys
from collections import Counter, deque
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from msgspec import Struct

from alerts.annunciators.desk import Desk
from alerts.events import Alert, AnyEvent, Feed, Instant, Moment, Note, Summary
from alerts.lookout import Lookout, World
from alerts.plotting.terms import FeedState
from alerts.rules.situation import FeedHealth, OutputHealth
from alerts.waiting import our_note
from daemon.errors import UserError
from daemon.feeds.duplicates import Duplicates
from daemon.feeds.face import Arrival, Counters
from daemon.sinks.face import Output, Sink, SinkError
from daemon.timeline import Timeline
from parsers.decode import Decoder
from parsers.sentence import Refusal
from parsers.tag import untag

EVERY_SECOND_S = 600.0
"""A gap up to this long is ticked through second by second; in a longer one, nothing changes faster than minutes."""

SHORT_GAP_S = 60.0
GAP_TICKS = 200_000
"""Ticks that gaps longer than SHORT_GAP_S may cost: a hundred gaps of a day. Shorter ones earn them back. A recording
that leaps a day in every line uses them up, and is then ticked through ever more coarsely: what is lost or stale is
still told, at most a quarter of the silence late."""


DUPLICATE = "a copy of another feed's sentence"
"""The reason under which such a line is counted as refused."""


class FeedLine(Struct):
    """One feed as the stream knows it."""

    name: str
    decoder: Decoder
    counters: Counters
    silent_after_s: float = 10.0
    heard_s: float | None = None  # the last line that could be used, or told nothing new
    state: FeedState | None = None
    trouble: str = ""
    refusal: str = ""  # why the lines since then could not be used


class Stream:
    """One watch: several feeds in, one lookout, several sinks out."""

    def __init__(
        self,
        lookout: Lookout,
        sinks: Sequence[Sink],
        feeds: Sequence[FeedLine],
        timeline: Timeline,
        recorder: Output | None = None,
    ) -> None:
        self.lookout = lookout
        self.sinks = sinks
        self.feeds = {feed.name: feed for feed in feeds}
        self.timeline = timeline
        self._recorder = recorder
        self._duplicates = Duplicates()
        self._failed: dict[str, str] = {}
        self._faults: dict[str, str] = {}  # of the program itself: no later success makes good what was missed
        self.desk: Desk | None = None  # the annunciators of a live watch
        self.wait_for: Callable[[Moment], None] | None = None  # a replay at a pace waits here
        self.moment: Moment | None = None
        self.first: Moment | None = None
        self._next_tick_s = 0.0
        self._gap_ticks = GAP_TICKS
        self._is_told_of_gaps = False
        self._events: Counter[type[AnyEvent]] = Counter()
        self._alerts: Counter[str] = Counter()
        self._last_alert = 0

    def add_feed(self, feed: FeedLine) -> None:
        """A feed that was not known at the start: a recording names it in its lines."""
        self.feeds[feed.name] = feed

    # ------------------------------------------------------------------------------------------------- lines

    def take(self, arrivals: Sequence[Arrival]) -> None:
        """Takes in lines in the order of their arrival, and tells the sinks what follows from them."""
        for arrival in arrivals:
            self._take_line(arrival)
        self.flush()

    def _take_line(self, arrival: Arrival) -> None:
        feed = self.feeds[arrival.feed]
        tagged = arrival.tagged or untag(arrival.line)
        if isinstance(tagged, Refusal):
            self._refuse(feed, tagged)
            return
        moment = self.timeline.moment(arrival, tagged)
        if self.wait_for is not None:
            self.wait_for(moment)
        self.advance(moment)
        if len(self.feeds) > 1 and self._duplicates.is_duplicate(feed.name, tagged.text, moment.at_s):
            self._hear(feed, moment)
            feed.counters.refuse(DUPLICATE)
            return
        decoded = feed.decoder.decode(tagged, moment.at_s)
        if decoded.refusal is not None:
            self._refuse(feed, decoded.refusal)
            return
        self._hear(feed, moment)
        feed.counters.accept()
        if decoded.observations:
            self.timeline.learn(decoded.observations)
            self.lookout.take(moment, decoded.observations)

    def _refuse(self, feed: FeedLine, refusal: Refusal) -> None:
        """A line that cannot be used: as long as no other comes, its feed is as good as silent."""
        feed.counters.refuse(refusal.reason)
        feed.refusal = refusal.reason

    def _hear(self, feed: FeedLine, moment: Moment) -> None:
        feed.heard_s, feed.refusal = moment.at_s, ""
        if feed.state is not FeedState.UP:
            self._set_state(feed, FeedState.UP, moment)

    # -------------------------------------------------------------------------------------------------- time

    def advance(self, moment: Moment) -> None:
        """Stream time has come to `moment`: every second due before it is ticked."""
        if self.first is None:
            self.first = moment
            self._next_tick_s = float(int(moment.at_s) + 1)
        if moment.at_s >= self._next_tick_s:
            for due in self._due(moment):
                self._tick(due)
        self.moment = moment

    def pass_time(self, moment: Moment) -> None:
        """No line has come, but time has passed (live)."""
        if self.moment is None or moment.at_s >= self.moment.at_s:
            self.advance(moment)

    def _due(self, moment: Moment) -> Iterator[Moment]:
        """The whole seconds that have not been ticked up to the moment; in a long gap, then by the minute."""
        began_s = self._next_tick_s
        in_full = self._is_paid_for(moment, moment.at_s - began_s)
        while self._next_tick_s <= moment.at_s:
            due_s = self._next_tick_s
            behind_ms = round((moment.at_s - due_s) * 1000)
            yield Moment(due_s, Instant(moment.time.utc_ms - behind_ms))
            step_s = _step_s(due_s - began_s, in_full)
            self._next_tick_s = due_s + step_s if due_s + step_s <= moment.at_s else float(int(moment.at_s) + 1)

    def _is_paid_for(self, moment: Moment, gap_s: float) -> bool:
        """Whether a gap may be ticked through in full; the watch is told once when one may not."""
        ticks = int(min(gap_s, EVERY_SECOND_S) + max(0.0, gap_s - EVERY_SECOND_S) / 60) + 1
        if gap_s <= SHORT_GAP_S:
            self._gap_ticks = min(GAP_TICKS, self._gap_ticks + ticks)
            return True
        if ticks <= self._gap_ticks:
            self._gap_ticks -= ticks
            return True
        if not self._is_told_of_gaps:
            self._is_told_of_gaps = True
            text = (
                "too many long silences: from here on what is lost or stale in one is told up to a quarter of it late"
            )
            self.lookout.say(*our_note(moment, text))
        return False

    def _tick(self, moment: Moment) -> None:
        for feed in self.feeds.values():
            self._age(feed, moment)
        jump_s = self.timeline.take_jump()
        health = tuple(self._health(feed, moment.at_s) for feed in self.feeds.values())
        problems = self.desk.problems() if self.desk is not None else ()
        world = World(feeds=health, outputs=self.failing(), annunciators=problems, clock_jump_s=jump_s)
        self.lookout.tick(moment, world)

    def _age(self, feed: FeedLine, moment: Moment) -> None:
        began_s = self.first.at_s if self.first else moment.at_s
        heard_s = began_s if feed.heard_s is None else feed.heard_s
        if feed.state in (None, FeedState.UP) and moment.at_s - heard_s > feed.silent_after_s:
            self._set_state(feed, FeedState.SILENT, moment)

    def link_is_down(self, name: str, moment: Moment, trouble: str) -> None:
        """A live feed has lost its connection; the next line brings it up again."""
        feed = self.feeds[name]
        feed.trouble = trouble
        if feed.state is not FeedState.DOWN:
            self._set_state(feed, FeedState.DOWN, moment)

    def _set_state(self, feed: FeedLine, state: FeedState, moment: Moment) -> None:
        feed.state = state
        if state is FeedState.UP:
            feed.trouble = ""
        self.lookout.say(moment, _feed_event(feed, moment))

    def _health(self, feed: FeedLine, at_s: float) -> FeedHealth:
        """For the rules. A feed of which nothing is due yet is not called silent."""
        silent_s = None if feed.heard_s is None else max(0.0, at_s - feed.heard_s)
        refused = f"its lines are refused: {feed.refusal}" if feed.refusal else ""
        detail = feed.trouble or refused
        return FeedHealth(name=feed.name, state=feed.state or FeedState.UP, silent_s=silent_s, detail=detail)

    # ------------------------------------------------------------------------------------------- the watchkeeper

    def ask(self, verb: str, alert_id: int | None = None, text: str | None = None) -> str:
        """A request of the watchkeeper's: `ack`, `silence`, `note`, `condition`. Answers in a few words.

        Raises UserError for what can't be done.
        """
        moment = self.moment
        if moment is None:
            raise UserError("the watch has not seen any data yet")
        self.flush()
        lookout = self.lookout
        if verb == "ack":
            changed = lookout.acknowledge(moment, alert_id)
            nothing = "nothing to acknowledge" if alert_id is None else f"no alert {alert_id} waits to be acknowledged"
            answer = f"{len(changed)} acknowledged" if changed else nothing
        elif verb == "silence":
            changed = lookout.silence(moment)
            answer = f"{len(changed)} silenced" if changed else "nothing sounds"
        elif verb == "note" and text:
            lookout.say(moment, Note(time=moment.time, text=text, author="watchkeeper"))
            answer = "noted"
        elif verb == "condition" and text in lookout.conditions:
            lookout.set_condition(moment, text)
            answer = f"condition: {text}"
        elif verb == "condition":
            raise UserError(f"condition {text!r} is none of {', '.join(map(repr, lookout.conditions))}")
        else:
            raise UserError(f"{verb!r} is nothing that a watch can do")
        self.flush()
        return answer

    # ------------------------------------------------------------------------------------------------- sinks

    def flush(self) -> None:
        """Judges what is waiting and tells every sink, moment by moment."""
        said = self.lookout.flush()
        start = 0
        while start < len(said):
            moment = said[start][0]
            end = start + 1
            while end < len(said) and said[end][0] is moment:
                end += 1
            self._tell(moment, [event for _, event in said[start:end]])
            start = end
        self._annunciate()

    def _annunciate(self) -> None:
        if self.desk is not None:
            self.desk.take(self.lookout.judging.alerts.drain())

    def _tell(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        for event in events:
            self._count(event)
        for sink in self.sinks:
            problem = self._problem_of(sink.name, partial(sink.take, moment, events))
            if problem:
                self._failed[sink.name] = problem
            else:
                self._failed.pop(sink.name, None)

    def _problem_of(self, name: str, work: Callable[[], None]) -> str:
        """Lets a sink do its work; what came of it, for a person. No sink takes the watch, or another sink, with it."""
        try:
            work()
        except SinkError as error:
            return str(error)
        except Exception as error:
            self._faults[name] = f"a fault of the program in {name} ({type(error).__name__}: {error})"
        return self._faults.get(name, "")

    def failing(self) -> tuple[OutputHealth, ...]:
        """The sinks that can't do their work now."""
        outputs: list[Output] = [*self.sinks, *([self._recorder] if self._recorder else [])]
        troubles = ((output, output.trouble or self._failed.get(output.name, "")) for output in outputs)
        return tuple(
            OutputHealth(name=output.name, problem=problem, lost=output.lost) for output, problem in troubles if problem
        )

    def _count(self, event: AnyEvent) -> None:
        self._events[type(event)] += 1
        if isinstance(event, Alert):
            # Ids count up, and the first event of an alert is its raising.
            self._alerts[event.rule] += event.id > self._last_alert
            self._last_alert = max(self._last_alert, event.id)

    def idle(self, now_s: float) -> None:
        """No line has come for a while: sinks may flush and draw. `now_s` is the host's monotonic time."""
        for sink in self.sinks:
            problem = self._problem_of(sink.name, partial(sink.idle, now_s))
            if problem:
                self._failed[sink.name] = problem

    def notices(self) -> Iterator[str]:
        """What sinks have to say that is no trouble any more, each once: a damaged archive that was set aside."""
        for sink in self.sinks:
            waiting: deque[str] = getattr(sink, "notices", deque())
            while waiting:
                yield waiting.popleft()

    def close(self, summarise: bool = False) -> Summary | None:
        """The watch has ended: standing alerts end, feeds give their last account, sinks are closed."""
        self.flush()
        moment, summary = self.moment, None
        if moment is not None:
            for said in self.lookout.close(moment):
                self._tell(moment, [said[1]])
            for feed in self.feeds.values():
                self._tell(moment, [_feed_event(feed, moment)])
            summary = self._summary(moment)
            if summarise:
                self._tell(moment, [summary])
        for sink in self.sinks:
            problem = self._problem_of(sink.name, sink.close)
            if problem:
                print(f"secondplot: {problem}", file=sys.stderr)
        for text in self.notices():
            print(f"secondplot: {text}", file=sys.stderr)
        if self.desk is not None:
            self._annunciate()
            self.desk.close()
        return summary

    def unbalanced(self) -> list[str]:
        """Feeds whose account does not come out even, for a person. Call it once no feed is at work any more."""
        wrong = ((feed.name, feed.counters.imbalance()) for feed in self.feeds.values())
        return [f"the account of feed {name} does not balance, a fault of ours: {what}" for name, what in wrong if what]

    def _summary(self, moment: Moment) -> Summary:
        counters = [feed.counters for feed in self.feeds.values()]
        refused: Counter[str] = Counter()
        for one in counters:
            refused.update(one.refused)
        return Summary(
            time=moment.time,
            first_time=self.first.time if self.first else None,
            last_time=moment.time,
            events=dict(sorted((str(kind.__struct_config__.tag), count) for kind, count in self._events.items())),
            targets=self.lookout.judging.tracks_begun,
            alerts={rule: count for rule, count in sorted(self._alerts.items()) if count},
            lines=sum(one.lines for one in counters),
            accepted=sum(one.accepted for one in counters),
            refused=dict(sorted(refused.items())),
        )


def _step_s(waited_s: float, in_full: bool) -> float:
    """From one tick of a gap to the next."""
    if not in_full:
        return max(1.0, float(waited_s // 4))
    return 1.0 if waited_s < EVERY_SECOND_S else 60.0


def _feed_event(feed: FeedLine, moment: Moment) -> Feed:
    counters = feed.counters
    return Feed(
        time=moment.time,
        name=feed.name,
        state=feed.state or FeedState.SILENT,
        lines=counters.accepted + sum(counters.refused.values()) + sum(counters.dropped.values()),
        accepted=counters.accepted,
        refused=dict(sorted(counters.refused.items())),
        dropped=sum(counters.dropped.values()),
    )
