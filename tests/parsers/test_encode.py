"""Sentences from plain numbers, held against published ones and read back by libraries that are not ours."""

from functools import reduce
from operator import xor

import pyais
import pynmea2
import pytest

from parsers import encode
from parsers.encode_ttd import CompressedPrediction, CompressedTarget, ttd
from parsers.observations import Acquisition, MotionReference, Orientation, Reference, TargetStatus

ACQUIRING = encode.ttm(2, 3.55, 297.3, cpa_nm=0.13, status=TargetStatus.ACQUIRING, acquisition=Acquisition.MANUAL)
UNKNOWN = [CompressedPrediction(number=n, cpa_nm=None, tcpa_min=None) for n in (229, 230, 231)]

# Published sentence, source, what we write. Where only the decimals differ it is said.
PUBLISHED = [
    ("$RATTM,02,3.55,297.3,T,,,T,0.13,,N,,Q,,,M*02", "a public repository's test", ACQUIRING),
    ("$HEHDT,341.8,T*21", "go-nmea", encode.hdt(341.8)),
    ("$GPHDT,274.07,T*03", "go-nmea", encode.hdt(274.07, decimals=2, talker="GP")),
    ("$GPHDT,,T*1B", "AeroRust nmea", encode.hdt(None, talker="GP")),
    ("$HCHDG,98.3,0.0,E,12.6,W*57", "go-nmea", encode.hdg(98.3, deviation_deg=0.0, variation_deg=-12.6)),
    ("$INTHS,123.456,A*20", "go-nmea", encode.ths(123.456, decimals=3, talker="IN")),
    ("$INTHS,,V*1E", "go-nmea", encode.ths(None, talker="IN")),
    ("!RATTD,01,01,,CUwwowtCVwwowtCWwwowt,0*30", "a public file", ttd(UNKNOWN)[0]),
]


def read(line: str) -> pynmea2.NMEASentence:
    """The sentence as pynmea2 reads it, its checksum required, after the length has been looked at."""
    assert len(line) + 2 <= 82, f"longer than 82 characters with its line end: {line}"
    return pynmea2.parse(line, check=True)


@pytest.mark.parametrize(("published", "source", "made"), PUBLISHED)
def test_published_sentences(published: str, source: str, made: str) -> None:
    """Sentences seen in public sources come out as they stand there, checksum included."""
    assert made == published, source


@pytest.mark.parametrize("text", ["", "A", "RATTM,01", "x" * 63, "y" * 64, "z" * 65, "HEHDT,341.8,T"])
def test_checksum_is_the_xor_of_all_characters(text: str) -> None:
    """IEC 61162-1's rule, by the plainest possible loop."""
    expected = 0
    for character in text:
        expected ^= ord(character)

    assert encode.sentence(text)[-2:] == f"{expected:02X}"


def test_ttm_reads_back() -> None:
    """All fifteen fields of TTM, in order, with the set's usual resolution."""
    line = encode.ttm(
        7,
        1.434,
        170.46,
        speed_kn=12.04,
        course_deg=264.4,
        cpa_nm=0.2,
        tcpa_min=-3.26,
        name="TGT 7",
        time_of_day_s=36_021.987,
        acquisition=Acquisition.MANUAL,
    )
    back = read(line)

    assert line.startswith("$RATTM,07,1.43,170.5,T,12.0,264.4,T,0.20,-3.3,N,TGT 7,T,,100021.98,M*")
    assert (float(back.distance), float(back.bearing), float(back.time_cpa)) == (1.43, 170.5, -3.3)
    assert (back.status, back.acquisition, back.dist_unit, back.name) == ("T", "M", "N", "TGT 7")


def test_ttm_in_other_units_and_forms() -> None:
    """One unit field rules range, speed and CPA; the 2.x form ends after thirteen fields; relative bearings say R."""
    kilometres = read(encode.ttm(1, 1.0, 0.0, speed_kn=10.0, cpa_nm=0.5, units="K"))
    miles = read(encode.ttm(1, 1.0, 0.0, speed_kn=10.0, cpa_nm=0.5, units="S"))
    short = encode.ttm(1, 1.0, 10.0, bearing_reference=Reference.RELATIVE, fields=13)

    assert (float(kilometres.distance), float(kilometres.speed)) == (1.85, 18.5)
    assert (float(miles.distance), float(miles.speed)) == (1.15, 11.5)
    assert short.count(",") == 13
    assert ",10.0,R," in short


