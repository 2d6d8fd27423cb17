"""AIS targets through the whole lookout: plots, encounters, alerts, distress beacons."""

from collections.abc import Sequence

import pytest

from alerts.events import Alert, Plot
from alerts.lookout import Lookout, LookoutSettings
from alerts.plotting.ais import AisSettings
from alerts.plotting.terms import Check, Encounter, TrackState
from parsers import observations as seen
from tests.alerts.ais_air import AIS, Own, Vessel, go, run
from tests.alerts.watch import moment

OWN = Own(course_deg=0, speed_kn=8)
COMING = Vessel(44, 2.5, 260, 10, 219000123)


def reports(vessel: Vessel, until: int, every: int = 10, late_s: float = 0.0) -> list[tuple[float, seen.Observation]]:
    return [(second + 0.3, vessel.reports(second + 0.3, late_s)) for second in range(5, until, every)]


def raised(said: Sequence[object], rule: str) -> list[Alert]:
    first: dict[int, Alert] = {}
    for event in said:
        if isinstance(event, Alert) and event.rule == rule:
            first.setdefault(event.id, event)
    return list(first.values())


def test_plot_of_an_ais_target() -> None:
    """CPA by the geodesic's geometry to 0.02 NM, nothing reported to check, and her name once it is known."""
    name = (40.0, seen.AisStatic(at_s=40.0, source=AIS, mmsi=COMING.mmsi, name="SHELDUCK"))
    said = run(Lookout(), OWN, [*reports(COMING, 90, late_s=3.0), name], (0, 90))
    plots = [event for event in said if isinstance(event, Plot)]
    cpa_nm, tcpa_min = COMING.relative(OWN)

    assert {plot.target for plot in plots} == {"ais-219000123"}
    assert [plot.name for plot in plots] == [""] * 4 + ["SHELDUCK"] * 5
    assert plots[-1].cpa_nm == pytest.approx(cpa_nm, abs=0.02)
    assert plots[-1].tcpa_min == pytest.approx(tcpa_min - 85.3 / 60, abs=0.15)
    assert plots[-1].check is Check.NOT_REPORTED
    assert plots[-1].reported_cpa_nm is None
    assert (plots[-1].course_deg, plots[-1].speed_kn) == (260, 10)


def test_closest_approach_is_raised_of_an_ais_target() -> None:
    said = run(Lookout(), OWN, reports(COMING, 90), (0, 90))

    assert [alert.target for alert in raised(said, "closest_approach")] == ["ais-219000123"]


def test_her_heading_decides_the_encounter() -> None:
    """Course over ground 200 by the stream, heading 182: what we see is her bow, so head-on and not crossing."""
    vessel = Vessel(3, 6.0, 200, 6, 219000123)
    lines = [(s + 0.3, vessel.reports(s + 0.3, heading_deg=182.0)) for s in range(5, 60, 10)]
    blind = [(s + 0.3, vessel.reports(s + 0.3)) for s in range(5, 60, 10)]
    with_heading = [e for e in run(Lookout(), OWN, list(lines), (0, 60)) if isinstance(e, Plot)]
    without = [e for e in run(Lookout(), OWN, list(blind), (0, 60)) if isinstance(e, Plot)]

    assert with_heading[-1].encounter is Encounter.HEAD_ON
    assert without[-1].encounter is not Encounter.HEAD_ON


def test_lost_by_class() -> None:
    """A class A under way that falls silent at 95 s is told as lost a minute later, the danger with it."""
    said = run(Lookout(), OWN, reports(COMING, 100), (0, 170))
    (danger,) = [e for e in said if isinstance(e, Alert) and e.rule == "closest_approach" and e.values.get("lost")]

    assert danger.time.utc_ms == 1_800_000_000_000 + 156_000
    assert danger.target == "ais-219000123"


class Turning(Own):
    """Own ship that stops dead at a second and goes on with another course: where she is matters, how she turns not."""

    def __init__(self, at_s: float, course_deg: float, speed_kn: float) -> None:
        super().__init__(0, speed_kn)
        self._turns_s, self._next_deg = at_s, course_deg

    def place(self, at_s: float) -> tuple[float, float]:
        if at_s <= self._turns_s:
            return super().place(at_s)
        return go(*super().place(self._turns_s), self._next_deg, self.speed_kn * (at_s - self._turns_s) / 3600)

    def says(self, at_s: float) -> list[seen.Observation]:
        self.course_deg = self._next_deg if at_s > self._turns_s else 0.0
        said = super().says(at_s)
        self.course_deg = 0.0
        return said


def moored(vessel: Vessel, until: int) -> list[tuple[float, seen.Observation]]:
    return [(second + 0.3, vessel.reports(second + 0.3, navigational_status=5)) for second in range(5, until, 180)]


def seconds_of(alert: Alert) -> float:
    return (alert.time.utc_ms - moment(0).time.utc_ms) / 1000


