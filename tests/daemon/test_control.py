"""The control socket: real sockets, a watch whose loop the test is, and clients of every kind."""

import json
import os
import socket
import stat
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.lookout import Lookout
from alerts.plotting.terms import Priority
from alerts.rules.findings import Finding, Phase
from daemon import control, status
from daemon.commands import ack
from daemon.control import ControlServer, Pending, Reply, Request
from daemon.errors import UserError
from daemon.feeds.face import Arrival, Counters
from daemon.main import main
from daemon.stream import FeedLine, Stream
from daemon.timeline import LiveTimeline
from parsers import encode
from parsers.decode import Decoder
from tests.alerts.watch import moment


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The user's runtime directory."""
    monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))
    return control.runtime_folder()


@pytest.fixture
def stream() -> Stream:
    """A watch that has seen data and has one alarm, id 1."""
    feed = FeedLine(name="radar", decoder=Decoder("radar"), counters=Counters())
    stream = Stream(Lookout(), [], [feed], LiveTimeline(0.0, 1_800_000_000_000))
    stream.advance(moment(10))
    finding = Finding(
        rule="closest_approach",
        target="radar-03",
        phase=Phase.RAISED,
        priority=Priority.ALARM,
        text="radar-03: CPA 0.12 NM",
        values={},
    )
    stream.lookout.judging.alerts.take(moment(10), [finding])
    return stream


@pytest.fixture
def served(folder: Path, stream: Stream) -> Iterator[ControlServer]:
    """The watch's server; each request is answered at once, as its loop would."""
    server = ControlServer("watch", lambda pending: status.obey(pending, stream, "watch"))
    yield server
    server.close()


def send(path: Path, data: bytes) -> list[dict[str, object]]:
    """Send raw bytes and close; the answers."""
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as client:
        client.settimeout(10)
        client.connect(str(path))
        with suppress(BrokenPipeError):  # one that is sent away may find the door closed already
            client.sendall(data)
            client.shutdown(socket.SHUT_WR)
        with client.makefile("rb") as answers:
            return [json.loads(line) for line in answers]


class TestRequests:
    def test_acknowledges_and_says_how_many(self, served: ControlServer, stream: Stream) -> None:
        assert control.ask(Request("ack", 1)) == Reply(True, "1 acknowledged")
        assert stream.lookout.judging.alerts.standing(moment(11))[0].state == "active-acknowledged"

    def test_an_alert_that_does_not_stand_is_said(self, served: ControlServer) -> None:
        assert control.ask(Request("ack", 7)).text == "no alert 7 waits to be acknowledged"

    def test_silences(self, served: ControlServer, stream: Stream) -> None:
        assert control.ask(Request("silence")).ok
        assert stream.lookout.judging.alerts.standing(moment(11))[0].state == "active-silenced"

    def test_changes_the_condition(self, served: ControlServer, stream: Stream) -> None:
        assert control.ask(Request("condition", text="harbour")).ok
        assert stream.lookout.judging.rules.condition == "harbour"

    def test_a_condition_that_is_none_is_answered_with_those_that_are(self, served: ControlServer) -> None:
        reply = control.ask(Request("condition", text="high seas"))

        assert not reply.ok
        assert "'open water'" in reply.text

    def test_status_has_values_and_lines(self, served: ControlServer) -> None:
        reply = control.ask(Request("status"))
        values = json.loads(bytes(reply.status))

        assert values["watch"] == "watch"
        assert values["condition"] == "open water"
        assert [alert["id"] for alert in values["alerts"]] == [1]
        assert values["feeds"][0]["name"] == "radar"
        assert "ALARM 1, not acknowledged: radar-03: CPA 0.12 NM" in reply.text
        assert "no annunciator is on" in reply.text

    def test_status_tells_the_picture_s_quality(self, served: ControlServer, stream: Stream) -> None:
        """One echo that came at every turn of three seconds, one that missed each third; and the picture as a whole."""
        for turn in range(80):
            for number in (1, 2):
                at_s = 20.0 + 3 * turn + number / 10
                if number == 1 or turn % 3:
                    line = encode.ttm(number, 3.0 - turn / 100, 60.0 * number + turn % 2 / 10)
                    stream.take([Arrival("radar", line.encode(), at_s, 1_800_000_000_000 + round(1000 * at_s))])
        stream.advance(moment(20.0 + 3 * 79 + 0.3))
        reply = control.ask(Request("status"))
        values = json.loads(bytes(reply.status))
        first, second = values["echoes"]

        assert "picture: 2 echoes held, 0 gained and 0 lost in the last minute" in reply.text
        assert (first["target"], first["received"], first["expected"]) == ("radar-01", 60, 60)
        assert second["rhythm_s"] == pytest.approx(3.0, abs=0.1)
        assert second["received"] / second["expected"] == pytest.approx(2 / 3, abs=0.05)
        assert "echo radar-01: 60 of 60 reports due, scatter " in reply.text
        assert values["picture"]["held"] == 2

    def test_status_says_nothing_of_a_picture_without_echoes(self, served: ControlServer) -> None:
        assert "picture" not in control.ask(Request("status")).text

    def test_several_requests_on_one_connection(self, served: ControlServer) -> None:
        answers = send(served.path, b'{"verb":"silence"}\n{"verb":"note","text":"fog"}\n')

        assert [answer["ok"] for answer in answers] == [True, True]


