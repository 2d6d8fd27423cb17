"""The second stroke of the lookout: what waits is judged in order, and what is to be said of it comes out.

Words for the encounter, the cross-check, the picture's quality, the rules and the book of alerts. Nothing in here asks
the sensors: all that a judgement rests on waits with what is judged.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from msgspec import structs

from alerts.events import Moment, Note, Plot, Radar
from alerts.identifiers import obey
from alerts.lifecycle import AlertBook
from alerts.plotting.crosscheck import CrossCheck
from alerts.plotting.encounter import Encounters, EncounterSettings
from alerts.plotting.motion import Answer, assess
from alerts.plotting.placing import double_told
from alerts.plotting.plot_event import Rounded, plot_event, rounded
from alerts.plotting.quality import Quality, QualitySettings, Remark
from alerts.plotting.terms import Check, FeedState, TrackState
from alerts.rules.findings import Finding
from alerts.rules.rules import Rules
from alerts.waiting import (
    OURSELVES,
    Carried,
    Command,
    Gone,
    NewCondition,
    NewSettings,
    Said,
    Sighting,
    Tick,
    Waiting,
    our_note,
)

RESTRICTED_VISIBILITY = "restricted visibility"
"""The condition in which Rule 19 stands in place of 13 to 15."""

HEARD_S = 3.0
"""After so long without any line of the radar's feed, what is missing may be the feed and not the picture."""


