"""The lookout where one vessel has two numbers, and where the set exchanges two: what is said, and alerted once."""

from collections.abc import Callable

from msgspec import structs

from alerts.events import Alert, AnyEvent, Plot
from alerts.lookout import Lookout, World
from alerts.plotting.terms import AlertState
from parsers import observations as seen
from tests.alerts.plotting.vessels import TTM, Vessel, report_of
from tests.alerts.watch import moment, notes

GPS = seen.Source(feed="gps", talker="GP", formatter="RMC")
OWN = Vessel(0, 0, course_deg=0, speed_kn=8)
MEETING = Vessel(0, 5, course_deg=180, speed_kn=10)  # right ahead, CPA nought after 17 min
CLEAR = Vessel(-3, 2, course_deg=10, speed_kn=9)

Numbers = Callable[[int], dict[int, Vessel]]
"""Which vessel the set reports under which number, by the second."""


def run(seconds: int, numbers: Numbers, every_flush_s: int = 5) -> list[AnyEvent]:
    lookout = Lookout()
    said: list[AnyEvent] = []
    for second in range(seconds):
        at_s = float(second)
        lookout.tick(moment(at_s), World())
        ground = seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=8.0, cog_deg=0.0)
        lookout.take(moment(at_s), (ground, seen.Heading(at_s=at_s, source=GPS, heading_deg=0.0)))
        if second % 3 == 0:
            for i, (number, vessel) in enumerate(numbers(second).items()):
                look = OWN.look(vessel, at_s + 0.2 * (i + 1))
                lookout.take(moment(look.at_s), [report_of(number, look, TTM)])
        if second % every_flush_s == 0:
            said += [event for _, event in lookout.flush()]
    return said + [event for _, event in lookout.flush()]


def closest_approaches(said: list[AnyEvent]) -> list[tuple[str | None, AlertState]]:
    return [(e.target, e.state) for e in said if isinstance(e, Alert) and e.rule == "closest_approach"]


def test_one_vessel_under_two_numbers_is_alerted_once() -> None:
    """Both tracks are plotted to the end; the danger is told of the elder alone, and the watch is told why, once."""
    said = run(500, lambda second: {1: MEETING, 2: MEETING} if second >= 60 else {1: MEETING})
    plotted = {event.target for event in said[-40:] if isinstance(event, Plot)}

    assert plotted == {"radar-01", "radar-02"}
    assert {target for target, _ in closest_approaches(said)} == {"radar-01"}
    assert notes(said) == [
        "radar-02 and radar-01 look like one vessel under two numbers: alerts are raised for radar-01 alone"
    ]


def test_alerts_of_a_number_that_is_found_to_be_another_go_on_under_that_one() -> None:
    """Both are told of before anybody can know: the second's alert ends then, and nobody is told that she is lost."""
    near = Vessel(0, 3, course_deg=180, speed_kn=10)
    said = run(120, lambda _: {1: near, 2: near})
    of_second = [event for event in said if isinstance(event, Alert) and event.target == "radar-02"]

    assert [event.state for event in of_second if event.rule == "closest_approach"] == [
        AlertState.ACTIVE_UNACKNOWLEDGED,
        AlertState.NORMAL,
    ]
    assert not [event for event in said if isinstance(event, Alert) and "LOST" in event.text]
    assert closest_approaches(said)[-1] == ("radar-01", AlertState.ACTIVE_UNACKNOWLEDGED)


def test_when_the_first_number_falls_silent_the_second_tells_of_the_danger() -> None:
    """Nobody's danger is kept quiet for a track that is no longer seen."""
    said = run(560, lambda second: {1: MEETING, 2: MEETING} if second < 450 else {2: MEETING})
    raised = [target for target, state in closest_approaches(said) if state is AlertState.ACTIVE_UNACKNOWLEDGED]

    assert "radar-02" in raised


def test_a_set_that_sends_old_measurements_for_ever_loses_the_danger_once() -> None:
    """Its target is lost, whatever it repeats: an acknowledgement of that holds, and is not sounded over every scan."""
    near = Vessel(0, 3, course_deg=180, speed_kn=10)
    frozen = [report_of(1, OWN.look(near, 99.0), TTM)]
    lookout = Lookout()
    said: list[AnyEvent] = []
    for second in range(200):
        at_s = float(second)
        lookout.tick(moment(at_s), World())
        ground = seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=8.0, cog_deg=0.0)
        lookout.take(moment(at_s), (ground, seen.Heading(at_s=at_s, source=GPS, heading_deg=0.0)))
        if second % 3 == 0:
            report = report_of(1, OWN.look(near, at_s), TTM) if second < 100 else frozen[0]
            lookout.take(moment(at_s), [structs.replace(report, at_s=at_s)])
        said += [event for _, event in lookout.flush()]
    lost = [event for event in said if isinstance(event, Alert) and "lose data" in str(event.values["change"])]

    assert [(event.rule, event.target) for event in lost] == [("closest_approach", "radar-01")]
    assert str(lost[0].values["last_seen"]) <= str(moment(120.0).time)  # till she coasts, a repeat may be honest


