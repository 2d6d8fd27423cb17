"""A line's text to its address and fields, or a refusal with its reason."""

import pytest

from parsers.sentence import SHOWN, Refusal, RefusalReason, Sentence, parse, shown, split_address
from tests.parsers.lines import sealed


def test_fields_count_from_one() -> None:
    """Field 0 is the address, so that fields have the standard's numbers."""
    sentence = parse("$GPHDT,274.07,T*03")

    assert sentence == Sentence("$", "GP", "HDT", ["GPHDT", "274.07", "T"])


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("$GPHDT,274.07,T*04", RefusalReason.CHECKSUM_WRONG),
        ("$GPHDT,274.07,T", RefusalReason.CHECKSUM_MISSING),
        ("$GPHDT,274.07,T*", RefusalReason.CHECKSUM_MALFORMED),
        ("$GPHDT,274.07,T*3", RefusalReason.CHECKSUM_MALFORMED),
        ("$GPHDT,274.07,T* 3", RefusalReason.CHECKSUM_MALFORMED),
        ("$GPHDT,274.07,T*003", RefusalReason.CHECKSUM_MALFORMED),
        ("$GPHDT,274.07,T*03x", RefusalReason.CHECKSUM_MALFORMED),
        (sealed("$GP,274.07,T"), RefusalReason.ADDRESS),
        (sealed("$GPHDTX,274.07,T"), RefusalReason.ADDRESS),
        (sealed("$GP HDT,274.07,T"), RefusalReason.ADDRESS),
        (sealed("$"), RefusalReason.ADDRESS),
    ],
)
def test_refusals(text: str, reason: RefusalReason) -> None:
    """Each fault of the frame by its own reason."""
    refusal = parse(text)

    assert isinstance(refusal, Refusal)
    assert refusal.reason is reason


@pytest.mark.parametrize("text", ["$HEHDT,234.76,T*1b", "$HEHDT,234.76,T*1B", "$HEHDT,234.76,T*1B \t"])
def test_lower_case_digits_and_trailing_blanks_are_accepted(text: str) -> None:
    assert isinstance(parse(text), Sentence)


def test_a_missing_checksum_may_be_allowed_but_not_a_wrong_one() -> None:
    """A feed that may leave checksums out must still not give wrong ones."""
    assert isinstance(parse("$GPHDT,274.07,T", require_checksum=False), Sentence)
    assert isinstance(parse("$GPHDT,274.07,T*04", require_checksum=False), Refusal)
    assert isinstance(parse("$GPHDT,274.07,T*", require_checksum=False), Refusal)


@pytest.mark.parametrize(
    ("address", "parts"),
    [
        ("GPHDT", ("GP", "HDT")),
        ("gphdt", ("GP", "HDT")),
        ("PUBX", ("P", "UBX")),
        ("CCGPQ", ("CC", "GPQ")),
        ("PX", None),
        ("GPHD", None),
        ("GPHDT\u00b2", None),
    ],
)
def test_addresses(address: str, parts: tuple[str, str] | None) -> None:
    """Talker and formatter; a maker's own address; a query."""
    assert split_address(address) == parts


def test_what_a_refusal_shows_is_harmless() -> None:
    """No byte of a foreign text reaches a terminal as it is, and not many at all."""
    text = shown("\x1b]0;title\x07\u202e\xff" + "A" * 10_000)

    assert text.isascii()
    assert text.isprintable()
    assert len(text) <= 4 * SHOWN + 10
