"""The stream: one path for every pace, every line accounted for, and a broken sink that stops nobody."""

import gzip
import json
from collections.abc import Callable, Sequence
from itertools import islice
from pathlib import Path

import pytest

from alerts.events import Alert, AnyEvent, Feed, Instant, Moment, Note, OwnShip, Plot, Summary
from alerts.lookout import Lookout
from alerts.plotting.terms import FeedState
from daemon.feeds.face import Arrival, Counters
from daemon.main import main
from daemon.sinks.face import SinkError
from daemon.stream import DUPLICATE, FeedLine, Stream
from daemon.timeline import RecordedTimeline
from parsers.decode import Decoder
from parsers.encode import sentence, tag_block

FOG = Path(__file__).parents[2] / "recordings" / "fog-crossing.nmea.gz"


class Kept:
    """A sink that keeps everything, and can be told to fail."""

    name = "kept"

    def __init__(self) -> None:
        self.events: list[AnyEvent] = []
        self.trouble = ""
        self.lost = 0

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        if self.trouble:
            raise SinkError(self.trouble)
        self.events.extend(events)

    def idle(self, now_s: float) -> None:
        pass

    def close(self) -> None:
        pass


def stream_of(*names: str, sinks: Sequence[Kept] = ()) -> Stream:
    feeds = [FeedLine(name=name, decoder=Decoder(name), counters=Counters()) for name in names]
    return Stream(Lookout(), sinks, feeds, RecordedTimeline())


def tagged(text: str, at_ms: int) -> bytes:
    return tag_block(text, at_ms, "RA0001").encode()


def beginning(count: int) -> list[bytes]:
    """The first lines of the passage in fog."""
    with gzip.open(FOG) as file:
        return list(islice(file, count))


def first_lines(count: int) -> list[Arrival]:
    return [Arrival("fog", line.rstrip()) for line in beginning(count)]


def run(lines: Sequence[Arrival], batch: int) -> list[AnyEvent]:
    kept = Kept()
    stream = stream_of("fog", sinks=[kept])
    for start in range(0, len(lines), batch):
        stream.take(lines[start : start + batch])
    stream.close(summarise=True)
    return kept.events


def test_batches_of_any_size_give_the_same_events() -> None:
    """What a watch does line by line a replay does by the thousand, and the numbers are the same."""
    lines = first_lines(2500)

    assert run(lines, 1) == run(lines, 97) == run(lines, 2500)


def test_every_line_is_accounted_for() -> None:
    """Lines are accepted or refused with a reason; the feed's last event and the summary say how many."""
    lines = [*first_lines(50), Arrival("fog", b"$GPHDT,1*00"), Arrival("fog", b"rubbish"), Arrival("fog", b"\xff\x00")]
    events = run(lines, 10)
    feed = next(event for event in reversed(events) if isinstance(event, Feed))
    summary = events[-1]

    assert isinstance(summary, Summary)
    assert summary.accepted == 50
    assert sum(summary.refused.values()) == 3
    assert feed.lines == 53


def test_an_account_that_does_not_come_out_even_is_told() -> None:
    """At the end of every watch and replay: a line that nobody can account for is a fault, and said to be one."""
    stream = stream_of("radar", "gyro")
    for feed in stream.feeds.values():
        feed.counters.lines = feed.counters.taken = 1
        feed.counters.accept()
    assert stream.unbalanced() == []

    stream.feeds["gyro"].counters.accept()

    assert stream.unbalanced() == [
        "the account of feed gyro does not balance, a fault of ours: 1 lines, but 2 accepted, 0 refused, 0 dropped,"
        " 0 waiting and -1 in hand"
    ]


