"""Tracked targets: units, references, statuses, and what refuses a line."""

import pytest

from parsers.decode import Decoder
from parsers.observations import Reference, TargetStatus
from parsers.sentence import RefusalReason
from tests.parsers.lines import decoded, refused, report, said, sealed


def ttm(number: str = "01", distance: str = "2.0", bearing: str = "045.0", reference: str = "T", unit: str = "N",
        status: str = "T", rest: str = "10.0,180.0,T,0.5,12.0") -> str:  # fmt: skip
    return sealed(f"$RATTM,{number},{distance},{bearing},{reference},{rest},{unit},NAME,{status},,120000,A")


@pytest.mark.parametrize(("unit", "metres"), [("N", 1852.0), ("K", 1000.0), ("S", 1609.344)])
def test_one_unit_for_range_speed_and_cpa(unit: str, metres: float) -> None:
    """Field 10 is the unit of three fields: all are told in nautical miles and knots."""
    target = report(ttm(unit=unit))
    factor = metres / 1852.0

    assert target.range_nm == pytest.approx(2.0 * factor)
    assert target.speed_kn == pytest.approx(10.0 * factor)
    assert target.cpa_nm == pytest.approx(0.5 * factor)
    assert target.tcpa_min == 12.0


@pytest.mark.parametrize(
    ("bearing", "reference", "expected"),
    [("360.0", "T", 0.0), ("061", "T", 61.0), ("299", "R", 299.0), ("-61", "R", 299.0)],
)
def test_bearings(bearing: str, reference: str, expected: float) -> None:
    """True and relative, in [0, 360); a relative one may be written as negative to port."""
    target = report(ttm(bearing=bearing, reference=reference))

    assert target.bearing_deg == expected
    assert target.bearing_reference is (Reference.TRUE if reference == "T" else Reference.RELATIVE)


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (ttm(number=""), RefusalReason.FIELD_MISSING),
        (ttm(number="x"), RefusalReason.NUMBER_MALFORMED),
        (ttm(number="-1"), RefusalReason.OUT_OF_RANGE),
        (ttm(distance="abc"), RefusalReason.NUMBER_MALFORMED),
        (ttm(distance="-1"), RefusalReason.OUT_OF_RANGE),
        (ttm(distance="201"), RefusalReason.OUT_OF_RANGE),
        (ttm(distance="nan"), RefusalReason.NUMBER_MALFORMED),
        (ttm(bearing="361"), RefusalReason.OUT_OF_RANGE),
        (ttm(bearing="-1"), RefusalReason.OUT_OF_RANGE),
        (ttm(reference=""), RefusalReason.FLAG_UNKNOWN),
        (ttm(reference="M"), RefusalReason.FLAG_UNKNOWN),
        (ttm(unit="X"), RefusalReason.FLAG_UNKNOWN),
        (ttm(unit=""), RefusalReason.FLAG_UNKNOWN),
        (ttm(status="X"), RefusalReason.FLAG_UNKNOWN),
    ],
)
def test_a_measurement_that_makes_no_sense_refuses_the_line(line: str, reason: RefusalReason) -> None:
    """Number, range, bearing, their unit and reference, status."""
    assert refused(line) is reason


@pytest.mark.parametrize("distance", ["abc", "-1", "1e5"])
def test_a_lost_target_is_told_whatever_its_range_says(distance: str) -> None:
    """That a target is lost matters more than where: range and bearing are None then."""
    target = report(ttm(distance=distance, status="L"))

    assert target.status is TargetStatus.LOST
    assert (target.range_nm, target.bearing_deg) == (None, None)


@pytest.mark.parametrize(
    ("rest", "name"),
    [
        ("nan,180.0,T,0.5,12.0", "speed_kn"),
        ("999.9,180.0,T,0.5,12.0", "speed_kn"),
        ("10.0,999,T,0.5,12.0", "course_deg"),
        ("10.0,180.0,X,0.5,12.0", "course_deg"),
        ("10.0,180.0,T,-0.5,12.0", "cpa_nm"),
        ("10.0,180.0,T,0.5,1e3", "tcpa_min"),
        ("10.0,180.0,T,0.5,-1441", "tcpa_min"),
    ],
)
def test_junk_in_the_sets_own_answer_is_none_and_counted(rest: str, name: str) -> None:
    """The measurement is taken; that one value is not."""
    decoder = Decoder("radar")
    (target,) = decoder.decode_line(ttm(rest=rest).encode(), 1.0).observations
    answers = ("speed_kn", "course_deg", "cpa_nm", "tcpa_min")

    assert {answer for answer in answers if getattr(target, answer) is None} == {name}
    assert decoder.oddities.total() == 1


def test_a_tracked_target_without_measurement_is_told_as_that() -> None:
    """Null range and bearing are "not available", never zero."""
    target = report(sealed("$RATTM,01,,,T,,,T,,,N,,T,,,"))

    assert (target.range_nm, target.bearing_deg, target.speed_kn) == (None, None, None)


class TestPositionsAndLabels:
    def test_tll_without_position_says_nothing(self) -> None:
        assert decoded(sealed("$RATLL,01,,,,,,,T,")) == ()
        assert decoded(sealed("$RATLL,,,,,,,,L,")) == ()

    def test_tll_lost_without_position_is_told(self) -> None:
        """A lost target has no position to give; that it is lost is told whatever else the line says."""
        assert said(sealed("$RATLL,01,,,,,,,L,")) == ["TargetReport number=1 status=lost"]

    def test_tll_half_a_position(self) -> None:
        """A latitude alone is no place, and no null either."""
        assert refused(sealed("$RATLL,01,4807.038,N,,,,,T,")) is RefusalReason.FIELD_MISSING

    def test_tlb_pairs(self) -> None:
        """A null label is "no common label"; a number may have decimals; real ones carry 14 pairs."""
        assert said(sealed("$RATLB,1,ALPHA,2.0,,3,B^2CC")) == [
            "TargetLabel number=1 label=ALPHA",
            "TargetLabel number=2",
            "TargetLabel number=3 label=B,C",
        ]
        pairs = ",".join(f"{number}," for number in range(1, 15))
        assert len(decoded(sealed(f"$RATLB,{pairs}"))) == 14

    def test_tlb_with_half_a_pair(self) -> None:
        """A number without a label field says nothing of its target."""
        assert said(sealed("$RATLB,1,ALPHA,2")) == ["TargetLabel number=1 label=ALPHA"]

    def test_tlb_number_malformed(self) -> None:
        """There is no target 2.5."""
        assert refused(sealed("$RATLB,2.5,ALPHA")) is RefusalReason.NUMBER_MALFORMED
