"""Field texts to numbers: finite, in range, and nothing but digits, sign and point."""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers.numbers import (
    Reading,
    angle,
    ddmmyy_start_ms,
    nm_per_unit,
    number,
    optional,
    position,
    signed,
    time_of_day,
    whole,
)
from parsers.observations import Source
from parsers.parts import Parts
from parsers.sentence import RefusalError, RefusalReason


@pytest.mark.parametrize(
    ("text", "value"),
    [("1", 1.0), ("01.50", 1.5), ("+000.05", 0.05), ("-3.", -3.0), (".5", 0.5), (" 7 ", 7.0), ("-0", 0.0), ("", None)],
)
def test_numbers(text: str, value: float | None) -> None:
    """Leading and trailing zeros, a sign and blanks around are taken; a null field is None."""
    found = number(text, -10, 10)

    assert found == value
    assert str(found) != "-0.0"


@pytest.mark.parametrize(
    "text",
    ["nan", "NaN", "inf", "-Infinity", "1e5", "1E5", "1_0", "0x10", "1,5", "0.-6", "-1.-5", "--1", "+-1", ".", "-",
     "1 2", "\u00b2", "\u0661", "1\xa0", "abc", "\x1b[2J"],
)  # fmt: skip
def test_what_is_no_number(text: str) -> None:
    """float() would take the first ones; pynmea2's Decimal takes most of them."""
    with pytest.raises(RefusalError) as raised:
        number(text, -1e9, 1e9)

    assert raised.value.refusal.reason is RefusalReason.NUMBER_MALFORMED


@pytest.mark.parametrize("text", ["10.001", "-0.001", "9" * 400, "-" + "9" * 400])
def test_out_of_range(text: str) -> None:
    with pytest.raises(RefusalError) as raised:
        number(text, 0, 10)

    assert raised.value.refusal.reason is RefusalReason.OUT_OF_RANGE


@settings(derandomize=True, max_examples=500, deadline=None)
@given(st.text(alphabet=st.sampled_from("0123456789.+-eE_nainf \xb2"), max_size=12))
def test_any_text_gives_a_finite_number_in_range_or_a_refusal(text: str) -> None:
    """No NaN and no infinity leaves; `optional` gives the same number, or None with an oddity."""
    reading = Reading(Source("radar", "RA", "TTM"), Counter(), Parts())
    try:
        value = number(text, -100.0, 100.0)
    except RefusalError:
        assert optional(text, -100.0, 100.0, reading, "x") is None
        assert reading.oddities.total() == 1
    else:
        assert value is None or -100.0 <= value <= 100.0
        assert optional(text, -100.0, 100.0, reading, "x") == value
        assert not reading.oddities


def test_angles() -> None:
    """Degrees in [0, 360): 360 is 0; a negative angle is refused."""
    assert angle("360.0") == 0.0
    assert angle("359.99") == 359.99
    with pytest.raises(RefusalError):
        angle("-0.1")


def test_whole_numbers() -> None:
    """A target number may be written 2.0, but not 2.5."""
    assert whole("2.0", 0, 9) == 2
    with pytest.raises(RefusalError):
        whole("2.5", 0, 9)


def test_units() -> None:
    """N nautical mile, K kilometre, S statute mile: in nautical miles."""
    assert nm_per_unit("N") == 1.0
    assert nm_per_unit("K") * 1.852 == pytest.approx(1.0)
    assert nm_per_unit("S") * 1852 == pytest.approx(1609.344)
    with pytest.raises(RefusalError):
        nm_per_unit("")


def test_direction_letters() -> None:
    """East is positive. A direction that is missing refuses a value, but zero has none."""
    assert signed(3.0, "W", "E", "W") == -3.0
    assert signed(3.0, "e", "E", "W") == 3.0
    assert signed(0.0, "", "E", "W") == 0.0
    with pytest.raises(RefusalError):
        signed(3.0, "", "E", "W")


class TestPositions:
    def test_degrees_and_minutes(self) -> None:
        """ddmm.mm and dddmm.mm; leading zeros may be left out; no decimal point is needed."""
        assert position("4807.038", "N", "01131.000", "E") == pytest.approx((48.1173, 11.516666667))
        assert position("4807.038", "S", "528.9195", "W") == pytest.approx((-48.1173, -5.481991667))
        assert position("4807", "N", "01131", "E") == pytest.approx((48.116666667, 11.516666667))

    def test_null_is_none_whatever_the_hemispheres(self) -> None:
        assert position("", "N", "", "E") is None
        assert position("", "", "", "") is None

    @pytest.mark.parametrize(
        ("lat", "ns", "lon", "ew"),
        [
            ("4807.038", "", "01131.000", "E"),
            ("4807.038", "E", "01131.000", "N"),
            ("4861.000", "N", "01131.000", "E"),
            ("9000.001", "N", "01131.000", "E"),
            ("4807.038", "N", "18000.001", "E"),
            ("-4807.038", "N", "01131.000", "E"),
            ("4807.038", "N", "", ""),
            ("", "", "01131.000", "E"),
            ("0000.000", "", "00000.000", ""),
        ],
    )
    def test_what_is_no_position(self, lat: str, ns: str, lon: str, ew: str) -> None:
        """Half a position, hemispheres missing or changed about, 60 minutes and over, beyond the poles."""
        with pytest.raises(RefusalError):
            position(lat, ns, lon, ew)


class TestTimes:
    @pytest.mark.parametrize(
        ("text", "seconds"),
        [
            ("000000", 0.0),
            ("123519", 45319.0),
            ("114526.20", 42326.2),
            ("235959.99", 86399.99),
            ("235960", 86400.0),
            ("94526", 35126.0),
            ("114526. ", 42326.0),
            (" 114526.2 ", 42326.2),
            ("", None),
        ],
    )
    def test_time_of_day(self, text: str, seconds: float | None) -> None:
        """A leap second is 86400; a leading zero may be missing."""
        assert time_of_day(text) == pytest.approx(seconds, abs=1e-9)

    @pytest.mark.parametrize("text", ["246000", "120060.0.1", "126000", "120061", "12:00:00", "-120000"])
    def test_what_is_no_time(self, text: str) -> None:
        with pytest.raises(RefusalError):
            time_of_day(text)

    def test_dates(self) -> None:
        """Two digits of a year: 80 to 99 are of the last century."""
        assert ddmmyy_start_ms("060180") == 315964800000
        assert ddmmyy_start_ms("191194") == 785203200000
        assert ddmmyy_start_ms("140120") == 1578960000000
        assert ddmmyy_start_ms("300220") is None
        assert ddmmyy_start_ms("1401") is None
        assert ddmmyy_start_ms("14o120") is None
