"""The decoder: notes, unused sentences, sources, and a memory that stays small."""

import pytest

from parsers.decode import ROUTES_KEPT, SENTENCES, Decoder
from parsers.observations import Heading, Note
from parsers.sentence import RefusalReason
from parsers.tag import Tagged
from tests.parsers.lines import decoded, refused, said, sealed, tagged


def test_time_and_source_come_with_the_line() -> None:
    """Every observation has the stream's time of its line, and who said it."""
    outcome = Decoder("gyro").decode(Tagged("$GPHDT,274.07,T*03"), 12.5)
    (heading,) = outcome.observations

    assert isinstance(heading, Heading)
    assert heading.at_s == 12.5
    assert (heading.source.feed, heading.source.talker, heading.source.formatter) == ("gyro", "GP", "HDT")


def test_a_feed_may_allow_missing_checksums() -> None:
    assert Decoder("gyro", require_checksum=False).decode_line(b"$GPHDT,274.07,T", 0.0).observations
    assert refused("$GPHDT,274.07,T") is RefusalReason.CHECKSUM_MISSING


def test_lower_case_address() -> None:
    """Equipment that writes addresses in lower case is read all the same."""
    assert said(sealed("$gphdt,274.07,T")) == ["Heading heading_deg=274.07"]


@pytest.mark.parametrize("body", ["$GPGSV,3,1,11", "$CCGPQ,GGA", "$PXXX,1", "$GPXYZ,1", "$GPGSV"])
def test_unused_sentences_are_accepted_and_say_nothing(body: str) -> None:
    """Other types, queries, makers' own."""
    assert decoded(sealed(body)) == ()


@pytest.mark.parametrize("formatter", SENTENCES)
def test_a_sentence_with_no_fields_is_refused(formatter: str) -> None:
    assert refused(sealed(f"$II{formatter}")) is RefusalReason.FIELD_MISSING


@pytest.mark.parametrize("formatter", sorted(set(SENTENCES) - {"TTM", "VDM", "VDO", "TTD"}))
def test_a_sentence_of_null_fields_says_nothing(formatter: str) -> None:
    """Null is "not available", never zero, and no fault. (A TTM has a number and a unit, VDM and TTD part numbers.)"""
    assert decoded(sealed(f"$II{formatter}" + "," * 20)) == ()


class TestNotes:
    def test_a_block_carries_a_note(self) -> None:
        heading, note = decoded(tagged("s:MATE,t:sea clutter up", "$GPHDT,274.07,T*03"))

        assert isinstance(heading, Heading)
        assert isinstance(note, Note)
        assert (note.text, note.author) == ("sea clutter up", "in the data, MATE")

    def test_a_note_without_a_sentence(self) -> None:
        (note,) = decoded(sealed("\\s:MATE,t:fog^21") + "\\")

        assert isinstance(note, Note)
        assert note.text == "fog!"

    def test_text_of_a_user_talker(self) -> None:
        assert said(sealed("$U0TXT,01,01,01,gain down, rain up")) == ["Note text=gain down, rain up author=in the data"]

    def test_text_of_a_receiver_is_passed_over(self) -> None:
        assert decoded(sealed("$GPTXT,01,01,02,ANTSTATUS=OK")) == ()


def test_a_flood_of_addresses_is_bounded() -> None:
    """Invented talkers: what is remembered of them stays at its bound."""
    decoder = Decoder("radar")
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    for first in letters:
        for second in letters:
            for third in letters[:4]:
                assert decoder.decode_line(sealed(f"${first}{second}X{third}Y,1").encode(), 0.0).refusal is None

    assert len(decoder._routes) <= ROUTES_KEPT
    assert not decoder.oddities
