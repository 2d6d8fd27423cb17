"""TTD, tracked target data in 6-bit armour, from plain numbers. Widths: docs/sentences.md."""

from collections.abc import Iterable, Sequence

from msgspec import Struct

from parsers.encode import sentence


class CompressedTarget(Struct, frozen=True, kw_only=True):
    """One target of a TTD, structure 0. None is 'not available'."""

    number: int
    bearing_deg: float | None
    range_nm: float | None
    speed_kn: float | None = None
    course_deg: float | None = None
    ais_heading_deg: float | None = None
    is_radar: bool = True
    status: int = 4  # 1 acquiring, 2 lost, 4 tracked, 6 tracked with alarm, 7 the same acknowledged
    is_test: bool = False
    relative: bool = False
    water: bool = False
    correlation: int = 0


class CompressedPrediction(Struct, frozen=True, kw_only=True):
    """CPA and TCPA of one target of a TTD, structure 1."""

    number: int
    cpa_nm: float | None
    tcpa_min: float | None


def ttd(
    targets: Sequence[CompressedTarget | CompressedPrediction], *, talker: str = "RA", sequence: int | None = None
) -> list[str]:
    """TTD, tracked targets in 6-bit armour, at most four to a sentence; more become several sentences."""
    groups = [targets[i : i + 4] for i in range(0, len(targets), 4)]
    joined = "" if len(groups) == 1 or sequence is None else f"{sequence % 10}"
    return [
        sentence(f"{talker}TTD,{len(groups):02X},{i:02X},{joined},{','.join(armour(_ttd_bits(group)))}", "!")
        for i, group in enumerate(groups, 1)
    ]


def _ttd_bits(targets: Iterable[CompressedTarget | CompressedPrediction]) -> str:
    return "".join(
        _structure_0(target) if isinstance(target, CompressedTarget) else _structure_1(target) for target in targets
    )


def _structure_0(target: CompressedTarget) -> str:
    heading = 4095 if target.is_radar else _counts(target.ais_heading_deg, 10, 4094, turn=3600)
    return (
        f"{0:02b}{target.number:010b}{_counts(target.bearing_deg, 10, 4095, turn=3600):012b}"
        f"{_counts(target.speed_kn, 10, 4095):012b}{_counts(target.course_deg, 10, 4095, turn=3600):012b}"
        f"{heading:012b}{target.status:03b}{target.is_test:b}{_counts(target.range_nm, 100, 16383):014b}"
        f"{target.relative:b}{target.water:b}{0:02b}{target.correlation:08b}"
    )


def _structure_1(target: CompressedPrediction) -> str:
    # 'None' is 8191 in the one sample seen in public; the text of the definition has -8192. Readers take both.
    tcpa = 8191 if target.tcpa_min is None else max(-8191, min(8190, round(target.tcpa_min * 100)))
    return f"{1:02b}{target.number:010b}{_counts(target.cpa_nm, 100, 16383):014b}{tcpa & 0x3FFF:014b}{0:02b}"


def _counts(value: float | None, per: int, missing: int, turn: int | None = None) -> int:
    """A value in counts, or the count that says 'not available'; too large a value is cut to the largest."""
    if value is None:
        return missing
    counts = round(value * per)
    return counts % turn if turn else max(0, min(missing - 1, counts))


def armour(bits: str) -> tuple[str, str]:
    """6-bit armour of encapsulated sentences: payload and number of fill bits."""
    fill = -len(bits) % 6
    padded = bits + "0" * fill
    sixes = (int(padded[i : i + 6], 2) for i in range(0, len(padded), 6))
    return "".join(chr(six + 48 if six < 40 else six + 56) for six in sixes), str(fill)