def test_a_second_is_ticked_once_and_a_gap_in_full() -> None:
    """Own ship is told once a second of data time, and through a gap of the recording she grows old in it."""
    heading = sentence("HEHDT,90.0,T")
    stream = stream_of("gyro", sinks=[kept := Kept()])
    stream.take([Arrival("gyro", tagged(heading, 1_800_000_000_000 + 250 * quarter)) for quarter in range(20)])
    stream.take([Arrival("gyro", tagged(heading, 1_800_000_065_000))])
    own = [event for event in kept.events if isinstance(event, OwnShip)]

    assert len(own) == 65
    assert own[-2].heading_deg is None
    assert own[3].heading_deg == 90.0


def lost_after_s(stream: Stream, kept: Kept, began_s: int) -> float:
    """A vessel on a collision course, and then nothing for most of a day: how long until the danger is told as lost."""
    del kept.events[:]
    for plot in range(60):
        report = sentence(f"RATTM,01,{4 - plot * 0.02:.2f},010.0,T,,,T,,,N,,T,,,A")
        stream.take([Arrival("radar", tagged(report, 1000 * (began_s + 3 * plot)))])
    stream.take([Arrival("radar", tagged(sentence("HEHDT,90.0,T"), 1000 * (began_s + 80_000)))])
    lost = [event for event in kept.events if isinstance(event, Alert) and "LOST, last known" in event.text]
    return lost[0].time.utc_ms / 1000 - (began_s + 177)


def test_a_recording_that_leaps_a_day_in_every_line_is_not_ticked_in_full_for_ever() -> None:
    """It says so once; a danger lost in such a gap is told all the same, at most a quarter of the silence late."""
    ticks: list[Moment] = []
    stream = stream_of("radar", sinks=[kept := Kept()])
    tick = stream._tick

    def counted(moment: Moment) -> None:
        ticks.append(moment)
        tick(moment)

    stream._tick = counted  # type: ignore[method-assign]
    in_time_s = lost_after_s(stream, kept, 1_800_000_000)
    stream._gap_ticks = 5000  # as after a hundred days of it
    leaps = [tagged(sentence("HEHDT,90.0,T"), 1000 * (1_800_000_000 + 80_000 * day)) for day in range(2, 102)]
    stream.take([Arrival("radar", line) for line in leaps])
    told = [event for event in kept.events if isinstance(event, Note) and "too many long silences" in event.text]
    late_s = lost_after_s(stream, kept, 1_800_000_000 + 80_000 * 103)

    assert len(ticks) < 12_000 < 103 * 2000
    assert len(told) == 1
    assert in_time_s <= late_s <= 1.25 * in_time_s


def test_silence_is_an_event() -> None:
    """A feed that says nothing for longer than its limit is told as silent, and as up when it speaks again."""
    heading = sentence("HEHDT,90.0,T")
    stream = stream_of("gyro", sinks=[kept := Kept()])
    for at_s in (0, 1, 2, 40, 41):
        stream.take([Arrival("gyro", tagged(heading, 1_800_000_000_000 + 1000 * at_s))])
    states = [event.state for event in kept.events if isinstance(event, Feed)]

    assert states == [FeedState.UP, FeedState.SILENT, FeedState.UP]


@pytest.mark.parametrize(
    ("spoil", "why"),
    [
        (lambda line: line.rpartition("*")[0], "checksum missing"),
        (lambda line: line.replace("TTM,01", "TTM,02"), "checksum wrong"),
        (lambda line: "rubbish", "no sentence"),
    ],
)
def test_a_feed_none_of_whose_lines_can_be_used_is_told_as_silent(spoil: Callable[[str], str], why: str) -> None:
    """Its lines come, but no target of it is plotted: that it is up would be a wrong quiet answer. The reason is told,
    and one line that can be used brings it up."""
    good = sentence("RATTM,01,3.00,010.0,T,,,T,,,N,,T,,,A")
    stream = stream_of("radar", "gyro", sinks=[kept := Kept()])
    for second in range(30):
        at_ms = 1_800_000_000_000 + 1000 * second
        stream.take([Arrival("gyro", tagged(sentence(f"HEHDT,{90 + second / 10:.1f},T"), at_ms))])
        stream.take([Arrival("radar", tagged(good if second >= 20 else spoil(good), at_ms))])
    states = [event.state for event in kept.events if isinstance(event, Feed) and event.name == "radar"]
    (first, *_) = [event for event in kept.events if isinstance(event, Alert) and event.rule == "feed_silent"]

    assert states == [FeedState.SILENT, FeedState.UP]
    assert first.text == f"feed radar is silent, no line since the start (its lines are refused: {why})"


