"""Any bytes, cut anyhow: no exception, all bytes accounted for, no number that is not finite, no text not printable.

    python -m tests.faults.fuzz_parsers [--inputs 1000000] [--seed 1]

Coverage-guided with atheris where that is installed (`--atheris`), else a seeded mutator of real lines. Prints inputs,
lines, what was accepted and refused by reason. Not covered: decoding with more than one feed, reads larger than 4 kB.
"""

import argparse
import importlib
import math
import random
import sys
import time
from collections import Counter
from collections.abc import Iterator

from msgspec import Struct, field

from parsers.decode import Decoder
from parsers.framing import Framer
from parsers.observations import Observation
from parsers.sentence import Refusal, RefusalReason
from parsers.tag import untag
from tests.parsers.lines import sealed, tagged

SEEDS = [
    "$RATTM,02,1.43,170.5,T,0.16,264.4,T,1.42,36.9,N,,T,,,M*2A",
    "$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,TGT01,T,,100021.00,A*79",
    "$RATLL,1,3646.54266,N,00235.37778,W,test,020915,L,R*78",
    "$RAOSD,359.3,A,355.2,P,3.3,P,350.5,1.6,N*4F",
    "$RARSD,0.00,,2.50,005.0,0.00,,4.50,355.0,,,3.0,N,H*51",
    "$GPHDT,274.07,T*03",
    "$HCHDG,98.3,0.0,E,12.6,W*57",
    "$HCHDM,093.8,M*2B",
    "$INTHS,123.456,A*20",
    "$VWVHW,45.0,T,43.0,M,3.5,N,6.4,K*56",
    "$VMVBW,-7.1,0.1,A,,,V,,V,,V*65",
    "$GPVTG,220.86,T,,M,2.550,N,4.724,K,A*34",
    "$GPRMC,195959.00,A,1541.31258893,N,05130.51204125,W,0.26,147.44,140120,16.9,W,D*0B",
    "$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
    "$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
    "$GNGNS,014035.00,4332.69262,S,17235.48549,E,RR,13,0.9,25.63,11.24,,*70",
    "$GPZDA,195959.00,14,01,2020,00,00*6A",
    "$HEROT,-11.23,A*07",
    "$IIVDR,10.1,T,12.3,M,1.2,N*3A",
    "$GPDTM,W84,,0.0,N,0.0,E,0.0,W84*6F",
    "$SDDPT,3.5,0.-6,*56",
    sealed("$SDDBT,11.5,f,3.5,M,1.9,F"),
    sealed("$RATLB,1,ALPHA,2.0,,3,B^2CC"),
    sealed("$U0TXT,01,01,01,gain down^2C rain up"),
    "!RATTD,01,01,,CUwwowtCVwwowtCWwwowt,0*30",
    "!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C",
    "!AIVDM,2,1,1,A,55?MbV02;H;s<HtKR20EHE:0@T4@Dn2222222216L961O5Gf0NSQEp6ClRp8,0*1C",
    "!AIVDM,2,2,1,A,88888888880,2*25",
    "!AIVDM,1,1,,B,C5N3SRgPEnJGEBT>NhWAwwo862PaLELTBJ:V00000000S0D:R220,0*0B",
    "!AIVDM,1,1,,A,H42O55lti4hhhilD3nink000?050,0*40",
    tagged("s:RA0001,c:1800000000250,n:7,g:1-2-34,t:fog^21", "$GPHDT,274.07,T*03"),
    "\\d:HE0002*51\\\\s:HE0001*45\\$HEHDT,234.76,T*1b",
    "2017-11-04T05:12:19.275337Z $HEHDT,234.76,T*1b",
]
_TELLING = [
    b"$",
    b"!",
    b"\\",
    b"*",
    b",",
    b"\r",
    b"\n",
    b"\0",
    b"^1B",
    b"-",
    b".",
    b"e9",
    b"nan",
    b"\xff",
    b"\xc2\x85",
    b" ",
]


class Tally(Struct):
    """What the inputs so far came to."""

    inputs: int = 0
    lines: int = 0
    accepted: int = 0
    observations: int = 0
    refused: Counter[str] = field(default_factory=Counter)


def hold(data: bytes, cut: int, decoder: Decoder, tally: Tally) -> None:
    """One input through framing, tags and decoding; AssertionError where the first line of this file does not hold."""
    framer = Framer()
    lines = framer.feed(data[:cut]) + framer.feed(data[cut:]) + framer.end()
    counts = framer.counts
    assert counts.bytes_read == len(data)
    assert counts.balanced
    assert counts.waiting == 0
    for line in lines:
        tally.lines += 1
        found = untag(line)
        outcome = None if isinstance(found, Refusal) else decoder.decode(found, float(tally.inputs))
        refusal = found if isinstance(found, Refusal) else outcome.refusal if outcome else None
        if refusal is not None:
            assert refusal.reason in RefusalReason
            assert refusal.detail.isascii()
            assert refusal.detail.isprintable()
            tally.refused[refusal.reason] += 1
            continue
        tally.accepted += 1
        for observation in outcome.observations if outcome else ():
            tally.observations += 1
            sound(observation)
    tally.inputs += 1


