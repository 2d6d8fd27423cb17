"""Alerts told by a real watch, its self-test, and names in the configuration that name nothing."""

import json
import os
import subprocess
import sys
import time
import tty
from collections.abc import Callable
from pathlib import Path

import pytest

from daemon import config
from daemon.errors import UserError
from daemon.main import main
from parsers.encode import sentence
from tests.daemon.test_watch_command import ROOT, start

SAVE = "import sys, pathlib; pathlib.Path(sys.argv[1]).open('ab').write(sys.stdin.buffer.read())"


def written(folder: Path, text: str) -> Path:
    path = folder / "boat.toml"
    path.write_text(text, encoding="utf-8")
    return path


class TestSelfTest:
    def run(self, capsys: pytest.CaptureFixture[str], path: Path) -> tuple[int, list[str], str]:
        code = main(["watch", "--self-test", "--config", str(path)])
        said = capsys.readouterr()
        return code, said.out.splitlines(), said.err

    def test_says_which_worked_and_marks_every_line(self, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
        told = tmp_path / "told"
        argv = json.dumps([sys.executable, "-c", SAVE, str(told)])
        path = written(tmp_path, f"[annunciators.sound]\non = false\n[annunciators.command]\nargv = {argv}\n")
        code, out, err = self.run(capsys, path)

        assert code == 0
        assert [line.split()[:4] for line in out] == [
            ["TEST", name, priority, "works"]
            for priority in ("alarm", "warning", "caution")
            for name in ("console_line", "command")
        ]
        assert all(" TEST " in line for line in err.splitlines())
        alerts = [json.loads(line) for line in told.read_text(encoding="utf-8").splitlines()]
        assert all(alert["is_test"] and alert["text"].startswith("TEST") for alert in alerts)
        assert [a["priority"] for a in alerts if a["state"] != "normal"] == ["alarm", "warning", "caution"]

    def test_one_that_fails_is_named_with_its_reason_and_exit_code_3(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str]
    ) -> None:
        path = written(tmp_path, '[annunciators.sound]\ncommand = "/no/such/player"\n')
        code, out, err = self.run(capsys, path)

        assert code == 3
        assert "TEST sound         alarm    annunciators.sound.command: '/no/such/player' is not found" in out[1]
        assert "TEST console_line  alarm    works" in out
        assert err.startswith("secondplot: WARNING: annunciators.sound.command: '/no/such/player' is not found")
        assert err.count("\a") == 5  # the bell in its place: three strokes and two


class TestWatch:
    def test_a_running_watch_answers_and_tells_its_alerts(self, tmp_path: Path) -> None:
        """A silent feed is told by the user's command; the control socket acknowledges it, and the sound of it ends."""
        told = tmp_path / "told"
        argv = json.dumps([sys.executable, "-c", SAVE, str(told)])
        master, slave = os.openpty()
        tty.setraw(slave)
        path = written(
            tmp_path,
            f"[annunciators.sound]\non = false\n[annunciators.command]\nargv = {argv}\n"
            f'[feeds.radar]\nuri = "serial:{os.ttyname(slave)}@38400"\nsilent_after_s = 0.5\n',
        )
        process = start("--config", str(path), "--no-archive", "--quiet", home=tmp_path)
        try:
            os.write(master, sentence("HEHDT,061.0,T").encode() + b"\r\n")
            self.wait_for(lambda: told.exists() and "feed radar is silent" in told.read_text(encoding="utf-8"))
            status = self.speak(tmp_path, "status", "--json")
            (alert,) = [a for a in json.loads(status)["status"]["alerts"] if a["rule"] == "feed_silent"]
            answer = self.speak(tmp_path, "ack", str(alert["id"]))
            after = self.speak(tmp_path, "status")
        finally:
            process.terminate()
            _, said = process.communicate(timeout=5)
            os.close(master)
            os.close(slave)

        assert answer == "1 acknowledged\n"
        assert f"WARNING {alert['id']}, acknowledged: feed radar is silent" in after
        assert b"WARNING" in said  # quiet: alerts are told on stderr
        assert process.returncode == 0
        assert not list((tmp_path / "secondplot").glob("*.sock"))

    def wait_for(self, ready: Callable[[], bool], seconds: float = 10.0) -> None:
        until = time.monotonic() + seconds
        while not ready():
            assert time.monotonic() < until
            time.sleep(0.05)

    def speak(self, home: Path, *words: str) -> str:
        environment = {**os.environ, "XDG_RUNTIME_DIR": str(home)}
        done = subprocess.run(
            [sys.executable, "-m", "daemon.main", *words],
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            timeout=10,
            check=True,
        )
        return done.stdout


class TestNames:
    @pytest.mark.parametrize(
        ("values", "said"),
        [
            (
                {"alerts": {"bow_crossing": {"conditions": ["high seas"]}}},
                "alerts.bow_crossing.conditions: 'high seas'",
            ),
            (
                {"alerts": {"feed_silent": {"annunciators": ["horn"]}}},
                "alerts.feed_silent.annunciators: 'horn' is none",
            ),
            (
                {"alerts": {"guard_zone": {"zones": {"bow": {"to_nm": 2, "conditions": ["fog"]}}}}},
                "alerts.guard_zone.zones.bow.conditions: 'fog' is none of",
            ),
        ],
    )
    def test_a_name_that_names_nothing_is_refused(self, values: dict[str, object], said: str) -> None:
        """A rule that is on in a condition which does not exist would be off for ever, and nobody would know."""
        with pytest.raises(UserError, match=said):
            config.from_values(values)

    def test_names_of_your_own_conditions_are_known(self) -> None:
        made = config.from_values(
            {"conditions": {"fog bank": {"cpa_nm": 1.5}}, "alerts": {"bow_crossing": {"conditions": ["fog bank"]}}}
        )

        assert made.conditions["fog bank"].cpa_nm == 1.5