def test_a_number_under_which_two_sets_speak_is_told() -> None:
    """The second set's target is nobody's track and raises no alert, however it comes: that is said, once."""
    said = run(200, lambda second: {1: CLEAR if second % 2 else MEETING})

    assert notes(said) == [
        "radar-01: every other report of this number is of an echo elsewhere, which is not plotted and raises no "
        "alert; two sets on one feed? Give each a feed of its own"
    ]


def test_more_targets_than_can_be_held_are_told_once() -> None:
    """Those that find no room raise no alert: the watch is told so, and not with each of them."""
    said = run(30, lambda _: {number: Vessel(number / 10, 5, 180, 10) for number in range(1, 220)})

    assert [text for text in notes(said) if "can be held" in text] == [
        "more radar targets than the 200 that can be held: the others are not plotted and raise no alert; "
        "capacity under [alerts.radar_capacity] says how many your set tracks"
    ]


def test_a_lost_track_that_makes_room_is_none_to_tell_of() -> None:
    """Only lost tracks have gone: everything that is seen is plotted."""
    vessels = [Vessel(number / 10, 5, 180, 10) for number in range(150)]

    def numbers(second: int) -> dict[int, Vessel]:
        first = 1 if second < 10 else 201
        return {} if 10 <= second < 60 else dict(enumerate(vessels, first))

    said = run(75, numbers)

    assert not [text for text in notes(said) if "can be held" in text]


def test_exchanged_numbers_are_told_and_the_plots_go_on() -> None:
    """The vessel that was radar-01 is radar-02.2 from then on, with her motion known at once."""
    said = run(200, lambda second: {1: MEETING, 2: CLEAR} if second < 150 else {1: CLEAR, 2: MEETING})
    first = next(event for event in said if isinstance(event, Plot) and event.target == "radar-02.2")

    assert notes(said) == [
        "radar-01.2: the set has moved this number to the vessel that was radar-02; her plot goes on",
        "radar-02.2: the set has moved this number to the vessel that was radar-01; her plot goes on",
    ]
    assert first.speed_kn is not None
    assert abs(first.speed_kn - 10) < 0.5


def test_the_same_is_said_whenever_it_is_flushed() -> None:
    """Once in five seconds or once a minute."""

    def numbers(second: int) -> dict[int, Vessel]:
        if second < 200:
            return {1: MEETING, 2: MEETING, 3: CLEAR}
        return {1: MEETING, 2: CLEAR, 3: MEETING}

    assert run(300, numbers) == run(300, numbers, every_flush_s=60)


def test_a_tack_with_a_late_heading_breaks_no_track() -> None:
    """Own ship goes through 90 degrees in nine seconds, her heading comes a second late, and bearings are off the bow:
    ten degrees off for a moment. A danger that was acknowledged stays what it is, and no number is anybody else's."""

    def bow_deg(at_s: float) -> float:
        return min(90.0, max(0.0, 10.0 * (at_s - 400.0)))

    lookout = Lookout()
    said: list[AnyEvent] = []
    for tenth in range(0, 5000, 2):
        at_s = tenth / 10
        if tenth % 10 == 0:
            lookout.tick(moment(at_s), World())
            lookout.take(moment(at_s), [seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=8.0, cog_deg=0.0)])
        if tenth % 24 == 0:
            look = OWN.look(MEETING, at_s)
            report = report_of(1, look, TTM)
            off_bow_deg = (look.bearing_deg - bow_deg(at_s)) % 360.0
            lookout.take(
                moment(at_s),
                [structs.replace(report, bearing_deg=off_bow_deg, bearing_reference=seen.Reference.RELATIVE)],
            )
        lookout.take(moment(at_s), [seen.Heading(at_s=at_s, source=GPS, heading_deg=bow_deg(at_s - 1.0))])
        said += [event for _, event in lookout.flush()]
        if tenth == 3900:
            lookout.acknowledge(moment(at_s))

    assert {event.target for event in said if isinstance(event, Plot)} == {"radar-01"}
    assert closest_approaches(said)[-1] == ("radar-01", AlertState.ACTIVE_ACKNOWLEDGED)
