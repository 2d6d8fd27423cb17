"""Bytes to lines: the same lines however the bytes were cut, and every byte accounted for."""

from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from parsers.framing import Discarded, Framer, frame_block

HDT = b"$GPHDT,274.07,T*03"
THS = b"$INTHS,123.456,A*20"
VDM = b"!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C"
TAGGED = b"\\s:RA0001,c:1800000000250*21\\$GPHDT,274.07,T*03"

CASES = [
    ("CR LF", HDT + b"\r\n" + THS + b"\r\n", [HDT, THS]),
    ("LF only", HDT + b"\n" + THS + b"\n", [HDT, THS]),
    ("CR only", HDT + b"\r" + THS + b"\r", [HDT, THS]),
    ("no line end at all", HDT + THS + VDM + HDT, [HDT, THS, VDM, HDT]),
    ("no line end, TAG blocks", TAGGED + TAGGED + TAGGED, [TAGGED, TAGGED, TAGGED]),
    ("a TAG block behind a sentence", HDT + TAGGED + b"\n", [HDT, TAGGED]),
    ("two TAG blocks in a row are one line's", b"\\d:HE0002*51\\" + TAGGED + b"\n", [b"\\d:HE0002*51\\" + TAGGED]),
    ("no end at the file's end", HDT + b"\n" + THS, [HDT, THS]),
    ("blank lines", b"\r\n\r\n\n" + HDT + b"\r\n\r\n", [HDT]),
    ("trailing blanks belong to the line", HDT + b"  \r\n", [HDT + b"  "]),
    ("a run of NULs ends a line", b"$GPRMC,000346.03,A,4808\0\0\0\0" + HDT + b"\n", [b"$GPRMC,000346.03,A,4808", HDT]),
    ("NULs inside", b"$\0PH\0M\n" + HDT + b"\n", [b"$", b"PH", b"M", HDT]),
    ("high bytes and backspaces", b"\x08\xff\x80\n" + HDT + b"\n", [b"\x08\xff\x80", HDT]),
    ("a checksum inside a name", b"$RATTM,01*AZ$\n", [b"$RATTM,01*AZ$"]),
    ("lower-case checksum before a seam", b"$HEHDT,234.76,T*1b" + HDT + b"\n", [b"$HEHDT,234.76,T*1b", HDT]),
    ("nothing", b"", []),
    ("too long", b"$" + b"A" * 1024 + b"\n" + HDT + b"\n", [HDT]),
    ("just not too long", b"$" + b"A" * 1023 + b"\n" + HDT + b"\n", [b"$" + b"A" * 1023, HDT]),
    ("too long, no line end, then a sentence", b"A" * 3000 + HDT + THS, [HDT, THS]),
    ("too long at the end", HDT + b"\n" + b"A" * 3000, [HDT]),
]


def whole(data: bytes, limit: int = 1024) -> tuple[list[bytes], Framer]:
    framer = Framer(limit)
    lines = framer.feed(data)
    lines += framer.end()
    return lines, framer


def in_pieces(pieces: list[bytes], limit: int = 1024) -> tuple[list[bytes], Framer]:
    framer = Framer(limit)
    lines: list[bytes] = []
    for piece in pieces:
        lines += framer.feed(piece)
        assert framer.counts.balanced
    lines += framer.end()
    return lines, framer


@pytest.mark.parametrize(("data", "lines"), [case[1:] for case in CASES], ids=[case[0] for case in CASES])
class TestEachCaseThreeWays:
    """The cases as a table: habits of line ends, and damage."""

    def test_whole(self, data: bytes, lines: list[bytes]) -> None:
        """All bytes in one read."""
        found, framer = whole(data)

        assert found == lines
        assert framer.counts.balanced
        assert framer.counts.waiting == 0
        assert framer.counts.bytes_read == len(data)
        assert framer.counts.bytes_in_lines == sum(map(len, lines))

    def test_byte_by_byte(self, data: bytes, lines: list[bytes]) -> None:
        """One byte in each read gives the same lines and the same counts."""
        found, framer = in_pieces([data[i : i + 1] for i in range(len(data))])
        _, at_once = whole(data)

        assert found == lines
        assert framer.counts.discarded == at_once.counts.discarded

    def test_with_trailing_bytes(self, data: bytes, lines: list[bytes]) -> None:
        """What follows on a new line changes nothing before it."""
        found, framer = whole(data + b"\r\n" + VDM + b"\r\n")

        assert found == [*lines, VDM]
        assert framer.counts.balanced

    def test_as_a_block(self, data: bytes, lines: list[bytes]) -> None:
        """The fast way for files gives the same lines."""
        assert frame_block(data).lines == lines


def test_a_line_waits_for_its_end() -> None:
    """An unfinished line is not given out, and is counted as waiting."""
    framer = Framer()

    assert framer.feed(HDT) == []
    assert framer.counts.waiting == len(HDT)
    assert framer.feed(b"\r") == [HDT]
    assert framer.counts.waiting == 0
    assert framer.feed(b"\n") == []