def test_a_moored_vessel_that_reports_every_three_minutes_is_told_in_time() -> None:
    """Right ahead, 15 kn: the limit of 12 min is passed at 720 s, between two reports; no report is waited for."""
    own, ship = Own(course_deg=0, speed_kn=15), Vessel(0, 6.0, 90, 0.0, 219000123)
    said = run(Lookout(), own, moored(ship, 800), (0, 800))
    (alert,) = raised(said, "closest_approach")

    assert 720 <= seconds_of(alert) <= 760


def test_own_alteration_towards_a_vessel_that_reports_seldom_is_told_at_once() -> None:
    """She is abeam, and clear, at all her reports; we turn towards her half a minute after one, 1.2 NM off."""
    own, ship = Turning(210, 90, 12), Vessel(60, 1.4, 90, 0.0, 219000123)
    said = run(Lookout(), own, moored(ship, 300), (0, 300))
    (alert,) = raised(said, "closest_approach")

    assert 210 <= seconds_of(alert) <= 250
    assert len([event for event in said if isinstance(event, Plot)]) == 2  # what she has said, and no more


def test_a_lost_station_was_last_known_when_it_last_reported() -> None:
    """What is worked out between reports is no word of hers."""
    said = run(Lookout(), OWN, reports(COMING, 100), (0, 170))
    (danger,) = [e for e in said if isinstance(e, Alert) and e.rule == "closest_approach" and e.values.get("lost")]

    assert danger.values["last_seen"] == str(moment(95.3).time)


def test_own_transponder_is_not_plotted() -> None:
    own = Vessel(0, 0.0, 0, 8, 999000001)
    told = (3.0, seen.AisOwnShip(at_s=3.0, source=AIS, mmsi=999000001))

    for lines, plots in ((reports(own, 60), 6), ([told, *reports(own, 60)], 0)):
        said = run(Lookout(), OWN, lines, (0, 60))
        assert len([event for event in said if isinstance(event, Plot)]) == plots


def test_switched_off() -> None:
    lookout = Lookout(LookoutSettings(ais=AisSettings(on=False)))

    assert not [event for event in run(lookout, OWN, reports(COMING, 60), (0, 60)) if isinstance(event, Plot)]


def test_without_a_fix_no_place_is_made_up() -> None:
    """Reports that cannot be held against own place give no plot; later ones do."""
    lookout = Lookout()
    lookout.take(moment(0.0), [COMING.reports(0.0)])

    assert lookout.flush() == []
    said = run(lookout, OWN, reports(COMING, 60), (1, 60))
    assert [event.target for event in said if isinstance(event, Plot)] == ["ais-219000123"] * 6


@pytest.mark.parametrize(("status", "priority"), [(14, "alarm"), (15, "caution")])
@pytest.mark.parametrize("has_place", [True, False])
def test_distress_beacon(status: int, priority: str, has_place: bool) -> None:
    """With a place or without, an alarm; one under test a caution. The rules on vessels are not asked."""
    raft = Vessel(0, 0.6, 0, 0.5, 970012345)
    lines: list[tuple[float, seen.Observation]] = []
    for second in range(5, 180, 60):
        at_s = second + 0.3
        if has_place:
            lines.append((at_s, raft.reports(at_s, station=seen.AisClass.SART, navigational_status=status)))
        else:
            lines.append(
                (at_s, seen.AisDistress(at_s=at_s, source=AIS, mmsi=970012345, station=seen.AisClass.SART,
                                        navigational_status=status))
            )  # fmt: skip
    said = run(Lookout(), OWN, lines, (0, 180))
    (alert,) = raised(said, "distress_beacon")

    assert (alert.target, str(alert.priority)) == ("ais-970012345", priority)
    assert ("0.59 NM" in alert.text) == has_place
    assert {event.rule for event in said if isinstance(event, Alert)} == {"distress_beacon"}


def test_beacons_are_never_crowded_out_by_stations() -> None:
    """A thousand invented beacons: the last hundred stand, and memory is bounded."""
    lookout = Lookout()
    for i in range(1000):
        mmsi = 970000000 + i
        lookout.ais.take(seen.AisDistress(at_s=1.0, source=AIS, mmsi=mmsi, station=seen.AisClass.SART))

    assert [beacon.target for beacon in lookout.ais.distress(2.0)] == [f"ais-970000{i}" for i in range(900, 1000)]


def test_flushing_seldom_changes_nothing() -> None:
    lines = reports(COMING, 120, late_s=2.0)

    assert run(Lookout(), OWN, list(lines), (0, 200)) == run(Lookout(), OWN, list(lines), (0, 200), flush_every=37)


def test_a_silent_station_coasts() -> None:
    lookout = Lookout()
    run(lookout, OWN, reports(COMING, 20), (0, 60))

    assert [(key, state) for key, _, state in lookout.ais.states()] == [("ais-219000123", TrackState.COASTING)]
