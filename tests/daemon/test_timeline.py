"""Moments: whatever clocks do, the stream's seconds never run back, and never leap without cause."""

from collections.abc import Iterable
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from alerts.events import Moment
from daemon.feeds.face import Arrival
from daemon.instrument_time import WEEKS_MS
from daemon.timeline import DAY_MS, LiveTimeline, RecordedTimeline, Timeline
from parsers.decode import Decoder
from parsers.observations import DateAndTime, Source
from parsers.sentence import Refusal
from parsers.tag import Tagged, untag
from tests.parsers.lines import sealed, tagged

T0 = 1_800_000_000_000  # 2027-01-15, 08:00 UTC, a Friday
HDT = "$HEHDT,123.4,T*2B"


def rmc(utc: str, date: str) -> bytes:
    return sealed(f"$GPRMC,{utc},A,5812.0000,N,01130.0000,E,10.0,045.0,{date},,,A").encode()


def gga(utc: str) -> bytes:
    return sealed(f"$GPGGA,{utc},5812.0000,N,01130.0000,E,1,08,1.0,,M,,M,,").encode()


def run(lines: Iterable[bytes], timeline: Timeline | None = None) -> tuple[list[Moment], list[float]]:
    """The moments at which lines end, and the jumps that were told."""
    timeline, decoder = timeline or RecordedTimeline(), Decoder("f")
    moments, jumps = [], []
    for line in lines:
        read = untag(line)
        assert not isinstance(read, Refusal)
        moment = timeline.moment(Arrival("f", line), read)
        timeline.learn(decoder.decode(read, moment.at_s).observations)
        moments.append(timeline.moment(Arrival("f", HDT.encode()), Tagged(HDT)))
        jump = timeline.take_jump()
        if jump is not None:
            jumps.append(jump)
    return moments, jumps


def steps(moments: list[Moment]) -> list[float]:
    return [round(b.at_s - a.at_s, 3) for a, b in pairwise(moments)]


def tagged_at(*utc_ms: int) -> list[bytes]:
    return [tagged(f"c:{ms}", HDT).encode() for ms in utc_ms]


class TestSentencesDrive:
    def test_midnight_with_and_without_a_date(self) -> None:
        """23:59:59, midnight, 00:00:01: one second each, whether RMC tells the date or GGA does not."""
        moments, jumps = run(
            [rmc("235958.00", "150127"), gga("235959.00"), gga("000000.00"), rmc("000001.00", "160127")]
        )

        assert steps(moments) == [1, 1, 1]
        assert str(moments[-1].time) == "2027-01-16T00:00:01.000Z"
        assert jumps == []

    def test_a_date_that_comes_late_after_midnight(self) -> None:
        """A receiver that still says yesterday in the first sentences of the new day."""
        moments, jumps = run([rmc("235959.00", "150127"), rmc("000000.00", "150127"), rmc("000001.00", "160127")])

        assert steps(moments) == [1, 1]
        assert jumps == []

    def test_a_leap_second(self) -> None:
        """23:59:60 is a second like any other (its label is that of the next midnight)."""
        moments, jumps = run(
            [
                rmc("235959.00", "311226"),
                rmc("235960.00", "311226"),
                rmc("000000.00", "010127"),
                rmc("000001.00", "010127"),
            ]
        )

        assert steps(moments) == [1, 0, 1]
        assert jumps == []

    def test_lines_before_the_first_time_do_not_make_a_leap(self) -> None:
        """A heading, then the first RMC: no seconds pass between them, certainly not those since 1970."""
        moments, jumps = run([HDT.encode(), rmc("080000.00", "150127"), rmc("080001.00", "150127")])

        assert steps(moments) == [0, 1]
        assert jumps == []

    def test_weeks_that_roll_over(self) -> None:
        """The date falls back by 1,024 weeks (7,168 days): told once, seconds and labels go on."""
        moments, jumps = run(
            [
                rmc("080000.00", "150127"),
                rmc("080001.00", "010607"),
                rmc("080002.00", "010607"),
                rmc("080003.00", "010607"),
            ]
        )

        assert steps(moments) == [1, 1, 1]
        assert jumps == [-WEEKS_MS / 1000]
        assert str(moments[-1].time) == "2027-01-15T08:00:03.000Z"

    def test_a_garbled_restart(self) -> None:
        """2019, 2006, 2010, 1999 and 2019 again in twelve seconds, as a real receiver did: told, and nothing ages."""
        moments, jumps = run(
            [
                rmc("080000.00", "150119"),
                rmc("080003.00", "150106"),
                rmc("080006.00", "150110"),
                rmc("080009.00", "220899"),
                rmc("080012.00", "150119"),
                rmc("080013.00", "150119"),
            ]
        )

        assert moments[-1].at_s - moments[0].at_s == 13
        assert max(steps(moments)) <= 12
        assert len(jumps) == 4

    def test_another_passage_behind_this_one_makes_everything_stale(self) -> None:
        """Ten days between two lines: a day passes, no more, and it is told."""
        moments, jumps = run([rmc("080000.00", "150127"), rmc("080000.00", "250127")])

        assert steps(moments) == [86400]
        assert jumps == [864000]

    def test_several_seconds_out_of_order_are_no_jump(self) -> None:
        """GGA one second behind RMC, again and again: time stands still for a moment."""
        moments, jumps = run([rmc("080002.00", "150127"), gga("080001.00"), rmc("080003.00", "150127")])

        assert steps(moments) == [0, 1]
        assert jumps == []


