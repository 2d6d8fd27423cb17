"""A set without a heading sensor: what stands in, with what error, and what is never mixed. Invented vessels."""

from collections.abc import Callable
from math import atan2, degrees, hypot

import pytest
from msgspec import structs

from alerts.events import AnyEvent, Plot
from alerts.lookout import Lookout, LookoutSettings, World
from alerts.plotting.own_frame import look_of
from alerts.plotting.picture import OwnShip, OwnShipSettings
from alerts.plotting.terms import BearingTrend
from alerts.rules import wording
from parsers import observations as seen
from tests.alerts.watch import moment

GPS = seen.Source(feed="gps", talker="GP", formatter="RMC")
HDG = seen.Source(feed="compass", talker="HC", formatter="HDG")
HDM = seen.Source(feed="compass", talker="HC", formatter="HDM")
TTM = seen.Source(feed="radar", talker="RA", formatter="TTM")
SPEED_KN, HEADING, CROSSING_NM = 8.0, 350.0, 4.0


def report(at_s: float, bow_deg: float, own_kn: float = SPEED_KN) -> seen.TargetReport:
    """A vessel from starboard, west at 8 kn, seen off our bow; own ship north."""
    east, north = CROSSING_NM - 8 * at_s / 3600, 4.2 - own_kn * at_s / 3600
    bearing = (degrees(atan2(east, north)) - bow_deg) % 360
    return seen.TargetReport(
        at_s=at_s,
        source=TTM,
        number=1,
        range_nm=round(hypot(east, north), 2),
        bearing_deg=round(bearing, 1),
        bearing_reference=seen.Reference.RELATIVE,
    )


def run(
    lookout: Lookout,
    seconds: int,
    heading: Callable[[float], seen.Heading | None],
    own_kn: float = SPEED_KN,
    bow: Callable[[float], float] = lambda at_s: HEADING,
) -> list[Plot]:
    """RMC once a second, a heading where there is one, the target every third second."""
    said: list[AnyEvent] = []
    for second in range(seconds):
        at_s = float(second)
        lookout.tick(moment(at_s), World())
        own: list[seen.Observation] = [
            seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=own_kn, cog_deg=0.0 if own_kn else None)
        ]
        sensed = heading(at_s)
        own += [sensed] if sensed else []
        own += [report(at_s, bow(at_s), own_kn)] if second % 3 == 0 else []
        lookout.take(moment(at_s), own)
        said += [event for _, event in lookout.flush()]
    return [event for event in said if isinstance(event, Plot)]


def none(at_s: float) -> None:
    return None


def test_hdg_without_variation_takes_it_from_rmc_or_the_configuration() -> None:
    """HDM 355 magnetic and 5° west: 350 true, by RMC's variation or by the one configured; without, no heading."""
    magnetic = seen.Heading(at_s=1.0, source=HDM, heading_deg=355.0, reference=seen.Reference.MAGNETIC)
    by_rmc, by_file, bare = OwnShip(), OwnShip(OwnShipSettings(variation_deg=-5.0)), OwnShip()
    by_rmc.take(seen.Variation(at_s=0.5, source=GPS, variation_deg=-5.0))
    for own in (by_rmc, by_file, bare):
        own.take(magnetic)

    assert by_rmc.true_heading(1.0)[0] == by_file.true_heading(1.0)[0] == 350.0
    assert bare.true_heading(1.0)[0] is None


def test_a_relative_bearing_is_made_true_by_the_heading() -> None:
    """HDG with its own variation: the target is plotted true, and on a steady bearing."""

    def heading(at_s: float) -> seen.Heading:
        return seen.Heading(
            at_s=at_s, source=HDG, heading_deg=355.0, reference=seen.Reference.MAGNETIC, variation_deg=-5.0
        )

    plots = run(Lookout(), 300, heading)

    assert plots[-1].bearing_deg is not None
    assert plots[-1].bearing_deg == pytest.approx(degrees(atan2(CROSSING_NM, 4.2)), abs=1.0)
    assert plots[-1].relative_bearing_deg == pytest.approx(plots[-1].bearing_deg - 350 + 360, abs=0.2)
    assert plots[-1].course_deg == pytest.approx(270, abs=4)


