"""Helpers for tests of lines: sealing a made sentence with its checksum, decoding one line, telling what it said."""

from functools import reduce
from operator import xor

from parsers.decode import Decoder
from parsers.observations import Observation, TargetReport
from parsers.sentence import RefusalReason


def sealed(body: str) -> str:
    """A sentence with the checksum of what stands behind its first character; the same for a TAG block."""
    return f"{body}*{reduce(xor, body[1:].encode('latin-1'), 0):02X}"


def tagged(block: str, sentence: str) -> str:
    """A sentence with a TAG block in front, both with a right checksum."""
    return sealed("\\" + block) + "\\" + sentence


def decoded(line: str, at_s: float = 1.0) -> tuple[Observation, ...]:
    """The observations of one line that must not be refused."""
    outcome = Decoder("radar").decode_line(line.encode("latin-1"), at_s)

    assert outcome.refusal is None, outcome.refusal
    return outcome.observations


def report(line: str) -> TargetReport:
    """The one target report of a line."""
    (observation,) = decoded(line)
    assert isinstance(observation, TargetReport)
    return observation


def refused(line: str) -> RefusalReason:
    """Why one line was refused, which it must be."""
    outcome = Decoder("radar").decode_line(line.encode("latin-1"), 1.0)

    assert outcome.refusal is not None
    assert outcome.observations == ()
    assert outcome.refusal.detail.isprintable()
    assert len(outcome.refusal.detail) < 300
    return outcome.refusal.reason


def told(observation: Observation) -> str:
    """An observation in words: its type, and those values that differ from None and from the type's defaults."""
    kind = type(observation)
    defaults = dict(
        zip(reversed(kind.__struct_fields__), reversed(kind.__struct_defaults__), strict=False),
    )
    parts = [kind.__name__]
    for name in kind.__struct_fields__:
        value = getattr(observation, name)
        if name in ("at_s", "source") or value is None or (name in defaults and value == defaults[name]):
            continue
        parts.append(f"{name}={value:.10g}" if isinstance(value, float) else f"{name}={value}")
    return " ".join(parts)


def said(line: str) -> list[str]:
    """What one line says, in words."""
    return [told(observation) for observation in decoded(line)]
