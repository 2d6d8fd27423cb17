"""The rules on the watch's own data: sensors, feeds, the set, outputs and the clock, judged at each tick."""

from collections.abc import Callable
from functools import partial

from alerts.events import Moment
from alerts.plotting.terms import FeedState, Priority
from alerts.rules import presence, wording, zones
from alerts.rules.board import HELD_BY_HEADING, Board, Case
from alerts.rules.findings import Key, Phase
from alerts.rules.latch import Latch, advance
from alerts.rules.situation import (
    Beacon,
    FeedHealth,
    OutputHealth,
    RadarPicture,
    SensorHealth,
    Situation,
)
from alerts.settings import RadarCapacity, Rule, SensorLost, ZoneReference

JUMP_S = 120.0
"""How long after a heading is lost the targets are given to settle on what stands in for it."""

START_S = 30.0
"""How long the watch waits at its start for a sensor that it needs and has never heard."""

JUMPS_TOLD = 8
"""Jumps of the clock that are told one by one while they are shown. After that it is one standing condition: two
sources of time that do not agree put the clock to and fro at every line."""

_RESTLESS: Key = ("clock_jump", None, "again and again")


def is_silent(health: SensorHealth, settings: SensorLost) -> bool:
    """Whether a sensor is silent now: never heard, or not for too long."""
    return health.age_s is None or health.age_s > settings.after_s


