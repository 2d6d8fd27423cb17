"""The checksums of many lines at once.

One running exclusive or over all bytes; a checksum is the difference of two of its places. Against a check of each line
by itself this takes a tenth of the time (tests/benchmarks/framing.py prints the ratio).
"""

import numpy as np
from numpy.typing import NDArray

_START, _BACKSLASH, _STAR, _END = 1, 2, 4, 8

_KINDS = np.zeros(256, np.uint8)
_KINDS[[ord("$"), ord("!")]] = _START
_KINDS[ord("\\")] = _BACKSLASH
_KINDS[ord("*")] = _STAR
_KINDS[ord("\n")] = _END

_NO_DIGIT = 0x1FF
_DIGITS = np.full(256, _NO_DIGIT, np.uint16)
for _value, _digit in enumerate("0123456789abcdef"):
    _DIGITS[[ord(_digit), ord(_digit.upper())]] = _value

Indexes = NDArray[np.intp]

# The marks of a line that can be judged here, in order. Any other shape is left to `sentence.parse`.
_BARE = (_START, _STAR, _END)
_TAGGED = (_BACKSLASH, _STAR, _BACKSLASH, _START, _STAR, _END)


def verify(lines: list[bytes]) -> list[bool]:
    """Which of these lines, that hold no line ends, are of an ordinary shape with only right checksums.

    Ordinary: a sentence, or one TAG block and a sentence, with nothing before, between or behind, each with its
    checksum. False says nothing against a line; it must be looked at by itself.
    """
    if not lines:
        return []
    data = np.frombuffer(b"\n".join(lines) + b"\n\0\0", np.uint8)  # two more, so that star + 2 is always there
    kinds = _KINDS[data]
    places = np.flatnonzero(kinds)
    marks = kinds[places]
    last_marks = np.flatnonzero(marks == _END)
    first_marks = np.concatenate(([0], last_marks[:-1] + 1))
    ends = places[last_marks]
    starts = np.concatenate(([0], ends[:-1] + 1))
    running = np.bitwise_xor.accumulate(data)

    def shaped(shape: tuple[int, ...]) -> tuple[NDArray[np.intp], list[Indexes]]:
        """The lines whose marks are just these, and where in the data each mark stands."""
        which = np.flatnonzero(last_marks - first_marks == len(shape) - 1)
        for step, kind in enumerate(shape):
            which = which[marks[first_marks[which] + step] == kind]
        return which, [places[first_marks[which] + step] for step in range(len(shape))]

    def right(start: Indexes, star: Indexes) -> NDArray[np.bool_]:
        """Whether the digits behind each star are those of the bytes between start and star."""
        given = _DIGITS[data[star + 1]] * 16 + _DIGITS[data[star + 2]]
        agrees: NDArray[np.bool_] = given == running[star - 1] ^ running[start]
        return agrees

    checked = np.zeros(len(lines), np.bool_)
    which, (start, star, end) = shaped(_BARE)
    checked[which] = (start == starts[which]) & (end - star == 3) & right(start, star)
    which, (opened, tag_star, closed, start, star, end) = shaped(_TAGGED)
    in_place = (opened == starts[which]) & (closed - tag_star == 3) & (start - closed == 1) & (end - star == 3)
    checked[which] = in_place & right(opened, tag_star) & right(start, star)
    return checked.tolist()
