"""The intake: bounded, in order, woken at once, and choosing well what it drops."""

import threading
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from daemon.feeds.face import Arrival, Counters
from daemon.feeds.intake import GATHERED, Intake, Kind, kind_of
from parsers.decode import SENTENCES

TTM = b"$RATTM,01,1.00,045.0,T*00"
HDT = b"$HEHDT,123.4,T*00"
GSV = b"$GPGSV,1,1,00*00"
VDM = b"!AIVDM,1,1,,A,x,0*00"


def put(intake: Intake, counters: Counters, *lines: bytes, feed: str = "f") -> None:
    intake.put_all([Arrival(feed, line, 0.0, 0) for line in lines], counters)


@pytest.mark.parametrize(
    ("line", "kind"),
    [
        (TTM, Kind.TARGETS),
        (b"\\s:RA0001,c:1*00\\\\g:1-2-3*00\\" + TTM, Kind.TARGETS),
        (b"!RATTD,01,01,,x,0*00", Kind.TARGETS),
        (HDT, Kind.OWN_SHIP),
        (b"!AIVDO,1,1,,A,x,0*00", Kind.OWN_SHIP),
        (VDM, Kind.AIS),
        (GSV, Kind.UNUSED),
        (b"", Kind.UNUSED),
        (b"\\\\\\", Kind.UNUSED),
    ],
)
def test_a_lines_kind(line: bytes, kind: Kind) -> None:
    """Told from the formatter, with and without TAG blocks."""
    assert kind_of(line) is kind


def test_lines_come_out_in_the_order_of_arrival() -> None:
    """Over all feeds and kinds, and over several portions."""
    intake, first, second = Intake(), Counters(), Counters()
    lines = [TTM, HDT, GSV, VDM] * 5
    for number, line in enumerate(lines):
        put(intake, (first, second)[number % 2], line, feed="ab"[number % 2])
    taken = [*intake.get(0, limit=7), *intake.get(0, limit=100)]

    assert [arrival.line for arrival in taken] == lines
    assert (first.taken, first.waiting, second.lines) == (10, 0, 10)


def test_the_least_important_go_first_and_of_these_the_oldest() -> None:
    """Unused sentences, then AIS, then own ship; a tracked target only when nothing else is left."""
    intake, counters = Intake(capacity=4), Counters()
    put(intake, counters, TTM, HDT, GSV, VDM)
    for _ in range(3):
        put(intake, counters, TTM)
    kept = [arrival.line for arrival in intake.get(0)]

    assert kept == [TTM, TTM, TTM, TTM]
    assert counters.dropped == {"unused": 1, "ais": 1, "own ship": 1}


def test_the_newest_of_a_kind_are_kept() -> None:
    """A newer heading is worth more than an older one."""
    intake, counters = Intake(capacity=3), Counters()
    put(intake, counters, *(b"$HEHDT,%d,T*00" % number for number in range(10)))

    assert [arrival.line[7:8] for arrival in intake.get(0)] == [b"7", b"8", b"9"]
    assert not counters.imbalance()


def test_a_flood_of_targets_takes_nothing_from_a_quiet_feed() -> None:
    """A feed within its reserve never pays for another's flood, whatever the kinds."""
    intake, quiet, flood = Intake(capacity=64), Counters(), Counters()
    put(intake, quiet, HDT, HDT, feed="gyro")
    put(intake, flood, *[TTM] * 1000, feed="network")

    assert quiet.dropped.total() == 0
    assert sum(arrival.feed == "gyro" for arrival in intake.get(0)) == 2


def test_a_long_stall_leaves_room_for_the_newest_heading() -> None:
    """A thousand target lines fill the queue: own ship keeps its reserve, and its newest line is among what is kept."""
    intake, counters = Intake(capacity=64), Counters()
    for number in range(1000):
        put(intake, counters, TTM, b"$HEHDT,%d,T*00" % number)
    kept = [arrival.line for arrival in intake.get(0, limit=100)]

    assert kept[-1] == b"$HEHDT,999,T*00"
    assert kept.count(TTM) == 60
    assert not counters.imbalance()


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.sampled_from("ab"), st.sampled_from([TTM, HDT, GSV, VDM]), st.booleans()), max_size=80))
def test_no_line_is_lost_without_being_counted(steps: list[tuple[str, bytes, bool]]) -> None:
    """After any sequence of puts and gets: within the bound, in order, and both accounts balance."""
    intake, counters = Intake(capacity=8), {"a": Counters(), "b": Counters()}
    taken: list[Arrival] = []
    for number, (feed, line, get) in enumerate(steps):
        intake.put_all([Arrival(feed, line, float(number), 0)], counters[feed])
        if get:
            taken += intake.get(0, limit=3)

        assert len(intake) <= 8
        assert not any(account.imbalance() for account in counters.values())

    assert [arrival.mono_s for arrival in taken] == sorted(arrival.mono_s for arrival in taken)
    assert len(taken) == sum(account.taken for account in counters.values())
    assert len(taken) + len(intake) + sum(account.dropped.total() for account in counters.values()) == len(steps)


