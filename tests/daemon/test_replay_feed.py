"""Recordings as feeds: which files are taken, which are refused, and that no line of them is lost."""

import gzip
import io
import json
import sys
from pathlib import Path

import pytest

from daemon.errors import UserError
from daemon.feeds import replay
from daemon.feeds.face import UNTIMED, Arrival
from daemon.feeds.replay import MOST_FEEDS, OTHER_FEEDS, Recording
from daemon.main import main
from daemon.sinks.recorder import recorded
from parsers.tag import untag

HDT = b"$HEHDT,123.4,T*2B"
TAGGED = b"\\s:RA0001,c:1800000000250*52\\$RATTM,01*00"
RECORDED = b"\\s:radar,c:1800000000250,r:12345*4B\\" + HDT


def lines_of(recording: Recording) -> list[Arrival]:
    return [arrival for part in recording.parts() for arrival in part]


@pytest.mark.parametrize("packed", [False, True])
def test_plain_and_gzip_give_the_same_lines(tmp_path: Path, packed: bool) -> None:
    """The packing is told from the content, not from the name."""
    path = tmp_path / "passage.nmea"
    data = HDT + b"\r\n" + TAGGED + b"\r\n"
    path.write_bytes(gzip.compress(data) if packed else data)
    recording = Recording(str(path))

    assert [arrival.line for arrival in lines_of(recording)] == [HDT, TAGGED]
    assert recording.name == "passage"
    assert not recording.counters["passage"].imbalance()


def test_a_line_of_our_own_recorder_comes_back_as_it_arrived(tmp_path: Path) -> None:
    """Its feed and both its times are those of the arrival; the recorder's block is off. Other lines are untimed."""
    path = tmp_path / "a.nmea"
    path.write_bytes(RECORDED + b"\n" + TAGGED + b"\n")
    first, second = lines_of(Recording(str(path)))

    assert first == Arrival("radar", HDT, 12.345, 1_800_000_000_250, untag(HDT))
    assert second == Arrival("a", TAGGED, UNTIMED, UNTIMED, untag(TAGGED))


def test_a_recording_of_our_own_has_the_feeds_of_the_watch_and_no_other(tmp_path: Path) -> None:
    """A feed of the file's name, of which no line ever comes, would be told as silent."""
    path = tmp_path / "a.nmea"
    path.write_bytes(RECORDED + b"\n")
    recording = Recording(str(path))
    lines_of(recording)

    assert set(recording.counters) == {"radar"}
    assert not recording.counters["radar"].imbalance()


