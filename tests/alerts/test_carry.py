"""Two targets turn out to be one vessel: rules and book together."""

from tests.alerts.watch import DANGER, Watch, but, moment


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