class HealthRules:
    """The rules on data and program: feeds, sensors, picture, outputs, clock and distress beacons."""

    def __init__(self, board: Board) -> None:
        self._board = board
        self._latches: dict[Key, Latch] = {}
        self._began_s: float | None = None
        self._pictures: dict[str, RadarPicture] = {}
        self._shown: dict[Key, tuple[float, Case]] = {}  # occurrences: shown until, what they say
        self._occurrences = 0
        self._heard: dict[Key, Beacon] = {}
        self._silent: set[str] = set()  # feeds that were silent, their connection still open, at the last tick

    def tick(self, moment: Moment, situation: Situation) -> frozenset[str]:
        """Settle all of them; answers the feeds that are told as silent."""
        at_s = moment.at_s
        if self._began_s is None:
            self._began_s = at_s
        for feed in situation.feeds:
            self._feed(at_s, feed)
        silent = frozenset(f.name for f in situation.feeds if ("feed_silent", None, f.name) in self._board.told)
        self._sensor(at_s, "heading_lost", situation.heading, silent)
        self._board.held_by_heading = self._held_by_heading(situation.heading)
        self._sensor(at_s, "position_lost", situation.position, silent)
        # One receiver that falls silent is one situation.
        with_it = situation.speed.source is not None and situation.speed.source == situation.position.source
        told = ("position_lost", None, "") in self._board.told
        self._sensor(at_s, "speed_lost", situation.speed, silent, "position_lost" if with_it and told else "")
        for radar in situation.radars:
            self._picture(at_s, radar)
            self._capacity(at_s, radar)
        self._outputs(at_s, situation)
        self._clock(at_s, situation.clock_jump_s)
        self._beacons(at_s, situation.beacons)
        self._take_down(at_s)
        return silent

    # ------------------------------------------------------------------------------------ feeds and sensors

    def _latched(self, at_s: float, key: Key, bad: bool, rule: Rule) -> bool:
        latch = self._latches.setdefault(key, Latch())
        advance(latch, at_s, bad, bad, rule.hold_s, rule.clear_hold_s)
        return latch.is_set and self._board.is_on(key[0])

    def _feed(self, at_s: float, feed: FeedHealth) -> None:
        key: Key = ("feed_silent", None, feed.name)
        wanted = self._latched(at_s, key, feed.state is not FeedState.UP, self._board.settings.feed_silent)
        if feed.state is FeedState.DOWN and feed.name in self._silent and key in self._board.told:
            self._board.say(key, Phase.WORSENED, self._feed_case(feed), "the connection is lost")
        self._silent = self._silent - {feed.name} | ({feed.name} if feed.state is FeedState.SILENT else set())
        self._board.settle(key, wanted, lambda: self._feed_case(feed), reason="heard again")

    def _feed_case(self, feed: FeedHealth) -> Case:
        waiting = self._board.held_back("feed_silent")
        since = (
            ", no line since the start" if feed.silent_s is None else f", nothing for {wording.seconds(feed.silent_s)}"
        )
        detail = f" ({wording.clean(feed.detail, 120)})" if feed.detail else ""
        held = f"; {waiting} other alerts held back" if waiting else ""
        if feed.state is FeedState.UP:
            since, held = "", ""
        elif feed.state is FeedState.DOWN:
            since = ""  # the alert stands unchanged: a second of silence would be read hours later
        text = f"feed {wording.clean(feed.name, 40)} is {feed.state}{since}{detail}{held}"
        return Case(
            text,
            {"feed": feed.name, "feed_state": str(feed.state), "silent_s": feed.silent_s, "held_back": waiting},
        )

    def _sensor(self, at_s: float, rule: str, health: SensorHealth, silent: frozenset[str], holder: str = "") -> None:
        settings = self._board.settings.rule(rule)
        assert isinstance(settings, SensorLost)
        key: Key = (rule, None, "")
        if health.age_s is None:
            waited = self._began_s is not None and at_s - self._began_s >= START_S
            needed = health.needed or (rule == "heading_lost" and bool(self._unjudged_zones(health)))
            bad = needed and waited
        else:
            bad = health.age_s > settings.after_s
        # What was held back is not told once the sensor is there again, though its latch clears a little later.
        wanted = self._latched(at_s, key, bad, settings) and (bad or key in self._board.told)
        holder = "feed_silent" if health.feed in silent else holder
        self._board.settle(
            key, wanted, lambda: self._sensor_case(rule, health, settings), reason="there again", held_by=holder
        )

    def _held_by_heading(self, health: SensorHealth) -> tuple[str, ...]:
        """What cannot be judged now for want of a heading.

        Just after it was lost the whole picture jumps; then nothing that depends on it is told. Later what stands in
        for it is known, with its own uncertainty; where nothing does, what is counted from the compass stays back. A
        lost target is told again, so that a vessel without a compass is not left without it.
        """
        after_s = self._board.settings.heading_lost.after_s
        told = ("heading_lost", None, "") in self._board.told
        if not (told and health.needed):
            return ()
        if health.age_s is not None and health.age_s < after_s + JUMP_S:
            return (*HELD_BY_HEADING, "lost_target")
        return () if health.stand_in else HELD_BY_HEADING

    def _unjudged_zones(self, health: SensorHealth) -> list[str]:
        """Guard zones that can't be judged for want of a heading: those off the bow, or the true ones where the
        targets' bearings are off the bow."""
        if health.stand_in or not is_silent(health, self._board.settings.heading_lost):
            return []
        reference = ZoneReference.TRUE if health.needed else ZoneReference.RELATIVE
        return [
            wording.clean(name)
            for name, zone in self._board.settings.guard_zone.zones.items()
            if zone.reference is reference and not zones.is_all_round(zone) and presence.is_zone_on(self._board, zone)
        ]

    def _sensor_case(self, rule: str, health: SensorHealth, settings: SensorLost) -> Case:
        what = rule.removesuffix("_lost")
        waiting = self._board.held_back(rule)
        if health.age_s is None:
            said = f"no {what} since the start of the watch"
        elif health.age_s > settings.after_s:
            said = f"{what} lost, none for {wording.seconds(health.age_s)}"
        else:
            said = f"{what} is there again"
        if health.source and health.age_s is not None:
            said += f" ({wording.clean(health.source, 40)})"
        if health.stand_in:
            said += f"; {wording.clean(health.stand_in, 40)} stands in"
        elif rule == "heading_lost" and health.needed and is_silent(health, settings):
            said += "; bearings are off the bow alone, drift can't be told from yaw"
        unjudged = self._unjudged_zones(health) if rule == "heading_lost" else []
        if unjudged:
            said += f"; not judged: guard zone {', '.join(unjudged)}"
        if rule == "position_lost" and health.needed and is_silent(health, settings):
            said += "; targets that tell their position (AIS, TLL) are not plotted"
        if rule == "position_lost" and waiting:
            said += "; speed lost with it"
        held = self._held_by_heading(health) if rule == "heading_lost" else ()
        if held:
            said += f"; held back: {', '.join(map(wording.rule_name, held))} ({waiting} now)"
        return Case(
            said,
            {
                "age_s": None if health.age_s is None else round(health.age_s, 1),
                "age_limit_s": settings.after_s,
                "source": health.source,
                "stand_in": health.stand_in,
                "held_back": waiting,
            },
            # Known from the start, and something stands in: no news for a vessel that never had one.
            Priority.CAUTION if health.age_s is None and health.stand_in else None,
        )

    # ------------------------------------------------------------------------------------------------ radar

    def _picture(self, at_s: float, radar: RadarPicture) -> None:
        """The picture changed since the last tick; a first value is no change."""
        before = self._pictures.get(radar.feed)
        self._pictures[radar.feed] = radar
        if before is None:
            return
        said = []
        if None not in (before.range_scale_nm, radar.range_scale_nm) and before.range_scale_nm != radar.range_scale_nm:
            said.append(f"range scale {before.range_scale_nm:g} to {radar.range_scale_nm:g} NM")
        if None not in (before.orientation, radar.orientation) and before.orientation != radar.orientation:
            said.append(f"{before.orientation} to {radar.orientation}")
        if said:
            text = f"{wording.clean(radar.feed, 40)}: picture changed, {', '.join(said)}"
            values = {
                "range_scale_nm": radar.range_scale_nm,
                "range_scale_before_nm": before.range_scale_nm,
                "orientation": None if radar.orientation is None else str(radar.orientation),
                "orientation_before": None if before.orientation is None else str(before.orientation),
            }
            self._show(at_s, "picture_changed", Case(text, {**values}), self._board.settings.picture_changed.show_s)

    def _capacity(self, at_s: float, radar: RadarPicture) -> None:
        rule = self._board.settings.radar_capacity
        key: Key = ("radar_capacity", None, radar.feed)
        # More than its capacity: the set can do more than was said, and nothing is known of its limit.
        near = rule.caution_share * rule.capacity <= radar.tracked <= rule.capacity
        wanted = self._latched(at_s, key, near, rule)
        self._board.settle(key, wanted, lambda: _capacity_case(radar, rule), reason="below capacity")

    # ------------------------------------------------------------------------------- outputs, clock, beacons

    def _outputs(self, at_s: float, situation: Situation) -> None:
        failing: dict[Key, OutputHealth] = {}
        for output in situation.outputs:
            failing["archive_failed" if output.name == "archive" else "output_failed", None, output.name] = output
        for annunciator in situation.annunciators:
            failing["annunciator_failed", None, annunciator.name] = annunciator
        known = [key for key in self._latches if key[0] in ("archive_failed", "output_failed", "annunciator_failed")]
        for key in {**failing, **dict.fromkeys(known)}:
            output_now = failing.get(key)
            wanted = self._latched(at_s, key, output_now is not None, self._board.settings.rule(key[0]))
            self._board.settle(key, wanted, _output_composer(key, output_now), reason="works again")

    def _clock(self, at_s: float, jump_s: float | None) -> None:
        if not jump_s:
            return
        is_restless = _RESTLESS in self._shown or sum(key[0] == "clock_jump" for key in self._shown) >= JUMPS_TOLD
        jump = f"{wording.seconds(jump_s)} {'forwards' if jump_s > 0 else 'backwards'}"
        what = (
            f"jumps again and again, now {jump}: two sources of time may not agree" if is_restless else f"jumped {jump}"
        )
        text = f"the clock {what}; times are labels, no age or alert depends on them"
        case, show_s = Case(text, {"jump_s": round(jump_s, 3)}), self._board.settings.clock_jump.show_s
        if is_restless:
            self._keep_showing(_RESTLESS, at_s + show_s, case)
        else:
            self._show(at_s, "clock_jump", case, show_s)

    def _beacons(self, at_s: float, beacons: tuple[Beacon, ...]) -> None:
        """Each beacon heard; one that the picture has let go is rectified, and kept by the book until acknowledged."""
        rule = self._board.settings.distress_beacon
        heard: dict[Key, Beacon] = {("distress_beacon", b.target, "test" if b.is_test else ""): b for b in beacons}
        for key, beacon in heard.items():
            self._heard[key] = beacon
            wanted = self._latched(at_s, key, beacon.age_s <= rule.clear_hold_s, rule)
            self._board.settle(key, wanted, partial(_beacon_case, beacon), reason="not heard for long")
        for key in [key for key in self._heard if key not in heard]:
            self._latches.pop(key, None)
            self._board.settle(key, False, partial(_beacon_case, self._heard.pop(key)), reason="no longer heard")

    # ------------------------------------------------------------------- occurrences, shown for a while only

    def _show(self, at_s: float, rule: str, case: Case, show_s: float) -> None:
        """Each occurrence is an alert of its own."""
        self._occurrences += 1
        self._keep_showing((rule, None, str(self._occurrences)), at_s + show_s, case)

    def _keep_showing(self, key: Key, until_s: float, case: Case) -> None:
        if self._board.is_on(key[0]):
            self._shown[key] = (until_s, case)
            self._board.settle(key, True, lambda: case)

    def _take_down(self, at_s: float) -> None:
        for key in [key for key, (until_s, _) in self._shown.items() if at_s >= until_s]:
            case = self._shown.pop(key)[1]
            self._board.settle(key, False, partial(_same, case), reason="shown")


