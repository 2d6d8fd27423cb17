"""Published sentences with a right checksum, by type, and what they say.

Sources beside each: go-nmea (github.com/adrianmo/go-nmea, doc comments and tests), pynmea2 (its tests), nmea
(github.com/AeroRust/nmea, tests), NOAA (research-ship raw logs of ATOMIC 2020). Checksums were computed again.
"""

import pytest

from parsers.decode import Decoder
from parsers.observations import Observation


def decoded(line: str, feed: str = "radar") -> tuple[Observation, ...]:
    """The observations of one line that must not be refused."""
    outcome = Decoder(feed).decode_line(line.encode("latin-1"), 1.0)

    assert outcome.refusal is None
    return outcome.observations


EXAMPLES = [
    (  # go-nmea
        "$RATTM,02,1.43,170.5,T,0.16,264.4,T,1.42,36.9,N,,T,,,M*2A",
        [
            "TargetReport number=2 range_nm=1.43 bearing_deg=170.5 speed_kn=0.16 course_deg=264.4 cpa_nm=1.42 "
            "tcpa_min=36.9 status=tracking acquisition=manual"
        ],
    ),
    ("$GPHDT,274.07,T*03", ["Heading heading_deg=274.07"]),  # go-nmea
]


def told(observation: Observation) -> str:
    """An observation in words: its type, and the values that differ from a plain default."""
    kind = type(observation)
    defaults = dict(zip(reversed(kind.__struct_fields__), reversed(kind.__struct_defaults__), strict=False))
    parts = [kind.__name__]
    for name in kind.__struct_fields__:
        value = getattr(observation, name)
        if name not in ("at_s", "source") and value is not None and (name not in defaults or value != defaults[name]):
            parts.append(f"{name}={value}")
    return " ".join(parts)


@pytest.mark.parametrize(("line", "expected"), EXAMPLES)
def test_published_example(line: str, expected: list[str]) -> None:
    """Each published sentence gives just these observations."""
    assert [told(observation) for observation in decoded(line)] == expected
