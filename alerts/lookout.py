"""The lookout: observations in, events out. The whole core behind one door; the same live, in replay, on the bench.

Work is done in two strokes. What depends on what came before (own ship, identity, filters, ages) is done at once, in
`take` and `tick`; it leaves sightings waiting. What does not (CPA and TCPA with their limits) is done for all waiting
sightings together in `flush`, which then goes through everything in order: words, rules, alerts. Flushing after every
line and flushing after a thousand give the same events.

Time comes in with the data. Call `tick` once for every whole second of stream time, before the line that crosses it.
"""

from collections.abc import Callable, Iterable
from typing import Any

from msgspec import Struct, structs

from alerts import standing
from alerts.ais_watch import AisObservation, AisWatch
from alerts.events import Alert, AnyEvent, Moment, Note
from alerts.judging import Judging
from alerts.lifecycle import AlertBook
from alerts.plotting.ais import AisSettings, Heard
from alerts.plotting.encounter import EncounterSettings
from alerts.plotting.estimate import Track
from alerts.plotting.geodesy import look_at
from alerts.plotting.identity import CAPACITY, Targets
from alerts.plotting.kinematics import Estimate, Look
from alerts.plotting.lays import MarkSettings
from alerts.plotting.marks import Marked, Marks
from alerts.plotting.noise import NoiseModel
from alerts.plotting.own_frame import look_of
from alerts.plotting.picture import OwnShip, OwnShipSettings
from alerts.plotting.placing import Ignored, contest_told, exchange_told
from alerts.plotting.quality import QualitySettings
from alerts.plotting.terms import TrackState
from alerts.rules.rules import Rules
from alerts.rules.situation import FeedHealth, OutputHealth, RadarPicture, Situation, TargetHealth
from alerts.settings import DEFAULT_CONDITIONS, Alerts, Condition
from alerts.vessels import Vessels, waiting_of
from alerts.waiting import Command, Gone, NewCondition, NewSettings, Said, Sighting, Tick, Waiting, our_note
from parsers import observations as seen

PREDICTION_MAX_AGE_S = 5.0
"""A CPA that the set sends apart from the target's place (TTD) goes with a place not older than this."""

MOST_PREDICTIONS = 1023
"""Target numbers in TTD: 1 to 1023."""

NEED_REMEMBERED_S = 60.0
"""A heading is needed for this long after the last relative bearing, own position after the last target's position."""

MOST_RADARS = 8
"""Feeds whose radar settings are kept."""


class LookoutSettings(Struct, frozen=True, kw_only=True):
    """What the lookout needs of the configuration."""

    own_ship: OwnShipSettings = OwnShipSettings()
    ais: AisSettings = AisSettings()
    encounters: EncounterSettings = EncounterSettings()
    marks: MarkSettings = MarkSettings()
    picture_quality: QualitySettings = QualitySettings()
    alerts: Alerts = Alerts()
    conditions: dict[str, Condition] = {}
    condition: str = "open water"
    radar_feeds: tuple[str, ...] = ()
    command_feeds: tuple[str, ...] = ()  # whose alert commands (ACN, ACK) are obeyed


class World(Struct, frozen=True, kw_only=True):
    """What only the daemon knows at a tick: feeds, sinks, annunciators, and jumps of the clock."""

    feeds: tuple[FeedHealth, ...] = ()
    outputs: tuple[OutputHealth, ...] = ()
    annunciators: tuple[OutputHealth, ...] = ()
    clock_jump_s: float | None = None


