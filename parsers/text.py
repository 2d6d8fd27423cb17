"""Texts from the wire (names, labels, notes) to something that can be carried about without harm.

Wire text is hostile: terminal escapes, control bytes, marks that reverse the direction of writing, ten thousand
characters. What leaves here is printable and short. Markup, HTML and quoting are the matter of whoever shows it.
"""

import re
import unicodedata
from contextlib import suppress

NAME_LENGTH = 32
"""Characters kept of a name or label. An AIS name has 20; the longest name seen in a recording of TTM had 18."""

NOTE_LENGTH = 400
"""Characters kept of a watchkeeper's note: five full TAG blocks."""

_ESCAPE = re.compile(r"\^([0-9A-Fa-f]{2})")


def clean(text: str, length: int = NAME_LENGTH) -> str:
    """Decode `^hh`, take UTF-8 for what it is, drop all that is not printable, and cut.

    `text` is ISO 8859-1 decoded bytes. Equipment that writes UTF-8 against the rule exists; bytes that are valid UTF-8
    and hold a high bit are taken as such.
    """
    if text.isascii() and text.isprintable() and "^" not in text:
        return text.strip()[:length].rstrip()
    text = text[: length * 16]  # enough for any escape of every character; bounds the work below
    if not text.isascii():
        with suppress(UnicodeError):
            text = text.encode("latin-1").decode("utf-8")
    text = _ESCAPE.sub(lambda match: chr(int(match[1], 16)), text)
    text = unicodedata.normalize("NFC", text)  # so that dropping piled-up marks leaves ordinary accents alone
    kept = "".join(c for c in text if c.isprintable() and not unicodedata.combining(c))
    return kept.strip()[:length].rstrip()
