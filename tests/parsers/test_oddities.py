"""What real streams do against the rules, one by one, with the line that showed it.

Where a line stands: L1 = a recording of 40 min on small craft at moorings; L2 = a ship under way (22 TTM); L3 = mixed
snippets of 2015; L4 = other recordings; F = captures of an open dissector for IEC 61162-450; X = an unidentified public
file. "Made" lines have the form of a real one whose text is not public; their checksum is worked out here.
"""

from collections import Counter
from itertools import product
from string import ascii_uppercase

import pytest

from parsers.decode import Decoder
from parsers.framing import Framer
from parsers.observations import (
    AisPosition,
    AisStatic,
    GroundMotion,
    Heading,
    Observation,
    Reference,
    TargetPosition,
    TargetReport,
    TargetStatus,
)
from parsers.sentence import RefusalReason
from parsers.tag import Tagged, untag
from tests.parsers.lines import decoded, refused, report, said, sealed, tagged, told


def oddities(line: str) -> Counter[str]:
    """What was counted as odd in a line that was taken."""
    decoder = Decoder("radar")

    assert decoder.decode_line(line.encode("latin-1"), 1.0).refusal is None
    return decoder.oddities


class TestTargetsAcquiredAndLost:
    def test_1_a_lost_target_with_millions_of_minutes(self) -> None:
        """L1, 84 of 90 lines of lost or acquired targets. Status and place are kept; the junk is None and counted."""
        line = sealed("$RATTM,01,0.48,264.1,T,0.0,2.9,T,,24751376.1,N,1 (MADE UP),L,,135305,M")
        target = report(line)

        assert (target.status, target.range_nm, target.bearing_deg) == (TargetStatus.LOST, 0.48, 264.1)
        assert target.cpa_nm is None
        assert target.tcpa_min is None
        assert oddities(line) == {"TTM tcpa out of range": 1}

    def test_2_an_acquired_target_with_zeros_for_none(self) -> None:
        """L3. It reads as a collision now: the status says that it means nothing, so the status must survive."""
        target = report("$GETTM,4,5.122,14.00,T,0.000,269.90,T,0.000,0.000,N,,Q,,114526.20,M*19")

        assert target.status is TargetStatus.ACQUIRING
        assert (target.number, target.range_nm, target.source.talker) == (4, 5.122, "GE")

    def test_3_an_acquired_target_with_a_cpa_and_no_motion(self) -> None:
        """L3."""
        target = report("$RATTM,02,3.55,297.3,T,,,T,0.13,,N,,Q,,,M*02")

        assert (target.speed_kn, target.course_deg, target.cpa_nm, target.tcpa_min) == (None, None, 0.13, None)

    def test_4_a_target_that_does_not_move(self) -> None:
        """L1, 213 lines: no TCPA, and the range for CPA."""
        target = report(sealed("$RATTM,01,0.48,263.6,T,0.0,2.9,T,0.48,,N,MADE UP,T,,134601,M"))

        assert (target.cpa_nm, target.tcpa_min, target.speed_kn) == (0.48, None, 0.0)

    def test_5_a_sentinel_for_no_tcpa(self) -> None:
        """X: 99.99."""
        line = sealed("$RATTM,01,0.48,263.6,T,0.0,2.9,T,0.48,99.99,N,,T,,134601,M")

        assert report(line).tcpa_min is None
        assert oddities(line) == {"TTM tcpa sentinel": 1}

    def test_6_an_honest_tcpa_of_many_hours(self) -> None:
        """L2: 795.4 minutes where two velocities are nearly equal."""
        assert report(sealed("$RATTM,66,8.2,263.6,T,9.8,270.1,T,0.30,795.4,N,,T,,,A")).tcpa_min == 795.4

    @pytest.mark.parametrize(("text", "number"), [("498", 498), ("002", 2), ("66", 66), ("0", 0)])
    def test_7_numbers_of_any_width(self, text: str, number: int) -> None:
        """L2 has 66 to 498 where the standard has two digits; X has 002."""
        assert report(sealed(f"$RATTM,{text},8.2,263.6,T,9.8,270.1,T,0.30,7.4,N,,T,,,A")).number == number

    def test_8_9_a_number_used_again_or_back_without_acquisition(self) -> None:
        """L1: 01 lost, 48 s later acquired on another bearing; others come back without. No memory of it here."""
        decoder = Decoder("radar")
        sent = [
            (0.0, "0.48,264.1,T,0.0,2.9,T,,,N,,L"),
            (48.0, "0.11,101.0,T,,,T,,,N,,Q"),
            (75.0, "0.12,100.0,T,12.0,90.0,T,0.1,0.5,N,,T"),
            (900.0, "0.48,264.1,T,0.0,2.9,T,,,N,,T"),
        ]
        statuses = []
        for at_s, rest in sent:
            (target,) = decoder.decode_line(sealed(f"$RATTM,01,{rest},,,M").encode(), at_s).observations
            assert isinstance(target, TargetReport)
            statuses.append((target.at_s, target.number, target.status, target.range_nm))

        assert statuses == [
            (0.0, 1, TargetStatus.LOST, 0.48),
            (48.0, 1, TargetStatus.ACQUIRING, 0.11),
            (75.0, 1, TargetStatus.TRACKING, 0.12),
            (900.0, 1, TargetStatus.TRACKING, 0.48),
        ]

    def test_10_two_numbers_on_one_vessel(self) -> None:
        """L1: 01 and 02, both lost at 1.31 NM, 282.9 degrees. Two reports: whether they are one is not asked here."""
        first, second = (report(sealed(f"$RATTM,{n},1.31,282.9,T,,,T,,,N,,L,,,M")) for n in ("01", "02"))

        assert (first.number, second.number) == (1, 2)
        assert (first.range_nm, first.bearing_deg) == (second.range_nm, second.bearing_deg) == (1.31, 282.9)

    def test_11_one_target_from_two_sources(self) -> None:
        """L3: GPTTM and RATTM 01. The source tells them apart."""
        first = report(sealed("$GPTTM,01,4.54,354.0,T,3.0,20.0,T,1.0,9.0,N,,T,,,M"))
        second = report(sealed("$RATTM,01,4.54,353.9,T,3.0,20.0,T,1.0,9.0,N,,T,,,M"))

        assert (str(first.source), str(second.source)) == ("radar/GPTTM", "radar/RATTM")

    def test_12_ttm_and_tll_of_one_track(self) -> None:
        """L1: a TLL with the same number and time beside each TTM."""
        position, target = (
            decoded(sealed("$RATLL,01,5812.740,N,01132.853,E,1 (MADE UP),134601,T,")),
            report(sealed("$RATTM,01,0.48,263.6,T,0.0,2.9,T,0.48,,N,1 (MADE UP),T,,134601,M")),
        )

        assert isinstance(position[0], TargetPosition)
        assert (position[0].number, position[0].time_of_day_s) == (target.number, target.time_of_day_s)

    def test_13_a_wild_speed_after_acquisition(self) -> None:
        """L1: 31.5 kn. It is what the set says, and is passed on as that."""
        assert report(sealed("$RATTM,03,0.48,263.6,T,31.5,2.9,T,0.48,,N,,T,,134601,M")).speed_kn == 31.5

    def test_14_15_a_repeated_line_under_a_new_time(self) -> None:
        """L1: one line a second for all targets, a third of them old measurements. Each has its own time of arrival."""
        decoder = Decoder("radar")
        found = [
            decoder.decode_line(
                sealed(f"$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,,N,,T,,{time},M").encode(), at_s
            ).observations[0]
            for at_s, time in ((0.0, "134601"), (1.0, "134602"))
        ]

        assert [target.at_s for target in found] == [0.0, 1.0]
        assert [target.time_of_day_s for target in found if isinstance(target, TargetReport)] == [49561.0, 49562.0]

    @pytest.mark.parametrize(("time", "seconds"), [("134601", 49561.0), ("", None), ("134600.25", 49560.25)])
    def test_16_time_of_data(self, time: str, seconds: float | None) -> None:
        """L1 to L3: without decimals, null, late or out of order. It is kept apart from the time of arrival."""
        target = report(sealed(f"$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,,N,,T,,{time},M"))

        assert (target.at_s, target.time_of_day_s) == (1.0, seconds)

    def test_16_a_time_that_is_none(self) -> None:
        """Made: the target is taken, its time is not."""
        line = sealed("$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,,N,,T,,996001,M")

        assert report(line).time_of_day_s is None
        assert oddities(line) == {"TTM time out of range": 1}

    def test_17_a_name_that_makes_the_line_too_long(self) -> None:
        """L1, all 1,466 TLL: blanks and brackets, 88 characters where 82 are allowed."""
        line = sealed("$RATLL,01,5812.7400,N,01132.8530,E,1 (A NAME WITH BLANKS IN BRACKETS),134601,T,")
        (position,) = decoded(line)

        assert len(line) + len("\r\n") > 82
        assert isinstance(position, TargetPosition)
        assert position.name == "1 (A NAME WITH BLANKS IN BRACKET"  # cut to 32

    @pytest.mark.parametrize(
        "rest",
        ["T,,134601,M,", "T,,134601,M", "T,,134601", "T,", "T"],
        ids=["16 fields (X)", "15 fields", "14 fields", "13 fields (G)", "12 fields"],
    )
    def test_18_short_and_long_forms(self, rest: str) -> None:
        """The 13 fields of 2.x, the 15 of 3.0, an empty 16th."""
        target = report(sealed(f"$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,-0.5,N,,{rest}"))

        assert (target.status, target.tcpa_min) == (TargetStatus.TRACKING, -0.5)

    def test_18_cut_off_after_the_units(self) -> None:
        """L3. A status that is not there is None, not "tracking"."""
        target = report(sealed("$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,-0.5,N"))

        assert (target.status, target.range_nm) == (None, 0.48)

    def test_18_cut_off_before_the_units(self) -> None:
        """Made: a range in an unknown unit is no range."""
        assert refused(sealed("$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,-0.5")) is RefusalReason.FIELD_MISSING
        assert refused(sealed("$RATTM,01,0.48,263.6,T,12.0,2.9,T,0.48,-0.5,,,T")) is RefusalReason.FLAG_UNKNOWN

    def test_19_a_relative_course(self) -> None:
        """X: 31.2,R. It stays flagged: whether it is counted from the bow or a relative motion, no source settles."""
        target = report(sealed("$RATTM,01,0.48,263.6,T,12.0,31.2,R,0.48,0.5,N,,T,,134601,M"))

        assert (target.course_deg, target.course_reference) == (31.2, Reference.RELATIVE)

    def test_42_an_ais_target_passed_on(self) -> None:
        """X: acquisition R, number 101."""
        target = report(sealed("$RATTM,101,0.25,256.15,T,0.1,68.7,T,0.25,0.00,N,MADE UP,T,,222350.00,R"))

        assert told(target).endswith("acquisition=reported")
        assert target.number == 101


