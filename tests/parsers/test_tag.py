"""TAG blocks and other prefixes: what they say, and that a wrong one costs the sentence nothing but its time."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers.sentence import Refusal, RefusalReason
from parsers.tag import Group, Tagged, untag
from tests.parsers.lines import sealed, tagged

HDT = "$GPHDT,274.07,T*03"


def taken(line: str) -> Tagged:
    found = untag(line.encode("latin-1"))
    assert isinstance(found, Tagged)
    return found


def test_a_bare_sentence() -> None:
    """No time and no source; a right checksum is known from here on."""
    assert taken(HDT) == Tagged(HDT, checked=True)
    assert taken("$GPHDT,274.07,T*04") == Tagged("$GPHDT,274.07,T*04", checked=False)


def test_all_keys() -> None:
    """Time, source, destination, line number, group, text; others are passed over."""
    found = taken(tagged("c:1800000000250,s:RA0001,d:EI0002,n:881,g:1-2-34,t:fog^2C thick,q:u,x:1,T:09.11", HDT))

    assert found == Tagged(
        HDT,
        utc_ms=1800000000250,
        source="RA0001",
        destination="EI0002",
        group=Group(1, 2, 34),
        line_number=881,
        note="fog, thick",
    )


@pytest.mark.parametrize(
    ("text", "utc_ms"),
    [
        ("1800000000", 1800000000000),
        ("1800000000250", 1800000000250),
        ("1800000000.25", 1800000000250),
        ("1800000000.2509", 1800000000250),
        ("0", 0),
        ("", None),
        ("18e8", None),
        ("-5", None),
        ("1800000000²", None),
        ("9" * 14, None),
        ("9" * 400, None),
    ],
)
def test_seconds_or_milliseconds(text: str, utc_ms: int | None) -> None:
    """Ten digits are seconds, thirteen milliseconds; what is no time is none, and counted."""
    found = taken(tagged(f"c:{text}", HDT))

    assert found.utc_ms == utc_ms
    assert found.oddity == (None if utc_ms is not None else "TAG time malformed")


def test_a_known_good_line_says_the_same() -> None:
    """The short way for checked lines and the long way agree, but for what they know of the checksum."""
    line = tagged("s:RA0001,c:1800000000250,n:5,g:1-2-34", HDT).encode()
    short, long = untag(line, checked=True), untag(line)

    assert isinstance(short, Tagged)
    assert isinstance(long, Tagged)
    assert short.checked
    names = [name for name in Tagged.__struct_fields__ if name != "checked"]
    assert [getattr(short, name) for name in names] == [getattr(long, name) for name in names]


@pytest.mark.parametrize(
    ("line", "oddity"),
    [
        ("\\c:1800000000*00\\" + HDT, "TAG checksum wrong"),
        ("\\c:1800000000\\" + HDT, "TAG block malformed"),
        ("\\c:1800000000*6\\" + HDT, "TAG block malformed"),
        ("\\c:1800000000*69" + HDT, "TAG block malformed"),
        ("\\" + HDT, "TAG block malformed"),
        ("\\\\" + HDT, "TAG block malformed"),
    ],
)
def test_a_wrong_block_is_ignored_and_counted(line: str, oddity: str) -> None:
    found = taken(line)

    assert (found.text, found.utc_ms, found.oddity) == (HDT, None, oddity)


def test_one_wrong_block_of_two() -> None:
    """The right one still counts."""
    found = taken("\\c:1800000000*00\\" + tagged("s:RA0001", HDT))

    assert (found.source, found.utc_ms, found.oddity) == ("RA0001", None, "TAG checksum wrong")


def test_a_lower_case_block_checksum() -> None:
    """Real equipment writes the digits in lower case."""
    line = tagged("n:8", HDT)
    block, _, rest = line.partition("*")

    assert rest[:2] != rest[:2].lower(), "choose a block with a letter in its checksum"
    assert taken(f"{block}*{rest[:2].lower()}{rest[2:]}").line_number == 8


def test_a_block_without_a_sentence() -> None:
    """The first line of a group may be a block only."""
    found = taken(sealed("\\g:1-2-34,s:RA0001,c:1800000000") + "\\")

    assert (found.text, found.group, found.source) == ("", Group(1, 2, 34), "RA0001")


def test_a_block_behind_a_leading_time() -> None:
    """The block's own time wins."""
    assert taken("2017-11-04T05:12:19Z " + tagged("s:RA0001", HDT)).utc_ms == 1509772339000
    assert taken("2017-11-04T05:12:19Z " + tagged("c:1800000000", HDT)).utc_ms == 1800000000000


def test_a_leading_time_that_is_none() -> None:
    """No thirteenth month, no twenty-fifth hour: the line has no time, and is read."""
    assert taken("2017-13-04T05:12:19Z " + HDT).utc_ms is None
    assert taken("2017-11-04T25:12:19Z " + HDT).utc_ms is None


def test_hostile_texts_are_cleaned() -> None:
    found = taken(tagged("s:RA^1B[2J" + "X" * 50 + ",t:^1B]0;x^07" + "Y" * 900, HDT))

    assert found.source.isprintable()
    assert len(found.source) == 15
    assert found.note is not None
    assert found.note.isprintable()
    assert len(found.note) == 400


@pytest.mark.parametrize("line", ["", " ", "x", "*41", "\\", "\\x", "12:00 nothing here"])
def test_no_sentence(line: str) -> None:
    """Neither `$` nor `!` begins anything in the line."""
    refusal = untag(line.encode())

    assert isinstance(refusal, Refusal)
    assert refusal.reason is RefusalReason.NO_SENTENCE


@settings(derandomize=True, max_examples=300, deadline=None)
@given(
    st.lists(st.sampled_from(["\\", "$", "!", "*", "c:1", "s:A", ",", "41", HDT, "\xff", " "]), max_size=20).map(
        "".join
    )
)
def test_any_prefix_gives_a_sentence_or_a_refusal(text: str) -> None:
    """What is given as a sentence begins like one, or is empty behind a block."""
    found = untag(text.encode("latin-1"))

    assert isinstance(found, Refusal) or found.text == "" or found.text[0] in "$!"
