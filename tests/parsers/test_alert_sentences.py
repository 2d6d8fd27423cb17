"""Alert sentences held against the published examples and the field tables; commands in either order."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from parsers import alert_sentences
from parsers.alert_sentences import AlertName, AlertReport
from parsers.decode import Decoded, Decoder
from parsers.encode import sentence
from parsers.observations import AlertCommand

TEN_PAST = 22 * 3600 + 5 * 60 + 16.0
"""220516, the time in the published examples."""


def fields(line: str) -> list[str]:
    """The fields of a sentence whose checksum is right, numbered as the standard numbers them."""
    body, _, check = line[1:].partition("*")
    total = 0
    for character in body:
        total ^= ord(character)
    assert check == f"{total:02X}"
    return body.split(",")


def report(**changes: object) -> AlertReport:
    plain = {
        "name": AlertName("SAL", 1, 1, 2),
        "time_of_day_s": TEN_PAST,
        "category": "B",
        "priority": "A",
        "state": "S",
        "escalation": 0,
        "title": "My alarm",
    }
    return AlertReport(**{**plain, **changes})  # type: ignore[arg-type]


class TestPublishedExamples:
    """Examples of reference-values 6.1 (L2 alf.go, alc.go, arc.go, alr.go; L1 hbt), by their fields.

    They write numbers with leading zeros and no hundredths of seconds; ours are the same values.
    """

    def same(self, ours: str, published: str) -> None:
        """Equal field by field, as numbers where both are numbers."""
        for mine, theirs in zip(fields(ours), fields(published), strict=True):
            both_numbers = mine.replace(".", "").isdigit() and theirs.replace(".", "").isdigit()
            assert mine == theirs or (both_numbers and float(mine) == float(theirs))

    def test_alf(self) -> None:
        """The published one counts from 0 (`1,0,1`) where the table says 1 to 2; the rest is the same."""
        (line,) = alert_sentences.alf(report(), talker="VD")
        published = fields("$VDALF,1,0,1,220516,B,A,S,SAL,001,1,2,0,My alarm*2C")

        self.same(
            sentence(",".join(fields(line)[:2] + published[2:4] + fields(line)[4:])), sentence(",".join(published))
        )

    def test_alc(self) -> None:
        """The published one is the first of two."""
        (line,) = alert_sentences.alc([AlertName("FEB", 1, 2, 3)], sequence=3, talker="FB")
        published = fields("$FBALC,02,01,03,01,FEB,01,02,03*0A")

        self.same(sentence(",".join(["FBALC", "02", *fields(line)[2:]])), sentence(",".join(published)))

    def test_arc(self) -> None:
        """A command refused, as published."""
        line = alert_sentences.arc(TEN_PAST, AlertName("TCK", 2, 1, 1), "A", talker="RA")

        self.same(line, "$RAARC,220516,TCK,002,1,A*73")

    def test_alr(self) -> None:
        """The older alarm: number in three digits, condition, acknowledgement, text."""
        line = alert_sentences.alr(TEN_PAST, 1, exceeded=True, acknowledged=True, text="Bilge pump alarm1", talker="RA")

        assert fields(line) == ["RAALR", "220516.00", "001", "A", "A", "Bilge pump alarm1"]

    def test_hbt(self) -> None:
        """The heartbeat: interval, status, sequence."""
        assert alert_sentences.hbt(30, normal=True, sequence=5, talker="AI") == "$AIHBT,30,A,5*0D"


class TestAlf:
    def test_a_description_goes_into_a_second_sentence_without_what_the_first_has(self) -> None:
        first, second = alert_sentences.alf(report(description="radar-03: CPA 0.12 NM"), sequence=14)

        assert fields(first)[1:4] == ["2", "1", "4"]
        assert fields(second)[1:4] == ["2", "2", "4"]
        assert fields(second)[4:8] == ["", "", "", ""]
        assert fields(second)[8:] == ["SAL", "1", "1", "2", "0", "radar-03: CPA 0.12 NM"]

    def test_a_single_one_has_no_sequence(self) -> None:
        """The sequence number joins two; one alone has none."""
        (line,) = alert_sentences.alf(report(), sequence=7)

        assert fields(line)[1:4] == ["1", "1", ""]

    def test_an_unknown_time_is_null(self) -> None:
        (line,) = alert_sentences.alf(report(time_of_day_s=None))

        assert fields(line)[4] == ""

    @pytest.mark.parametrize(("time_s", "text"), [(0.0, "000000.00"), (86399.996, "000000.00"), (3661.5, "010101.50")])
    def test_times_never_read_24_hours(self, time_s: float, text: str) -> None:
        """A time that rounds up to midnight is 000000."""
        (line,) = alert_sentences.alf(report(time_of_day_s=time_s))

        assert fields(line)[4] == text

    @settings(max_examples=200, deadline=None, derandomize=True)
    @given(
        st.text(max_size=200),
        st.integers(1, 9_999_999),
        st.integers(1, 999_999),
    )
    def test_no_text_makes_it_longer_than_82_characters_or_adds_a_field(
        self, text: str, identifier: int, instance: int
    ) -> None:
        name = AlertName("XXX", identifier, instance, 99)
        for line in alert_sentences.alf(report(name=name, title=text, description=text)):
            assert len(line) + 2 <= 82
            assert line.isascii()
            assert line.isprintable()
            assert len(fields(line)) == 14
            assert "^" not in fields(line)[13][-2:] or fields(line)[13][-3:-2] == "^"  # no escape is cut


class TestAlc:
    def test_many_alerts_take_several_sentences_and_none_gets_lost(self) -> None:
        names = [AlertName("XXX" if n % 2 else "", 10_000 + n, n, 1 + n % 99) for n in range(1, 41)]
        lines = alert_sentences.alc(names, sequence=101)
        found = []
        for number, line in enumerate(lines, 1):
            assert len(line) + 2 <= 82
            assert fields(line)[1:4] == [f"{len(lines):02d}", f"{number:02d}", "01"]
            entries = fields(line)[5:]
            assert int(fields(line)[4]) == len(entries) / 4
            found += [
                AlertName(entries[i], int(entries[i + 1]), int(entries[i + 2]), int(entries[i + 3]))
                for i in range(0, len(entries), 4)
            ]

        assert found == names

    def test_no_alert_is_said_as_well(self) -> None:
        """An empty list is a sentence: silence would mean a broken line."""
        (line,) = alert_sentences.alc([])

        assert fields(line) == ["IIALC", "01", "01", "00", "00"]


class TestCommandsIn:
    def decode(self, body: str) -> Decoded:
        return Decoder("bridge").decode_line(sentence(body).encode(), 5.0)

    def command(self, body: str) -> AlertCommand:
        (command,) = self.decode(body).observations
        assert isinstance(command, AlertCommand)
        return command

    @pytest.mark.parametrize("order", ["A,C", "C,A"])
    def test_acn_in_both_field_orders(self, order: str) -> None:
        command = self.command(f"RAACN,220516,TCK,3044,17,{order}")

        assert (command.command, command.identifier, command.instance) == ("acknowledge", 3044, 17)
        assert (command.mnemonic, str(command.source)) == ("TCK", "bridge/RAACN")

    @pytest.mark.parametrize(
        ("letter", "word"), [("A", "acknowledge"), ("S", "silence"), ("Q", "request"), ("O", "transfer")]
    )
    def test_every_command_letter(self, letter: str, word: str) -> None:
        command = self.command(f"RAACN,,,0,,{letter},C")

        assert (command.command, command.identifier, command.instance) == (word, 0, None)

    def test_the_older_ack(self) -> None:
        """ACK names the number that ALR gave, and no instance."""
        command = self.command("VRACK,001")

        assert (command.command, command.identifier, command.instance) == ("acknowledge", 1, None)

    @pytest.mark.parametrize(
        ("body", "reason"),
        [
            ("RAACN,220516,TCK,002,1,X,C", "flag unknown"),
            ("RAACN,220516,TCK,,1,A,C", "field missing"),
            ("RAACN,220516,TCK,-2,1,A,C", "number malformed"),
            ("RAACN,220516,TCK,99999999,1,A,C", "out of range"),
            ("RAACN,220516,TCK,3044,1000000,A,C", "out of range"),
            ("RAACN,220516,TCK,3044", "field missing"),
            ("VRACK,1000", "out of range"),
            ("VRACK", "field missing"),
            ("VRACK,1.5", "number malformed"),
        ],
    )
    def test_what_could_hit_another_alert_is_refused(self, body: str, reason: str) -> None:
        refusal = self.decode(body).refusal
        assert refusal is not None
        assert refusal.reason == reason

    def test_one_that_is_no_command_commands_nothing(self) -> None:
        """Flag R is a report of what somebody else has done."""
        assert self.decode("RAACN,220516,TCK,3044,1,A,R") == Decoded()
