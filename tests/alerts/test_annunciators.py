"""Console line, bell, command, desk and self-test: who is told what, and what happens when telling fails."""

import io
import json
import sys
import threading
import time
from collections.abc import Sequence
from pathlib import Path

import msgspec
import pytest

from alerts.annunciators import desk as desk_module
from alerts.annunciators import processes, staff
from alerts.annunciators.bell import Bell
from alerts.annunciators.command import Command
from alerts.annunciators.console_line import ConsoleLine
from alerts.annunciators.desk import MOST_WAITING, Desk
from alerts.annunciators.face import Annunciator, AnnunciatorError, Telling, line_of, to_sound
from alerts.annunciators.settings import Annunciators, Sentences, Sound
from alerts.annunciators.settings import Command as CommandSettings
from alerts.annunciators.settings import ConsoleLine as ConsoleLineSettings
from alerts.notices import Notice, Why
from alerts.plotting.terms import AlertState, Priority
from tests.alerts.watch import DANGER, Watch, moment


def raised() -> Notice:
    """The notice of a real alarm, as the book gives it."""
    watch = Watch()
    watch.plots(0, 9, DANGER)
    return watch.notices[0]


def of(priority: Priority, alert_id: int = 1, state: AlertState = AlertState.ACTIVE_UNACKNOWLEDGED) -> Notice:
    notice = raised()
    alert = msgspec.structs.replace(notice.alert, id=alert_id, priority=priority, state=state)
    return msgspec.structs.replace(notice, alert=alert, audible=state is AlertState.ACTIVE_UNACKNOWLEDGED)


class Recorder:
    """An annunciator that keeps what it is told, and can be made to fail or to hang."""

    def __init__(self, name: str = "recorder", failing: str = "") -> None:
        self.name = name
        self.failing = failing
        self.told: list[Telling] = []
        self.gate = threading.Event()
        self.gate.set()
        self.idled = threading.Event()
        self.closed = False

    def tell(self, batch: Sequence[Telling]) -> bool:
        self.gate.wait(10)
        if self.failing:
            raise AnnunciatorError(self.failing)
        self.told += batch
        return True

    def idle(self, now_s: float) -> None:
        self.idled.set()

    def close(self) -> None:
        self.closed = True


class TestConsoleLine:
    def test_one_line_says_when_how_urgent_what_and_why(self) -> None:
        stream = io.StringIO()
        ConsoleLine(stream).tell([raised()])

        assert stream.getvalue() == (
            "08:00:06 UTC ALARM 1 radar-03: CPA 0.12 NM (0.02 to 0.31) in 11.4 min, passing ahead, "
            "bearing 061°T steady (raised)\n"
        )

    def test_a_terminal_that_knows_no_degree_sign_still_gets_the_line(self) -> None:
        raw = io.BytesIO()
        terminal = io.TextIOWrapper(raw, encoding="ascii", write_through=True)
        ConsoleLine(terminal).tell([raised()])

        assert b"bearing 061?T steady" in raw.getvalue()

    def test_a_closed_terminal_is_an_annunciator_error(self) -> None:
        stream = io.StringIO()
        stream.close()

        with pytest.raises(AnnunciatorError, match="takes no more lines"):
            ConsoleLine(stream).tell([raised()])

    def test_a_test_is_marked_as_one(self) -> None:
        assert "UTC TEST ALARM" in line_of(msgspec.structs.replace(raised(), is_test=True))


