"""Published sentences with a right checksum, and what they say; published sentences with a wrong one, refused.

Sources: G = go-nmea (github.com/adrianmo/go-nmea, e4d24e3: doc comments and tests); P = pynmea2 (13e309b: tests);
A = nmea (github.com/AeroRust/nmea, f5b77fd: tests); N = NOAA, research-ship raw logs of ATOMIC 2020 and PISTON 2019;
O = a public repository's test (file id 2105643741); W = widely printed, from memory. Every checksum was computed again.
"""

import pytest

from parsers.observations import Heading, Reference
from parsers.sentence import RefusalReason
from tests.parsers.lines import decoded, refused, said

EXAMPLES = [
    # --- targets
    (
        "$RATTM,02,1.43,170.5,T,0.16,264.4,T,1.42,36.9,N,,T,,,M*2A",  # G
        ["TargetReport number=2 range_nm=1.43 bearing_deg=170.5 speed_kn=0.16 course_deg=264.4 cpa_nm=1.42 "
         "tcpa_min=36.9 status=tracking acquisition=manual"],
    ),
    (
        "$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79",  # A
        ["TargetReport number=1 range_nm=0.2 bearing_deg=190.8 speed_kn=12.1 course_deg=109.7 cpa_nm=0.1 tcpa_min=0.5 "
         "name=TGT01 status=tracking time_of_day_s=36021 acquisition=automatic"],
    ),
    (
        "$RATTM,02,3.55,297.3,T,,,T,0.13,,N,,Q,,,M*02",  # O
        ["TargetReport number=2 range_nm=3.55 bearing_deg=297.3 cpa_nm=0.13 status=acquiring acquisition=manual"],
    ),
    ("$RATLL,,3647.422,N,01432.592,E,,,,*58", ["TargetPosition lat_deg=36.79036667 lon_deg=14.5432"]),  # G
    (
        "$RATLL,1,3646.54266,N,00235.37778,W,test,020915,L,R*78",  # G
        ["TargetPosition number=1 lat_deg=36.775711 lon_deg=-2.589629667 name=test status=lost is_reference=True "
         "time_of_day_s=7755"],
    ),
    ("!RATTD,1A,01,1,,,0*27", []),  # G: the structure of the sentence, with an empty payload
    # --- the radar
    (
        "$RAOSD,179.0,A,179.0,M,00.0,M,,,N*76",  # G
        ["Heading heading_deg=179", "GroundMotion sog_kn=0 cog_deg=179 reference=manual"],
    ),
    (
        "$RARSD,0.00,,2.50,005.0,0.00,,4.50,355.0,,,3.0,N,H*51",  # G
        ["RadarSettings range_scale_nm=3 orientation=head-up "
         "marks=(RangeAndBearing(range_nm=2.5, bearing_deg=5.0), RangeAndBearing(range_nm=4.5, bearing_deg=355.0)) "
         "origins=(RangeAndBearing(range_nm=0.0, bearing_deg=None), RangeAndBearing(range_nm=0.0, bearing_deg=None)) "
         "cursor=RangeAndBearing(range_nm=None, bearing_deg=None)"],
    ),
    (
        "$RARSD,,,,,,,,,0.808,326.9,0.750,N,N*58",  # G
        ["RadarSettings range_scale_nm=0.75 orientation=north-up "
         "marks=(RangeAndBearing(range_nm=None, bearing_deg=None), RangeAndBearing(range_nm=None, bearing_deg=None)) "
         "origins=(RangeAndBearing(range_nm=None, bearing_deg=None), RangeAndBearing(range_nm=None, bearing_deg=None)) "
         "cursor=RangeAndBearing(range_nm=0.808, bearing_deg=326.9)"],
    ),
    # --- heading
    ("$GPHDT,274.07,T*03", ["Heading heading_deg=274.07"]),  # G
    ("$HEHDT,341.8,T*21", ["Heading heading_deg=341.8"]),  # A
    ("$GPHDT,,T*1B", []),  # A
    ("$GPHDT,74.20,T*34", ["Heading heading_deg=74.2"]),  # N
    ("$GPHDT,228.02,T*0F", ["Heading heading_deg=228.02"]),  # N
    ("$HCHDG,98.3,0.0,E,12.6,W*57", ["Heading heading_deg=98.3 reference=magnetic variation_deg=-12.6"]),  # G
    ("$HCHDM,093.8,M*2B", ["Heading heading_deg=93.8 reference=magnetic"]),  # G
    ("$INTHS,123.456,A*20", ["Heading heading_deg=123.456"]),  # G
    ("$INTHS,,V*1E", []),  # G
    ("$HEROT,-11.23,A*07", ["RateOfTurn rate_deg_min=-11.23"]),  # G
    # --- speed
    ("$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56", ["Heading heading_deg=45", "WaterMotion stw_kn=3.5"]),  # G
    ("$VMVBW,-7.1,0.1,A,,,V,,V,,V*65", ["WaterMotion stw_kn=-7.1 athwart_kn=0.1"]),  # G
    ("$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34", ["GroundMotion sog_kn=2.55 cog_deg=220.86"]),  # G
    ("$GPVTG,,T,,M,,N,,K,N*2C", []),  # A
    ("$GPVTG,147.44,T,164.31,M,0.26,N,0.49,K,D*2C", ["GroundMotion sog_kn=0.26 cog_deg=147.44"]),  # N
    ("$IIVDR,10.1,T,12.3,M,1.2,N*3A", ["SetAndDrift set_deg=10.1 drift_kn=1.2"]),  # G
    # --- position and time
    (
        "$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",  # P
        ["Position lat_deg=49.27416667 lon_deg=-123.1853333 time_of_day_s=82486",
         "GroundMotion sog_kn=0.5 cog_deg=54.7 time_of_day_s=82486",
         "DateAndTime utc_ms=785285686000", "Variation variation_deg=20.3"],
    ),
    (
        "$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B",  # N
        ["Position lat_deg=15.68854315 lon_deg=-51.50853402 time_of_day_s=71999",
         "GroundMotion sog_kn=0.26 cog_deg=147.44 time_of_day_s=71999",
         "DateAndTime utc_ms=1579031999000", "Variation variation_deg=-16.9"],
    ),
    (
        "$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A",  # W
        ["Position lat_deg=48.1173 lon_deg=11.51666667 time_of_day_s=45319",
         "GroundMotion sog_kn=22.4 cog_deg=84.4 time_of_day_s=45319",
         "DateAndTime utc_ms=764426119000", "Variation variation_deg=-3.1"],
    ),
    (
        "$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.2,M,-37.6,M,4.0,0138*7E",  # N
        ["Position lat_deg=15.68854315 lon_deg=-51.50853402 time_of_day_s=71999 hdop=1.5",
         "TimeOfDay time_of_day_s=71999"],
    ),
    (
        "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",  # W
        ["Position lat_deg=48.1173 lon_deg=11.51666667 time_of_day_s=45319 hdop=0.9", "TimeOfDay time_of_day_s=45319"],
    ),
    (
        "$GPGLL,1541.31258893,N,05130.51204125,W,195959.00,A,D*7B",  # N
        ["Position lat_deg=15.68854315 lon_deg=-51.50853402 time_of_day_s=71999", "TimeOfDay time_of_day_s=71999"],
    ),
    (
        "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",  # P
        ["Position lat_deg=49.27416667 lon_deg=-123.1853333 time_of_day_s=82484", "TimeOfDay time_of_day_s=82484"],
    ),
    (
        "$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70",  # G
        ["Position lat_deg=-43.544877 lon_deg=172.5914248 time_of_day_s=6035 hdop=0.9", "TimeOfDay time_of_day_s=6035"],
    ),
    ("$GPZDA,195959.00,14,01,2020,00,00*6A", ["DateAndTime utc_ms=1579031999000"]),  # N
    ("$GPDTM,W84,,0.0,N,0.0,E,0.0,W84*6F", ["Datum datum=W84"]),  # P
    # --- AIS
    (
        "!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C",  # W
        ["AisPosition mmsi=477553000 station=class A lat_deg=47.582833 lon_deg=-122.345833 sog_kn=0 cog_deg=51 "
         "heading_deg=181 rate_deg_min=0 navigational_status=5 second=15 message_type=1"],
    ),
]  # fmt: skip