class TestBadRequests:
    @pytest.mark.parametrize(
        ("line", "said"),
        [
            (b"hello\n", "not a request"),
            (b'{"verb":"scuttle"}\n', "'scuttle' is none of"),
            (b'{"verb":"ack","id":"1"}\n', "not a request"),
            (b'{"verb":"ack","force":true}\n', "not a request"),
            (b'{"verb":"note"}\n', "needs a text"),
            (b'{"verb":"note","text":"\\u0007\\u001b"}\n', "noted"),
            (b'{"verb":"ack"', "a request is one line"),
            (b"\xff\xfe\n", "not a request"),
            (b"[" * 20_000 + b"\n", "not a request"),
            (b'{"verb":"note","text":"' + b"x" * 70_000 + b'"}\n', "a request is one line"),
        ],
    )
    def test_each_is_answered_and_the_watch_goes_on(self, served: ControlServer, line: bytes, said: str) -> None:
        answers = send(served.path, line)

        assert said in str(answers[0]["text"])
        assert control.ask(Request("status")).ok

    def test_a_note_is_cleaned_and_cut(self) -> None:
        request = control.read_request(json.dumps({"verb": "note", "text": "a\x1b[2J" + "b" * 900}).encode())

        assert isinstance(request, Request)
        assert request.text is not None
        assert "\x1b" not in request.text
        assert len(request.text) == control.NOTE_LENGTH

    @settings(max_examples=200, deadline=None, derandomize=True)
    @given(st.binary(max_size=300))
    def test_any_bytes_are_a_request_or_an_answer(self, line: bytes) -> None:
        assert isinstance(control.read_request(line), Request | Reply)

    def test_a_watch_that_does_not_answer_is_said(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(control, "PATIENCE_S", 0.2)
        server = ControlServer("stuck", lambda pending: None)
        reply = control.ask(Request("status"), "stuck")
        server.close()

        assert reply == Reply(False, "the watch has not answered within 0.2 s")

    def test_too_many_clients_are_sent_away_and_make_room_again(self, served: ControlServer) -> None:
        crowd = []
        for _ in range(control.MOST_CLIENTS):
            client = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM)
            client.connect(str(served.path))
            client.sendall(b'{"verb":"silence"}\n')
            client.recv(100)  # it is being served
            crowd.append(client)
        answers = send(served.path, b"")
        for client in crowd:
            client.close()

        assert answers[0]["text"] == "too many are speaking to this watch at once"

    def test_a_fault_of_ours_is_an_answer_too(self, stream: Stream, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(stream, "ask", lambda *args: 1 / 0)
        pending = Pending(Request("silence"))

        with pytest.raises(ZeroDivisionError):
            status.obey(pending, stream, "watch")
        assert pending.wait(1).text.startswith("a fault of ours: ZeroDivisionError")


class TestPlace:
    def test_the_socket_is_the_users_own(self, served: ControlServer) -> None:
        assert stat.S_IMODE(served.path.stat().st_mode) == 0o600
        assert stat.S_IMODE(served.path.parent.stat().st_mode) == 0o700

    def test_it_is_gone_when_the_watch_has_ended(self, served: ControlServer) -> None:
        served.close()

        assert not served.path.exists()
        assert control.running() == []

    def test_a_folder_that_others_can_write_is_refused(self, folder: Path) -> None:
        folder.chmod(0o777)

        with pytest.raises(UserError, match=r"others can write in .*: chmod go-w"):
            control.runtime_folder()

    def test_a_folder_of_somebody_else_is_refused(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        """Whoever made it first under a name that all can guess would listen to the watch."""
        ours = os.getuid()
        monkeypatch.setattr(os, "getuid", lambda: ours + 1)

        with pytest.raises(UserError, match="must be a folder of yours"):
            control.runtime_folder()

    def test_one_that_others_can_read_is_taken(self, folder: Path) -> None:
        """The archive makes such a folder, and XDG_DATA_HOME and XDG_RUNTIME_DIR may be the same place."""
        folder.chmod(0o755)

        assert control.runtime_folder() == folder

    def test_a_link_in_its_place_is_refused(self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        (tmp_path / "other").mkdir(mode=0o700)
        (tmp_path / "secondplot").symlink_to(tmp_path / "other")
        monkeypatch.setenv("XDG_RUNTIME_DIR", str(tmp_path))

        with pytest.raises(UserError, match="must be a folder of yours"):
            control.runtime_folder()

    def test_without_a_runtime_directory_there_is_one_of_the_users_own(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.delenv("XDG_RUNTIME_DIR", raising=False)
        monkeypatch.setattr("tempfile.tempdir", str(tmp_path))

        assert control.runtime_folder() == tmp_path / f"secondplot-{os.getuid()}"

    @pytest.mark.parametrize("name", ["", "../watch", "a/b", ".hidden", "x" * 41, "a b", "é"])
    def test_a_name_that_is_no_plain_word_is_refused(self, folder: Path, name: str) -> None:
        with pytest.raises(UserError, match="a watch's name is letters"):
            control.socket_path(name)

    def test_a_path_too_long_for_a_socket_is_said(self, tmp_path: Path) -> None:
        with pytest.raises(UserError, match="too long for a socket"):
            control.socket_path("watch", tmp_path / ("x" * 120))


class TestSeveralWatches:
    def test_each_has_its_name(self, folder: Path) -> None:
        heard: list[str] = []

        def serve(name: str) -> ControlServer:
            def put(pending: Pending) -> None:
                heard.append(name)
                pending.answer(name)

            return ControlServer(name, put)

        servers = [serve("bow"), serve("stern")]
        try:
            assert control.running() == ["bow", "stern"]
            assert control.ask(Request("silence"), "stern").text == "stern"
            with pytest.raises(UserError, match=r"choose one with --watch \{bow,stern\}"):
                control.ask(Request("silence"))
            with pytest.raises(UserError, match="no watch named 'mast' is running; running: bow, stern"):
                control.ask(Request("silence"), "mast")
        finally:
            for server in servers:
                server.close()
        assert heard == ["stern"]

    def test_two_of_one_name_cannot_be(self, served: ControlServer) -> None:
        with pytest.raises(UserError, match="a watch named 'watch' is running already"):
            ControlServer("watch", lambda pending: None)
        assert control.ask(Request("status")).ok

    def test_a_socket_left_by_one_that_was_killed_is_taken_over(self, folder: Path) -> None:
        path = control.socket_path("watch")
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as dead:
            dead.bind(str(path))
        server = ControlServer("watch", lambda pending: pending.answer("alive"))
        reply = control.ask(Request("silence"))
        server.close()

        assert reply.text == "alive"

    def test_none_running_is_an_error_with_the_mend(self, folder: Path) -> None:
        with pytest.raises(UserError, match="no watch is running here; start one with") as error:
            control.ask(Request("status"))
        assert error.value.code == 3


class TestCommands:
    def run(self, capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
        code = main(words)
        said = capsys.readouterr()
        return code, said.out, said.err

    def test_each_speaks_to_the_watch(self, served: ControlServer, capsys: pytest.CaptureFixture[str]) -> None:
        assert self.run(capsys, "silence") == (0, "1 silenced\n", "")
        assert self.run(capsys, "ack", "1") == (0, "1 acknowledged\n", "")
        assert self.run(capsys, "ack") == (0, "nothing to acknowledge\n", "")
        assert self.run(capsys, "note", "sea", "clutter", "up") == (0, "noted\n", "")
        assert self.run(capsys, "condition", "restricted", "visibility") == (
            0,
            "condition: restricted visibility\n",
            "",
        )
        assert self.run(capsys, "status")[1].startswith("watch 'watch': condition restricted visibility\n")

    def test_json(self, served: ControlServer, capsys: pytest.CaptureFixture[str]) -> None:
        code, out, _ = self.run(capsys, "status", "--json", "--watch", "watch")

        assert code == 0
        assert json.loads(out)["status"]["alerts"][0]["rule"] == "closest_approach"

    def test_what_the_watch_will_not_do_is_exit_code_2(
        self, served: ControlServer, capsys: pytest.CaptureFixture[str]
    ) -> None:
        code, out, err = self.run(capsys, "condition", "high", "seas")

        assert (code, out) == (2, "")
        assert err.startswith("secondplot condition: condition 'high seas' is none of 'open water'")

    @pytest.mark.parametrize("what", ["three", "0", "-1", "1.5", "²"])
    def test_an_id_that_is_no_number_is_refused(self, what: str, capsys: pytest.CaptureFixture[str]) -> None:
        import argparse

        with pytest.raises(UserError, match="is no alert's number"):
            ack.run(argparse.Namespace(alert=what, watch=None, json=False))

    def test_no_watch_is_exit_code_3(self, folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
        code, _, err = self.run(capsys, "status")

        assert code == 3
        assert err == "secondplot status: no watch is running here; start one with `secondplot watch`\n"


class TestThreads:
    def test_requests_of_many_clients_are_each_answered_their_own(self, folder: Path) -> None:
        """The loop of the watch answers late and in its own order."""
        waiting: list[Pending] = []
        enough = threading.Event()

        def put(pending: Pending) -> None:
            waiting.append(pending)
            if len(waiting) == 5:
                enough.set()

        server = ControlServer("watch", put)
        replies: dict[int, str] = {}

        def client(number: int) -> None:
            replies[number] = control.ask(Request("ack", number)).text

        clients = [threading.Thread(target=client, args=(number,)) for number in range(1, 6)]
        for one in clients:
            one.start()
        assert enough.wait(10)
        for pending in reversed(waiting):
            pending.answer(f"answer to {pending.id}")
        for one in clients:
            one.join(10)
        server.close()

        assert replies == {number: f"answer to {number}" for number in range(1, 6)}


class TestBusy:
    """A watch whose queue of callers is full is busy, not dead."""

    @pytest.fixture
    def busy(self, folder: Path) -> Iterator[socket.socket]:
        """A socket in a watch's place with its queue of callers full."""
        with socket.socket(socket.AF_UNIX) as listening, socket.socket(socket.AF_UNIX) as caller:
            listening.bind(str(control.socket_path("watch")))
            listening.listen(0)
            caller.connect(str(control.socket_path("watch")))
            yield listening

    def test_its_socket_is_not_taken_from_it(self, busy: socket.socket) -> None:
        with pytest.raises(UserError, match="is running already"):
            ControlServer("watch", lambda pending: None)

        assert control.running() == ["watch"]

    def test_a_request_waits_for_its_turn(self, busy: socket.socket) -> None:
        """Callers: the first one, the look round of `ask`, which found no room, and `ask` itself."""
        answers: list[str] = []
        asking = threading.Thread(target=lambda: answers.append(control.ask(Request("ack", 1)).text))
        asking.start()
        asking.join(0.05)
        first, _ = busy.accept()
        first.close()
        while not answers:
            client, _ = busy.accept()
            with client:
                client.settimeout(10)
                if client.recv(100):
                    client.sendall(b'{"ok": true, "text": "heard"}\n')
            asking.join(0.05)

        assert answers == ["heard"]