def test_discarded_bytes_have_reasons() -> None:
    """Each byte outside the lines is counted under its reason."""
    _, framer = whole(b"A" * 1025 + b"\r\n\0\0" + HDT + b"\n")

    assert framer.counts.discarded == {
        Discarded.TOO_LONG: 1025,
        Discarded.LINE_END: 3,
        Discarded.NUL: 2,
    }


def test_what_is_kept_is_bounded() -> None:
    """A stream without line ends keeps at most the limit, whatever comes."""
    framer = Framer(100)
    for _ in range(1000):
        framer.feed(b"A" * 99)

        assert framer.counts.waiting <= 100
        assert framer.counts.balanced


class TestDatagrams:
    """IEC 61162-450: a header once, then lines. Plain ones have no header, and often no line end."""

    def test_header_is_taken_off_and_counted(self) -> None:
        framer = Framer()

        assert framer.datagram(b"UdPbC\0" + TAGGED + b"\r\n" + TAGGED + b"\r\n") == [TAGGED, TAGGED]
        assert framer.counts.discarded[Discarded.HEADER] == 6
        assert framer.counts.balanced

    @pytest.mark.parametrize("token", [b"RaUdP\0", b"RrUdP\0", b"RpUdP\0", b"NkPgN\0"])
    def test_other_tokens_are_ignored_and_counted(self, token: bytes) -> None:
        framer = Framer()
        data = token + b"\x01\x02$GPHDT,274.07,T*03\r\n"

        assert framer.datagram(data) == []
        assert framer.counts.discarded == {Discarded.OTHER_DATAGRAM: len(data)}
        assert framer.counts.balanced

    def test_the_last_line_needs_no_end(self) -> None:
        framer = Framer()

        assert framer.datagram(HDT + b"\r\n" + THS) == [HDT, THS]
        assert framer.counts.waiting == 0

    def test_nothing_is_carried_into_the_next_datagram(self) -> None:
        framer = Framer()

        assert framer.datagram(b"$GPHDT,27") == [b"$GPHDT,27"]
        assert framer.datagram(b"4.07,T*03") == [b"4.07,T*03"]

    def test_a_stream_between_datagrams_keeps_its_rest(self) -> None:
        framer = Framer()
        framer.feed(HDT[:5])

        assert framer.datagram(THS) == [THS]
        assert framer.counts.balanced
        assert framer.feed(HDT[5:] + b"\n") == [HDT]
        assert framer.counts.balanced


# Bytes that matter to framing, so that random data meet its branches.
telling_bytes = st.lists(
    st.sampled_from(
        [b"$", b"!", b"\\", b"*", b"41", b"A", b"a:", b"\r", b"\n", b"\0", b" ", b",", HDT, TAGGED, b"\xff"]
    ),
    max_size=60,
).map(b"".join)


@settings(derandomize=True, max_examples=300, deadline=None)
@given(
    st.one_of(telling_bytes, st.binary(max_size=300)), st.lists(st.integers(0, 400), max_size=12), st.integers(5, 60)
)
@example(b"*41\\a:", [4], 5)
@example(b"$A*41\\" + b"\\a", [6], 6)
def test_cut_anywhere_is_whole(data: bytes, cuts: list[int], limit: int) -> None:
    """However a stream is cut into reads, its lines and its counts are those of the whole."""
    places = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    pieces = [data[begin:end] for begin, end in pairwise(places)]
    lines, framer = in_pieces(pieces, limit)
    lines_at_once, at_once = whole(data, limit)

    assert lines == lines_at_once
    assert framer.counts.discarded == at_once.counts.discarded
    assert framer.counts.balanced
    assert framer.counts.bytes_read == len(data)
    assert all(0 < len(line) <= limit for line in lines)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.binary(max_size=2000))
def test_a_valid_sentence_after_garbage_and_a_line_end_is_found(garbage: bytes) -> None:
    """Whatever came before a line end, the line behind it is whole."""
    lines, _ = whole(garbage + b"\r\n" + HDT + b"\r\n")

    assert lines[-1] == HDT


WORST = {
    "no line end": b"A" * 1_000_000,
    "only line ends": b"\n" * 1_000_000,
    "only NULs": b"\0" * 1_000_000,
    "only dollars": b"$" * 1_000_000,
    "only backslashes": b"\\" * 1_000_000,
    "only stars": b"*" * 1_000_000,
    "seams that are none": b"*00\\a" * 200_000,
    "seams everywhere": b"$*00" * 250_000,
    "a checksum, then line ends and one other character": HDT + b"\n" * 1_000_000 + b"A",
    "lines just too long": (b"A" * 1025 + b"$") * 970,
}


@pytest.mark.timeout(20)
@pytest.mark.parametrize("data", WORST.values(), ids=WORST)
@pytest.mark.parametrize("read", [1_000_000, 64])
def test_a_megabyte_of_the_worst_ends(data: bytes, read: int) -> None:
    """No input is dear: a quadratic search would not end in time here (tests/benchmarks/framing.py has the seconds)."""
    _, framer = in_pieces([data[i : i + read] for i in range(0, len(data), read)])

    assert framer.counts.bytes_read == len(data)
    assert framer.counts.waiting == 0