def test_a_feed_that_falls_silent_is_not_laid_to_the_clutter_control() -> None:
    """The cable is pulled half a minute after "sea clutter up": the echoes were not lost by that."""
    lines = first_lines(4500)
    stream = stream_of("fog", sinks=[kept := Kept()])
    stream.take(lines[:4000])
    stream.ask("note", None, "sea clutter up")
    stream.take(lines[4000:])
    last = stream.moment
    assert last is not None
    for second in range(1, 200):
        stream.pass_time(Moment(last.at_s + second, Instant(last.time.utc_ms + 1000 * second)))
    stream.flush()
    said = [event.text for event in kept.events if isinstance(event, Note) and event.author == "secondplot"]

    assert said == ['the note "sea clutter up": the radar\'s feed fell silent, not compared']


def test_one_sentence_by_two_feeds_is_taken_once() -> None:
    """A multiplexer's copy is counted as such, and gives no second plot."""
    stream = stream_of("direct", "mixed", sinks=[kept := Kept()])
    report = sentence("RATTM,01,4.00,010.0,T,,,T,,,N,,T,,,A")
    for at_s in range(3):
        line = tagged(report, 1_800_000_000_000 + 2500 * at_s)
        stream.take([Arrival("direct", line), Arrival("mixed", line)])

    assert len([event for event in kept.events if isinstance(event, Plot)]) == 3
    assert stream.feeds["mixed"].counters.refused[DUPLICATE] == 3


def test_a_broken_sink_stops_nobody() -> None:
    """Its trouble is told by the others as an alert, and goes when it works again."""
    broken, well = Kept(), Kept()
    broken.name, broken.trouble = "archive", "passages.sqlite: no space left"
    stream = stream_of("gyro", sinks=[broken, well])
    heading = sentence("HEHDT,90.0,T")
    for at_s in range(90):
        if at_s == 30:
            broken.trouble = ""
        stream.take([Arrival("gyro", tagged(heading, 1_800_000_000_000 + 1000 * at_s))])
    alerts = [event for event in well.events if isinstance(event, Alert)]
    states = [str(alert.state) for alert in alerts if alert.rule == "archive_failed"]

    assert states[0] == "active-unacknowledged"
    assert states[-1] == "rectified-unacknowledged"
    assert broken.events


class Faulty(Kept):
    """A sink with a fault of the program in it: it chokes on the first event, and on being closed."""

    name = "archive"

    def take(self, moment: Moment, events: Sequence[AnyEvent]) -> None:
        self.events.extend(events)
        if len(self.events) == len(events):
            raise ValueError("a figure too long")

    def close(self) -> None:
        raise OSError(5, "Input/output error")


def test_a_fault_in_a_sink_ends_no_watch_and_is_told_to_the_end(capsys: pytest.CaptureFixture[str]) -> None:
    """Others get every event. What was missed is not made good by a later success: it is told as long as they run."""
    faulty, sound = Faulty(), Kept()
    stream = stream_of("fog", sinks=[faulty, sound])
    lines = first_lines(400)
    for start in range(0, len(lines), 50):
        stream.take(lines[start : start + 50])
        assert [output.problem for output in stream.failing()] == [
            "a fault of the program in archive (ValueError: a figure too long)"
        ]
    stream.close()

    plots = [event for event in run(lines, 50) if isinstance(event, Plot)]
    assert [event for event in sound.events if isinstance(event, Plot)] == plots != []
    assert any(isinstance(event, Alert) and event.rule == "archive_failed" for event in sound.events)
    assert "a fault of the program in archive (OSError: [Errno 5] Input/output error)" in capsys.readouterr().err


