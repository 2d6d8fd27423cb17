"""Where pynmea2 is right, our values are its own; where it is known to be wrong, ours differ in the known way.

pynmea2 1.19 is an independent reader of the same fields. Its defects are those listed in docs/sentences.md.
"""

from datetime import UTC, date, datetime, timedelta

import pynmea2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers.observations import (
    DateAndTime,
    GroundMotion,
    Heading,
    Position,
    TargetPosition,
    TargetReport,
    TimeOfDay,
    Variation,
    WaterMotion,
)
from tests.parsers.lines import decoded, sealed


def decimals(low: float, high: float, places: int) -> st.SearchStrategy[str]:
    """A number's text with so many places, or a null field."""
    scale = 10**places
    number = st.integers(round(low * scale), round(high * scale)).map(lambda raw: f"{raw / scale:.{places}f}")
    return st.one_of(number, number, number, st.just(""))


def exact(low: float, high: float, places: int) -> st.SearchStrategy[str]:
    return decimals(low, high, places).filter(bool)


angles = decimals(0, 359.9, 1)
times = st.tuples(st.integers(0, 23), st.integers(0, 59), st.integers(0, 59), st.integers(0, 99)).map(
    lambda hmsc: f"{hmsc[0]:02}{hmsc[1]:02}{hmsc[2]:02}.{hmsc[3]:02}"
)
latitudes = st.tuples(st.integers(0, 89), exact(0, 59.9999, 4)).map(lambda dm: f"{dm[0]:02}{float(dm[1]):07.4f}")
longitudes = st.tuples(st.integers(0, 179), exact(0, 59.9999, 4)).map(lambda dm: f"{dm[0]:03}{float(dm[1]):07.4f}")
places = st.tuples(latitudes, st.sampled_from("NS"), longitudes, st.sampled_from("EW")).map(",".join)


def as_float(value: object) -> float | None:
    """pynmea2 gives Decimal, float, int, or None or '' for a null field."""
    return None if value in (None, "") else float(str(value))


def seconds(value: object) -> float | None:
    """Seconds since midnight of pynmea2's time."""
    if value in (None, ""):
        return None
    hour, minute, rest = str(value).partition("+")[0].split(":")
    return int(hour) * 3600 + int(minute) * 60 + float(rest)


settled = settings(derandomize=True, max_examples=120, deadline=None)


@settled
@given(
    st.tuples(
        st.integers(0, 99).map(str), decimals(0, 24, 2), angles, st.just("T"), decimals(0, 60, 1), angles, st.just("T"),
        decimals(0, 24, 2), decimals(-600, 600, 1), st.just("N"), st.sampled_from(["", "TGT01", "a b"]),
        st.sampled_from(["T", "Q", "L", ""]), st.sampled_from(["", "R"]), st.one_of(times, st.just("")),
        st.sampled_from(["A", "M", "R", ""]),
    ).map(",".join)
)  # fmt: skip
def test_ttm(fields: str) -> None:
    """Number, range, bearing, speed, course, CPA, TCPA, name and status of any right TTM are what pynmea2 reads."""
    line = sealed("$RATTM," + fields)
    theirs = pynmea2.parse(line, check=True)
    (ours,) = decoded(line)
    assert isinstance(ours, TargetReport)

    assert ours.number == int(theirs.target_number)
    assert (ours.range_nm, ours.bearing_deg) == (as_float(theirs.distance), as_float(theirs.bearing))
    assert (ours.speed_kn, ours.course_deg) == (as_float(theirs.speed), as_float(theirs.cog))
    assert (ours.cpa_nm, ours.name) == (as_float(theirs.dist_cpa), theirs.name)
    assert ours.tcpa_min == (None if theirs.time_cpa == "99.99" else as_float(theirs.time_cpa))
    assert ours.time_of_day_s == seconds(theirs.timestamp)
    assert {"tracking": "T", "acquiring": "Q", "lost": "L"}.get(str(ours.status), "") == theirs.status
    assert {"automatic": "A", "manual": "M", "reported": "R"}.get(str(ours.acquisition), "") == theirs.acquisition
    assert ours.is_reference == (theirs.reference == "R")


@settled
@given(times, places, decimals(0, 40, 1), angles, st.dates(date(1981, 1, 1), date(2068, 12, 31)),
       exact(0.1, 30, 1), st.sampled_from("EW"))  # fmt: skip
