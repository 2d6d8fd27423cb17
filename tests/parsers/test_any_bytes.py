"""Any bytes whatever: nothing unhandled, every byte and every line accounted for, nothing that is not finite."""

from hypothesis import example, given, settings
from hypothesis import strategies as st

from parsers.decode import SENTENCES, Decoder
from parsers.sentence import RefusalReason
from tests.faults.fuzz_parsers import Tally, hold, run
from tests.parsers.lines import sealed


def test_a_hundred_thousand_mutated_and_random_lines() -> None:
    """Real lines mutated, fields changed under a right checksum, random bytes: each line is accepted or refused."""
    tally = run(inputs=100_000, seed=20_260_301)

    assert tally.inputs == 100_000
    assert tally.lines == tally.accepted + tally.refused.total()
    assert tally.lines > 90_000
    # The mutations must reach everything, or this shows nothing.
    assert tally.observations > 20_000
    assert set(tally.refused) == set(RefusalReason)


@settings(derandomize=True, max_examples=300, deadline=None)
@given(st.binary(max_size=400), st.integers(0, 400))
@example(b"$PVTX*0E\r\n", 3)
@example(b"!AIVDM,1,1,,B,177KQJ5000G?tO`K>RA1wUbN0TKH,0*5C" * 3, 60)
def test_any_bytes(data: bytes, cut: int) -> None:
    hold(data, min(cut, len(data)), Decoder("radar"), Tally())


FORMATTERS = sorted(set(SENTENCES) - {"TXT"})
JUNK = st.text(st.characters(max_codepoint=255, exclude_characters="\r\n\0"), max_size=12)


@settings(derandomize=True, max_examples=500, deadline=None)
@given(st.sampled_from(FORMATTERS), st.lists(JUNK, min_size=1, max_size=20))
def test_any_fields_under_a_right_checksum(formatter: str, fields: list[str]) -> None:
    """What the readers of fields meet once the frame is right."""
    line = sealed(f"$RA{formatter}," + ",".join(fields))

    hold(line.encode("latin-1"), len(line), Decoder("radar"), Tally())