class Lookout:
    """One watch over one set of feeds."""

    def __init__(self, settings: LookoutSettings | None = None) -> None:
        self.settings = s = settings or LookoutSettings()
        conditions = s.conditions or DEFAULT_CONDITIONS
        self.own = OwnShip(s.own_ship)
        self.targets = Targets(self._begin_track, max(CAPACITY, s.alerts.radar_capacity.capacity), s.radar_feeds)
        self.ais = AisWatch(s.ais, self.own)
        self.vessels = Vessels(self.targets, self.ais, s.ais.tell_within_nm)
        self.conditions = conditions
        self.condition = self._configured = s.condition
        self.marks = Marks(s.marks)
        rules, book = Rules(s.alerts, conditions, s.condition), AlertBook(s.alerts)
        self.judging = Judging(rules, book, s.encounters, s.picture_quality, s.command_feeds)
        self._noise: dict[str, NoiseModel] = {}
        self._feed_of: dict[str, str] = {}
        self._radars: dict[str, seen.RadarSettings] = {}
        self._scales: dict[str, float] = {}  # the last range scale that each of them has told
        self._predictions: dict[tuple[str, int], seen.TargetPrediction] = {}
        self._relative_s: float | None = None  # when a bearing was last counted from the bow
        self._placed_s: float | None = None  # when a target last told its position instead of a range and bearing
        self._sensor_watch = standing.SensorWatch()
        self._crowd_watch = standing.CrowdWatch()
        self._waiting: list[Waiting] = []

    # ----------------------------------------------------------------------------------------- first stroke

    def take(self, moment: Moment, observations: Iterable[seen.Observation]) -> None:
        """Takes in what one line said."""
        for observation in observations:
            taker = _TAKERS.get(type(observation))
            if taker is None:
                self.own.take(observation)
            else:
                taker(self, moment, observation)

    def say(self, moment: Moment, event: AnyEvent) -> None:
        """An event of the daemon's own (a feed's state, a note), in its place among the others."""
        self._waiting.append((moment, event))

    def tick(self, moment: Moment, world: World) -> None:
        """A whole second of stream time has come."""
        at_s = moment.at_s
        own = self.own.motion(at_s)
        for change in (*self.targets.tick(at_s), *self.ais.stations.tick(at_s, own)):
            if change.ended is not None:
                self._waiting.append(Gone(change.track))
        self._take_marks(moment, self.marks.tick(at_s))
        self._waiting.extend(Gone(key) for key in self.marks.forget(at_s))
        self._waiting.extend(waiting_of(moment, step) for step in self.vessels.tick(at_s, own))
        due = self.ais.stations.due(at_s, own)
        self._waiting.extend(self._ais_sighting(moment, *carried, is_report=False) for carried in due)
        crowds = (self._crowd_watch.see(at_s, self.targets), self.ais.crowd_told(at_s))
        for text in filter(None, (*self._sensor_watch.see(at_s, self.own), *crowds)):
            self._waiting.append(our_note(moment, text))
        own_event = standing.own_event(self.own, moment)
        if own_event is not None:
            self._waiting.append((moment, own_event))
        echoes = self._health_of(self.targets.states())
        targets = (*echoes, *self._health_of(self.marks.states(at_s)), *self._health_of(self.ais.states()))
        situation = self._situation(at_s, world, echoes)
        water, tide = self.own.water_speed(at_s), self.own.tide(at_s)
        self._waiting.append(Tick(moment, situation, targets, own, water, tide))

    def _take_report(self, moment: Moment, report: seen.TargetReport) -> None:
        if report.bearing_reference is seen.Reference.RELATIVE:
            self._relative_s = report.at_s
        radar = self._radars.get(report.source.feed)
        look = look_of(report, self.own, radar.range_scale_nm if radar else None)
        self._place(moment, self._with_prediction(report), look)

    def _take_position(self, moment: Moment, position: seen.TargetPosition) -> None:
        self._placed_s = position.at_s
        place = self.own.place(position.at_s)
        look = None if place is None else look_at(position, self.own.motion(position.at_s), *place)
        self._place(moment, position, look)

    def _place(self, moment: Moment, report: seen.TargetReport | seen.TargetPosition, look: Look | None) -> None:
        placed = self.targets.place(report, look)
        for ended in placed.ended:
            self._waiting.append(Gone(ended.track))
        if placed.ignored is Ignored.CONTESTED and placed.track is not None:
            self._waiting.append(our_note(moment, contest_told(placed.track)))
        if placed.estimate is None or placed.track is None or look is None:
            return
        key = placed.track
        self._feed_of[key] = report.source.feed
        full = report if isinstance(report, seen.TargetReport) else None
        if full is not None:
            self.vessels.hint(key, full)
        name = self.vessels.name_of(key, self.targets.name_of(key))
        limit_nm = self.conditions[self.condition].cpa_nm
        self._waiting.append(
            Sighting(
                moment,
                key,
                name,
                full,
                look,
                placed.estimate,
                limit_nm,
                placed.continues is not None,
                is_judged=not self.vessels.is_folded(key),
                elder=placed.duplicate_of,
            )
        )
        exchange = exchange_told(placed)
        if exchange is not None:
            self._waiting.append(our_note(moment, exchange))

    def _take_ais(self, moment: Moment, observation: AisObservation) -> None:
        if isinstance(observation, seen.AisPosition) and self.settings.ais.on:
            self._placed_s = observation.at_s
        sighting = self.ais.take(observation)
        if sighting is None:
            return
        heard = sighting.heard
        self._feed_of[heard.key] = heard.report.source.feed
        self._waiting.append(self._ais_sighting(moment, heard, sighting.look, heard.estimate))

    def _ais_sighting(
        self, moment: Moment, heard: Heard, look: Look, estimate: Estimate, is_report: bool = True
    ) -> Sighting:
        return Sighting(
            moment,
            heard.key,
            heard.name,
            None,
            look,
            estimate,
            self.conditions[self.condition].cpa_nm,
            is_echo=False,
            is_judged=heard.is_judged and not self.vessels.is_folded(heard.key),
            heading_deg=heard.report.heading_deg,
            is_report=is_report,
        )

    def _with_prediction(self, report: seen.TargetReport) -> seen.TargetReport:
        """The report with the CPA that the set sent apart from it, if that is fresh."""
        sent = self._predictions.get((report.source.feed, report.number))
        if sent is None or report.cpa_nm is not None or report.at_s - sent.at_s > PREDICTION_MAX_AGE_S:
            return report
        return structs.replace(report, cpa_nm=sent.cpa_nm, tcpa_min=sent.tcpa_min)

    def _take_prediction(self, moment: Moment, sent: seen.TargetPrediction) -> None:
        key = (sent.source.feed, sent.number)
        if key in self._predictions or len(self._predictions) < MOST_PREDICTIONS:
            self._predictions[key] = sent

    def _take_label(self, moment: Moment, label: seen.TargetLabel) -> None:
        self.targets.label(label)

    def _take_settings(self, moment: Moment, settings: seen.RadarSettings) -> None:
        feed = settings.source.feed
        event = standing.radar_event(moment, settings)
        before = self._radars.get(feed)
        if before is None and len(self._radars) >= MOST_RADARS:
            return
        if before is None or standing.radar_event(moment, before) != event:
            self._waiting.append((moment, event))
            self._follow_scale(moment, feed, settings.range_scale_nm)
        self._radars[feed] = settings
        self._take_marks(moment, self.marks.see(settings, self.own.motion(settings.at_s)))

    def _take_marks(self, moment: Moment, laid: Iterable[Marked]) -> None:
        """Plots that are made by hand on a set: sightings like any other, said when they are recognised."""
        for mark in laid:
            if mark.begun:
                text = f"{mark.key}: {mark.hand} laid on one echo {mark.estimate.observations} times: taken as a plot"
                self._waiting.append(our_note(moment, text))
            limit_nm = self.conditions[self.condition].cpa_nm
            self._waiting.append(
                Sighting(moment, mark.key, mark.hand, None, mark.look, mark.estimate, limit_nm, is_echo=False)
            )

    def _follow_scale(self, moment: Moment, feed: str, range_scale_nm: float | None) -> None:
        """A condition that asks for the range scale that the set has gone to comes into force by itself."""
        if range_scale_nm is None or range_scale_nm == self._scales.get(feed):
            return
        self._scales[feed] = range_scale_nm
        for name, condition in self.conditions.items():
            if range_scale_nm in condition.range_scales_nm:
                self.set_condition(moment, name)
                return

    def _take_command(self, moment: Moment, command: seen.AlertCommand) -> None:
        self._waiting.append(Command(moment, command))

    def _take_note(self, moment: Moment, note: seen.Note) -> None:
        self._waiting.append((moment, Note(time=moment.time, text=note.text, author=note.author)))

    # ---------------------------------------------------------------------------------------- second stroke

    def flush(self) -> list[Said]:
        """Everything that has been taken in since the last flush, judged, in order."""
        waiting, self._waiting = self._waiting, []
        for item in waiting:
            if isinstance(item, Gone):
                self._feed_of.pop(item.target, None)
                self.vessels.forget(item.target)
        return self.judging.all(waiting, has_one_radar=len(self._radars) == 1)

    # ---------------------------------------------------------------------------------------- from the watch

    def set_condition(self, moment: Moment, name: str) -> None:
        """Puts a condition in force from this moment on. KeyError for a name that is none."""
        if self.conditions[name] is not self.conditions[self.condition]:
            self.condition = name
            self._waiting.append(NewCondition(moment, name))

    def configure(self, moment: Moment, settings: LookoutSettings) -> None:
        """Puts other alert settings and conditions in force from this moment on. All else stays as it was begun.

        So does the condition, unless the settings name another than before, or have this one no more.
        """
        self.conditions = settings.conditions or DEFAULT_CONDITIONS
        if settings.condition != self._configured or self.condition not in self.conditions:
            self.condition = settings.condition
        self._configured = settings.condition
        self._waiting.append(NewSettings(moment, settings.alerts, self.conditions, self.condition))

    def acknowledge(self, moment: Moment, alert_id: int | None = None) -> list[Alert]:
        """Acknowledges one alert, or all. Flush first; the changes are said in the next flush."""
        return self._say_all(moment, self.judging.alerts.acknowledge(moment, alert_id))

    def silence(self, moment: Moment) -> list[Alert]:
        """Silences what sounds, for the settable time. Flush first; the changes are said in the next flush."""
        return self._say_all(moment, self.judging.alerts.silence(moment))

    def _say_all(self, moment: Moment, changed: list[Alert]) -> list[Alert]:
        self._waiting.extend((moment, alert) for alert in changed)
        return changed

    def close(self, moment: Moment) -> list[Said]:
        """The watch ends: every standing alert has its end written."""
        return [(moment, alert) for alert in self.judging.alerts.close(moment)]

    # ------------------------------------------------------------------------------------- how things stand

    def _begin_track(self, feed: str) -> Track:
        if feed not in self._noise:
            self._noise[feed] = NoiseModel()
        return Track(self._noise[feed])

    def _health_of(self, states: Iterable[tuple[str, float, TrackState]]) -> list[TargetHealth]:
        return [TargetHealth(key, state, self._feed_of.get(key, "")) for key, _, state in states]

    def _situation(self, at_s: float, world: World, echoes: Iterable[TargetHealth]) -> Situation:
        needs_heading, needs_position = _lately(self._relative_s, at_s), _lately(self._placed_s, at_s)
        heading, position, speed = standing.sensors(
            self.own, at_s, needs_heading, needs_position, bool(self.judging.plots)
        )
        return Situation(
            heading=heading,
            position=position,
            speed=speed,
            feeds=world.feeds,
            radars=self._radar_pictures(echoes),
            outputs=world.outputs,
            annunciators=world.annunciators,
            beacons=self.ais.distress(at_s),
            clock_jump_s=world.clock_jump_s,
        )

    def _radar_pictures(self, echoes: Iterable[TargetHealth]) -> tuple[RadarPicture, ...]:
        feeds = [echo.feed for echo in echoes if echo.track is not TrackState.LOST]
        return tuple(
            RadarPicture(
                feed=feed,
                range_scale_nm=settings.range_scale_nm,
                orientation=settings.orientation,
                tracked=feeds.count(feed),
            )
            for feed, settings in self._radars.items()
        )


def _lately(then_s: float | None, at_s: float) -> bool:
    return then_s is not None and at_s - then_s < NEED_REMEMBERED_S


_TAKERS: dict[type[seen.Observation], Callable[[Lookout, Moment, Any], None]] = {
    seen.TargetReport: Lookout._take_report,
    seen.TargetPosition: Lookout._take_position,
    seen.TargetPrediction: Lookout._take_prediction,
    seen.TargetLabel: Lookout._take_label,
    seen.RadarSettings: Lookout._take_settings,
    seen.AisPosition: Lookout._take_ais,
    seen.AisStatic: Lookout._take_ais,
    seen.AisOwnShip: Lookout._take_ais,
    seen.AisDistress: Lookout._take_ais,
    seen.Note: Lookout._take_note,
    seen.AlertCommand: Lookout._take_command,
}
