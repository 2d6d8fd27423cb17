"""Alert sentences over a real pseudo-terminal and loopback UDP, and commands that come back."""

import os
import socket
import tty
from collections.abc import Iterator

import msgspec
import pytest

from alerts.annunciators import outputs
from alerts.annunciators.face import AnnunciatorError
from alerts.annunciators.sentences import Sentences
from alerts.annunciators.settings import Sentences as SentencesSettings
from alerts.events import Alert
from alerts.identifiers import TITLES, alarm_number, instance_of, obey
from alerts.lookout import Lookout, LookoutSettings
from alerts.plotting.terms import Priority
from alerts.rules.findings import Finding, Phase
from alerts.rules.situation import Situation
from alerts.settings import RULES
from parsers.decode import Decoder
from parsers.encode import sentence
from parsers.observations import AlertCommand
from tests.alerts.watch import DANGER, Watch, but, moment
from tests.parsers.test_alert_sentences import fields


class Kept:
    """An output that keeps its lines."""

    def __init__(self) -> None:
        self.lines: list[str] = []

    def write(self, lines: list[bytes]) -> None:
        for line in lines:
            assert line.endswith(b"\r\n")
            self.lines.append(line.decode("ascii").strip())

    def close(self) -> None:
        """Nothing is open."""


@pytest.fixture
def watch() -> Watch:
    """A watch with one alarm, id 1."""
    watch = Watch()
    watch.plots(0, 9, DANGER)
    return watch


def sent(watch: Watch, **settings: object) -> tuple[Sentences, Kept]:
    kept = Kept()
    annunciator = Sentences(msgspec.convert(settings, SentencesSettings), kept)
    annunciator.tell([*watch.notices, *watch.refused])
    return annunciator, kept


class TestOut:
    def test_an_alarm_is_two_alf_sentences(self, watch: Watch) -> None:
        _, kept = sent(watch)
        first, second = map(fields, kept.lines)

        assert first[4:] == ["080006.00", "A", "A", "V", "", "3044", "1", "1", "0", "CPA/TCPA"]
        assert second[13] == "radar-03: CPA 0.12 NM (0.02 to 0.31) in 11.4 min, "[: len(second[13])]
        assert len(second[13]) > 30

    def test_each_state_has_its_letter(self, watch: Watch) -> None:
        watch.silence(10)
        watch.acknowledge(11)
        watch.plots(12, 40, but(DANGER, tcpa_min=-1.0, bow_crossing_min=None))
        _, kept = sent(watch)

        letters = [fields(line)[7] for line in kept.lines if fields(line)[2] == "1"]
        assert letters == ["V", "S", "A", "N"]

    def test_a_caution_that_is_active_has_the_letter_a(self) -> None:
        watch = Watch()
        watch.tick(0, Situation(clock_jump_s=60.0))
        _, kept = sent(watch)

        assert fields(kept.lines[0])[6:10] == ["C", "A", "XXX", "10016"]

    def test_the_list_holds_what_is_not_normal_and_the_heart_beats(self, watch: Watch) -> None:
        annunciator, kept = sent(watch)
        kept.lines.clear()
        annunciator.idle(100.0)
        annunciator.idle(129.0)
        annunciator.idle(130.0)

        assert [fields(line)[0] for line in kept.lines] == ["IIALC", "IIHBT", "IIALC", "IIHBT"]
        assert fields(kept.lines[0])[4:] == ["01", "", "3044", "1", "1"]
        assert [fields(line)[3] for line in kept.lines[1::2]] == ["0", "1"]

    def test_what_has_ended_leaves_the_list(self, watch: Watch) -> None:
        watch.acknowledge(10)
        watch.plots(12, 40, but(DANGER, tcpa_min=-1.0, bow_crossing_min=None))
        annunciator, kept = sent(watch)
        kept.lines.clear()
        annunciator.idle(0.0)

        assert fields(kept.lines[0])[4:] == ["00"]

    def test_older_equipment_gets_alr_alone(self, watch: Watch) -> None:
        watch.acknowledge(10)
        annunciator, kept = sent(watch, older=True)
        annunciator.idle(0.0)

        assert [fields(line)[:5] for line in kept.lines] == [
            ["IIALR", "080006.00", "001", "A", "V"],
            ["IIALR", "080010.00", "001", "A", "A"],
            ["IIALR", "080010.00", "001", "A", "A"],
        ]

    def test_alr_says_when_it_is_over(self, watch: Watch) -> None:
        """Condition V when it has ended; acknowledgement A only once somebody has acknowledged it."""
        watch.plots(12, 40, but(DANGER, tcpa_min=-1.0, bow_crossing_min=None))
        watch.acknowledge(50)
        _, kept = sent(watch, older=True)

        assert [fields(line)[3:5] for line in kept.lines] == [["A", "V"], ["V", "V"], ["V", "A"]]

    def test_every_rule_has_an_identifier_of_its_own_and_a_title_that_fits(self) -> None:
        assert TITLES.keys() == {*RULES, "self_test"}
        assert len({identifier for identifier, _, _ in TITLES.values()}) == len(TITLES)
        assert all(len(title) <= 16 for _, _, title in TITLES.values())
        assert {category for _, category, _ in TITLES.values()} == {"A", "B"}

    def test_numbers_stay_in_their_fields_for_any_id(self) -> None:
        assert [instance_of(n) for n in (1, 999_999, 1_000_000)] == [1, 999_999, 1]
        assert [alarm_number(n) for n in (1, 999, 1000)] == [1, 999, 1]


