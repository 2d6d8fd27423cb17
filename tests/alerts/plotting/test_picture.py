"""Own ship's picture: what is used, what stands in, what is unknown."""

from math import cos, radians, sin

import pytest

from alerts import standing
from alerts.plotting.picture import OwnShip, OwnShipSettings
from parsers.observations import (
    Datum,
    FixQuality,
    GroundMotion,
    Heading,
    LongitudinalGroundSpeed,
    MotionReference,
    Position,
    Reference,
    SetAndDrift,
    Source,
    Variation,
    WaterMotion,
)
from tests.alerts.watch import moment


def source(formatter: str, talker: str = "II") -> Source:
    return Source("bridge", talker, formatter)


def heading(at_s: float, degrees: float, formatter: str = "HDT") -> Heading:
    return Heading(at_s=at_s, source=source(formatter), heading_deg=degrees)


def ground(at_s: float, sog_kn: float | None, cog_deg: float | None) -> GroundMotion:
    return GroundMotion(at_s=at_s, source=source("RMC"), sog_kn=sog_kn, cog_deg=cog_deg)


def test_nothing_known_is_unknown_and_not_zero() -> None:
    """Before any data there is no heading, no speed and no frame."""
    motion = OwnShip().motion(0.0)

    assert motion.heading_deg is None
    assert motion.frame is MotionReference.UNKNOWN


def test_steady_motion_is_reckoned_exactly() -> None:
    """Twelve knots for ten minutes on 060° true is two miles on that line."""
    own = OwnShip()
    for second in range(601):
        own.take(ground(float(second), 12.0, 60.0))
    motion = own.motion(600.0)

    assert motion.east_nm == pytest.approx(2.0 * sin(radians(60)), abs=1e-9)
    assert motion.north_nm == pytest.approx(2.0 * cos(radians(60)), abs=1e-9)


def test_an_alteration_is_reckoned_by_the_mean_velocity() -> None:
    """A turn at 3° a second at 12 kn ends where the arc of a circle ends, to a few metres."""
    own = OwnShip()
    for second in range(31):
        own.take(ground(float(second), 12.0, 3.0 * second))
    motion = own.motion(30.0)
    radius_nm = 12.0 / 3600.0 / radians(3.0)

    assert motion.east_nm == pytest.approx(radius_nm, abs=0.0001)
    assert motion.north_nm == pytest.approx(radius_nm, abs=0.0001)


def test_heading_is_carried_on_between_its_sentences() -> None:
    """While the bow swings, a bearing is made true with the heading of its own moment."""
    own = OwnShip()
    for tenth in range(11):
        own.take(heading(tenth / 10, 359.0 + 0.2 * tenth))

    assert own.motion(1.05).heading_deg == pytest.approx(1.1)


def test_magnetic_heading_needs_a_variation() -> None:
    """HDM alone gives no true heading; with RMC's variation it does: sensor plus east variation."""
    own = OwnShip(OwnShipSettings(cog_stands_in=False))
    magnetic = Heading(at_s=0.0, source=source("HDM"), heading_deg=93.8, reference=Reference.MAGNETIC)
    own.take(magnetic)
    before = own.motion(0.0).heading_deg
    own.take(Variation(at_s=0.1, source=source("RMC"), variation_deg=-12.6))
    own.take(Heading(at_s=0.2, source=source("HDM"), heading_deg=93.8, reference=Reference.MAGNETIC))

    assert before is None
    assert own.motion(0.2).heading_deg == pytest.approx(81.2)


def test_course_over_ground_stands_in_and_is_named() -> None:
    """Without a heading sensor the course stands in above a settable speed, with leeway as its error."""
    own = OwnShip()
    own.take(ground(0.0, 5.0, 140.0))

    assert own.heading_source(0.0) == "cog"
    assert own.true_heading(0.0) == (140.0, own.settings.leeway_sd_deg)

    own.take(ground(1.0, 1.5, 140.0))

    assert own.heading_source(1.0) is None
    assert own.motion(1.0).heading_deg is None


def test_an_old_heading_gives_way_to_the_course_and_says_so() -> None:
    """Five seconds after the last heading, `heading_source` is no longer the sensor."""
    own = OwnShip()
    own.take(heading(0.0, 81.0))
    own.take(ground(5.5, 8.0, 86.0))

    assert own.heading_source(5.5) == "cog"


def test_what_is_too_old_is_unknown_and_its_age_is_told() -> None:
    """Position, ground motion and log: used up to their limits (15 s), and not a tenth of a second longer."""
    own = OwnShip()
    own.take(Position(at_s=0.0, source=source("GGA"), lat_deg=50.5, lon_deg=-2.25))
    own.take(ground(0.0, 8.0, 86.0))
    own.take(WaterMotion(at_s=0.0, source=source("VHW"), stw_kn=7.5))
    fresh, old = (standing.own_event(own, moment(at_s)) for at_s in (15.0, 15.1))

    assert fresh is not None
    assert (fresh.lat_deg, fresh.lon_deg, fresh.sog_kn, fresh.cog_deg, fresh.stw_kn) == (50.5, -2.25, 8.0, 86.0, 7.5)
    assert old is not None
    assert (old.lat_deg, old.lon_deg, old.sog_kn, old.cog_deg, old.stw_kn) == (None,) * 5
    assert (old.position_age_s, old.sog_age_s, old.cog_age_s, old.stw_age_s) == (15.1,) * 4


def test_a_course_that_stands_in_for_the_heading_has_its_own_age() -> None:
    """Not that of the sensor that was lost: a fresh value is not called old, nor an old one fresh."""
    own = OwnShip()
    own.take(heading(0.0, 81.0))
    own.take(ground(59.5, 8.0, 86.0))
    event = standing.own_event(own, moment(60.0))

    assert event is not None
    assert (event.heading_deg, event.heading_source, event.heading_age_s) == (86.0, "cog", 0.5)


