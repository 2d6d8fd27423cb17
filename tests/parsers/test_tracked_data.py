"""Tracked target data (TTD): bits by the published field widths, parts joined, none values known.

Source of the widths: SwiftNMEA (github.com/RISCfuture/SwiftNMEA), which says it follows IEC 61162-1 edition 6. The one
real-looking sentence is from an unidentified public file.
"""

import pytest

from parsers.decode import Decoder
from parsers.observations import TargetPrediction, TargetReport
from parsers.sentence import RefusalReason
from tests.parsers.lines import decoded, refused, said, sealed

WIDTHS = (2, 10, 12, 12, 12, 12, 3, 1, 14, 1, 1, 2, 8)
"""Version, number, bearing, speed, course, AIS heading, status, test, distance, relative, water, spare, correlation."""


def armoured(bits: str) -> str:
    """Bits to six-bit armour, written apart from the decoder: 40 and over skip eight characters."""
    values = [int(bits[i : i + 6].ljust(6, "0"), 2) for i in range(0, len(bits), 6)]
    return "".join(chr(value + 48 if value < 40 else value + 56) for value in values)


def target(
    number: int = 7,
    bearing: int = 450,
    speed: int = 125,
    course: int = 1800,
    heading: int = 4095,
    status: int = 4,
    test: int = 0,
    distance: int = 321,
    relative: int = 0,
    water: int = 0,
    correlation: int = 0,
) -> str:
    values = (0, number, bearing, speed, course, heading, status, test, distance, relative, water, 0, correlation)
    return "".join(f"{value:0{width}b}" for value, width in zip(values, WIDTHS, strict=True))


def sentence(bits: str, total: str = "01", part: str = "01", sequence: str = "", fill: str = "0") -> str:
    return sealed(f"!RATTD,{total},{part},{sequence},{armoured(bits)},{fill}")


def report(**values: int) -> TargetReport:
    (observation,) = decoded(sentence(target(**values)))
    assert isinstance(observation, TargetReport)
    return observation


def test_one_target() -> None:
    """Structure 0: range in hundredths of a mile, angles and speed in tenths."""
    assert said(sentence(target())) == [
        "TargetReport number=7 range_nm=3.21 bearing_deg=45 speed_kn=12.5 course_deg=180 motion_reference=ground "
        "status=tracking"
    ]


def test_four_targets_in_one_sentence() -> None:
    """The most that fit; number 0 is an empty place."""
    found = decoded(sentence(target(number=1) + target(number=2) + target(number=0) + target(number=1023)))

    assert [o.number for o in found if isinstance(o, TargetReport)] == [1, 2, 1023]


def test_none_values() -> None:
    """All ones is "not available"; status 0 is a target that is not tracked."""
    nothing = report(bearing=4095, speed=4095, course=4095, distance=16383, status=0)

    assert (nothing.bearing_deg, nothing.speed_kn, nothing.course_deg, nothing.range_nm) == (None, None, None, None)
    assert nothing.status is None


def test_angles_that_are_none() -> None:
    """360.0 is 0; what lies between it and "none" is no angle."""
    assert report(bearing=3600).bearing_deg == 0.0
    assert report(bearing=3601).bearing_deg is None


@pytest.mark.parametrize(
    ("code", "status"), [(1, "acquiring"), (2, "lost"), (3, None), (4, "tracking"), (6, "tracking"), (7, "tracking")]
)
def test_statuses(code: int, status: str | None) -> None:
    """Status by its three bits; 3 is reserved and says nothing."""
    assert report(status=code).status == status


def test_flags() -> None:
    """Water or ground, relative, test target, AIS target, correlation number."""
    flagged = report(relative=1, water=1, test=1, heading=4094, correlation=9)

    assert (flagged.course_reference, flagged.motion_reference) == ("relative", "water")
    assert (flagged.is_test, flagged.acquisition, flagged.correlation) == (True, "reported", 9)


def test_the_real_looking_sentence() -> None:
    """Structure 1: three targets, CPA 16383 and TCPA 8191, both "none"."""
    assert said("!RATTD,01,01,,CUwwowtCVwwowtCWwwowt,0*30") == [
        "TargetPrediction number=229", "TargetPrediction number=230", "TargetPrediction number=231",
    ]  # fmt: skip


def prediction(number: int, cpa: int, tcpa: int) -> str:
    return f"{1:02b}{number:010b}{cpa:014b}{tcpa % 16384:014b}00"


def test_predictions() -> None:
    """CPA in hundredths of a mile, TCPA in hundredths of a minute, negative when past; both ends are "none"."""
    bits = prediction(5, 52, -250) + prediction(6, 100, -8192) + prediction(7, 100, 8190)
    found = [o for o in decoded(sentence(bits)) if isinstance(o, TargetPrediction)]

    assert [(o.number, o.cpa_nm, o.tcpa_min) for o in found] == [(5, 0.52, -2.5), (6, 1.0, None), (7, 1.0, 81.9)]


class TestParts:
    def test_whole_targets_are_told_at_once(self) -> None:
        """A lost part takes only its own targets with it; the numbers are hexadecimal."""
        decoder = Decoder("radar")
        first = decoder.decode_line(sentence(target(number=1), "0B", "01", "3").encode(), 1.0)
        eleventh = decoder.decode_line(sentence(target(number=11), "0B", "0B", "3").encode(), 1.0)

        assert [o.number for o in first.observations if isinstance(o, TargetReport)] == [1]
        assert [o.number for o in eleventh.observations if isinstance(o, TargetReport)] == [11]

    @pytest.mark.parametrize("order", [(0, 1), (1, 0)])
    def test_a_target_cut_by_a_sentences_end_waits_for_the_rest(self, order: tuple[int, int]) -> None:
        """Whichever part comes first."""
        bits = target(number=1) + target(number=2)
        parts = [sentence(bits[:96], "02", "01", "3"), sentence(bits[96:], "02", "02", "3")]
        decoder = Decoder("radar")
        first = decoder.decode_line(parts[order[0]].encode(), 1.0)
        second = decoder.decode_line(parts[order[1]].encode(), 1.0)

        assert first.observations == ()
        assert first.refusal is None
        assert [o.number for o in second.observations if isinstance(o, TargetReport)] == [1, 2]


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (sealed("!RATTD,01,01,,CUwwowtCVwwowtCWwwowX,0"), RefusalReason.PAYLOAD_MALFORMED),
        (sentence(target()[:60]), RefusalReason.PAYLOAD_MALFORMED),
        (sentence("10" + target()[2:]), RefusalReason.PAYLOAD_MALFORMED),
        (sentence(target(), fill="6"), RefusalReason.PAYLOAD_MALFORMED),
        (sentence(target(), total="01", part="02"), RefusalReason.OUT_OF_RANGE),
        (sentence(target(), total="G1"), RefusalReason.NUMBER_MALFORMED),
    ],
    ids=["not of the armour", "cut short", "structure 2", "fill bits", "part 2 of 1", "not hexadecimal"],
)
def test_refusals(line: str, reason: RefusalReason) -> None:
    assert refused(line) is reason
