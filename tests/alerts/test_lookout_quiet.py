"""Where the watch could have been quiet and wrong: data that is missing or old is said, and never reckoned with.

Vessels and places are invented.
"""

from math import atan2, degrees, hypot

import pytest
from msgspec import structs

from alerts.events import Alert, AnyEvent, Note, Plot
from alerts.lookout import Lookout, LookoutSettings, World
from alerts.plotting.ais import AisSettings
from alerts.settings import DEFAULT_CONDITIONS, Alerts, GuardZone, Zone, ZoneReference
from parsers import encode
from parsers.decode import Decoder
from parsers.observations import Orientation, Reference
from tests.alerts.watch import moment


class Bridge:
    """A lookout that hears sentences at whole seconds."""

    def __init__(self, settings: LookoutSettings | None = None) -> None:
        self.lookout = Lookout(settings)
        self.decoder = Decoder("bridge")
        self.said: list[AnyEvent] = []

    def second(self, at_s: int, *sentences: str) -> None:
        now = moment(float(at_s))
        self.lookout.tick(now, World())
        for sentence in sentences:
            self.lookout.take(now, self.decoder.decode_line(sentence.encode(), now.at_s).observations)
        self.said += [event for _, event in self.lookout.flush()]

    def plots(self) -> list[Plot]:
        return [event for event in self.said if isinstance(event, Plot)]

    def alerts(self) -> list[Alert]:
        return [event for event in self.said if isinstance(event, Alert)]

    def notes(self) -> list[Note]:
        return [event for event in self.said if isinstance(event, Note)]


def own_ship(at_s: int, sog_kn: float, lat_deg: float = 50.0) -> str:
    return encode.rmc(at_s, "150127", lat_deg, 0.0, sog_kn=sog_kn, cog_deg=0.0 if sog_kn else None)


def test_without_own_speed_the_time_to_cpa_is_that_of_the_relative_motion() -> None:
    """End on at 10 kn each, and the receiver falls silent: she still comes at 20 kn, by the ranges alone."""
    bridge = Bridge()
    for at_s in range(400):
        own = [own_ship(at_s, 10.0)] if at_s < 200 else []
        east, north = 1.0, 12.0 - 20.0 * at_s / 3600.0
        target = [encode.ttm(7, hypot(east, north), degrees(atan2(east, north)))] if at_s % 3 == 0 else []
        bridge.second(at_s, *own, *target)
    last = bridge.plots()[-1]

    assert last.speed_kn is None
    assert last.tcpa_min == pytest.approx(60.0 * (12.0 - 20.0 * 399 / 3600.0) / 20.0, abs=0.5)


def test_a_position_of_a_target_is_seen_from_where_own_ship_is_now() -> None:
    """At 20 kn a fix that is twelve seconds old is a hundred metres astern."""
    bridge = Bridge()
    bridge.second(0, own_ship(0, 20.0))
    for at_s in range(1, 13):
        bridge.second(at_s)
    bridge.second(12, encode.tll(5, 50.1, 0.0))
    (plot,) = bridge.plots()

    assert plot.range_nm == pytest.approx(6.004 - 12 * 20 / 3600, abs=0.005)


STATION = {
    "msg_type": 1,
    "mmsi": 235000001,
    "lat": 50.1,
    "lon": 0.0,
    "speed": 12.0,
    "course": 180.0,
    "heading": 180,
    "status": 0,
}


def ais_position(at_s: int) -> list[str]:
    return encode.vdm({**STATION, "second": at_s % 60})


@pytest.mark.parametrize("what", ["AIS", "TLL"])
def test_targets_that_tell_their_position_need_our_own(what: str) -> None:
    """With no position of our own they cannot be plotted: half a minute, and that is told."""
    bridge = Bridge()
    for at_s in range(60):
        target = ais_position(at_s) if what == "AIS" else [encode.tll(5, 50.1, 0.0)]
        bridge.second(at_s, *(target if at_s % 10 == 0 else []))
    (alert,) = bridge.alerts()

    assert (alert.rule, alert.text) == (
        "position_lost",
        "no position since the start of the watch; targets that tell their position (AIS, TLL) are not plotted",
    )
    assert not bridge.plots()


def test_stations_need_no_position_where_ais_is_off() -> None:
    """What is not taken in is not missed."""
    bridge = Bridge(LookoutSettings(ais=AisSettings(on=False)))
    for at_s in range(60):
        bridge.second(at_s, *(ais_position(at_s) if at_s % 10 == 0 else []))

    assert not bridge.alerts()


def zone_off_the_bow(**changes: object) -> LookoutSettings:
    zone = structs.replace(Zone(to_nm=3.0, from_deg=315, to_deg=45), **changes)
    return LookoutSettings(alerts=Alerts(guard_zone=GuardZone(zones={"bow": zone})))