class TestDamagedLines:
    def test_20_malformed_signed_decimals(self) -> None:
        """L1, 1,626 DPT with a right checksum: the depth is good, the offset is none."""
        assert said("$SDDPT,3.5,0.-6,*56") == ["Depth depth_m=3.5"]
        assert oddities("$SDDPT,3.5,0.-6,*56") == {"DPT offset number malformed": 1}

    def test_21_two_sentences_in_one(self) -> None:
        """L2."""
        assert refused("$RARSD,-118.1,N,,T,,074051,M*35") is RefusalReason.CHECKSUM_WRONG

    def test_22_two_sentences_on_one_line(self) -> None:
        """L4, with its first sentence completed here."""
        first, second = sealed("$GPGSA,A,1,,,,,,,,,,,,,,,"), sealed("$GPRMC,235949.00,V,,,,,,,161206,,,N")
        framer = Framer()

        assert framer.feed(f"{first}{second}\r\n".encode()) == [first.encode(), second.encode()]

    def test_23_start_lost_and_a_dollar_in_the_middle(self) -> None:
        """L4: `$GPN,00000.0000,E,0,…` and `…08740.4182$0,A$GPGGA,…`: the last sentence that begins is tried."""
        assert refused("$GPN,00000.0000,E,0,0*11") in (RefusalReason.ADDRESS, RefusalReason.CHECKSUM_WRONG)
        assert refused(sealed("$GPN,00000.0000,E,0,0")) is RefusalReason.ADDRESS
        line = "08740.4182$0,A$GPGGA,130711,5012.790800,N,00806.879600,W,2,,,,,,,*6A"
        assert said(line) == said("$GPGGA,130711,5012.790800,N,00806.879600,W,2,,,,,,,*6A")
        assert oddities(line) == {"junk before the sentence": 1}

    def test_24_nuls_and_high_bytes(self) -> None:
        """L4 and an issue report: what is left of such a line is refused, and the next one read."""
        framer = Framer()
        lines = framer.feed(b"$GPRMC,000346.03,A,4808\0\0\0\0$\0PH\0M\xff\x08\n$GPHDT,274.07,T*03\n")
        outcomes = [Decoder("gps").decode_line(line, 1.0) for line in lines]

        assert [bool(outcome.refusal) for outcome in outcomes] == [True, True, True, True, False]

    def test_25_habits_of_checksums(self) -> None:
        """L4 and issue reports: lower case is right; one digit, a blank, nothing, no star are not."""
        assert said("$HEHDT,234.76,T*1b") == ["Heading heading_deg=234.76"]
        assert refused("$HEHDT,234.76,T*1") is RefusalReason.CHECKSUM_MALFORMED
        assert refused("$HEHDT,234.76,T* B") is RefusalReason.CHECKSUM_MALFORMED
        assert refused("$HEHDT,234.76,T*") is RefusalReason.CHECKSUM_MALFORMED
        assert refused("$HEHDT,234.76,T") is RefusalReason.CHECKSUM_MISSING

    def test_26_a_checksum_of_00_is_one(self) -> None:
        """An issue report."""
        talkers = ("".join(letters) for letters in product(ascii_uppercase, repeat=2))
        line = next(line for talker in talkers if (line := sealed(f"${talker}HDT,234.76,T")).endswith("*00"))

        assert said(line) == ["Heading heading_deg=234.76"]

    def test_27_the_last_line_of_a_file_is_cut(self) -> None:
        """L1."""
        assert refused("$GPGLL,5812.7400,N,01132.8530,E,142634") is RefusalReason.CHECKSUM_MISSING

    @pytest.mark.parametrize(
        ("prefix", "utc_ms"),
        [
            ("NAV 2013/11/20 05:00:04.561 GPS ", None),
            ("03/15/2010,14:08:45.876,", None),
            ("2017-11-04T05:12:19.275337Z ", 1509772339275),
            ("2017-11-04 05:12:19,", 1509772339000),
            ("2017-11-04T06:12:19+01:00 ", 1509772339000),
            ("1509772339 ", 1509772339000),
            ("1509772339.275,", 1509772339275),
            ("1509772339275\t", 1509772339275),
        ],
    )
    def test_28_prefixes(self, prefix: str, utc_ms: int | None) -> None:
        """Research-fleet notes: an ISO 8601 or UNIX time is the line's time; other prefixes are passed over."""
        found = untag((prefix + "$HEHDT,234.76,T*1b").encode())

        assert isinstance(found, Tagged)
        assert (found.text, found.utc_ms) == ("$HEHDT,234.76,T*1b", utc_ms)

    def test_29_habits_of_line_ends(self) -> None:
        """L4: CR LF and LF; X: CR; blank lines and trailing blanks."""
        framer = Framer()
        lines = framer.feed(
            b"$HEHDT,234.76,T*1b\r\n\r\n$HEHDT,234.76,T*1b \n\n$HEHDT,234.76,T*1b\r$HEHDT,234.76,T*1b\r"
        )

        assert [said(line.decode()) for line in lines] == [["Heading heading_deg=234.76"]] * 4

    def test_45_a_makers_sentence_shorter_than_its_definition(self) -> None:
        """Made; it ends pynmea2 with an IndexError. Accepted, and says nothing."""
        for body in ("$PUBX", "$PSXN", "$PTNL", "$PASH", "$PVTX"):
            assert decoded(sealed(body)) == ()