class TestTagsDrive:
    @pytest.mark.parametrize("back_s", [3600, 86400, 7168 * 86400])
    def test_a_clock_put_back_and_forth(self, back_s: int) -> None:
        """The seconds go on; when the clock is put right again within ten minutes, no gap is made of it."""
        there = [T0 + ms for ms in range(0, 5000, 1000)]
        astray = [ms - back_s * 1000 for ms in range(T0 + 5000, T0 + 10_000, 1000)]
        back = [T0 + ms for ms in range(10_000, 15_000, 1000)]
        moments, jumps = run(tagged_at(*there, *astray, *back))

        assert moments[-1].at_s - moments[0].at_s == 14
        assert max(steps(moments)) <= 2
        assert len(jumps) == 2

    def test_a_gap_is_a_gap(self) -> None:
        """798 s without a line, as seen in a real recording: everything ages by it, and no clock has jumped."""
        moments, jumps = run(tagged_at(T0, T0 + 798_000))

        assert steps(moments) == [798]
        assert jumps == []

    @settings(derandomize=True, max_examples=200, deadline=None)
    @given(st.lists(st.integers(0, 4_000_000_000_000), min_size=2, max_size=30))
    def test_any_times_at_all(self, times: list[int]) -> None:
        """Never backwards, never more than a day at once; the label is what the line says, or is a little late."""
        moments, _ = run(tagged_at(*times))

        assert all(0 <= step <= DAY_MS / 1000 for step in steps(moments))


class TestOurOwnRecordings:
    def lines(self, pairs: list[tuple[int, int]]) -> tuple[list[Moment], list[float]]:
        timeline = RecordedTimeline()
        moments, jumps = [], []
        for mono_ms, utc_ms in pairs:
            moments.append(timeline.moment(Arrival("f", b"", mono_ms / 1000, utc_ms), Tagged(HDT)))
            jump = timeline.take_jump()
            if jump is not None:
                jumps.append(jump)
        return moments, jumps

    @pytest.mark.parametrize("jump_s", [7200, -86400, -7168 * 86400, 86400 * 400])
    def test_any_jump_of_the_wall_clock_moves_labels_alone(self, jump_s: int) -> None:
        """The monotonic clock of the watch is in the recording: seconds are right to the millisecond."""
        pairs = [(n * 1000, T0 + n * 1000 + (jump_s * 1000 if n > 4 else 0)) for n in range(10)]
        moments, jumps = self.lines(pairs)

        assert steps(moments) == [1] * 9
        assert jumps == [jump_s]

    def test_a_watch_that_was_started_again(self) -> None:
        """Its monotonic clock begins anew: the pause between the two runs is told by the wall clock."""
        moments, _ = self.lines([(5000, T0), (6000, T0 + 1000), (0, T0 + 61_000), (1000, T0 + 62_000)])

        assert steps(moments) == [1, 60, 1]

    def test_an_hours_suspend_makes_everything_an_hour_older(self) -> None:
        """The clock that the recorder wrote went on while the machine slept."""
        moments, jumps = self.lines([(0, T0), (3_600_000, T0 + 3_600_000)])

        assert steps(moments) == [3600]
        assert jumps == []

    @settings(derandomize=True, max_examples=200, deadline=None)
    @given(st.lists(st.tuples(st.integers(0, 10**15), st.integers(0, 10**15)), min_size=2, max_size=20))
    def test_any_recording_at_all(self, pairs: list[tuple[int, int]]) -> None:
        """Numbers out of any range cost no more than a day each."""
        timeline = RecordedTimeline()
        before: float | None = None
        for mono_ms, utc_ms in pairs:
            at_s = timeline.moment(Arrival("f", b"", mono_ms / 1000, utc_ms), Tagged(HDT)).at_s
            assert before is None or 0 <= at_s - before <= 86400.001
            before = at_s


def test_live_a_jump_of_the_wall_clock_moves_labels_alone() -> None:
    """+2 h, back by a day, back by 1,024 weeks: each is told once, the seconds do not know of it."""
    timeline = LiveTimeline(0.0, T0)
    jumps, moments, offset_ms = [], [], 0
    for n in range(1, 40):
        offset_ms = {10: 7_200_000, 20: -DAY_MS, 30: -WEEKS_MS}.get(n, offset_ms)
        moments.append(timeline.at(n, T0 + n * 1000 + offset_ms))
        jump = timeline.take_jump()
        if jump is not None:
            jumps.append(jump)

    assert steps(moments) == [1] * 38
    assert jumps == [7200, -93600, -WEEKS_MS / 1000 + 86400]
    assert moments[-1].time.utc_ms == T0 + 39_000 - WEEKS_MS