def at_anchor(settings: LookoutSettings, reference: Reference = Reference.TRUE) -> Bridge:
    """No compass, no way on, and a target that stands a mile off."""
    bridge = Bridge(settings)
    for at_s in range(60):
        target = [encode.ttm(5, 1.0, 0.0, bearing_reference=reference)] if at_s % 3 == 0 else []
        bridge.second(at_s, own_ship(at_s, 0.0), *target)
    return bridge


def test_a_guard_zone_off_the_bow_that_cannot_be_judged_says_so() -> None:
    """At anchor without a compass nothing tells where the bow is, and a sector off it would never be entered."""
    (alert,) = at_anchor(zone_off_the_bow()).alerts()

    assert alert.rule == "heading_lost"
    assert alert.text == "no heading since the start of the watch; not judged: guard zone bow"


def test_a_true_guard_zone_cannot_be_judged_by_bearings_off_the_bow() -> None:
    """The other way round: the targets' bearings are relative, and nothing makes them true."""
    bridge = at_anchor(zone_off_the_bow(reference=ZoneReference.TRUE), Reference.RELATIVE)
    (alert,) = bridge.alerts()

    assert alert.rule == "heading_lost"
    assert "not judged: guard zone bow" in alert.text


@pytest.mark.parametrize(
    "changes",
    [{"from_deg": 0.0, "to_deg": 360.0}, {"reference": ZoneReference.TRUE}, {"conditions": ("harbour",)}],
    ids=["all round", "by true bearings", "off in this condition"],
)
def test_a_guard_zone_that_needs_no_heading_asks_for_none(changes: dict[str, object]) -> None:
    """All round, by the set's own true bearings, or not in force."""
    bridge = at_anchor(zone_off_the_bow(**changes))

    assert not [alert for alert in bridge.alerts() if alert.rule == "heading_lost"]


def test_a_target_that_is_told_by_position_is_lost_when_the_set_says_so() -> None:
    """The set has no position to give with it; it is not waited for until the target has been silent for long."""
    bridge = Bridge()
    for at_s in range(60):
        closing = [encode.tll(5, 50.1 - at_s / 21_600, 0.0)] if at_s % 3 == 0 else []  # at 10 kn
        bridge.second(at_s, own_ship(at_s, 0.0), *closing)
    bridge.second(60, own_ship(60, 0.0), encode.sentence("RATLL,05,,,,,,,L,"))
    bridge.second(61, own_ship(61, 0.0))
    (alert,) = bridge.alerts()

    assert alert.rule == "lost_target"


@pytest.mark.parametrize(("mode", "said"), [("E", "dead reckoning"), ("M", "manual"), ("S", "simulator")])
def test_a_position_that_is_not_by_satellite_says_so(mode: str, said: str) -> None:
    """Once when it has lasted for ten seconds, and once when satellites are back."""
    bridge = Bridge()
    for at_s in range(90):
        bridge.second(at_s, encode.rmc(at_s, "150127", 50.0, 0.0, sog_kn=8.0, cog_deg=0.0, mode=mode_at(at_s, mode)))

    assert [note.text for note in bridge.notes()] == [
        f"own position is not by satellite: {said} (bridge/GPRMC)",
        "own position is by satellite again (bridge/GPRMC)",
    ]


def mode_at(at_s: int, mode: str) -> str:
    """Lost for three seconds under a bridge, then for half a minute."""
    return mode if 10 <= at_s < 13 or 30 <= at_s < 60 else "A"


def test_a_true_bearing_from_the_set_is_never_shown_as_one_off_the_bow() -> None:
    """The set knows north and we know nothing of own ship: its bearing is true, and what lies off our bow unknown."""
    bridge = Bridge()
    for at_s in range(0, 120, 3):
        bridge.second(at_s, encode.ttm(5, 4.0 - at_s / 180, 61.0))
    last = bridge.plots()[-1]
    danger = [alert for alert in bridge.alerts() if alert.rule == "closest_approach"]

    assert (last.bearing_deg, last.relative_bearing_deg) == (61.0, None)
    assert "bearing 061°T" in danger[0].text


def test_a_target_that_is_lost_off_the_bow_says_where_it_was() -> None:
    """No heading makes the bearing true; where it lay off the bow is known."""
    bridge = Bridge()
    for at_s in range(200):
        seen = at_s < 90 and at_s % 3 == 0
        target = encode.ttm(5, 4.0 - at_s / 300, 61.0, bearing_reference=Reference.RELATIVE)
        bridge.second(at_s, *([target] if seen else []))
    lost = [alert for alert in bridge.alerts() if "LOST" in alert.text]

    assert "bearing 061°R" in lost[0].text