class TestOwnShip:
    def test_30_null_position_though_valid_and_zero_position_though_not(self) -> None:
        """L4: neither puts own ship at 0 N 0 E."""
        assert said("$GPRMC,235948.00,V,0000.0000,N,00000.0000,E,,,161206,,,N*45") == []
        line = sealed("$GPRMC,235948.00,A,,,,,,,161206,,,A")
        assert said(line) == ["DateAndTime utc_ms=1166313588000"]
        assert oddities(line) == {"RMC position missing though valid": 1}

    def test_31_dates_that_jump(self) -> None:
        """L4: 2019, 2006, 2010, 1999 within a minute. Each is passed on as the receiver's claim, none is corrected."""
        years = []
        for date in ("140919", "161206", "010110", "220899"):
            line = sealed(f"$GPRMC,120000.00,A,5250.53669,N,00542.34920,E,0.020,,{date},,,A")
            years.append(said(line)[-1])

        assert years == [
            "DateAndTime utc_ms=1568462400000",
            "DateAndTime utc_ms=1166270400000",
            "DateAndTime utc_ms=1262347200000",
            "DateAndTime utc_ms=935323200000",
        ]

    def test_32_no_course_when_stopped(self) -> None:
        """L4, 164 of 164 lines."""
        found = decoded("$GPRMC,213950.00,A,5250.53669,N,00542.34920,E,0.020,,070420,,,A*7D")
        motion = next(observation for observation in found if isinstance(observation, GroundMotion))

        assert (motion.sog_kn, motion.cog_deg) == (0.02, None)

    def test_33_no_heading_yet(self) -> None:
        """L4, 211 times at start: accepted, and no heading of 0."""
        assert decoded("$GPHDT,,T*1B") == ()

    def test_34_heading_at_10_hz(self) -> None:
        """L1, L4: every line gives its own observation with its own time; all share one Source."""
        decoder = Decoder("gyro")
        found: list[Observation] = []
        for i in range(10):
            found.extend(decoder.decode_line(sealed(f"$HEHDT,{100 + i / 10:.1f},T").encode(), i / 10).observations)

        assert [observation.at_s for observation in found] == [i / 10 for i in range(10)]
        assert len({id(observation.source) for observation in found}) == 1

    def test_35_numbers_without_leading_zeros(self) -> None:
        """L3: satellites 8, longitude 528.9195, variation 1."""
        fix = said(sealed("$GPGGA,114526,5250.5366,N,528.9195,W,1,8,1.8,23,M,,M,,"))
        assert fix[0] == "Position lat_deg=52.84227667 lon_deg=-5.481991667 time_of_day_s=42326 hdop=1.8"
        assert (
            said(sealed("$GPRMC,114526,A,5250.5366,N,528.9195,W,1,20,010715,1,W"))[-1] == "Variation variation_deg=-1"
        )

    def test_36_quality_and_nothing_behind_it(self) -> None:
        """L4."""
        assert said("$GPGGA,130711,5012.790800,N,00806.879600,W,2,,,,,,,*6A") == [
            "Position lat_deg=50.21318 lon_deg=-8.11466 time_of_day_s=47231",
            "TimeOfDay time_of_day_s=47231",
        ]

    def test_37_mode_null_or_a_field_short(self) -> None:
        """L4: `…,010611,,A*6A`. A null mode is an older sentence's; the status decides."""
        expected = ["Position", "GroundMotion", "DateAndTime"]
        for rest in (",010611,,A", ",010611,,,", ",010611,,"):
            found = said(sealed("$GPRMC,130711,A,5012.790800,N,00806.879600,W,3.1,45.0" + rest))

            assert [text.split()[0] for text in found] == expected

    @pytest.mark.parametrize("zone", ["-01,00", "-00,00", "00,00", ",", "01,30"])
    def test_38_zone_of_either_sign(self, zone: str) -> None:
        """L1 sends -01 east of Greenwich, X -00. ZDA is UTC; the zone is not used."""
        assert said(sealed(f"$GPZDA,134601,27,07,2015,{zone}")) == ["DateAndTime utc_ms=1438004761000"]

    def test_39_speed_slightly_astern_and_no_heading(self) -> None:
        """X."""
        assert said("$VDVHW,,T,,M,-0.08,N,-0.15,K*4B") == ["WaterMotion stw_kn=-0.08"]

    def test_40_osd_as_the_only_own_ship_data(self) -> None:
        """L2. Set and drift are not in course and speed, and are told apart."""
        assert said("$RAOSD,359.3,A,355.2,P,3.3,P,350.5,1.6,N*4F") == [
            "Heading heading_deg=359.3",
            "GroundMotion sog_kn=3.3 cog_deg=355.2",
            "SetAndDrift set_deg=350.5 drift_kn=1.6",
        ]

    def test_40_osd_by_water_and_by_hand(self) -> None:
        """L2 has W and M as well: neither may be taken for the ground."""
        assert said(sealed("$RAOSD,359.3,A,355.2,W,3.3,W,,,N"))[1] == "WaterMotion stw_kn=3.3 course_deg=355.2"
        assert said(sealed("$RAOSD,359.3,A,355.2,M,3.3,M,,,N"))[1].endswith("reference=manual")
        assert said(sealed("$RAOSD,359.3,A,355.2,P,3.3,W,,,N"))[1:] == [
            "GroundMotion cog_deg=355.2",
            "WaterMotion stw_kn=3.3",
        ]

    def test_41_osd_that_contradicts_itself(self) -> None:
        """L2: 180.5, then 359.3 within seconds. Both are told: which to believe is not decided here."""
        headings = [
            decoded(sealed(f"$RAOSD,{heading},A,355.2,P,3.3,P,350.5,1.6,N"))[0] for heading in ("180.5", "359.3")
        ]

        assert [heading.heading_deg for heading in headings if isinstance(heading, Heading)] == [180.5, 359.3]