class TestBell:
    @pytest.mark.parametrize(("priority", "strokes"), [("alarm", 3), ("warning", 2), ("caution", 0)])
    def test_as_many_strokes_as_the_sound_has_tones(self, priority: str, strokes: int) -> None:
        stream = io.StringIO()
        Bell(stream, apart_s=0.0).tell([of(Priority(priority))])

        assert stream.getvalue() == "\a" * strokes

    def test_the_most_urgent_of_a_batch_is_heard(self) -> None:
        chosen = to_sound([of(Priority.WARNING, 1), of(Priority.ALARM, 2), of(Priority.WARNING, 3)])

        assert chosen is not None
        assert chosen.alert.id == 2

    def test_what_was_acknowledged_meanwhile_is_not_heard_any_more(self) -> None:
        acknowledged = of(Priority.ALARM, 1, AlertState.ACTIVE_ACKNOWLEDGED)

        assert to_sound([of(Priority.ALARM, 1), acknowledged]) is None


SAVE = "import sys, pathlib; pathlib.Path(sys.argv[1]).open('ab').write(sys.stdin.buffer.read())"


class TestCommand:
    def told(self, path: Path) -> list[dict[str, object]]:
        return [json.loads(line) for line in path.read_text().splitlines()]

    def test_gets_the_alert_as_json_on_its_standard_input(self, tmp_path: Path) -> None:
        path = tmp_path / "told"
        command = Command(CommandSettings(argv=(sys.executable, "-c", SAVE, str(path))), time.monotonic)

        assert command.tell([raised()])
        (told,) = self.told(path)
        assert (told["event"], told["rule"], told["priority"], told["why"]) == (
            "alert",
            "closest_approach",
            "alarm",
            "raised",
        )
        assert told["time"] == "2027-01-15T08:00:06.000Z"

    def test_no_shell_reads_its_arguments(self, tmp_path: Path) -> None:
        path = tmp_path / "told; touch hacked $(touch hacked)"
        Command(CommandSettings(argv=(sys.executable, "-c", SAVE, str(path))), time.monotonic).tell([raised()])

        assert [entry.name for entry in tmp_path.iterdir()] == [path.name]

    def test_is_ended_at_its_time_limit_with_all_that_it_started(self, tmp_path: Path) -> None:
        argv = (sys.executable, "-c", "import subprocess; subprocess.run(['sleep', '30'])")
        began_s = time.monotonic()

        with pytest.raises(AnnunciatorError, match=r"ended after 0\.5 s"):
            Command(CommandSettings(argv=argv, time_limit_s=0.5), time.monotonic).tell([raised()])
        assert time.monotonic() - began_s < 5

    @pytest.mark.parametrize(
        ("argv", "said"),
        [
            (("/no/such/program",), "cannot be started"),
            ((sys.executable, "-c", "import sys; sys.exit('\x1b[31mno device\x07')"), r"code 1: \[31mno device"),
        ],
    )
    def test_one_that_fails_says_why_without_escapes(self, argv: tuple[str, ...], said: str) -> None:
        with pytest.raises(AnnunciatorError, match=said):
            Command(CommandSettings(argv=argv), time.monotonic).tell([raised()])

    def test_of_all_that_it_complains_of_the_last_line_is_told(self) -> None:
        """A player's libraries complain at length before it says what is wrong; an alert has room for that alone."""
        player = "import sys; print('library: no card ' * 50, file=sys.stderr); sys.exit('no audio device')"
        with pytest.raises(AnnunciatorError, match=r"code 1: no audio device$"):
            processes.run([sys.executable, "-c", player], 10)

    def test_a_command_that_does_not_read_its_input_is_no_error(self) -> None:
        processes.run([sys.executable, "-c", ""], 10, b"x" * 1_000_000)

    def test_is_started_so_often_a_minute_and_the_rest_waits(self, tmp_path: Path) -> None:
        path, now = tmp_path / "told", [0.0]
        settings = CommandSettings(argv=(sys.executable, "-c", SAVE, str(path)), per_minute=2)
        command = Command(settings, lambda: now[0])
        command.tell([of(Priority.ALARM, number) for number in range(1, 5)])
        at_once = [told["id"] for told in self.told(path)]
        now[0] = 59.0
        command.idle(59.0)
        still = [told["id"] for told in self.told(path)]
        now[0] = 60.0
        command.idle(60.0)

        assert at_once == still == [1, 2]
        assert [told["id"] for told in self.told(path)] == [1, 2, 3, 4]
        assert [told["held_back"] for told in self.told(path)] == [3, 2, 1, 0]

    def test_only_the_priorities_asked_for_and_no_repeats(self, tmp_path: Path) -> None:
        path = tmp_path / "told"
        command = Command(CommandSettings(argv=(sys.executable, "-c", SAVE, str(path))), time.monotonic)
        repeat = msgspec.structs.replace(raised(), why=Why.REPEATED)

        assert not command.tell([of(Priority.CAUTION), repeat])
        assert not path.exists()


