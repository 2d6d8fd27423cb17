"""Texts meant for people: TXT."""

from parsers.definitions import Fields
from parsers.numbers import Reading
from parsers.observations import Note, Observation
from parsers.text import NOTE_LENGTH, clean

TXT = Fields("TXT", "num_msg", "msg_num", "msg_type", "text")

IN_THE_DATA = "in the data"
"""The author of a note that came with the sentences. Who wrote it is not known; it never passes for one of our own."""

_USERS = frozenset(f"U{digit}" for digit in "0123456789")


def txt(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """A note from a talker that is set by the user. What receivers write about themselves is passed over.

    A comma that should have been written `^2C` does not cut the text.
    """
    if reading.source.talker not in _USERS:
        return ()
    text = clean(",".join(fields[4:]), NOTE_LENGTH)
    return (Note(at_s=reading.at_s, source=reading.source, text=text, author=IN_THE_DATA),) if text else ()
