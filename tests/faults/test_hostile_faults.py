"""Floods of identities: every line is accounted for and memory stays flat.

A million lines of each: tests.benchmarks.reliability.
"""

import pytest

from parsers.decode import Decoder
from tests.faults import hostile_faults as faults


@pytest.mark.parametrize("what", list(faults.FLOODS))
def test_a_flood_of_identities(what: str) -> None:
    """Some thousands of each, through the whole core."""
    assert faults.flood_of(what, 3000).bad == []


def test_the_floods_are_what_they_claim() -> None:
    """Each line is a right sentence: a flood that is refused at the door would test nothing."""
    decoder = Decoder("udp")
    for what, make in faults.FLOODS.items():
        decoded = [decoder.decode_line(make(number), 0.0) for number in range(50)]

        assert not any(one.refusal for one in decoded), what
        assert what == "TAG groups" or sum(bool(one.observations) for one in decoded) > 45, what