class TestCarriage:
    def test_43_interleaved_parts(self) -> None:
        """L4: other lines, and other messages' parts, between the parts of one."""
        # Two static reports that are widely printed (from memory, checksums right); the second under another sequence.
        parts = [
            "!AIVDM,2,1,3,B,55P5TL01VIaAL@7WKO@mBplU@<PDhh000000001S;AJ::4A80?4i@E53,0*3E",
            sealed("!AIVDM,2,1,4,B,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0"),
            "$GPHDT,274.07,T*03",
            "!AIVDM,2,2,3,B,1@0000000000000,2*55",
            sealed("!AIVDM,2,2,4,B,88888888880,2"),
        ]
        decoder = Decoder("ais")
        found = [decoder.decode_line(part.encode(), 1.0).observations for part in parts]

        assert [len(observations) for observations in found] == [0, 0, 1, 1, 1]
        assert isinstance(found[3][0], AisStatic)
        assert isinstance(found[4][0], AisStatic)
        assert (found[3][0].name, found[4][0].name) == ("MT.MITCHELL", "EVER DIADEM")

    def test_44_a_datagram_with_eight_lines(self) -> None:
        """F: one header, then eight lines, each with its own TAG block."""
        line = tagged("s:IN0001,n:881", "$GPHDT,274.07,T*03")
        lines = Framer().datagram(b"UdPbC\0" + f"{line}\r\n".encode() * 8)

        assert [said(text.decode()) for text in lines] == [["Heading heading_deg=274.07"]] * 8

    def test_44_two_blocks_in_a_row(self) -> None:
        """F: `\\d:HE0002*51\\\\s:HE0001*45\\$…`."""
        found = untag(b"\\d:HE0002*51\\\\s:HE0001*45\\$HEHDT,234.76,T*1b")

        assert isinstance(found, Tagged)
        assert (found.source, found.destination, found.text) == ("HE0001", "HE0002", "$HEHDT,234.76,T*1b")

    def test_44_a_wrong_block_before_a_right_sentence(self) -> None:
        """F: the block is ignored and counted, the sentence taken, with no time."""
        line = "\\s:HE0001,c:1800000000*00\\$HEHDT,234.76,T*1b"
        found = untag(line.encode())

        assert isinstance(found, Tagged)
        assert (found.source, found.utc_ms) == ("", None)
        assert said(line) == ["Heading heading_deg=234.76"]
        assert oddities(line) == {"TAG checksum wrong": 1}

    def test_46_a_gap_in_the_stream(self) -> None:
        """L1: 798 s with no line. What waited before it is not joined to what comes after."""
        decoder = Decoder("ais")
        first = "!AIVDM,2,1,3,B,55P5TL01VIaAL@7WKO@mBplU@<PDhh000000001S;AJ::4A80?4i@E53,0*3E"
        second = "!AIVDM,2,2,3,B,1@0000000000000,2*55"

        assert decoder.decode_line(first.encode(), 0.0).observations == ()
        assert decoder.decode_line(second.encode(), 798.0).observations == ()
        assert decoder.oddities == {"VDM message incomplete": 1}
        assert not any(isinstance(o, AisPosition) for o in decoder.decode_line(first.encode(), 799.0).observations)