def sound(value: object) -> None:
    """No number that is not finite, no text that is not printable, at any depth."""
    if isinstance(value, float):
        assert math.isfinite(value)
    elif isinstance(value, str):
        assert value.isprintable()
    elif isinstance(value, Struct):
        for name in value.__struct_fields__:
            sound(getattr(value, name))
        if isinstance(value, Observation):
            in_range(value)
    elif isinstance(value, tuple):
        for part in value:
            sound(part)


def in_range(observation: Observation) -> None:
    """Angles in [0, 360), positions on the globe, ranges and speeds that can be."""
    for name in observation.__struct_fields__:
        value = getattr(observation, name)
        if value is None:
            continue
        if name in ("heading_deg", "cog_deg", "course_deg", "bearing_deg", "set_deg"):
            assert 0.0 <= value < 360.0
        elif name == "lat_deg":
            assert -90.0 <= value <= 90.0
        elif name == "lon_deg":
            assert -180.0 <= value <= 180.0
        elif name in ("range_nm", "cpa_nm", "range_scale_nm", "sog_kn", "speed_kn", "drift_kn", "depth_m"):
            assert value >= 0.0


def mutated(rng: random.Random) -> Iterator[bytes]:
    """Real lines, some with a field changed and the checksum made right again, some with bytes changed, some random."""
    seeds = [seed.encode("latin-1") for seed in SEEDS]
    while True:
        line = rng.choice(seeds)
        kind = rng.random()
        if kind < 0.45 and line[:1] in (b"$", b"!"):
            yield _with_field_changed(line, rng, seeds)
        elif kind < 0.9:
            yield _with_bytes_changed(line, rng)
        else:
            yield rng.randbytes(rng.randrange(200))


def _with_field_changed(line: bytes, rng: random.Random, seeds: list[bytes]) -> bytes:
    """The checksum is right, so that the readers of fields meet the junk."""
    fields = line.rpartition(b"*")[0].split(b",")
    for _ in range(rng.randrange(1, 3)):
        place = rng.randrange(1, len(fields)) if len(fields) > 1 else 0
        other = rng.choice(seeds).rpartition(b"*")[0].split(b",")
        junk = [b"", rng.choice(other), rng.choice(_TELLING), b"9" * rng.randrange(40)]
        fields[place] = rng.choice(
            [*junk, fields[place][1:], b"-" + fields[place], fields[place] + rng.choice(_TELLING)]
        )
    if rng.random() < 0.1:
        del fields[rng.randrange(len(fields)) :]
    return sealed(b",".join(fields).decode("latin-1")).encode("latin-1")


def _with_bytes_changed(line: bytes, rng: random.Random) -> bytes:
    data = bytearray(
        line + rng.choice([b"", b"\r\n", b"\n"]) + (rng.choice(SEEDS).encode() if rng.random() < 0.2 else b"")
    )
    for _ in range(rng.randrange(1, 4)):
        place = rng.randrange(len(data) + 1)
        action = rng.random()
        if action < 0.4 and place < len(data):
            data[place] ^= 1 << rng.randrange(8)
        elif action < 0.6:
            del data[place : place + rng.randrange(1, 9)]
        elif action < 0.9:
            data[place:place] = rng.choice(_TELLING)
        else:
            data[place:place] = rng.randbytes(rng.randrange(1, 9))
    return bytes(data)


def run(inputs: int, seed: int) -> Tally:
    """So many mutated inputs through one decoder."""
    rng = random.Random(seed)
    source = mutated(rng)
    tally, decoder = Tally(), Decoder("fuzz")
    for _ in range(inputs):
        data = next(source)
        try:
            hold(data, rng.randrange(len(data) + 1), decoder, tally)
        except Exception:
            print(f"seed {seed}, input {tally.inputs}: {data!r}", file=sys.stderr)
            raise
    return tally


def run_atheris(arguments: list[str]) -> None:
    """Coverage-guided, without an end of its own; takes libFuzzer's options behind `--`."""
    atheris = importlib.import_module("atheris")  # by name, since it is no dependency
    atheris.instrument_all()
    tally, decoder = Tally(), Decoder("fuzz")
    atheris.Setup([sys.argv[0], *arguments], lambda data: hold(data, len(data) // 2, decoder, tally))
    atheris.Fuzz()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--inputs", type=int, default=1_000_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--atheris", action="store_true")
    options, rest = parser.parse_known_args()
    if options.atheris:
        run_atheris(rest)
        return
    began = time.perf_counter()
    tally = run(options.inputs, options.seed)
    print(f"{tally.inputs} inputs (seed {options.seed}) in {time.perf_counter() - began:.0f} s: {tally.lines} lines,")
    print(f"{tally.accepted} accepted with {tally.observations} observations, {tally.refused.total()} refused:")
    for reason, count in tally.refused.most_common():
        print(f"  {count:9} {reason}")


if __name__ == "__main__":
    main()