def test_rmc(time: str, place: str, sog: str, cog: str, day: date, variation: str, ew: str) -> None:
    """So are position, motion, date, time and variation of any right RMC."""
    line = sealed(f"$GPRMC,{time},A,{place},{sog},{cog},{day:%d%m%y},{variation},{ew},A")
    theirs = pynmea2.parse(line, check=True)
    ours = {type(observation): observation for observation in decoded(line)}
    position, clock, magnetic = ours[Position], ours[DateAndTime], ours[Variation]
    motion = ours.get(GroundMotion)
    assert isinstance(position, Position)
    assert isinstance(clock, DateAndTime)
    assert isinstance(magnetic, Variation)

    assert (position.lat_deg, position.lon_deg) == pytest.approx((theirs.latitude, theirs.longitude), abs=1e-9)
    assert position.time_of_day_s == pytest.approx(seconds(theirs.timestamp), abs=1e-9)
    if motion is not None:
        assert isinstance(motion, GroundMotion)
        assert (motion.sog_kn, motion.cog_deg) == (as_float(theirs.spd_over_grnd), as_float(theirs.true_course))
    utc = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=clock.utc_ms)
    assert utc.replace(tzinfo=None).date() == theirs.datestamp
    assert magnetic.variation_deg == (1 if ew == "E" else -1) * float(theirs.mag_variation)


@settled
@given(times, places, st.sampled_from("12345"), decimals(0.5, 20, 1))
def test_gga_and_gll(time: str, place: str, quality: str, hdop: str) -> None:
    """So are position and time of any right GGA and GLL."""
    gga = sealed(f"$GPGGA,{time},{place},{quality},08,{hdop},10.0,M,46.9,M,,")
    gll = sealed(f"$GPGLL,{place},{time},A,A")
    for line in (gga, gll):
        theirs = pynmea2.parse(line, check=True)
        position, clock = decoded(line)
        assert isinstance(position, Position)
        assert isinstance(clock, TimeOfDay)

        assert (position.lat_deg, position.lon_deg) == pytest.approx((theirs.latitude, theirs.longitude), abs=1e-9)
        assert clock.time_of_day_s == pytest.approx(seconds(theirs.timestamp), abs=1e-9)
        if line is gga:
            assert position.hdop == as_float(theirs.horizontal_dil)


@settled
@given(st.integers(1, 99), places, times, st.sampled_from(["T", "Q", "L"]))
def test_tll(number: int, place: str, time: str, status: str) -> None:
    """So are number, position, name, time and status of any right TLL."""
    line = sealed(f"$RATLL,{number:02},{place},NAME,{time},{status},R")
    theirs = pynmea2.parse(line, check=True)
    (ours,) = decoded(line)
    assert isinstance(ours, TargetPosition)

    assert ours.number == int(theirs.target_number)
    assert (ours.lat_deg, ours.lon_deg) == pytest.approx((theirs.latitude, theirs.longitude), abs=1e-9)
    assert (ours.name, ours.is_reference) == (theirs.target_name, theirs.reference == "R")


@settled
@given(exact(0, 359.99, 2), exact(0, 40, 2))
def test_heading_and_speed(heading: str, speed: str) -> None:
    """So are the heading of HDT and VHW, the course of VTG and the speeds of both."""
    hdt, vtg, vhw = sealed(f"$HEHDT,{heading},T"), sealed(f"$GPVTG,{heading},T,,M,{speed},N,,K,A"), sealed(
        f"$VWVHW,{heading},T,,M,{speed},N,,K"
    )  # fmt: skip
    (true,) = decoded(hdt)
    (ground,) = decoded(vtg)
    also_true, water = decoded(vhw)
    assert isinstance(true, Heading)
    assert isinstance(also_true, Heading)
    assert isinstance(ground, GroundMotion)
    assert isinstance(water, WaterMotion)

    assert true.heading_deg == also_true.heading_deg == as_float(pynmea2.parse(hdt).heading)
    assert ground.cog_deg == as_float(pynmea2.parse(vtg).true_track)
    assert ground.sog_kn == as_float(pynmea2.parse(vtg).spd_over_grnd_kts)
    assert water.stw_kn == as_float(pynmea2.parse(vhw).water_speed_knots)


def test_where_pynmea2_is_wrong() -> None:
    """The defects that matter, so that a repaired pynmea2 shows here: then its definitions can be used for more."""
    lost_position = pynmea2.parse("$GPRMC,120000,A,,,,,,,010715,,,A")
    assert (lost_position.latitude, lost_position.longitude) == (0.0, 0.0)  # 0 N 0 E for "not available"
    assert decoded(sealed("$GPRMC,120000,A,,,,,,,,,,A")) == ()
    good_fix = pynmea2.parse("$GPRMC,120000,A,5250.5366,N,00542.3492,E,5.5,084.4,010715,003.1,W,A,V")
    assert not good_fix.is_valid  # V is "no such status", which plain receivers always send
    assert str(pynmea2.parse("$SDDPT,NaN,0.0").depth) == "NaN"
    for formatter in ("TTD", "TLB", "RSD", "THS", "VDM"):
        assert formatter not in pynmea2.TalkerSentence.sentence_types
