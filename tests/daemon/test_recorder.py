"""The recorder: what arrived, verbatim and dated, through hours, crashes and full disks, and back again."""

import errno
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.clock import HostClock
from daemon.errors import UserError
from daemon.feeds.face import Arrival
from daemon.feeds.replay import ARRIVAL_BLOCK, Recording
from daemon.sinks import recorder as module
from daemon.sinks.recorder import Recorder, recorded
from parsers.sentence import checksum

HDT = b"$HEHDT,123.4,T*2B"
HOUR = 1_800_000_000_000


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "RETRY_S", 0.02)
    monkeypatch.setattr(module, "FLUSH_S", 0.02)


@pytest.fixture
def recorder(tmp_path: Path) -> Iterator[Recorder]:
    made = Recorder(tmp_path / "recordings", HostClock())
    yield made
    made.close()


def read_back(folder: Path) -> list[Arrival]:
    files = sorted(folder.iterdir())
    arrivals = [a for file in files for part in Recording(str(file)).parts() for a in part]
    return [Arrival(a.feed, a.line, a.mono_s, a.utc_ms) for a in arrivals]


def test_a_recording_gives_back_the_very_arrivals(recorder: Recorder, tmp_path: Path) -> None:
    """Refused lines, lines with TAG blocks of their own, odd bytes: feed, both times and every byte come back."""
    arrivals = [
        Arrival("radar", HDT, 1.25, HOUR),
        Arrival("udp:10110", b"\\s:RA0001,c:1*00\\" + HDT, 1.5, HOUR + 250),
        Arrival("gps", b"\xff\x80 not a sentence \x1b[2J", 2.0, HOUR + 750),
    ]
    recorder.take(arrivals)
    recorder.close()

    assert read_back(tmp_path / "recordings") == arrivals


def test_the_block_is_a_right_tag_block() -> None:
    """Its checksum is over the text between backslash and star, like that of any TAG block."""
    line = recorded(Arrival("radar", HDT, 1.25, HOUR))
    block = line[1 : line.index(b"*")]

    assert line == b"\\s:radar,c:1800000000000,r:1250*%02X\\" % checksum(block) + HDT + b"\r\n"


@settings(derandomize=True, max_examples=200, deadline=None)
@given(st.text(max_size=60), st.binary(max_size=40), st.integers(0, 10**9), st.integers(0, 4 * 10**12))
def test_any_feed_name_and_line_make_a_line_that_can_be_read(name: str, line: bytes, ms: int, utc_ms: int) -> None:
    """Separators in a name become underscores; the times are exact to the millisecond."""
    made = recorded(Arrival(name, line, ms / 1000, utc_ms))
    block = ARRIVAL_BLOCK.match(made)

    assert block
    assert (int(block[2]), int(block[3])) == (utc_ms, ms)
    assert made[block.end() :] == line + b"\r\n"


def test_one_file_an_hour_and_never_backwards(recorder: Recorder, tmp_path: Path) -> None:
    """Across the hour a new file; when the wall clock is put back by a day the names, and so the order, go on."""
    times = [HOUR + 3_599_000, HOUR + 3_600_000, HOUR + 3_600_000 - 86_400_000, HOUR + 7_200_000]
    arrivals = [Arrival("radar", HDT, float(number), utc_ms) for number, utc_ms in enumerate(times)]
    recorder.take(arrivals)
    recorder.close()
    names = sorted(path.name for path in (tmp_path / "recordings").iterdir())

    assert names == [f"secondplot-2027-01-15T{hour}Z.nmea" for hour in ("08", "09", "10")]
    assert read_back(tmp_path / "recordings") == arrivals


def test_a_torn_line_of_a_crash_is_not_joined_to_the_next(tmp_path: Path) -> None:
    """The next run ends it; one refused line is all it costs."""
    folder = tmp_path / "recordings"
    folder.mkdir()
    (folder / "secondplot-2027-01-15T08Z.nmea").write_bytes(recorded(Arrival("radar", HDT, 0.0, HOUR)) + b"\\s:ra")
    later = Arrival("radar", HDT, 5.0, HOUR + 5000)
    recorder = Recorder(folder, HostClock())
    recorder.take([later])
    recorder.close()
    lines = [a.line for a in read_back(folder)]

    assert lines == [HDT, b"\\s:ra", HDT]


def test_a_full_disk_is_said_and_nothing_is_written_twice(
    recorder: Recorder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Half a write, then ENOSPC, several times over; once there is room everything is there once."""
    real, calls = os.write, []

    def full(file: int, data: bytes) -> int:
        calls.append(len(data))
        if len(calls) % 2:
            return real(file, bytes(data[: len(data) // 2]))
        if len(calls) < 8:
            raise OSError(errno.ENOSPC, "No space left on device")
        return real(file, data)

    monkeypatch.setattr(os, "write", full)
    arrivals = [Arrival("radar", HDT, float(n), HOUR + n) for n in range(50)]
    recorder.take(arrivals)
    for _ in range(300):
        if "No space" in recorder.trouble:
            break
        recorder._thread.join(0.01)
    assert "No space" in recorder.trouble
    for _ in range(300):
        if not recorder.trouble:
            break
        recorder._thread.join(0.01)
    recorder.close()

    assert (recorder.trouble, recorder.lost) == ("", 0)
    assert read_back(tmp_path / "recordings") == arrivals


def test_what_waits_is_bounded_and_the_loss_counted(
    recorder: Recorder, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A disk that stays full costs the oldest lines, each counted; the newest are kept."""
    monkeypatch.setattr(module, "WAITING_BYTES", 2000)
    monkeypatch.setattr(recorder, "_write", lambda *_: (_ for _ in ()).throw(OSError(errno.ENOSPC, "full")))
    for number in range(200):
        recorder.take([Arrival("radar", HDT, float(number), HOUR + number)])

        assert recorder._waiting_bytes <= 2000
    monkeypatch.undo()
    recorder.close()
    back = read_back(tmp_path / "recordings")

    assert back[-1].mono_s == 199.0
    assert len(back) + recorder.lost == 200


def test_hours_that_are_over_are_packed(tmp_path: Path) -> None:
    """Gzip in place of the plain file, and the same lines in it."""
    recorder = Recorder(tmp_path, HostClock(), compress=True)
    arrivals = [Arrival("radar", HDT, float(n), HOUR + n * 3_600_000) for n in range(2)]
    recorder.take(arrivals)
    for _ in range(300):
        if (tmp_path / "secondplot-2027-01-15T08Z.nmea.gz").exists():
            break
        recorder._thread.join(0.01)
    recorder.close()
    for _ in range(300):
        if not (tmp_path / "secondplot-2027-01-15T08Z.nmea").exists():
            break
        recorder._thread.join(0.01)

    assert read_back(tmp_path) == arrivals


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    """Code 3, at the start."""
    (tmp_path / "file").write_text("")
    for folder, words in (("file/recordings", "cannot be kept there: Not a directory"), ("file", "name a folder")):
        with pytest.raises(UserError, match=words) as refused:
            Recorder(tmp_path / folder, HostClock())

        assert refused.value.code == 3