def test_angles_stay_below_360_and_zero_has_no_sign() -> None:
    """Rounding never makes 360.0, and -0.04 min is not '-0.0'."""
    line = encode.ttm(1, 1.0, 359.97, course_deg=-0.01, speed_kn=0.0, cpa_nm=0.0, tcpa_min=-0.04)

    assert ",0.0,T,0.0,0.0,T,0.00,0.0,N" in line


@pytest.mark.parametrize(
    ("lat", "lon", "text"),
    [
        (50.99999999, -1.3, "5100.0000,N,00118.0000,W"),
        (-36.8, 174.8, "3648.0000,S,17448.0000,E"),
        (0.0, 180.0, "0000.0000,N,18000.0000,W"),
        (-0.05, 539.95, "0003.0000,S,17957.0000,E"),
    ],
)
def test_positions_carry_into_degrees_and_wrap(lat: float, lon: float, text: str) -> None:
    """Minutes never reach 60, and longitude is brought into the half circles."""
    assert text in encode.gll(0.0, lat, lon)


def test_own_ship_sentences_read_back() -> None:
    """RMC, GGA, GLL, VTG, VHW, ZDA and ROT as pynmea2 reads them."""
    rmc = read(encode.rmc(45_296.25, "150127", 50.75, -1.3, sog_kn=12.34, cog_deg=97.2, variation_deg=-1.5))
    gga = read(encode.gga(45_296.25, 50.75, -1.3))
    gll = read(encode.gll(45_296.25, 50.75, -1.3))
    vtg = read(encode.vtg(97.2, 10.0, variation_deg=-1.5))
    vhw = read(encode.vhw(9.5, heading_deg=95.1, magnetic_deg=96.6))
    zda = read(encode.zda(45_296.25, 15, 1, 2027))
    rot = read(encode.rot(-11.2))

    assert (rmc.latitude, rmc.longitude) == pytest.approx((50.75, -1.3))
    assert (str(rmc.timestamp)[:11], str(rmc.datestamp)) == ("12:34:56.25", "2027-01-15")
    assert (float(rmc.spd_over_grnd), float(rmc.true_course), rmc.mag_var_dir) == (12.34, 97.2, "W")
    assert (gga.latitude, gga.gps_qual, gll.longitude) == (pytest.approx(50.75), 1, pytest.approx(-1.3))
    assert (vtg.true_track, float(vtg.mag_track), vtg.spd_over_grnd_kmph) == (97.2, 98.7, 18.52)
    assert (float(vhw.heading_true), float(vhw.water_speed_knots)) == (95.1, 9.5)
    assert (zda.day, zda.month, zda.year) == (15, 1, 2027)
    assert float(rot.rate_of_turn) == -11.2


def test_what_is_not_there_is_null_and_said() -> None:
    """No value is ever written as zero: the fields are empty and the status letters say so."""
    assert encode.rmc(0.0, "150127", None, None, sog_kn=None, cog_deg=None, valid=False).startswith(
        "$GPRMC,000000.00,V,,,,,,,150127,,,N*"
    )
    assert encode.gga(0.0, None, None, quality=0).startswith("$GPGGA,000000.00,,,,,0,00,,,,,,,*")
    assert encode.rot(None).startswith("$TIROT,,V*")
    assert encode.osd(None, course_deg=None, speed_kn=None).startswith("$RAOSD,,V,,W,,W,,,N*")
    assert encode.vhw(None).startswith("$VWVHW,,T,,M,,N,,K*")


def test_radar_settings() -> None:
    """RSD carries marks, cursor, scale and orientation; OSD its references."""
    rsd = encode.rsd(range_scale_nm=0.75, orientation=Orientation.HEAD_UP, mark_1=(2.5, 5.0), cursor=(0.81, 326.9))
    osd = encode.osd(179.0, course_deg=179.0, speed_kn=0.0, reference=MotionReference.MANUAL)

    assert rsd.startswith("$RARSD,,,2.50,5.0,,,,,0.81,326.9,0.75,N,H*")
    assert osd.startswith("$RAOSD,179.0,A,179.0,M,0.0,M,,,N*")


