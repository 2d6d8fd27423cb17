"""Own-ship sentences: what counts as valid, which fields refuse a line, units and older forms."""

import pytest

from parsers.decode import Decoder
from parsers.observations import FixQuality, Position
from parsers.sentence import RefusalReason
from tests.parsers.lines import decoded, refused, said, sealed

RMC = "$GPRMC,120000,{status},5250.5366,N,00542.3492,E,5.5,084.4,010715,003.1,W,{mode}"


def kinds(line: str) -> list[str]:
    return [type(observation).__name__ for observation in decoded(line)]


def qualities(line: str) -> list[FixQuality]:
    """How the positions of one line were made."""
    return [one.quality for one in decoded(line) if isinstance(one, Position)]


class TestValidity:
    @pytest.mark.parametrize(
        ("status", "mode", "quality"),
        [
            ("A", "", ""),
            *(("A", mode, "") for mode in "ADPRF"),
            ("A", "E", "FixQuality.DEAD_RECKONING"),
            ("A", "M", "FixQuality.MANUAL"),
            ("A", "S", "FixQuality.SIMULATOR"),
        ],
    )
    def test_rmc_modes(self, status: str, mode: str, quality: str) -> None:
        """The mode says how the fix was made; a null mode is that of an older sentence."""
        position = said(sealed(RMC.format(status=status, mode=mode)))[0]

        assert position.startswith("Position")
        assert ("quality=" + quality in position) if quality else ("quality" not in position)

    @pytest.mark.parametrize(("status", "mode"), [("V", "A"), ("V", "N"), ("A", "N"), ("", "A")])
    def test_rmc_not_valid(self, status: str, mode: str) -> None:
        """Status V or null, or mode N: nothing of it is used, neither the position nor the speed."""
        assert decoded(sealed(RMC.format(status=status, mode=mode))) == ()

    def test_rmc_navigational_status_is_not_asked(self) -> None:
        """V in field 13 is "no such status", sent with every good fix; pynmea2's is_valid is False for it."""
        assert kinds(sealed(RMC.format(status="A", mode="A") + ",V"))[:2] == ["Position", "GroundMotion"]

    @pytest.mark.parametrize(("status", "mode"), [("X", "A"), ("A", "X")])
    def test_unknown_flags_refuse(self, status: str, mode: str) -> None:
        assert refused(sealed(RMC.format(status=status, mode=mode))) is RefusalReason.FLAG_UNKNOWN

    @pytest.mark.parametrize(
        ("quality", "made"),
        [
            ("0", None),
            ("", None),
            ("1", FixQuality.SATELLITE),
            ("5", FixQuality.SATELLITE),
            ("6", FixQuality.DEAD_RECKONING),
            ("7", FixQuality.MANUAL),
            ("8", FixQuality.SIMULATOR),
        ],
    )
    def test_gga_quality(self, quality: str, made: FixQuality | None) -> None:
        """Quality 0 or none is no fix; all others say how it was made."""
        line = sealed(f"$GPGGA,120000,5250.5366,N,00542.3492,E,{quality},08,0.9,,M,,M,,")

        assert qualities(line) == ([] if made is None else [made])

    @pytest.mark.parametrize(
        ("rest", "count"), [("", 1), (",120000,A", 2), (",120000,A,A", 2), (",120000,V", 0), (",120000,A,N", 0)]
    )
    def test_gll_forms(self, rest: str, count: int) -> None:
        """The oldest form ends after the position, and cannot say "not valid"."""
        assert len(decoded(sealed("$GPGLL,5250.5366,N,00542.3492,E" + rest))) == count

    @pytest.mark.parametrize(
        ("modes", "made"),
        [
            ("NNNN", None),
            ("", None),
            ("NA", FixQuality.SATELLITE),
            ("EA", FixQuality.SATELLITE),
            ("NNE", FixQuality.DEAD_RECKONING),
            ("SM", FixQuality.MANUAL),
            ("DDDDDD", FixQuality.SATELLITE),
        ],
    )
    def test_gns_any_constellation(self, modes: str, made: FixQuality | None) -> None:
        """Valid by any constellation, and as good as the best of them."""
        line = sealed(f"$GNGNS,120000,5250.5366,N,00542.3492,E,{modes},08,0.9,,,,,V")

        assert qualities(line) == ([] if made is None else [made])

    @pytest.mark.parametrize(("mode", "text"), [("A", ""), ("E", " estimated=True"), ("S", " estimated=True")])
    def test_ths_modes(self, mode: str, text: str) -> None:
        """Any mode but A is an estimate, and said to be."""
        assert said(sealed(f"$INTHS,123.4,{mode}")) == ["Heading heading_deg=123.4" + text]

    @pytest.mark.parametrize("mode", ["V", ""])
    def test_ths_value_beside_not_valid(self, mode: str) -> None:
        """A value may stand there; it is dropped."""
        assert decoded(sealed(f"$INTHS,123.4,{mode}")) == ()

    def test_vbw_each_speed_by_its_own_status(self) -> None:
        """A speed marked V gives nothing, and takes the other one not with it."""
        assert kinds(sealed("$VDVBW,5.1,0.1,A,5.5,-0.2,A")) == ["WaterMotion", "LongitudinalGroundSpeed"]
        assert kinds(sealed("$VDVBW,5.1,0.1,V,5.5,-0.2,A")) == ["LongitudinalGroundSpeed"]
        assert kinds(sealed("$VDVBW,5.1,0.1,A,,,V,,V,,V")) == ["WaterMotion"]

    def test_rot_status(self) -> None:
        """V: not valid."""
        assert decoded(sealed("$TIROT,-3.0,V")) == ()

    def test_osd_heading_status(self) -> None:
        """The status is the heading's alone; course and speed have references of their own."""
        assert kinds(sealed("$RAOSD,359.3,V,355.2,P,3.3,P,,,N")) == ["GroundMotion"]


