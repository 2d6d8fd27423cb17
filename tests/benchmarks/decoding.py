"""One sentence of each type, from bytes to observations, beside pynmea2's parse and reading of all fields.

Run: python -m tests.benchmarks.decoding. Microseconds of processor time. "Checked" lines come from a file's block,
whose checksums are known; "bare" ones from a live feed. Aims: HDT 3, TTM 6.
"""

import platform
from collections.abc import Callable
from time import process_time
from timeit import repeat

import pynmea2

from parsers.decode import Decoder
from tests.faults.fuzz_parsers import SEEDS

AIMS_US = {"HDT": 3.0, "TTM": 6.0}
NUMBER = 20_000


def microseconds(work: Callable[[], object]) -> float:
    """The best of five runs: the least disturbed one."""
    return min(repeat(work, timer=process_time, number=NUMBER, repeat=5)) / NUMBER * 1e6


def theirs(line: str) -> None:
    sentence = pynmea2.parse(line, check=True)
    for field in sentence.fields:
        getattr(sentence, field[1])


def main() -> None:
    print(f"Python {platform.python_version()}, {platform.machine()}: microseconds of processor time, best of five")
    seen: set[str] = set()
    for line in SEEDS:
        formatter = line[3:6]
        if line[0] not in "$!" or formatter in seen:
            continue
        seen.add(formatter)
        decoder, data = Decoder("bench"), line.encode()
        bare = microseconds(lambda d=data, w=decoder: w.decode_line(d, 0.0))  # type: ignore[misc]
        checked = microseconds(lambda d=data, w=decoder: w.decode_line(d, 0.0, True))  # type: ignore[misc]
        text = f"{formatter}: bare {bare:5.2f}, checked {checked:5.2f}"
        if formatter in pynmea2.TalkerSentence.sentence_types:
            text += f", pynmea2 with all fields {microseconds(lambda d=line: theirs(d)):5.2f}"  # type: ignore[misc]
        print(text + (f" (aim {AIMS_US[formatter]:g})" if formatter in AIMS_US else ""))


if __name__ == "__main__":
    main()
