"""Framing and checksums: a file's lines against the plain-Python loop, and the seconds that the worst inputs take.

Run: python -m tests.benchmarks.framing. Prints the ratio beside its bound (10), and each worst case beside its (1 s a
megabyte). The lines are a watch's usual ones: of 32 sentences, 20 are TTM and 12 are own ship's.
"""

import time
from collections.abc import Callable, Iterable, Iterator
from itertools import compress

from parsers.decode import Decoder
from parsers.framing import LIMIT, Framer, frame_block
from tests.benchmarks.figure import Figure, at_least
from tests.parsers.lines import tagged
from tests.parsers.test_framing import WORST

TTM = "$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79"
OWN = [
    "$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B",
    "$GPGGA,195959.00,1541.31258893,N,05130.51204125,W,2,06,1.5,9.2,M,-37.6,M,4.0,0138*7E",
    "$GPHDT,274.07,T*03",
    "$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56",
]
LINES = ([TTM] * 5 + [OWN[2], OWN[i % 4], OWN[3]] for i in range(20_000))


def plain(data: bytes) -> list[bytes]:
    """Each line by itself, each byte of it by itself: the lines whose checksums are right."""
    good = []
    for line in data.splitlines():
        place = 0
        while place < len(line):
            start = place
            value = 0
            place += 1
            while place < len(line) and line[place] != ord("*"):
                value ^= line[place]
                place += 1
            if line[place + 1 : place + 3] != b"%02X" % value:
                break
            place += 4 if line[start] == ord("\\") else 3
        else:
            good.append(line)
    return good


def in_blocks(data: bytes) -> list[bytes]:
    """By frame_block, in reads of a megabyte: the lines whose checksums are right."""
    framer = Framer()
    good: list[bytes] = []
    for start in range(0, len(data), 1 << 20):
        block = frame_block(data[start : start + (1 << 20)], framer)
        good += compress(block.lines, block.checked)
    return good


def fastest(work: Callable[[], object], times: int = 3) -> float:
    """Processor seconds of the best of several runs: the least disturbed one."""
    best = float("inf")
    for _ in range(times):
        began = time.process_time()
        work()
        best = min(best, time.process_time() - began)
    return best


def compare(name: str, lines: Iterable[str]) -> Figure:
    """The ratio of both ways over the same lines."""
    data = "".join(f"{line}\r\n" for line in lines).encode()
    assert plain(data) == in_blocks(data)
    loop, blocks = fastest(lambda: plain(data)), fastest(lambda: in_blocks(data))
    count = data.count(b"\n")
    detail = (
        f" (loop {loop / count * 1e6:.2f} us a line, blocks {blocks / count * 1e6:.2f} us, {len(data) / 1e6:.1f} MB)"
    )
    return at_least(f"framing and checksums of {name} lines over the plain loop", loop / blocks, " x", 10, detail)


def drain(data: bytes, read: int) -> None:
    """All the way: framing, tags, decoding."""
    framer, decoder = Framer(), Decoder("worst")
    for start in range(0, len(data), read):
        for line in framer.feed(data[start : start + read]):
            decoder.decode_line(line, 0.0)
    for line in framer.end():
        decoder.decode_line(line, 0.0)


def worst() -> None:
    cases = dict(WORST)
    cases["long lines of one TAG block"] = (b"\\" + b"c:1," * (LIMIT // 4 - 1) + b"*00\\\n") * 980
    cases["long lines of many TAG blocks"] = (b"\\c*00" * (LIMIT // 5) + b"\n") * 980
    cases["long lines of many beginnings"] = (b"$AAAAA," * (LIMIT // 7) + b"\n") * 980
    cases["long lines of escapes"] = (b"$RATLB" + b",1,^1B^1B" * (LIMIT // 10) + b"*00\n") * 980
    cases["long lines of digits"] = (b" " * 20 + b"1" * (LIMIT - 20) + b"\n") * 980
    for read in (1 << 20, 4096, 1):
        times = []
        for name, data in cases.items():
            began = time.process_time()
            drain(data, read)
            times.append(((time.process_time() - began) / len(data) * 1e6, name))
        slowest = max(times)
        print(f"worst megabyte in reads of {read}: {slowest[0]:.2f} s ({slowest[1]})")


def figures() -> Iterator[Figure]:
    lines = [line for group in LINES for line in group]
    yield compare("bare", lines)
    yield compare("TAG-blocked", [tagged(f"s:RA0001,c:{1800000000250 + i}", line) for i, line in enumerate(lines)])


if __name__ == "__main__":
    for figure in figures():
        print(figure.line())
    worst()