def test_the_same_recording_gives_the_same_bytes_at_any_pace(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Twice as fast as can be, and once at a pace: byte for byte."""
    short = tmp_path / "short.nmea"
    short.write_bytes(b"".join(beginning(1500)))
    outputs = []
    for number, pace in enumerate(["max", "max", "500"]):
        events = tmp_path / f"{number}.jsonl"
        assert main(["replay", str(short), "--pace", pace, "--events", str(events), "--quiet"]) == 0
        outputs.append(events.read_bytes())
    capsys.readouterr()

    assert outputs[0] == outputs[1] == outputs[2]
    assert json.loads(outputs[0].splitlines()[-1])["event"] == "summary"


def test_a_replay_whose_archive_cannot_be_written_ends_with_3(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The watch of a passage goes on without its archive; a replay that was to make one has failed."""
    short = tmp_path / "short.nmea"
    short.write_bytes(b"".join(beginning(200)))

    assert main(["replay", str(short), "--archive", "/proc/no/such.sqlite", "--quiet"]) == 3
    assert "were not archived: archive /proc/no/such.sqlite" in capsys.readouterr().err


def test_a_palette_that_there_is_not_is_refused_even_where_no_screen_is_drawn(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["replay", str(FOG), "--plain", "--palette", "pink"]) == 2
    assert "--palette pink: choose one of day" in capsys.readouterr().err


def test_a_recording_of_refused_lines_is_told_by_the_reason(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Not by the time that it does not tell; and lines of a feed that is named only later are taken like the others."""
    old = tmp_path / "old.nmea"
    block = b"\\s:gyro,c:1800000000000,r:1000*"
    old.write_bytes(b"$HEHDT,165.4,T\r\n" * 5000 + block + b"00\\$HEHDT,166.0,T\r\n")
    main(["replay", str(old), "--plain"])
    assert "no line could be used (refused: checksum missing 500" in capsys.readouterr().err

    main(["replay", str(old), "--plain", "--no-checksum", "--rate", "10"])
    assert "5001 lines, 0 refused" in capsys.readouterr().out


@pytest.mark.parametrize("command", [["replay"], ["debrief"], ["trial", "--course", "080"], ["bench"]])
def test_a_recording_that_tells_no_time_is_no_quiet_passage(
    command: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nothing can be worked out of it, and every command says so, and how to mend it. With a rate it is a passage."""
    monkeypatch.chdir(tmp_path)
    undated = [arrival.line.rpartition(b"\\")[2] for arrival in first_lines(3000)]
    timed = (b"RMC", b"ZDA", b"GGA")
    (tmp_path / "bare.nmea").write_bytes(b"\r\n".join(line for line in undated if line[3:6] not in timed))
    main([*command, "bare.nmea"])
    said = capsys.readouterr().err

    assert "no line tells the time" in said
    assert "--rate 15" in said

    main([*command, "bare.nmea", "--rate", "15"])
    assert "no line tells the time" not in capsys.readouterr().err


def test_a_flood_of_tracks_is_counted_and_not_kept() -> None:
    """A number that jumps about begins track after track: the summary counts them, memory holds the last."""
    stream = stream_of("radar", sinks=[kept := Kept()])
    for turn in range(400):
        range_nm = 2 + 3 * (turn // 2 % 3)
        report = sentence(f"RATTM,01,{range_nm:.2f},{turn % 360:05.1f},T,,,T,,,N,,T,,,A")
        stream.take([Arrival("radar", tagged(report, 1_800_000_000_000 + 2500 * turn))])
    names = {event.target for event in kept.events if isinstance(event, Plot)}
    summary = stream.close(summarise=True)

    assert summary is not None
    assert summary.targets == len(names) > 100
    assert len(stream.lookout.judging.plots) < 5
