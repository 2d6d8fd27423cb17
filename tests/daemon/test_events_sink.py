"""The events sink: JSON Lines that any reader takes, and a quiet end when the reader has gone."""

import errno
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from alerts.events import Alert, Note, Plot
from daemon.errors import UserError
from daemon.sinks.events import EventsSink, ReaderGone, harmless_json
from daemon.sinks.face import SinkError
from tests.daemon.archive_makers import moment, one_of_each

ROOT = Path(__file__).resolve().parents[2]


def test_one_object_a_line_with_event_and_time_first(tmp_path: Path) -> None:
    """Every kind of event; unknown is null."""
    path = tmp_path / "events.jsonl"
    sink = EventsSink(str(path))
    sink.take(moment(0.25), one_of_each(0.25))
    sink.close()
    objects = [json.loads(line) for line in path.read_text().splitlines()]

    assert [item["event"] for item in objects] == ["own_ship", "plot", "alert", "radar", "note", "feed", "pair"]
    assert all(list(item)[:2] == ["event", "time"] for item in objects)
    assert objects[0]["time"] == "2027-01-15T08:00:00.250Z"
    assert objects[1]["bow_crossing_nm"] is None


def test_a_reader_waits_no_longer_than_the_loop(tmp_path: Path) -> None:
    """What was taken is in the file after idle()."""
    path = tmp_path / "events.jsonl"
    sink = EventsSink(str(path))
    sink.take(moment(0), one_of_each(0))
    sink.idle(0.25)

    assert len(path.read_text().splitlines()) == 7
    sink.close()


def test_hostile_text_reaches_no_terminal() -> None:
    """Terminal escapes, C1 controls, direction and zero-width marks are escaped; the value is the same."""
    note = {"text": "\x1b[2J \x9b31m \u202eelbat \u200b \x7f °Ω"}
    plain = json.dumps(note, ensure_ascii=False).encode()
    made = harmless_json(plain).decode()

    assert json.loads(made) == note
    assert not set(made) & set("\x1b\x9b\u202e\u200b\x7f")
    assert "°Ω" in made


def test_a_path_that_cannot_be_written_is_refused(tmp_path: Path) -> None:
    """Code 3, at the start."""
    with pytest.raises(UserError) as refused:
        EventsSink(str(tmp_path / "absent" / "events.jsonl"))

    assert refused.value.code == 3


def test_an_alert_is_not_kept_waiting(tmp_path: Path) -> None:
    """Plots wait for the loop to come round; an alert is written with all that goes before it."""
    path = tmp_path / "events.jsonl"
    sink = EventsSink(str(path))
    events = one_of_each(0)
    plots = [event for event in events if isinstance(event, Plot)]
    alerts = [event for event in events if isinstance(event, Alert)]
    sink.take(moment(0), plots)
    waiting = path.read_bytes()
    sink.take(moment(0), alerts)
    written = [json.loads(line)["event"] for line in path.read_text().splitlines()]
    sink.close()

    assert waiting == b""
    assert written == ["plot"] * len(plots) + ["alert"] * len(alerts)
    assert alerts


def test_a_full_disk_tears_at_most_one_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A write that fails half-way is raised and counted; the next write begins a line of its own."""
    path = tmp_path / "events.jsonl"
    sink = EventsSink(str(path))
    whole = sink._file

    class Full:
        def write(self, data: memoryview) -> int:
            if len(data) > 20:
                return whole.write(data[:20])
            raise OSError(errno.ENOSPC, "No space left on device")

        def flush(self) -> None:
            pass

        def close(self) -> None:
            whole.close()

    note = [Note(time=moment(0).time, text="before", author="")]
    sink._file = Full()  # type: ignore[assignment]
    sink.take(moment(0), note)
    with pytest.raises(SinkError, match="No space"):
        sink.idle(0)
    sink._file = whole
    sink.take(moment(1), [Note(time=moment(1).time, text="after", author="")])
    sink.close()
    lines = path.read_text().splitlines()

    assert sink.lost == 1
    assert len(lines) == 2
    assert json.loads(lines[1])["text"] == "after"


def test_a_reader_that_has_had_enough_ends_it_quietly() -> None:
    """`… --events - | head -1`: one exception of its own kind, then silence, and nothing on stderr at exit."""
    program = (
        "import sys\n"
        "from daemon.sinks.events import EventsSink, ReaderGone\n"
        "from tests.daemon.archive_makers import moment, one_of_each\n"
        "sink = EventsSink('-')\n"
        "gone = 0\n"
        "for t in range(10000):\n"
        "    try:\n"
        "        sink.take(moment(t), one_of_each(t))\n"
        "        sink.idle(t)\n"
        "    except ReaderGone:\n"
        "        gone += 1\n"
        "sink.close()\n"
        "sys.exit(40 + gone)\n"
    )
    child = subprocess.Popen(
        [sys.executable, "-c", program], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env={**os.environ}
    )
    assert child.stdout
    assert child.stderr
    child.stdout.readline()
    child.stdout.close()

    assert child.wait(30) == 41
    assert child.stderr.read() == b""
    child.stderr.close()
    assert issubclass(ReaderGone, SinkError)
