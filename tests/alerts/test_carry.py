"""Two targets turn out to be one vessel: rules and book together."""

from alerts.settings import Alerts, GuardZone, Zone
from tests.alerts.watch import CLEAR, DANGER, Watch, but, moment

RADAR = but(CLEAR, target="radar-03", range_nm=5.0, tcpa_min=25.0)
AIS = but(RADAR, target="ais-219000123")
DANGEROUS = {"cpa_nm": 0.12, "tcpa_min": 11.4, "inside_probability": 0.99}


def test_two_targets_become_one() -> None:
    """Her alerts go on under the other target, with their ids and states; one told of both ends on the old."""
    watch = Watch()
    watch.plots(0, 30, DANGER)
    watch.plots(31, 60, but(DANGER, target="ais-219000123"))
    first, second = watch.raised("closest_approach")
    watch.acknowledge(61, second.id)
    for old, new in (("ais-219000123", DANGER.target), (DANGER.target, "radar-09")):
        watch.rules.carry(old, new)
        watch.events += watch.book.carry(moment(62), old, new)
    standing = [alert for alert in watch.book.standing(moment(62)) if alert.rule == "closest_approach"]
    ended = [event for event in watch.events if event.id == second.id][-1]

    assert [(alert.id, alert.target) for alert in standing] == [(first.id, "radar-09")]
    assert (ended.state, ended.values["change"]) == ("normal", f"supersede: ais-219000123 is {DANGER.target}")
    watch.targets.clear()
    watch.plots(63, 80, but(DANGER, target="radar-09"))
    assert len(watch.raised("closest_approach")) == 2, "raised nothing anew"


def taken_over(settings: Alerts | None = None) -> Watch:
    """A minute of the radar's track that passes clear, inside the zone; then AIS comes in beside it."""
    watch = Watch(settings)
    watch.plots(0, 66, RADAR)
    watch.plots(69, 69, AIS)
    watch.rules.carry(RADAR.target, AIS.target)
    del watch.targets[RADAR.target]
    return watch


def test_a_vessel_that_was_there_all_along_is_not_new_under_her_other_track() -> None:
    """Nor has she just entered the zone in which she has been since the start of the watch."""
    watch = taken_over(Alerts(guard_zone=GuardZone(zones={"round": Zone(to_nm=6.0)})))
    watch.plots(72, 120, AIS)

    assert not watch.raised("new_target")
    assert not [alert for alert in watch.raised("guard_zone") if alert.target is not None]


def test_a_danger_on_its_way_goes_on_under_the_other_track() -> None:
    """The AIS track has held for most of its time when the radar's, which knows of nothing, is joined to it."""
    watch = Watch()
    watch.plots(0, 60, RADAR)
    watch.plots(63, 66, but(AIS, **DANGEROUS))
    watch.rules.carry(RADAR.target, AIS.target)
    del watch.targets[RADAR.target]
    watch.plots(69, 69, but(AIS, **DANGEROUS))

    assert [str(alert.time) for alert in watch.raised("closest_approach")] == [str(moment(69).time)]


def test_the_longer_wait_of_the_two_counts() -> None:
    watch = Watch()
    watch.plots(0, 3, but(RADAR, **DANGEROUS))
    watch.plots(4, 4, but(AIS, **DANGEROUS))
    watch.rules.carry(RADAR.target, AIS.target)
    del watch.targets[RADAR.target]
    watch.plots(6, 6, but(AIS, **DANGEROUS))

    assert watch.raised("closest_approach")