class TestHeadings:
    @pytest.mark.parametrize(
        ("fields", "text"),
        [
            ("98.3,1.5,E,12.6,W", "Heading heading_deg=99.8 reference=magnetic variation_deg=-12.6"),
            ("98.3,1.5,W,12.6,E", "Heading heading_deg=96.8 reference=magnetic variation_deg=12.6"),
            ("359.5,1.0,E,,", "Heading heading_deg=0.5 reference=magnetic"),
            ("98.3,,,,", "Heading heading_deg=98.3 reference=magnetic"),
            ("98.3,0.0,,0.0,", "Heading heading_deg=98.3 reference=magnetic variation_deg=0"),
            (",,,12.6,W", "Variation variation_deg=-12.6"),
        ],
    )
    def test_hdg(self, fields: str, text: str) -> None:
        """Deviation is applied, east positive; variation is told beside it."""
        assert said(sealed(f"$HCHDG,{fields}")) == [text]

    def test_hdg_deviation_without_direction_refuses(self) -> None:
        """A heading that may be wrong by twice the deviation is none."""
        assert refused(sealed("$HCHDG,98.3,5.0,,12.6,W")) is RefusalReason.FLAG_UNKNOWN

    def test_hdg_variation_without_direction_is_none(self) -> None:
        assert said(sealed("$HCHDG,98.3,,,12.6,")) == ["Heading heading_deg=98.3 reference=magnetic"]

    def test_vhw_true_before_magnetic(self) -> None:
        """The magnetic heading only where there is no true one."""
        assert said(sealed("$IIVHW,42.0,T,43.0,M,,N,,K")) == ["Heading heading_deg=42"]
        assert said(sealed("$IIVHW,,T,43.0,M,,N,,K")) == ["Heading heading_deg=43 reference=magnetic"]

    @pytest.mark.parametrize("line", ["$HEHDT,361,T", "$HEHDT,-1,T", "$HEHDT,1e2,T", "$HCHDM,400,M", "$INTHS,999.9,A"])
    def test_no_heading(self, line: str) -> None:
        """What is no angle is a refusal, never a heading of north."""
        assert refused(sealed(line)) in (RefusalReason.OUT_OF_RANGE, RefusalReason.NUMBER_MALFORMED)

    @pytest.mark.parametrize("line", ["$HEHDT,100,M", "$HCHDM,100,T"])
    def test_the_other_reference_refuses(self, line: str) -> None:
        """HDT is true and HDM magnetic: another letter makes the sentence contradict itself."""
        assert refused(sealed(line)) is RefusalReason.FLAG_UNKNOWN