def test_with_speeds_that_are_too_old_no_true_motion_is_worked_out() -> None:
    """The frame is unknown and own velocity none: targets then have relative motion alone."""
    own = OwnShip()
    own.take(heading(0.0, 81.0))
    own.take(ground(0.0, 8.0, 86.0))
    own.take(WaterMotion(at_s=0.0, source=source("VHW"), stw_kn=7.5))
    own.take(heading(15.1, 81.0))
    motion = own.motion(15.1)

    assert motion.frame is MotionReference.UNKNOWN
    assert (motion.east_kn, motion.north_kn) == (0.0, 0.0)
    assert own.place(15.1) is None


@pytest.mark.parametrize("compass", [True, False])
def test_with_no_velocity_own_place_stands_still_in_the_plane(compass: bool) -> None:
    """Place and velocity are of one motion, whatever else is heard: a target's motion is worked out from both."""
    own = OwnShip()
    own.take(ground(0.0, 10.0, 0.0))
    if compass:
        for second in range(1, 200):
            own.take(heading(float(second), 0.0))
    before, after = own.motion(100.0 if not compass else 199.0), own.motion(200.0)

    assert after.frame is MotionReference.UNKNOWN
    assert (after.east_nm, after.north_nm) == (before.east_nm, before.north_nm)


def test_stopped_with_no_course_is_stopped() -> None:
    """A receiver sends no course when stopped: the velocity is zero over ground, and known."""
    own = OwnShip()
    own.take(ground(0.0, 0.02, None))
    motion = own.motion(0.0)

    assert (motion.east_kn, motion.north_kn, motion.frame) == (0.0, 0.0, MotionReference.GROUND)


def test_moving_without_a_course_is_not_taken() -> None:
    """A speed with no direction is no velocity."""
    own = OwnShip()
    own.take(ground(0.0, 7.0, None))

    assert own.motion(0.0).frame is MotionReference.UNKNOWN


def test_water_speed_serves_where_there_is_no_ground_speed() -> None:
    """Log and heading give motion through the water, said so; the tidal stream, where known, makes it ground."""
    own = OwnShip()
    own.take(heading(0.0, 90.0))
    own.take(WaterMotion(at_s=0.0, source=source("VHW"), stw_kn=6.0))

    assert own.motion(0.0).frame is MotionReference.WATER
    assert own.motion(0.0).east_kn == pytest.approx(6.0)

    own.take(SetAndDrift(at_s=0.5, source=source("OSD"), set_deg=180.0, drift_kn=2.0))
    motion = own.motion(0.5)

    assert motion.frame is MotionReference.GROUND
    assert motion.north_kn == pytest.approx(-2.0)


@pytest.mark.parametrize(("heading_deg", "east_kn", "north_kn"), [(0.0, 1.0, 6.0), (90.0, 6.0, -1.0)])
def test_athwart_speed_is_to_starboard(heading_deg: float, east_kn: float, north_kn: float) -> None:
    """A two-axis log gives 6 kn ahead and 1 kn to starboard, by ground or through the water."""
    by_ground, by_water = OwnShip(), OwnShip()
    for own in (by_ground, by_water):
        own.take(heading(0.0, heading_deg))
    by_ground.take(LongitudinalGroundSpeed(at_s=0.0, source=source("VBW"), ahead_kn=6.0, athwart_kn=1.0))
    by_water.take(WaterMotion(at_s=0.0, source=source("VBW"), stw_kn=6.0, athwart_kn=1.0))

    for own in (by_ground, by_water):
        motion = own.motion(0.0)
        assert (motion.east_kn, motion.north_kn) == pytest.approx((east_kn, north_kn))


@pytest.mark.parametrize("quality", [FixQuality.DEAD_RECKONING, FixQuality.MANUAL, FixQuality.SIMULATOR])
def test_a_position_by_satellite_stands_before_any_other(quality: FixQuality) -> None:
    """Whatever the sentence: a receiver that goes on without satellites gives way to one that has them."""
    own = OwnShip()
    for second in range(30):
        at_s = float(second)
        own.take(Position(at_s=at_s, source=source("GNS"), lat_deg=50.5, lon_deg=0.0, quality=quality))
        own.take(Position(at_s=at_s, source=source("GLL"), lat_deg=50.0, lon_deg=0.0))
    fix = own.fix(29.0)

    assert fix is not None
    assert fix.lat_deg == 50.0


@pytest.mark.parametrize("reference", [MotionReference.MANUAL, MotionReference.UNKNOWN])
def test_a_measured_ground_speed_stands_before_one_that_was_typed_in(reference: MotionReference) -> None:
    """What the set was told by hand, or by it knows not what, gives way to a log that measures over the ground."""
    own = OwnShip()
    for second in range(30):
        at_s = float(second)
        own.take(heading(at_s, 0.0))
        own.take(GroundMotion(at_s=at_s, source=source("OSD", "RA"), sog_kn=12.0, cog_deg=0.0, reference=reference))
        own.take(LongitudinalGroundSpeed(at_s=at_s, source=source("VBW"), ahead_kn=8.0))

    assert own.motion(29.0).north_kn == pytest.approx(8.0)


def test_positions_of_another_datum_are_not_used() -> None:
    """DTM with anything but W84 means that the positions of that feed are shifted."""
    own = OwnShip()
    own.take(Datum(at_s=0.0, source=source("DTM"), datum="999"))
    own.take(Position(at_s=0.0, source=source("GGA"), lat_deg=50.0, lon_deg=-1.0))

    assert own.fix(0.0) is None