class TestDesk:
    def test_never_waits_for_an_annunciator_and_keeps_the_newest(self) -> None:
        slow = Recorder()
        slow.gate.clear()
        desk = Desk([slow], time.monotonic)
        desk.take([of(Priority.ALARM, 1)])
        began_s = time.monotonic()
        desk.take([of(Priority.ALARM, number) for number in range(2, MOST_WAITING + 52)])
        took_s = time.monotonic() - began_s
        slow.gate.set()
        desk.close(10)

        assert took_s < 1
        told = [notice.alert.id for notice in slow.told if isinstance(notice, Notice)]
        assert told[-1] == MOST_WAITING + 51
        assert len(told) <= MOST_WAITING + 1

    def test_a_failure_is_a_problem_by_name_and_hinders_no_other(self) -> None:
        good, bad = Recorder("good"), Recorder("bad", failing="no device")
        desk = Desk([bad, good], time.monotonic)
        outcomes = desk.try_out(raised(), 10)

        assert [(outcome.name, outcome.problem) for outcome in outcomes] == [("bad", "no device"), ("good", "")]
        assert [(one.name, one.problem) for one in desk.problems()] == [("bad", "no device")]
        bad.failing = ""
        desk.try_out(raised(), 10)
        assert not desk.problems()
        desk.close()

    def test_a_problem_lasts_until_something_is_told_again(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """That nothing was to be told for a while, or was and made no sound, is no sign that it works again."""
        monkeypatch.setattr(desk_module, "IDLE_S", 0.01)
        bad = Recorder("bad", failing="no device")
        desk = Desk([bad], time.monotonic)
        desk.try_out(raised(), 10)
        for _ in range(2):  # the second shows that the first is done with
            bad.idled.clear()
            assert bad.idled.wait(10)

        assert [one.problem for one in desk.problems()] == ["no device"]
        desk.close()

    def test_a_failing_annunciator_becomes_an_alert_that_the_others_tell(self) -> None:
        from alerts.rules.situation import Situation

        good, bad = Recorder("good"), Recorder("bad", failing="no device")
        desk = Desk([bad, good], time.monotonic)
        watch = Watch()
        desk.try_out(raised(), 10)
        watch.tick(0, Situation(annunciators=desk.problems()))
        desk.take(watch.notices)
        desk.close(10)

        last = good.told[-1]
        assert isinstance(last, Notice)
        assert last.alert.text == "annunciator bad fails: no device"

    def test_a_fault_of_ours_in_one_does_not_end_its_thread(self) -> None:
        class Broken(Recorder):
            def tell(self, batch: Sequence[Telling]) -> bool:
                self.told += batch
                raise RuntimeError("oops")

        broken = Broken()
        desk = Desk([broken], time.monotonic)
        desk.try_out(raised(), 10)
        (outcome,) = desk.try_out(raised(), 10)
        desk.close(10)

        assert outcome.problem == "a fault of ours: RuntimeError: oops"
        assert len(broken.told) == 2
        assert broken.closed

    def test_a_rule_may_choose_its_annunciators(self) -> None:
        one, two = Recorder("one"), Recorder("two")
        desk = Desk([one, two], time.monotonic)
        desk.take([msgspec.structs.replace(raised(), annunciators=("two",))])
        desk.close(10)

        assert (len(one.told), len(two.told)) == (0, 1)

    def test_closing_does_not_wait_for_one_that_hangs(self) -> None:
        hung = Recorder()
        hung.gate.clear()
        desk = Desk([hung], time.monotonic)
        desk.take([raised()])
        began_s = time.monotonic()
        desk.close(0.2)
        took_s = time.monotonic() - began_s
        hung.gate.set()

        assert took_s < 2


class TestSelfTest:
    def test_raises_one_of_each_priority_through_each_and_says_which_worked(self) -> None:
        good, bad = Recorder("good"), Recorder("bad", failing="no device")
        desk = Desk([good, bad], time.monotonic)
        results = staff.self_test(desk, moment(0))
        desk.close(10)

        assert [(one.annunciator, str(one.priority), one.problem) for one in results] == [
            ("good", "alarm", ""),
            ("bad", "alarm", "no device"),
            ("good", "warning", ""),
            ("bad", "warning", "no device"),
            ("good", "caution", ""),
            ("bad", "caution", "no device"),
        ]
        notices = [notice for notice in good.told if isinstance(notice, Notice)]
        assert [str(n.alert.priority) for n in notices if n.alert.state is not AlertState.NORMAL] == list(Priority)
        assert all(notice.is_test and notice.alert.text.startswith("TEST") for notice in notices)
        # Each test alert is ended again, so that no receiver keeps it.
        assert [n.alert.id for n in notices if n.alert.state is AlertState.NORMAL] == [999000, 999001, 999002]

    def test_the_report_is_marked_as_a_test_on_every_line(self) -> None:
        stream = io.StringIO()
        desk = Desk([Bell(stream, apart_s=0.0)], time.monotonic)
        lines = staff.report(staff.self_test(desk, moment(0)))
        desk.close(10)

        assert lines == [
            "TEST bell          alarm    works",
            "TEST bell          warning  works",
            "TEST bell          caution  nothing to tell: silent at this priority",
        ]
        assert staff.report([]) == ["TEST no annunciator is on: nobody would be told of an alert"]


class TestStaff:
    def names(self, settings: Annunciators, console_is_open: bool = False) -> list[str]:
        engaged = staff.engage(settings, io.StringIO(), time.monotonic, console_is_open=console_is_open)
        for annunciator in engaged.annunciators:
            annunciator.close()
        return [annunciator.name for annunciator in engaged.annunciators]

    def test_those_that_are_on_are_engaged(self) -> None:
        settings = Annunciators(command=CommandSettings(argv=("true",)), sentences=Sentences(uri="udp:127.0.0.1:9"))

        assert self.names(settings) == ["console_line", "sound", "command", "sentences"]
        assert self.names(settings, console_is_open=True) == ["sound", "command", "sentences"]
        assert self.names(Annunciators(sound=Sound(command="off"))) == ["console_line"]
        assert self.names(Annunciators(sound=Sound(on=False), console_line=ConsoleLineSettings(on=False))) == []

    def test_without_a_player_there_is_a_warning_that_names_the_mend(self) -> None:
        settings = Annunciators(sound=Sound(command="/no/such/player --loud"))
        engaged = staff.engage(settings, io.StringIO(), time.monotonic, console_is_open=True)
        engaged.annunciators[0].close()

        assert engaged.warnings == (
            "annunciators.sound.command: '/no/such/player --loud' is not found; the bell rings instead",
        )

    def test_all_show_the_one_face(self) -> None:
        settings = Annunciators(command=CommandSettings(argv=("true",)), sentences=Sentences(uri="udp:127.0.0.1:9"))
        engaged = staff.engage(settings, io.StringIO(), time.monotonic, console_is_open=False)
        faces: tuple[Annunciator, ...] = engaged.annunciators
        for face in faces:
            assert face.tell([]) in (True, False)
            face.idle(0.0)
            face.close()