@pytest.mark.parametrize("how", ["wake", "stop", "target", "AIS", "many", "file"])
def test_a_waiting_taker_returns_at_once(how: str) -> None:
    """A signal, a stop, a line that may decide an alert or many others end the wait long before the time-out."""
    intake, counters = Intake(), Counters()
    actions = {
        "wake": intake.wake,
        "stop": intake.stop,
        "target": lambda: put(intake, counters, HDT, TTM),
        "AIS": lambda: put(intake, counters, VDM),
        "many": lambda: put(intake, counters, *[HDT] * GATHERED),
        "file": lambda: intake.put_all([Arrival("f", HDT)], counters, wait=True),
    }
    timer = threading.Timer(0.05, actions[how])
    timer.start()
    began = time.monotonic()
    intake.get(30)

    assert time.monotonic() - began < 5
    timer.join()


def test_own_ships_lines_wait_for_company() -> None:
    """A few that decide nothing by themselves wake nobody: they come with the next target, or after the time-out."""
    intake, counters = Intake(), Counters()
    put(intake, counters, *[HDT] * (GATHERED - 1))
    began = time.monotonic()
    waited_for = intake.get(0.2)

    assert time.monotonic() - began >= 0.2
    assert len(waited_for) == GATHERED - 1
    put(intake, counters, HDT, GSV)
    put(intake, counters, TTM)
    began = time.monotonic()
    assert [arrival.line for arrival in intake.get(30)] == [HDT, GSV, TTM]
    assert time.monotonic() - began < 5


def test_dates_do_not_run_backwards() -> None:
    """Of two feeds, the one that dated its line first may put it last; a line may come after time has passed."""
    intake, counters = Intake(), Counters()
    intake.put_all([Arrival("a", HDT, 1.002, 5002)], counters)
    intake.put_all([Arrival("b", HDT, 1.000, 5000), Arrival("b", HDT, 1.003, 5003)], counters)
    taken = intake.get(0)
    assert intake.reached(1.5) == 1.5
    intake.put_all([Arrival("a", HDT, 1.4, 5400), Arrival("a", HDT, 1.6, 5600)], counters)

    assert [(one.mono_s, one.utc_ms) for one in taken] == [(1.002, 5002), (1.002, 5002), (1.003, 5003)]
    assert intake.reached(2.0) == 1.5
    assert intake.reached(1.2) == 1.2
    assert [(one.mono_s, one.utc_ms) for one in intake.get(0)] == [(1.5, 5500), (1.6, 5600)]
    assert intake.reached(2.0) == 2.0


def test_what_is_left_is_taken_at_once() -> None:
    """Where more waits than is taken in one go, the rest is not kept waiting for company."""
    intake, counters = Intake(), Counters()
    put(intake, counters, TTM, *[HDT] * 5)
    began = time.monotonic()

    assert [len(intake.get(30, limit=4)), len(intake.get(30, limit=4))] == [4, 2]
    assert time.monotonic() - began < 5


def test_a_source_that_can_wait_loses_nothing() -> None:
    """Far more lines than there is room for, put with `wait`, all come out in order."""
    intake, counters = Intake(capacity=10), Counters()
    lines = [Arrival("file", b"%d" % number) for number in range(500)]
    putter = threading.Thread(target=intake.put_all, args=(lines, counters, True))
    putter.start()
    taken: list[Arrival] = []
    while len(taken) < 500:
        taken += intake.get(1)
        assert len(intake) <= 10
    putter.join()

    assert taken == lines
    assert counters.dropped.total() == 0


def test_stopping_frees_a_source_that_waits() -> None:
    """A full queue never keeps a feed from ending."""
    intake, counters = Intake(capacity=1), Counters()
    putter = threading.Thread(target=put, args=(intake, counters, HDT), daemon=True)
    waiter = threading.Thread(
        target=intake.put_all, args=([Arrival("f", HDT, 0.0, 0)] * 3, counters, True), daemon=True
    )
    putter.start()
    waiter.start()
    intake.stop()
    waiter.join(5)

    assert not waiter.is_alive()
    assert not counters.imbalance()


def test_every_sentence_that_is_read_has_its_place_when_not_all_can_be_taken() -> None:
    """What is not named is lost first: that must be a choice. Depth and text do nothing for the plot."""
    unnamed = {name for name in SENTENCES if kind_of(f"$II{name},".encode()) is Kind.UNUSED}

    assert unnamed == {"DBT", "DPT", "TXT"}
