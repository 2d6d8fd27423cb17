"""Names, labels and notes from the wire are made printable and short before anything else sees them."""

import pytest

from parsers.text import NAME_LENGTH, clean
from tests.parsers.lines import decoded, sealed


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("TGT01", "TGT01"),
        ("  two  words ", "two  words"),
        ("", ""),
        ("a^2Cb^2Ac^5E", "a,b*c^"),
        ("a^2", "a^2"),
        ("^1B[31mred^07", "[31mred"),
        ("\x1b]0;owned\x07x", "]0;ownedx"),
        ("Sj\xf6", "Sj\xf6"),
        ("Sj\xc3\xb6", "Sj\xf6"),
        ("abc\xe2\x80\xaedef", "abcdef"),
        ("a\xe2\x80\x8bb\xc2\x85c\xc2\xad", "abc"),
        ("a\xad\x85b", "ab"),
        ("e\xcc\x81\xcc\x81\xcc\x81", "\xe9"),
        ("\x00\x7f\x80\x9f", ""),
        ("A" * 10_000, "A" * NAME_LENGTH),
        ("\x01" * 10_000 + "A", ""),
        ("<b>[red]'; DROP", "<b>[red]'; DROP"),
    ],
)
def test_clean(text: str, kept: str) -> None:
    """Escapes decoded, UTF-8 taken for what it is, all that is not printable dropped, the rest cut."""
    assert clean(text) == kept


def test_a_hostile_name_reaches_nobody() -> None:
    """A target's name with a terminal escape, a direction mark and a length of its own comes out harmless."""
    name = "^1B[2J\xe2\x80\xae" + "X" * 200
    (report,) = decoded(sealed(f"$RATTM,01,0.2,190.8,T,12.1,109.7,T,0.1,0.5,N,{name},T,,100021.00,A"))
    text = report.name  # type: ignore[attr-defined]

    assert text.isprintable()
    assert len(text) == NAME_LENGTH
    assert text.startswith("[2JX")