class TestBack:
    def command(self, body: str, feed: str = "bridge") -> AlertCommand:
        (command,) = Decoder(feed).decode_line(sentence(body).encode(), 12.0).observations
        assert isinstance(command, AlertCommand)
        return command

    def obey(self, watch: Watch, body: str, feed: str = "bridge") -> list[str]:
        changed = obey(watch.book, moment(12), self.command(body, feed), ("bridge",))
        watch._drain()
        return [str(event.state) for event in changed]

    @pytest.mark.parametrize(
        "body",
        ["RAACN,,,3044,1,A,C", "RAACN,,,3044,1,C,A", "RAACN,,,3044,0,A,C", "RAACN,,,0,,A,C", "RAACK,001", "RAACK,000"],
    )
    def test_acknowledges_what_it_names(self, watch: Watch, body: str) -> None:
        assert self.obey(watch, body) == ["active-acknowledged"]

    def test_silences(self, watch: Watch) -> None:
        assert self.obey(watch, "RAACN,,,3044,1,S,C") == ["active-silenced"]

    @pytest.mark.parametrize("body", ["RAACN,,,3044,2,A,C", "RAACN,,,3052,1,A,C", "RAACK,002", "RAACN,,,3044,1,O,C"])
    def test_what_names_no_alert_or_cannot_be_done_is_refused_by_arc(self, watch: Watch, body: str) -> None:
        assert self.obey(watch, body) == []
        _, kept = sent(watch)
        assert fields(kept.lines[-1])[0] == "IIARC"
        assert fields(kept.lines[-1])[1] == "080012.00"

    def test_from_a_feed_that_is_not_named_it_is_refused(self, watch: Watch) -> None:
        assert self.obey(watch, "RAACN,,,3044,1,A,C", feed="radar") == []
        assert watch.refused[-1].reason == "feed radar may not command alerts"
        assert watch.book.standing(moment(13))[0].state == "active-unacknowledged"

    def test_a_request_tells_again_without_sound(self, watch: Watch) -> None:
        before = len(watch.notices)
        assert self.obey(watch, "RAACN,,,3044,1,Q,C") == []

        (again,) = watch.notices[before:]
        assert (str(again.why), again.audible) == ("requested", False)

    def test_through_the_lookout_only_from_the_feeds_that_may(self) -> None:
        lookout = Lookout(LookoutSettings(command_feeds=("bridge",)))
        finding = Finding(
            rule="closest_approach", target="radar-03", phase=Phase.RAISED, priority=Priority.ALARM, text="", values={}
        )
        lookout.judging.alerts.take(moment(1), [finding])
        states = []
        for feed in ("radar", "bridge"):
            lookout.take(moment(12), [self.command("RAACN,,,3044,1,A,C", feed)])
            states.append([event.state for _, event in lookout.flush() if isinstance(event, Alert)])

        assert states == [[], ["active-acknowledged"]]


@pytest.fixture
def pty() -> Iterator[tuple[int, str]]:
    master, slave = os.openpty()
    tty.setraw(slave)
    yield master, os.ttyname(slave)
    os.close(master)
    os.close(slave)


class TestOutputs:
    def test_a_serial_line_gets_the_sentences(self, watch: Watch, pty: tuple[int, str]) -> None:
        master, path = pty
        annunciator = Sentences(SentencesSettings(), outputs.parse(f"serial:{path}@38400"))
        annunciator.tell(watch.notices)
        annunciator.close()

        first, second, rest = os.read(master, 4096).split(b"\r\n")
        assert fields(first.decode())[0] == "IIALF"
        assert fields(second.decode())[2] == "2"
        assert rest == b""

    def test_udp_gets_a_datagram_for_each_sentence(self, watch: Watch) -> None:
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
            receiver.bind(("127.0.0.1", 0))
            receiver.settimeout(5)
            annunciator = Sentences(SentencesSettings(), outputs.parse(f"udp:127.0.0.1:{receiver.getsockname()[1]}"))
            annunciator.tell(watch.notices)
            annunciator.close()
            datagrams = [receiver.recv(200) for _ in range(2)]

        assert [fields(d.decode().strip())[2] for d in datagrams] == ["1", "2"]

    def test_a_line_that_cannot_be_opened_is_said_and_tried_again(self, watch: Watch, pty: tuple[int, str]) -> None:
        master, path = pty
        output = outputs.SerialOutput("/no/such/port", 4800)
        with pytest.raises(AnnunciatorError, match="serial line /no/such/port"):
            output.write([b"x\r\n"])
        output._port = path
        output.write([b"x\r\n"])
        output.close()

        assert os.read(master, 10) == b"x\r\n"

    @pytest.mark.parametrize(
        "uri", ["", "udp:10110", "udp:host:0", "udp::5", "serial:", "serial:/dev/x@0", "serial:/dev/x@fast", "tcp:a:1"]
    )
    def test_a_uri_that_cannot_be_meant_is_refused(self, uri: str) -> None:
        with pytest.raises(ValueError, match=r"is not serial:PORT\[@BAUD\] or udp:HOST:PORT"):
            outputs.parse(uri)
