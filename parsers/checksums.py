"""The checksums of many lines at once.

Against a check of each line by itself this takes less than a tenth of the time (tests/benchmarks/framing.py prints the
ratio).
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

    Ordinary: a sentence, or one TAG block and a sentence, with nothing before, between or behind, neither of them
    empty, each with its checksum. False says nothing against a line; it must be looked at by itself.
    """
    if not lines:
        return []
    data = np.frombuffer(b"\n".join(lines) + b"\n\0\0", np.uint8)  # two more, so that star + 2 is always there
    # Five comparisons and their union take a fifth of the time of looking every byte up in _KINDS (measured).
    ends, stars, backslashes = data == ord("\n"), data == ord("*"), data == ord("\\")
    places = np.flatnonzero(ends | stars | backslashes | (data == ord("$")) | (data == ord("!")))
    marks = _KINDS[data[places]]
    last_marks = np.flatnonzero(marks == _END)
    first_marks = np.concatenate(([0], last_marks[:-1] + 1))
    starts = np.concatenate(([0], places[last_marks[:-1]] + 1))

    def shaped(shape: tuple[int, ...]) -> tuple[NDArray[np.intp], list[Indexes]]:
        """The lines whose marks are just these, and where in the data each mark stands."""
        which = np.flatnonzero(last_marks - first_marks == len(shape) - 1)
        firsts = first_marks[which]
        agrees = np.ones(len(which), np.bool_)
        for step, kind in enumerate(shape):
            agrees &= marks[firsts + step] == kind
        which, firsts = which[agrees], firsts[agrees]
        return which, [places[firsts + step] for step in range(len(shape))]

    def right(start: Indexes, star: Indexes) -> NDArray[np.bool_]:
        """Whether the digits behind each star are those of the bytes between start and star."""
        given = _DIGITS[data[star + 1]] * 16 + _DIGITS[data[star + 2]]
        if not len(star):
            return np.zeros(0, np.bool_)
        # From each start to its star, and from there to the next start; every second result is wanted.
        computed = np.bitwise_xor.reduceat(data, np.column_stack((start + 1, star)).ravel())[::2]
        agrees: NDArray[np.bool_] = (given == computed) & (star - start > 1)
        return agrees

    checked = np.zeros(len(lines), np.bool_)
    which, (start, star, end) = shaped(_BARE)
    checked[which] = (start == starts[which]) & (end - star == 3) & right(start, star)
    which, (opened, tag_star, closed, start, star, end) = shaped(_TAGGED)
    in_place = (opened == starts[which]) & (closed - tag_star == 3) & (start - closed == 1) & (end - star == 3)
    checked[which] = in_place & right(opened, tag_star) & right(start, star)
    return checked.tolist()