def test_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    """`-` reads whatever is piped in, packed or not."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(gzip.compress(HDT + b"\n"))))

    assert [arrival.line for arrival in lines_of(Recording("-"))] == [HDT]


def test_nothing_piped_in_is_said_in_words(monkeypatch: pytest.MonkeyPatch) -> None:
    """Not as a file called `-`."""
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO()))

    with pytest.raises(UserError, match="standard input is empty"):
        Recording("-")


@pytest.mark.parametrize(
    ("content", "word"),
    [
        (b"", "empty"),
        (gzip.compress(b""), "empty"),
        (b"\x00\xff\x17" * 5000, "no recording"),
        (b"Dear diary, today we sailed.\n", "no recording"),
        (b"SQLite format 3\x00" + bytes(100), "database"),
        (b'{"event":"plot","time":"2027-01-15T08:00:00.000Z"}\n', "events"),
        (b"PK\x03\x04" + bytes(100), "zip"),
        ("$GPRMC,080000".encode("utf-16"), "iconv"),
    ],
)
def test_other_files_are_refused_with_what_they_are(tmp_path: Path, content: bytes, word: str) -> None:
    """Code 3, and a message that names the file and the mend."""
    path = tmp_path / "file"
    path.write_bytes(content)
    with pytest.raises(UserError, match=word) as refused:
        Recording(str(path))

    assert refused.value.code == 3
    assert str(path) in str(refused.value)


@pytest.mark.parametrize("name", [".", "absent.nmea"])
def test_folders_and_absent_files_are_refused(tmp_path: Path, name: str) -> None:
    """Code 3 as well."""
    with pytest.raises(UserError) as refused:
        Recording(str(tmp_path / name))

    assert refused.value.code == 3


@pytest.mark.parametrize("damage", ["cut", "changed"])
def test_a_damaged_gzip_file_gives_what_can_be_read(tmp_path: Path, damage: str) -> None:
    """All lines before the damage come out, and the damage is told."""
    numbers = b"".join(b"$HEHDT,%05.1f,T*00\r\n" % (n * 7919 % 3600 / 10) for n in range(20000))
    packed = bytearray(gzip.compress(numbers))
    half = len(packed) // 2
    if damage == "cut":
        del packed[half:]
    else:
        packed[half : half + 40] = bytes(40)
    path = tmp_path / "a.gz"
    path.write_bytes(packed)
    recording = Recording(str(path))
    lines = [arrival.line for arrival in lines_of(recording)]

    assert len(lines) > 5000
    assert lines[:5000] == numbers.split(b"\r\n")[:5000]
    assert len(recording.notices) == 1


def test_a_gzip_file_that_unpacks_to_a_thousandfold_is_read_in_portions(tmp_path: Path) -> None:
    """No piece is much longer than PART_BYTES, however well the file was packed."""
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress((HDT + b"\n") * 400_000))
    recording = Recording(str(path))
    sizes = [len(piece) for piece in recording._data()]
    recording.close()

    assert sum(sizes) == (len(HDT) + 1) * 400_000
    assert max(sizes) < 1.1 * replay.PART_BYTES


def test_several_gzip_members_in_one_file(tmp_path: Path) -> None:
    """Hours joined with `cat` are read through."""
    path = tmp_path / "a.gz"
    path.write_bytes(gzip.compress(HDT + b"\n") + gzip.compress(TAGGED + b"\n") + bytes(512))

    assert [arrival.line for arrival in lines_of(Recording(str(path)))] == [HDT, TAGGED]


def test_a_torn_last_line_is_given_like_any_other(tmp_path: Path) -> None:
    """A recording cut at every byte of its last line keeps all lines before it; what is left is one more line."""
    path = tmp_path / "a.nmea"
    for cut in range(len(HDT)):
        path.write_bytes(TAGGED + b"\n" + HDT[:cut])
        recording = Recording(str(path))
        lines = [arrival.line for arrival in lines_of(recording)]

        assert lines == [TAGGED] + ([HDT[:cut]] if cut else [])
        assert not recording.counters["a"].imbalance()


def test_a_recording_that_names_a_feed_in_every_line_is_of_so_many_feeds(tmp_path: Path) -> None:
    """Each feed costs time at every tick: beyond a bound the others are taken for one, counted and told."""
    path = tmp_path / "names.nmea"
    lines = [recorded(Arrival(f"feed{number}", HDT, number / 100, 1_800_000_000_000)) for number in range(1000)]
    path.write_bytes(b"".join(lines))
    recording = Recording(str(path))
    feeds = {arrival.feed for arrival in lines_of(recording)}

    assert len(feeds) == MOST_FEEDS + 1
    assert recording.counters[OTHER_FEEDS].lines == 1000 - MOST_FEEDS
    assert not any(counters.imbalance() for counters in recording.counters.values())
    assert recording.notices == [f"{path} names more than 64 feeds: the others are taken for one"]


def test_a_feed_that_is_named_later_needs_no_checksum_either(tmp_path: Path) -> None:
    """`--no-checksum` is for all feeds of a recording."""
    path, events = tmp_path / "two.nmea", tmp_path / "events.jsonl"
    bare = (
        Arrival("a", b"$HEHDT,123.4,T", 1.0, 1_800_000_000_000),
        Arrival("b", b"$HEHDT,9.0,T", 2.0, 1_800_000_001_000),
    )
    path.write_bytes(b"".join(recorded(arrival) for arrival in bare))
    assert main(["replay", str(path), "--no-checksum", "--quiet", "--events", str(events)]) == 0
    summary = json.loads(events.read_text(encoding="utf-8").splitlines()[-1])

    assert (summary["lines"], summary["accepted"]) == (2, 2)