# Accepted, and nothing to do with the plot (the alert sentences are read where alerts are, if at all).
UNUSED = [
    "$VDALF,1,0,1,220516,B,A,S,SAL,001,1,2,0,My alarm*2c",  # G, lower-case checksum
    "$RAALR,220516,BPMP1,A,A,Bilge pump alarm1*43",  # G
    "$FBALC,02,01,03,01,FEB,01,02,03*0A",  # G
    "$RAARC,220516,TCK,002,1,A*73",  # G
    "$AIHBT,30,A,5*0D",  # P
    "$GPBOD,045.,T,023.,M,DEST,START*01",  # W
    "$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*20",  # W
    "$GPAAM,A,A,0.10,N,WPTNME*32",  # W
]

WRONG_CHECKSUM = [
    "$GPTHS,338.01,A*36",  # G; right would be 0E
    "$GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M*82",  # G; 3C
    "$GPAAM,A,A,0.10,N,WPTNME*43",  # G; 32
    "$HCHBT,98.3,0.0,E,12.6,W*57",  # G; 42
    "$GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V*0B",  # G; 20
    "$RAVSD,0,4.5,6,@@@@@@@@@@@@@@@@@@@@,220516,01,02,8,*12",  # G; 6E
    "$GNZDA,165118.00,13,05,2016,00,00*71",  # A, on purpose; 70
]


@pytest.mark.parametrize(("line", "expected"), EXAMPLES)
def test_published_example(line: str, expected: list[str]) -> None:
    """Each published sentence says just this."""
    assert said(line) == expected


@pytest.mark.parametrize("line", UNUSED)
def test_other_sentences_are_accepted_and_say_nothing(line: str) -> None:
    assert decoded(line) == ()


@pytest.mark.parametrize("line", WRONG_CHECKSUM)
def test_published_with_a_wrong_checksum(line: str) -> None:
    """A wrong checksum is refused, however good the rest looks."""
    assert refused(line) is RefusalReason.CHECKSUM_WRONG


def test_the_true_heading_of_the_published_hdg() -> None:
    """98.3 by the sensor, no deviation, 12.6 west: 85.7 true (computed by hand)."""
    (heading,) = decoded("$HCHDG,98.3,0.0,E,12.6,W*57")

    assert isinstance(heading, Heading)
    assert heading.reference is Reference.MAGNETIC
    assert heading.variation_deg is not None
    assert heading.heading_deg + heading.variation_deg == pytest.approx(85.7)


def test_right_checksum_and_wrong_content() -> None:
    """G's tests hold lines whose checksum agrees with a damaged field."""
    line = "$RATTM,02,1.43,170.5,xT,0.16,264.4,T,1.42,36.9,N,,T,,,M*52"

    assert refused(line) is RefusalReason.FLAG_UNKNOWN