class Judging:
    """Of one watch. `plots` is the latest of each target that is followed."""

    def __init__(
        self,
        rules: Rules,
        alerts: AlertBook,
        encounters: EncounterSettings,
        quality: QualitySettings,
        command_feeds: tuple[str, ...],
    ) -> None:
        self.rules = rules
        self.alerts = alerts
        self.check = CrossCheck()
        self.encounters = Encounters(encounters)
        self.quality = Quality(quality)
        self.plots: dict[str, Plot] = {}
        self.tracks_begun = 0  # a count and no set of names: in a watch of weeks that would grow for ever
        self._command_feeds = command_feeds  # whose alert commands are obeyed
        self._doubles: dict[str, str] = {}  # a vessel's second number, and the track that speaks for her

    def all(self, waiting: Sequence[Waiting], has_one_radar: bool) -> list[Said]:
        """What is said of all that waits, in order. `has_one_radar`: an event of its range scale can be of no other."""
        sightings = [item for item in waiting if isinstance(item, Sighting)]
        answers = _answers(sightings)
        said: list[Said] = []
        for item in waiting:
            if isinstance(item, Sighting):
                self._judge(item, *next(answers), said)
            elif isinstance(item, Tick):
                self._judge_time(item, said)
            elif isinstance(item, Gone):
                self._forget(item.target)
            elif isinstance(item, Carried):
                self._carry(item.moment, item.old, item.new, said)
            elif isinstance(item, NewCondition):
                self._change_condition(item, said)
            elif isinstance(item, NewSettings):
                self._change_settings(item, said)
            elif isinstance(item, Command):
                changed = obey(self.alerts, item.moment, item.command, self._command_feeds)
                said.extend((item.moment, alert) for alert in changed)
            else:
                said.append(item)
                self._measure(item, has_one_radar, said)
        return said

    def _measure(self, item: Said, has_one_radar: bool, said: list[Said]) -> None:
        """What a note about the set's settings, or a new range, does to the picture's quality, opens a comparison."""
        moment, event = item
        if isinstance(event, Note) and event.author != OURSELVES:
            _remark(moment, self.quality.note(moment.at_s, event.text), said)
        elif isinstance(event, Radar) and has_one_radar:  # the event does not say which set it is of
            _remark(moment, self.quality.radar(moment.at_s, event.range_scale_nm), said)

    def _judge(self, sighting: Sighting, answer: Answer, shown: Rounded, said: list[Said]) -> None:
        moment, key, own = sighting.moment, sighting.target, sighting.look.own
        if sighting.renumbered:
            self.check.renumbered(key, moment.at_s)
        if sighting.is_echo:
            self.quality.see(key, sighting.look, sighting.estimate)
        check: tuple[Check, str | None] = (Check.NOT_REPORTED, None)
        if sighting.report is not None:
            check = self.check.compare(key, sighting.report, sighting.estimate, answer, own)
        restricted = self.rules.condition == RESTRICTED_VISIBILITY
        encounter = self.encounters.classify(key, sighting.estimate, answer, own, restricted, sighting.heading_deg)
        plot = plot_event(
            moment,
            key,
            sighting.name,
            sighting.look,
            sighting.estimate,
            answer,
            shown,
            encounter,
            check,
            sighting.report,
        )
        if not sighting.is_report:
            if sighting.is_judged:
                self._tell(moment, self.rules.see_carried(moment, plot), said)
            return
        self.tracks_begun += key not in self.plots
        self.plots[key] = plot
        said.append((moment, plot))
        # An old measurement that is sent again and again is no sight of her.
        if sighting.is_judged and plot.track is not TrackState.LOST and self._raises_alerts(sighting, said):
            see = self.rules.see_carried if plot.track is TrackState.COASTING else self.rules.see_plot
            self._tell(moment, see(moment, plot), said)

    def _raises_alerts(self, sighting: Sighting, said: list[Said]) -> bool:
        """Not for a vessel's second number while the first is seen; the watch is told once which is which."""
        if sighting.elder is None:
            self._doubles.pop(sighting.target, None)
            return True
        if self._doubles.get(sighting.target) != sighting.elder:
            self._doubles[sighting.target] = sighting.elder
            text = double_told(sighting.target, sighting.elder)
            said.append(our_note(sighting.moment, text))
            self._carry(sighting.moment, sighting.target, sighting.elder, said)
        return False

    def _carry(self, moment: Moment, old: str, new: str, said: list[Said]) -> None:
        """Two targets are one vessel: what is told of the old one goes on under the new."""
        self.rules.carry(old, new)
        said.extend((moment, alert) for alert in self.alerts.carry(moment, old, new))

    def _judge_time(self, tick: Tick, said: list[Said]) -> None:
        silent_s = _radar_silent_s(tick)
        if silent_s is None:
            _remark(tick.moment, self.quality.mute(tick.moment.at_s), said)
        for one in tick.targets:
            if one.track is TrackState.LOST:
                self.quality.lose(one.target, tick.moment.at_s)
        if silent_s is not None and silent_s <= HEARD_S:  # else a look that is due waits: it may be the feed
            _remark(tick.moment, self.quality.tick(tick.moment.at_s), said)
        self.check.see_own(tick.own, tick.water, tick.stream)
        judged = [one for one in tick.targets if one.target in self.plots]
        situation = structs.replace(tick.situation, targets=tuple(judged))
        self._tell(tick.moment, self.rules.tick(tick.moment, situation), said)
        said.extend((tick.moment, alert) for alert in self.alerts.tick(tick.moment))

    def _tell(self, moment: Moment, findings: Sequence[Finding], said: list[Said]) -> None:
        if findings:
            said.extend((moment, alert) for alert in self.alerts.take(moment, findings))

    def _change_condition(self, change: NewCondition, said: list[Said]) -> None:
        said.append(our_note(change.moment, f"condition: {change.name}"))
        self._tell(change.moment, self.rules.set_condition(change.name), said)

    def _change_settings(self, change: NewSettings, said: list[Said]) -> None:
        said.append(our_note(change.moment, f"settings read again, condition {change.condition} in force"))
        self.alerts.configure(change.alerts)
        self._tell(change.moment, self.rules.configure(change.alerts, change.conditions, change.condition), said)

    def _forget(self, target: str) -> None:
        self.plots.pop(target, None)
        self._doubles.pop(target, None)
        self.check.forget(target)
        self.encounters.forget(target)
        self.quality.lose(target)


def _answers(sightings: Sequence[Sighting]) -> Iterator[tuple[Answer, Rounded]]:
    """The CPA of each, and as it is shown; all those under one limit at once."""
    for limit_nm, group in groupby(sightings, key=lambda sighting: sighting.cpa_limit_nm):
        together = list(group)
        assessment = assess([s.estimate for s in together], [s.look.own for s in together], limit_nm)
        yield from zip(assessment.rows(), rounded(assessment), strict=True)


def _radar_silent_s(tick: Tick) -> float | None:
    """How long the feeds by which radar's targets came have said nothing; None where one is told as silent or down."""
    bringing = {one.feed for one in tick.targets if not one.target.startswith("ais-")}
    feeds = [feed for feed in tick.situation.feeds if feed.name in bringing]
    if any(feed.state is not FeedState.UP for feed in feeds):
        return None
    return max((feed.silent_s or 0.0 for feed in feeds), default=0.0)


def _remark(moment: Moment, remarks: Iterable[Remark], said: list[Said]) -> None:
    """What is remarked of the picture's quality is a note of our own."""
    said.extend(our_note(moment, remark.text) for remark in remarks)