def test_ttd_bits() -> None:
    """Structure 0 field by field: widths of IEC 61162-1 edition 6 as a public library has them, taken apart by hand."""
    target = CompressedTarget(
        number=23, bearing_deg=359.96, range_nm=4.25, speed_kn=12.3, course_deg=90.0, water=True, correlation=5
    )
    (line,) = ttd([target])
    payload, fill = line.split("*")[0].split(",")[4:6]
    bits = "".join(f"{(ord(c) - 48 if ord(c) < 88 else ord(c) - 56):06b}" for c in payload)
    widths = (2, 10, 12, 12, 12, 12, 3, 1, 14, 1, 1, 2, 8)
    starts = [sum(widths[:i]) for i in range(len(widths))]

    assert (len(bits), fill) == (90, "0")
    assert [int(bits[s : s + w], 2) for s, w in zip(starts, widths, strict=True)] == [
        *(0, 23, 0, 123, 900, 4095, 4, 0, 425, 0, 1, 0, 5)
    ]


def test_five_compressed_targets_need_two_sentences() -> None:
    """At most four to a sentence; both parts carry the sequence number and the totals in hex."""
    targets = [CompressedTarget(number=n, bearing_deg=1.0, range_nm=1.0) for n in range(1, 6)]
    first, second = ttd(targets, sequence=3)

    assert first.startswith("!RATTD,02,01,3,")
    assert second.startswith("!RATTD,02,02,3,")
    assert len(first) + 2 <= 82


def test_labels() -> None:
    """TLB: a null label stands for 'no common label'."""
    assert encode.tlb([(1, "GREY HERON"), (2, None)]).startswith("$RATLB,1,GREY HERON,2,*")


def test_text_cannot_break_a_sentence() -> None:
    """Reserved characters are written `^hh`, so a name can neither end a field nor start a line."""
    line = encode.txt("a,b*c\r\n$GPRMC é ^")

    assert line.startswith("$U0TXT,01,01,01,a^2Cb^2Ac^0D^0A^24GPRMC ^E9 ^5E*")
    assert pynmea2.parse(line, check=True).sentence_type == "TXT"


def test_tag_block_has_its_own_checksum() -> None:
    """The form that recordings have: source, UNIX milliseconds, then the sentence untouched."""
    line = encode.tag_block("$HEHDT,3.0,T*2C", 1_800_000_000_250, "HE0001")
    block = line.split("\\")[1]

    assert line == f"\\{block}\\$HEHDT,3.0,T*2C"
    assert block.split("*") == ["s:HE0001,c:1800000000250", f"{reduce(xor, b's:HE0001,c:1800000000250', 0):02X}"]


def test_ais_reads_back() -> None:
    """A class A report and a two-part static message through pyais."""
    report: dict[str, str | int | float] = {
        "msg_type": 1,
        "mmsi": 219000123,
        "speed": 12.3,
        "lon": -1.2345,
        "lat": 50.12345,
        "course": 123.4,
    }
    static: dict[str, str | int | float] = {
        "msg_type": 5,
        "mmsi": 219000123,
        "shipname": "GREY HERON",
        "ship_type": 70,
        "to_bow": 60,
    }
    (one,) = encode.vdm(report)
    two = encode.vdm(static, channel="B", sequence=4)

    back = pyais.decode(one).asdict()
    assert one.startswith("!AIVDM,1,1,,A,")
    assert (back["mmsi"], back["speed"], back["course"]) == (219000123, 12.3, 123.4)
    assert (back["lat"], back["lon"]) == pytest.approx((50.12345, -1.2345), abs=1 / 600_000)
    assert [line[:14] for line in two] == ["!AIVDM,2,1,4,B", "!AIVDM,2,2,4,B"]
    assert pyais.decode(*two).asdict()["shipname"] == "GREY HERON"
    assert encode.vdm(report, own_ship=True)[0].startswith("!AIVDO,")