class TestSpeeds:
    def test_kmh_where_knots_are_null(self) -> None:
        """10 kn are 18.52 km/h."""
        assert said(sealed("$GPVTG,84.4,T,,M,,N,18.52,K,A")) == ["GroundMotion sog_kn=10 cog_deg=84.4"]
        assert said(sealed("$IIVHW,,T,,M,,N,18.52,K")) == ["WaterMotion stw_kn=10"]

    def test_vtg_oldest_form(self) -> None:
        """Four plain numbers: true, magnetic, knots, km/h."""
        assert said(sealed("$GPVTG,084.4,081.3,010.0,018.52")) == ["GroundMotion sog_kn=10 cog_deg=84.4"]

    def test_vtg_mode_not_valid(self) -> None:
        """Mode N: not valid."""
        assert decoded(sealed("$GPVTG,84.4,T,,M,5.5,N,,K,N")) == ()

    def test_rmc_speed_that_is_none(self) -> None:
        """Position and course are taken; the junk is None and counted."""
        decoder = Decoder("gps")
        line = sealed(RMC.format(status="A", mode="A").replace(",5.5,", ",999.9,"))
        found = decoder.decode_line(line.encode(), 0.0).observations

        assert getattr(found[1], "sog_kn", 0) is None
        assert getattr(found[1], "cog_deg", 0) == 84.4
        assert decoder.oddities == {"RMC speed out of range": 1}

    def test_osd_units(self) -> None:
        """The unit is that of speed and drift, and there is no speed without one."""
        assert said(sealed("$RAOSD,,V,90.0,P,18.52,P,,,K")) == ["GroundMotion sog_kn=10 cog_deg=90"]
        assert refused(sealed("$RAOSD,,V,90.0,P,18.52,P,,,")) is RefusalReason.FLAG_UNKNOWN

    def test_osd_course_alone(self) -> None:
        """Course through the water, with no speed."""
        assert said(sealed("$RAOSD,,V,90.0,W,,,,,N")) == ["WaterMotion course_deg=90"]


class TestTimeAndDepth:
    def test_a_date_that_does_not_exist(self) -> None:
        """The position is taken; the date is none, and counted."""
        line = sealed(RMC.format(status="A", mode="A").replace("010715", "310215"))

        assert "DateAndTime" not in kinds(line)

    def test_zda_without_date(self) -> None:
        """A time of day without a date is one."""
        assert said(sealed("$GPZDA,120000,,,,,")) == ["TimeOfDay time_of_day_s=43200"]

    def test_zda_that_is_none(self) -> None:
        """There is no 32nd of January, and no hour with 60 minutes."""
        assert refused(sealed("$GPZDA,120000,32,01,2020,,")) is RefusalReason.OUT_OF_RANGE
        assert refused(sealed("$GPZDA,126000,01,01,2020,,")) is RefusalReason.OUT_OF_RANGE

    def test_leap_second(self) -> None:
        """23:59:60 is the first moment of the next day in UNIX time."""
        assert said(sealed("$GPZDA,235960,31,12,2016,,")) == ["DateAndTime utc_ms=1483228800000"]

    def test_depths(self) -> None:
        """Metres, from feet where metres are null; the offset as sent."""
        assert said(sealed("$SDDPT,3.5,-0.6,100")) == ["Depth depth_m=3.5 offset_m=-0.6"]
        assert said(sealed("$SDDBT,11.5,f,3.5,M,1.9,F")) == ["Depth depth_m=3.5"]
        assert said(sealed("$SDDBT,10.0,f,,M,,F")) == ["Depth depth_m=3.048"]

    def test_a_foreign_datum(self) -> None:
        assert said(sealed("$GPDTM,999,USR,0.5,N,0.1,E,,W84")) == ["Datum datum=999USR"]