class TestInstruments:
    def claims(self, timeline: LiveTimeline, pairs: list[tuple[float, int]], late_s: float = 0.4) -> list[float]:
        """Each pair: the host's seconds and the time claimed then, which is a little late. The jumps that are told."""
        jumps = []
        for mono_s, claimed_ms in pairs:
            timeline.at(mono_s, T0 + round(mono_s * 1000))
            source = Source(feed="f", talker="GP", formatter="ZDA")
            timeline.learn([DateAndTime(at_s=mono_s, source=source, utc_ms=claimed_ms - round(late_s * 1000))])
            jump = timeline.take_jump()
            if jump is not None:
                jumps.append(round(jump, 3))
        return jumps

    def test_they_move_no_label_unless_they_are_asked_to(self) -> None:
        """An hour ahead of the host, steadily: nobody asked, nothing is told."""
        timeline = LiveTimeline(0.0, T0)
        jumps = self.claims(timeline, [(n, T0 + n * 1000 + 3_600_000) for n in range(10)])

        assert jumps == []
        assert timeline.at(10.0, T0 + 10_000).time.utc_ms == T0 + 10_000

    def test_they_give_the_label_once_they_go_on_steadily(self) -> None:
        """The host's clock is an hour slow: after three claims the label is theirs, told once; seconds do not know."""
        timeline = LiveTimeline(0.0, T0, by_instruments=True)
        jumps = self.claims(timeline, [(n, T0 + n * 1000 + 3_600_000) for n in range(10)])
        moment = timeline.at(10.0, T0 + 10_000)

        assert jumps == [3599.6]
        assert moment.at_s == 10.0
        assert abs(moment.time.utc_ms - (T0 + 10_000 + 3_600_000)) < 1000

    def test_when_they_are_silent_the_host_gives_it_again(self) -> None:
        """After ten seconds without a claim."""
        timeline = LiveTimeline(0.0, T0, by_instruments=True)
        self.claims(timeline, [(n, T0 + n * 1000 + 3_600_000) for n in range(10)])

        assert timeline.at(30.0, T0 + 30_000).time.utc_ms == T0 + 30_000

    def test_a_garbled_restart_is_told_and_not_believed(self) -> None:
        """Random dates for some seconds: each leap is told, the label stays with the host."""
        timeline = LiveTimeline(0.0, T0, by_instruments=True)
        claims = [(n, T0 + n * 1000) for n in range(5)]
        claims += [(5, T0 - 10**10), (6, T0 + 5 * 10**10), (7, 3 * 10**11)]
        claims += [(n, T0 + n * 1000) for n in range(8, 13)]
        jumps = self.claims(timeline, [(float(mono_s), ms) for mono_s, ms in claims])

        assert len(jumps) == 4
        assert abs(timeline.at(13.0, T0 + 13_000).time.utc_ms - (T0 + 13_000)) < 1000

    def test_weeks_that_rolled_over_are_put_right(self) -> None:
        """A receiver that says 2007 from the start gives the right label all the same."""
        timeline = LiveTimeline(0.0, T0 - 3_600_000, by_instruments=True)
        self.claims(timeline, [(float(n), T0 + n * 1000 - WEEKS_MS) for n in range(6)])

        assert abs(timeline.at(6.0, T0 + 6_000 - 3_600_000).time.utc_ms - (T0 + 6_000)) < 1000

    def test_a_wall_clock_that_is_put_right_slowly_is_followed(self) -> None:
        """500 parts in a million, as time daemons slew: no jump in eight hours, and the label keeps up."""
        timeline = LiveTimeline(0.0, T0)
        labels = []
        for mono_s in range(1, 8 * 3600):
            labels.append(timeline.at(mono_s, T0 + mono_s * 1000 + mono_s // 2).time.utc_ms)

            assert timeline.take_jump() is None

        assert labels == sorted(labels)
        assert abs(labels[-1] - (T0 + mono_s * 1000 + mono_s // 2)) < 10


def test_a_recording_without_tag_blocks_is_replayed_in_no_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Lines before the first time, and a receiver that begins in 1999: the whole command, not an age of ticks."""
    from daemon.main import main

    path = tmp_path / "bare.nmea"
    lines = [HDT.encode(), rmc("080000.00", "150199"), *(rmc(f"0800{n:02d}.00", "150127") for n in range(10))]
    path.write_bytes(b"\r\n".join(lines) + b"\r\n")

    assert main(["replay", "--json", str(path)]) == 0
    assert '"accepted": 12' in capsys.readouterr().out