def _output_composer(key: Key, output: OutputHealth | None) -> Callable[[], Case]:
    """What to say of an output that fails, or of one that works again."""
    rule, _, name = key
    what = "archive" if rule == "archive_failed" else f"{rule.removesuffix('_failed')} {wording.clean(name, 40)}"
    if output is None:
        return lambda: Case(f"{what} works again", {"output": name})
    lost = f"; {output.lost} not written" if output.lost else ""
    means = ", tracks are not kept" if rule == "archive_failed" else ""
    text = f"{what} fails{means}: {wording.clean(output.problem, 160)}{lost}"
    return lambda: Case(text, {"output": name, "problem": output.problem, "lost": output.lost})


def _capacity_case(radar: RadarPicture, rule: RadarCapacity) -> Case:
    full = radar.tracked == rule.capacity
    text = f"{wording.clean(radar.feed, 40)}: tracks {radar.tracked} of {rule.capacity} targets"
    text += "; it may take no more" if full else ""
    return Case(
        text,
        {"tracked": radar.tracked, "capacity": rule.capacity, "caution_share": rule.caution_share},
        Priority.WARNING if full else rule.priority,
    )


def _beacon_case(beacon: Beacon) -> Case:
    name = f" {wording.clean(beacon.name)}" if beacon.name else ""
    where = "position unknown"
    if beacon.range_nm is not None:
        where = f"{beacon.range_nm:.2f} NM, {wording.angle(beacon.bearing_deg)}"
    test = "TEST of " if beacon.is_test else ""
    text = f"{beacon.target}{name}: {test}{beacon.station}, {where}, heard {wording.seconds(beacon.age_s)} ago"
    values = {
        "station": str(beacon.station),
        "range_nm": beacon.range_nm,
        "bearing_deg": beacon.bearing_deg,
        "age_s": round(beacon.age_s, 1),
        "is_test": beacon.is_test,
    }
    return Case(text, {**values}, Priority.CAUTION if beacon.is_test else None)


def _same(case: Case) -> Case:
    return case
