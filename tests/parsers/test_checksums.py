"""Checksums of many lines at once agree with those of each line by itself."""

from hypothesis import given, settings
from hypothesis import strategies as st

from parsers.checksums import verify
from parsers.decode import Decoder
from parsers.framing import Framer, frame_block
from parsers.sentence import checksum
from parsers.tag import ordinary, untag
from tests.parsers.lines import sealed, tagged

HDT = "$GPHDT,274.07,T*03"
TAGGED = tagged("s:RA0001,c:1800000000250", HDT)

# The second column: whether the line is of an ordinary shape with only right checksums.
LINES = [
    (HDT, True),
    ("!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C", True),
    ("$HEHDT,234.76,T*1b", True),
    ("$HEHDT,234.76,T*1B", True),
    (TAGGED, True),
    ("$GPHDT,274.07,T*04", False),
    ("$GPHDT,274.07,T", False),
    ("$GPHDT,274.07,T*", False),
    ("$GPHDT,274.07,T*3", False),
    ("$GPHDT,274.07,T*0G", False),
    ("$GPHDT,274.07,T*03 ", False),
    (" $GPHDT,274.07,T*03", False),
    ("$*00", False),
    ("$*2A", False),  # the star's own value
    ("*00", False),
    ("$", False),
    ("*", False),
    ("x", False),
    (sealed("\\d:HE0002") + TAGGED, False),
    (TAGGED.replace("c:1800", "c:1900"), False),
    (TAGGED.replace("*03", "*04"), False),
    (sealed("$RATTM,01,$,2"), False),
    (sealed("\\s:RA0001") + "\\", False),
]


def test_shapes_and_digits() -> None:
    """Ordinary lines with right digits are known good; all others are left to be looked at one by one."""
    lines = [line.encode("latin-1") for line, _ in LINES]

    assert verify(lines) == [good for _, good in LINES]
    assert [verify([line])[0] for line in lines] == [good for _, good in LINES]


def test_no_lines() -> None:
    assert verify([]) == []


def test_a_block_is_read_like_its_lines() -> None:
    """A decoder says the same of a line whether the block has checked it or not."""
    block = frame_block("\r\n".join(line for line, _ in LINES).encode("latin-1"))
    by_block, by_line = Decoder("radar"), Decoder("radar")

    for line, checked in zip(block.lines, block.checked, strict=True):
        assert by_block.decode_line(line, 1.0, checked) == by_line.decode_line(line, 1.0)


def test_what_is_ordinary_is_untagged_as_each_line_by_itself() -> None:
    """Of each line that is known good: the same sentence, time and source; the others are left for `untag`."""
    usual = [HDT, tagged("s:GP0001,c:1800000000250", HDT), tagged("s:,c:1800000000250", HDT)]
    lines = [line.encode("latin-1") for line in (*usual, *(line for line, _ in LINES))]
    lines.append(tagged("s:GP0001,c:9800000000250", HDT).encode())
    checked = verify(lines)

    made = ordinary(lines, checked)

    assert None not in made[:2]
    for line, is_right, one in zip(lines, checked, made, strict=True):
        assert one is None or (is_right and one == untag(line, checked=True))


def test_blocks_of_one_file_follow_one_another() -> None:
    """With a framer, a line that a block's end cuts is given with the next block."""
    framer = Framer()
    data = (HDT + "\r\n").encode() * 10

    first, second = frame_block(data[:25], framer), frame_block(data[25:], framer)

    assert len(first.lines) == 1
    assert first.lines + second.lines == [HDT.encode()] * 10
    assert all(first.checked + second.checked)


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.lists(st.binary(max_size=300).map(lambda data: data.replace(b"\n", b"")), max_size=20))
def test_known_good_is_never_wrong(bodies: list[bytes]) -> None:
    """Whatever the bytes: a line that is known good has a checksum that agrees, byte by byte."""
    lines = [b"$" + body + b"*%02X" % checksum(body) for body in bodies] + bodies
    for line, good in zip(lines, verify(lines), strict=True):
        if good:
            start, _, sentence = line.rpartition(b"$" if b"$" in line else b"!")
            assert checksum(sentence[:-3]) == int(sentence[-2:], 16)
            assert start == b"" or start.startswith(b"\\")


@settings(derandomize=True, max_examples=100, deadline=None)
@given(st.sampled_from([line for line, good in LINES if good]), st.data())
def test_a_flipped_bit_is_never_known_good_as_another_value(line: str, data: st.DataObject) -> None:
    """One flipped bit: the line is refused, or says the same, or says nothing (another type of sentence)."""
    damaged = bytearray(line.encode("latin-1"))
    place = data.draw(st.integers(0, len(damaged) - 1))
    damaged[place] ^= 1 << data.draw(st.integers(0, 7))
    before = Decoder("radar").decode_line(line.encode("latin-1"), 1.0).observations
    framer = Framer()
    pieces = framer.feed(bytes(damaged) + b"\n")
    for piece, checked in zip(pieces, verify(pieces), strict=True):
        after = Decoder("radar").decode_line(piece, 1.0, checked)

        assert after.refusal is not None or after.observations in (before, ())