def test_a_magnetic_heading_without_a_variation_says_why_it_is_not_used() -> None:
    """Once, and not at all where another heading is in use or the variation comes in time."""
    alone, helped, early = Bridge(), Bridge(), Bridge()
    for at_s in range(60):
        alone.second(at_s, encode.hdm(100.0))
        helped.second(at_s, encode.hdm(100.0), encode.hdt(95.0))
        variation = encode.rmc(at_s, "150127", 50.0, 0.0, sog_kn=0.0, cog_deg=None, variation_deg=-5.0)
        early.second(at_s, encode.hdm(100.0), *([variation] if at_s == 8 else []))

    assert [note.text for note in alone.notes()] == [
        "own heading is not used: bridge/HCHDM gives a magnetic heading, and no variation is known"
    ]
    assert not helped.notes()
    assert not early.notes()


def test_positions_of_another_datum_say_why_they_are_not_used() -> None:
    bridge = Bridge()
    for at_s in range(60):
        bridge.second(at_s, encode.sentence("GPDTM,999,CH,,,,,,"), own_ship(at_s, 0.0))

    assert [note.text for note in bridge.notes()] == [
        "own position is not used: bridge/GPRMC gives positions on datum 999CH, not on WGS-84"
    ]


def range_scale(scale_nm: float | None, ebl_deg: float) -> str:
    return encode.rsd(range_scale_nm=scale_nm, orientation=Orientation.NORTH_UP, mark_1=(None, ebl_deg))


@pytest.mark.parametrize(
    ("read", "in_force"),
    [
        (LookoutSettings(), "restricted visibility"),  # the file names the same condition as before
        (LookoutSettings(condition="coastal"), "coastal"),  # ... another
        (LookoutSettings(conditions={"open water": DEFAULT_CONDITIONS["open water"]}), "open water"),  # ... not ours
    ],
)
def test_settings_that_are_read_again_leave_the_condition_that_was_chosen(read: LookoutSettings, in_force: str) -> None:
    """The file's is the one at the start. A change of it is said in a note, as any other is."""
    bridge = Bridge()
    bridge.second(0, own_ship(0, 5.0))
    bridge.lookout.set_condition(moment(1.0), "restricted visibility")
    bridge.lookout.configure(moment(1.0), read)
    bridge.second(1, own_ship(1, 5.0))
    said = [note.text for note in bridge.notes()]

    assert bridge.lookout.condition == bridge.lookout.judging.rules.condition == in_force
    assert said[-1] == f"settings read again, condition {in_force} in force"


def test_a_range_scale_that_is_left_out_and_comes_again_is_no_new_one() -> None:
    """What the watchkeeper has chosen for the fog outlasts a line in which the set leaves its scale out."""
    harbour = structs.replace(DEFAULT_CONDITIONS["harbour"], range_scales_nm=(1.5,))
    bridge = Bridge(LookoutSettings(conditions={**DEFAULT_CONDITIONS, "harbour": harbour}))
    bridge.second(0, range_scale(1.5, 10.0))
    bridge.lookout.set_condition(moment(1.0), "restricted visibility")
    bridge.second(1, range_scale(None, 10.0))
    bridge.second(2, range_scale(1.5, 10.0))

    assert bridge.lookout.judging.rules.condition == "restricted visibility"


def test_a_range_scale_brings_its_condition_once() -> None:
    """What the watchkeeper chooses after that stays, whatever is moved on the screen, until the scale changes."""
    harbour = structs.replace(DEFAULT_CONDITIONS["harbour"], range_scales_nm=(0.75, 1.5))
    bridge = Bridge(LookoutSettings(conditions={**DEFAULT_CONDITIONS, "harbour": harbour}))
    bridge.second(0, range_scale(1.5, 10.0))
    by_scale = bridge.lookout.judging.rules.condition
    bridge.lookout.set_condition(moment(1.0), "restricted visibility")
    bridge.second(1, range_scale(1.5, 20.0))
    by_hand = bridge.lookout.judging.rules.condition
    bridge.second(2, range_scale(6.0, 20.0))
    bridge.second(3, range_scale(0.75, 20.0))

    assert (by_scale, by_hand, bridge.lookout.judging.rules.condition) == (
        "harbour",
        "restricted visibility",
        "harbour",
    )


def test_more_stations_than_can_be_held_are_told() -> None:
    """The nearest are plotted, and the watch is told how far that reaches."""
    bridge = Bridge()
    bridge.lookout.ais.stations.capacity = 20
    for at_s in range(60):
        crowd = [
            sentence
            for number in range(30)
            if number % 10 == at_s % 10
            for sentence in encode.vdm({**STATION, "mmsi": 235000100 + number, "lat": 50.0 + number / 60})
        ]
        bridge.second(at_s, own_ship(at_s, 0.0), *crowd)
    first, last = bridge.notes()

    assert first.text == "more AIS stations than the 20 that can be held: none beyond 23.0 NM is plotted"
    assert last.text == "more AIS stations than the 20 that can be held: none beyond 18.0 NM is plotted"
    assert {plot.target for plot in bridge.plots()[-10:]} <= {f"ais-{235000100 + number}" for number in range(19)}