def test_course_stands_in_above_a_speed_with_leeway_as_extra_error() -> None:
    """No heading sensor at 8 kn: true bearings by the course, wrong by the 10° of leeway and said to be uncertain."""
    own = OwnShip(OwnShipSettings(leeway_sd_deg=6.0))
    own.take(seen.GroundMotion(at_s=0.0, source=GPS, sog_kn=SPEED_KN, cog_deg=0.0))
    look = look_of(report(0.0, HEADING), own)
    assert look is not None
    assert look.bearing_sd_deg == 6.0
    assert own.heading_source(0.0) == "cog"

    plots = run(Lookout(), 240, none)
    assert all(plot.bearing_deg is not None for plot in plots)


def test_below_that_speed_only_the_bow_is_left() -> None:
    """At 1 kn, or with the stand-in switched off: no true bearing, course or speed; the drift is off the bow."""
    slow = run(Lookout(), 300, none, own_kn=1.0)
    off = run(Lookout(LookoutSettings(own_ship=OwnShipSettings(cog_stands_in=False))), 300, none)

    for plots in (slow, off):
        assert all(plot.bearing_deg is None and plot.course_deg is None and plot.speed_kn is None for plot in plots)
        assert plots[-1].relative_bearing_deg is not None
        assert plots[-1].range_nm == pytest.approx(report(297.0, HEADING, 1.0 if plots is slow else 8.0).range_nm)


def test_a_swing_of_the_bow_is_in_the_error_of_the_drift() -> None:
    """The bow swings by 6° every half minute, unseen, on a steady bearing: the error of the drift told holds it."""
    alone = LookoutSettings(own_ship=OwnShipSettings(cog_stands_in=False))
    plots = run(Lookout(alone), 400, none, bow=lambda at_s: HEADING + 6.0 * (at_s % 60 < 30))
    told = [
        plot for plot in plots if plot.bearing_rate_deg_min is not None and plot.bearing_rate_sd_deg_min is not None
    ]

    assert told
    outside = [
        plot for plot in told if abs(plot.bearing_rate_deg_min or 0.0) > 3 * (plot.bearing_rate_sd_deg_min or 0.0)
    ]
    assert len(outside) <= 0.05 * len(told)


def test_drift_off_the_bow_is_said_to_be_drift_or_yaw() -> None:
    """In the text of every alert: the bearing is R, and drift is not told apart from yaw."""
    alone = LookoutSettings(own_ship=OwnShipSettings(cog_stands_in=False))
    plot = run(Lookout(alone), 300, none)[-1]
    drawing = structs.replace(plot, bearing_trend=BearingTrend.STEADY)

    assert "°R steady (drift or yaw: no heading)" in wording.bearing(drawing)


def test_true_and_bow_bearings_are_never_mixed_in_one_track() -> None:
    """The heading is lost in the middle: the track begins anew off the bow, and no CPA leaps."""

    def heading(at_s: float) -> seen.Heading | None:
        return seen.Heading(at_s=at_s, source=HDG, heading_deg=HEADING) if at_s < 200 else None

    lookout = Lookout(LookoutSettings(own_ship=OwnShipSettings(cog_stands_in=False)))
    plots = run(lookout, 500, heading)
    before = [plot for plot in plots if plot.bearing_deg is not None]
    after = [plot for plot in plots if plot.bearing_deg is None]

    assert {plot.target for plot in plots} == {"radar-01"}
    assert before[-1].cpa_nm == pytest.approx(0.14, abs=0.15)
    assert after[0].cpa_nm is None  # begun anew: nothing is known of its motion off the bow yet
    settled = [plot.cpa_nm for plot in after if plot.cpa_nm is not None]
    assert settled
    assert settled[-1] == pytest.approx(0.14, abs=0.4)
