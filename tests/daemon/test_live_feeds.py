"""Live feeds over real pseudo-terminals, sockets and pipes: they read, they heal, and they account for every byte."""

import errno
import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from daemon.clock import VirtualClock
from daemon.feeds import live
from daemon.feeds.face import Counters
from daemon.feeds.intake import Intake
from daemon.feeds.live import LAST_PAUSE_S, Ended, LiveFeed
from daemon.feeds.serial_line import SerialSource
from daemon.feeds.udp import LineNumbers, SenderCaps
from daemon.feeds.uri import parse
from tests.daemon.feed_makers import SerialCable, Station, free_port

HDT = b"$HEHDT,123.4,T*2B"
TTM = b"$RATTM,01,1.00,045.0,T,10.0,200.0,T,0.5,10.0,N,,T,,,A*00"

Sender = Callable[[bytes], object]


@contextmanager
def serial_station(folder: Path) -> Iterator[tuple[Station, Sender]]:
    cable = SerialCable(folder / "ttyUSB0")
    with Station(f"serial:{cable.link}@38400") as station:
        assert station.until_open()
        yield station, cable.send
    cable.pull()


@contextmanager
def serial_source(folder: Path) -> Iterator[tuple[SerialSource, SerialCable]]:
    """The source alone, open, in the test's own hand."""
    cable = SerialCable(folder / "ttyUSB0")
    source = SerialSource(parse(f"serial:{cable.link}@38400"))
    source.open()
    yield source, cable
    cable.pull()


def _giving(what: bytes | OSError) -> Callable[[int, int], bytes]:
    """In the place of os.read."""

    def read(number: int, size: int) -> bytes:
        if isinstance(what, OSError):
            raise what
        return what

    return read


@contextmanager
def udp_station(folder: Path, options: str = "") -> Iterator[tuple[Station, Sender]]:
    port = free_port()
    with (
        socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender,
        Station(f"udp:127.0.0.1:{port}{options}") as station,
    ):
        assert station.until_open()
        yield station, lambda data: sender.sendto(data, ("127.0.0.1", port))


@contextmanager
def tcp_station(folder: Path) -> Iterator[tuple[Station, Sender]]:
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        with Station(f"tcp:127.0.0.1:{port}") as station:
            peer, _ = server.accept()
            with peer:
                assert station.until_open()
                yield station, peer.sendall


@contextmanager
def pipe_station(folder: Path) -> Iterator[tuple[Station, Sender]]:
    os.mkfifo(folder / "pipe")
    with Station(f"file:{folder / 'pipe'}") as station:
        assert station.until_open()
        end = os.open(folder / "pipe", os.O_WRONLY)
        yield station, lambda data: os.write(end, data)
        os.close(end)


STATIONS = [serial_station, udp_station, tcp_station, pipe_station]


@pytest.mark.parametrize("station_of", STATIONS)
class TestEveryFeed:
    """One conformance check that each kind of feed must pass."""

    def test_lines_arrive_whole_and_dated(self, station_of: Callable[..., object], tmp_path: Path) -> None:
        """Two sentences come out as two lines of the feed's name, with times that do not run backwards."""
        with station_of(tmp_path) as (station, send):  # type: ignore[attr-defined]
            send(HDT + b"\r\n" + TTM + b"\r\n")
            assert station.until_lines(2)

            assert station.lines == [HDT, TTM]
            first, second = station.arrivals
            assert first.feed == station.feed.name
            assert 0 <= first.mono_s <= second.mono_s <= station.clock.mono_s()
            assert abs(first.utc_ms - time.time_ns() // 1_000_000) < 10_000

    def test_any_bytes_are_accounted_for(self, station_of: Callable[..., object], tmp_path: Path) -> None:
        """Garbage, NULs, an endless line and a good sentence after it: the identity holds (Station asserts it)."""
        garbage = bytes(range(256)) * 4 + bytes(100) + b"x" * 3000 + b"\r\n"
        with station_of(tmp_path) as (station, send):  # type: ignore[attr-defined]
            send(garbage)
            send(HDT + b"\r\n")
            assert station.until(lambda: HDT in station.lines)

            assert station.feed.counters.bytes_read == len(garbage) + len(HDT) + 2

    def test_it_stops_at_once_while_it_waits(self, station_of: Callable[..., object], tmp_path: Path) -> None:
        """A blocked read is no reason to wait: well under the look-round of one second."""
        with station_of(tmp_path) as (station, _):  # type: ignore[attr-defined]
            began = time.monotonic()
            station.feed.stop()

            assert station.feed.join(5)
            assert time.monotonic() - began < 0.5


class TestSerial:
    def test_unplugged_and_plugged_in_again(self, tmp_path: Path) -> None:
        """The adapter goes, the feed says so; it comes back as another device behind the same link, and heals."""
        cable = SerialCable(tmp_path / "ttyUSB0")
        with Station(f"serial:{cable.link}@4800") as station:
            assert station.until_open()
            cable.send(HDT + b"\r\n$HEHDT,12")
            assert station.until_lines(1)
            cable.pull()
            assert station.until_down()
            assert "ttyUSB0" in station.feed.link.trouble
            cable.plug()
            assert station.until_open()
            cable.send(TTM + b"\r\n")

            assert station.until(lambda: station.lines[-1] == TTM)
            assert station.feed.link.trouble == ""
        cable.pull()

    @pytest.mark.parametrize(
        ("gives", "trouble"),
        [
            (b"", "ready, and gives nothing"),  # a USB adapter that was pulled: the kernel has hung the line up
            (OSError(errno.EIO, "Input/output error"), "Input/output error"),
            (OSError(errno.ENODEV, "No such device"), "No such device"),
        ],
    )
    def test_an_adapter_that_is_gone_is_let_go(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, gives: bytes | OSError, trouble: str
    ) -> None:
        """However the kernel says so, it is a trouble in words, and what came before is accounted for."""
        counters = Counters()
        with serial_source(tmp_path) as (source, cable):
            cable.send(HDT + b"\r\n$HEHDT,12")
            assert source.read(counters, 0.0) == [HDT]
            monkeypatch.setattr("os.read", _giving(gives))
            with pytest.raises(OSError, match=f"ttyUSB0: unplugged or gone .*{trouble}"):
                source.read(counters, 1.0)
            monkeypatch.undo()
            assert source.close(counters) == [b"$HEHDT,12"]
        counters.lines = counters.taken = 2

        assert not counters.imbalance()

    def test_a_line_that_is_not_ready_after_all_is_no_trouble(
        self, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """EAGAIN, EWOULDBLOCK: nothing for now."""
        counters = Counters()
        with serial_source(tmp_path) as (source, cable):
            monkeypatch.setattr("os.read", _giving(BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable")))
            assert source.read(counters, 0.0) == []
            monkeypatch.undo()
            cable.send(HDT + b"\r\n")

            assert source.read(counters, 0.0) == [HDT]
            source.close(counters)

    def test_an_adapter_that_is_not_there_yet(self, tmp_path: Path) -> None:
        """Absence at the start is said, in plain words, and waited out."""
        link = tmp_path / "ttyUSB0"
        with Station(f"serial:{link}") as station:
            assert station.until_down()
            assert "is the adapter plugged in" in station.feed.link.trouble
            cable = SerialCable(link)
            assert station.until_open()
        cable.pull()

    def test_what_is_no_serial_port_is_said(self, tmp_path: Path) -> None:
        """A folder, a file, a device that is none: in words, not in the system's numbers."""
        (tmp_path / "file").touch()
        for path, words in (
            (tmp_path, "is a folder"),
            (tmp_path / "file", "is no serial port"),
            (Path("/dev/null"), "is no serial port"),
        ):
            with Station(f"serial:{path}") as station:
                assert station.until_down()
                assert station.feed.link.trouble == f"{path} {words}"

    def test_nobody_else_may_read_the_same_line(self, tmp_path: Path) -> None:
        """A second reader would steal bytes: it is refused, and says why."""
        cable = SerialCable(tmp_path / "ttyUSB0")
        with Station(f"serial:{cable.link}") as first, Station(f"serial:{cable.link}") as second:
            assert first.until(lambda: first.feed.link.is_open or second.feed.link.is_open)
            loser = second if first.feed.link.is_open else first

            assert loser.until_down()
            assert "in use" in loser.feed.link.trouble
        cable.pull()

    @pytest.mark.parametrize(("sent", "set_"), [(38400, 4800), (4800, 38400), (9600, 4800)])
    def test_a_wrong_rate_is_noticed_and_said(self, tmp_path: Path, sent: int, set_: int) -> None:
        """Bits sent at one rate and sampled at another, as a UART does it."""
        cable = SerialCable(tmp_path / "ttyUSB0")
        traffic = (HDT + b"\r\n" + TTM + b"\r\n") * 40
        with Station(f"serial:{cable.link}@{set_}") as station:
            assert station.until_open()
            cable.send(sampled(traffic, sent, set_)[:3000])
            assert station.until(lambda: "wrong rate" in station.feed.link.trouble)
            cable.send(traffic)

            assert station.until(lambda: station.feed.link.trouble == "")
        cable.pull()


def sampled(data: bytes, sent_baud: int, read_baud: int) -> bytes:
    """What a UART set to one rate makes of 8N1 bytes sent at another: start bit, eight bits from the middle on."""
    line: list[int] = [1] * 20
    for byte in data:
        line += [0, *(byte >> bit & 1 for bit in range(8)), 1]
    step = sent_baud / read_baud
    read, place = bytearray(), 0.0
    while place + 10 * step < len(line):
        if line[int(place)]:
            place += 0.25 * min(1.0, step)
            continue
        read.append(sum(line[int(place + (bit + 1.5) * step)] << bit for bit in range(8)))
        place += 9.5 * step
    return bytes(read)


def test_the_sampling_model_reads_its_own_rate() -> None:
    """At the right rate the model gives back the bytes."""
    assert sampled(HDT, 4800, 4800)[: len(HDT) - 1] == HDT[: len(HDT) - 1]


class TestUdp:
    def test_only_listed_senders_are_heard(self, tmp_path: Path) -> None:
        """Others are counted, byte for byte, and named: a wrong list would else look like a dead cable."""
        with udp_station(tmp_path, "?from=192.0.2.0/24") as (station, send):
            send(HDT)

            assert station.until(lambda: station.feed.counters.bytes_discarded["sender not allowed"] == len(HDT))
            assert station.lines == []
            said = "127.0.0.1 sends here and is not one of the senders allowed"
            assert station.until(lambda: station.feed.link.trouble == said)

    def test_a_sender_over_its_cap_is_cut(self, tmp_path: Path) -> None:
        """A burst of two seconds' worth passes; the rest is counted."""
        with udp_station(tmp_path, "?cap=10") as (station, send):
            for _ in range(100):
                send(HDT)
            counters = station.feed.counters
            assert station.until(lambda: counters.bytes_read == 100 * len(HDT))
            assert station.until(lambda: station.feed.link.trouble == "127.0.0.1 sends more than its 10 lines a second")

            assert 20 <= counters.lines <= 30
            assert counters.bytes_discarded["sender over its rate cap"] == (100 - counters.lines) * len(HDT)

    def test_missing_line_numbers_are_loss_of_their_source(self, tmp_path: Path) -> None:
        """IEC 61162-450 datagrams with `n:`: three numbers are missing from one source, none from another."""
        with udp_station(tmp_path) as (station, send):
            for source, number in (("RA0001", 998), ("GP0001", 5), ("RA0001", 2), ("GP0001", 6)):
                send(b"UdPbC\x00\\s:%s,n:%d*00\\" % (source.encode(), number) + HDT + b"\r\n")
            assert station.until_lines(4)

            assert station.feed.counters.lost_by_source == {"RA0001": 3}

    def test_a_group_is_joined_on_its_interface(self) -> None:
        """Multicast over loopback; a second program may listen to the same group and port."""
        port = free_port()
        uri = f"udp:239.192.0.2:{port}?interface=127.0.0.1"
        with (
            socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender,
            Station(uri) as one,
            Station(uri.replace("127.0.0.1", "lo")) as two,
        ):
            sender.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
            assert one.until_open()
            assert two.until_open()
            sender.sendto(HDT + b"\r\n", ("239.192.0.2", port))

            assert one.until_lines(1)
            assert two.until_lines(1)

    def test_broadcast_is_heard(self) -> None:
        """Bound to any local address, a broadcast on loopback arrives."""
        port = free_port()
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender, Station(f"udp:{port}") as station:
            sender.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
            assert station.until_open()
            sender.sendto(HDT, ("127.255.255.255", port))

            assert station.until_lines(1)

    def test_a_port_that_is_taken_is_said_and_waited_for(self) -> None:
        """Address and port are in the message; when the other program ends, the feed opens."""
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
            other.bind(("127.0.0.1", 0))
            port = other.getsockname()[1]
            with Station(f"udp:127.0.0.1:{port}") as station:
                assert station.until_down()
                assert f"127.0.0.1, UDP port {port}: another program listens there" in station.feed.link.trouble
                other.close()

                assert station.until_open()

    def test_what_the_kernel_dropped_is_counted(self, tmp_path: Path) -> None:
        """A reader that stands still: datagrams taken plus kernel drops are what was sent, exactly."""
        port = free_port()
        station = Station(f"udp:127.0.0.1:{port}?cap=1000000", Intake(capacity=100_000))
        source = station.feed._source  # type: ignore[attr-defined]
        source.open()
        source._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 65536)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for _ in range(1000):
                sender.sendto(HDT, ("127.0.0.1", port))
            got = 0
            while lines := source.read(station.feed.counters, 0.0):
                got += len(lines)
            sender.sendto(HDT, ("127.0.0.1", port))
            got += len(source.read(station.feed.counters, 0.0))
        source.close(station.feed.counters)

        assert 0 < got < 1001
        assert got + station.feed.counters.kernel_drops == 1001

    def test_drops_with_no_datagram_after_them_are_counted_at_the_end(self, tmp_path: Path) -> None:
        """The kernel tells of drops with the next datagram only; at the close its own table is asked."""
        port = free_port()
        station = Station(f"udp:127.0.0.1:{port}", Intake(capacity=100_000))
        source = station.feed._source  # type: ignore[attr-defined]
        source.open()
        source._socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            for _ in range(50):
                sender.sendto(HDT, ("127.0.0.1", port))
        got = len(source.read(station.feed.counters, 0.0))
        source.close(station.feed.counters)

        assert got + station.feed.counters.kernel_drops == 50


def test_line_numbers_wrap_and_forgive() -> None:
    """0 follows 999; a late line and a restart are no loss; the sources remembered are bounded."""
    numbers, counters = LineNumbers(), Counters()
    for number in (998, 999, 0, 1, 0, 1, 3, 700):
        numbers.see(b"\\s:A,n:%d*00\\$X" % number, counters)
    for source in range(1000):
        numbers.see(b"\\s:S%d,n:1*00\\$X" % source, counters)

    assert counters.lost_by_source == {"A": 1}
    assert len(numbers._last) <= 64
    for source in range(1000):
        for number in (1, 4):
            numbers.see(b"\\s:T%d,n:%d*00\\$X" % (source, number), counters)
    assert len(counters.lost_by_source) <= 65
    assert counters.lost_by_source.total() == 2001


def test_caps_remember_a_bounded_number_of_senders() -> None:
    """A flood of forged addresses costs no memory; each sender's bucket fills again with time."""
    caps = SenderCaps(10)
    for number in range(5000):
        assert caps.allows(str(number), 1, 0.0)
    assert len(caps._buckets) <= 256

    assert [caps.allows("x", 20, 0.0), caps.allows("x", 1, 0.0), caps.allows("x", 5, 0.5)] == [True, False, True]


class TestTcp:
    def test_a_peer_that_closes_is_called_again(self, tmp_path: Path) -> None:
        """The half line before the break is kept apart from what comes after it."""
        with socket.create_server(("127.0.0.1", 0)) as server:
            port = server.getsockname()[1]
            with Station(f"tcp:127.0.0.1:{port}") as station:
                first, _ = server.accept()
                first.sendall(HDT + b"\r\n$HEHDT,1")
                assert station.until_lines(1)
                first.close()
                assert station.until(lambda: "closed by the other side" in station.feed.link.trouble)
                second, _ = server.accept()
                second.sendall(TTM + b"\r\n")

                assert station.until_lines(3)
                assert station.lines == [HDT, b"$HEHDT,1", TTM]
                second.close()

    def test_a_reset_is_no_end(self) -> None:
        """RST instead of FIN: the same."""
        server = socket.create_server(("127.0.0.1", 0))
        with server, Station(f"tcp:127.0.0.1:{server.getsockname()[1]}") as station:
            first, _ = server.accept()
            first.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            first.close()
            second, _ = server.accept()
            second.sendall(HDT + b"\r\n")

            assert station.until_lines(1)
            second.close()

    def test_a_host_that_does_not_exist(self) -> None:
        """A name that cannot be one is an ordinary trouble, not the end of the thread."""
        with Station("tcp:no..such.host:1") as station:
            assert station.until_down()
            assert "TCP port 1" in station.feed.link.trouble


class TestEnds:
    def test_a_file_is_read_to_its_end_and_ends(self, tmp_path: Path) -> None:
        """With its unfinished last line, and lossless however small the queue."""
        path = tmp_path / "a.nmea"
        path.write_bytes((HDT + b"\r\n") * 3000 + b"$HEHDT,1")
        with Station(f"file:{path}", Intake(capacity=16)) as station:
            assert station.until(lambda: station.feed.link.ended and len(station.lines) == 3001)

            assert station.feed.counters.dropped.total() == 0

    def test_a_folder_is_said(self, tmp_path: Path) -> None:
        """It can be opened like a file, and would be silent for ever."""
        with Station(f"file:{tmp_path}") as station:
            assert station.until_down()
            assert station.feed.link.trouble == f"{tmp_path} is a folder: name a file in it"

    def test_standard_input_ends_when_its_writer_does(self, monkeypatch: pytest.MonkeyPatch) -> None:
        """A pipe on standard input, closed by its writer, is at its end for good."""
        read_end, write_end = os.pipe()
        with open(read_end, "rb") as stdin:  # noqa: PTH123
            monkeypatch.setattr("sys.stdin", stdin)
            with Station("-") as station:
                os.write(write_end, HDT + b"\n")
                os.close(write_end)

                assert station.until(lambda: station.feed.link.ended)
            assert station.lines == [HDT]


def test_a_feed_has_not_ended_while_it_has_a_line_in_hand() -> None:
    """Who sees that all feeds have ended looks for no more lines."""
    ended_before_its_last_line = []

    class Last:
        waits = True

        def open(self) -> None: ...

        def fileno(self) -> int:
            return read_end

        def read(self, counters: Counters, now_s: float) -> list[bytes]:
            raise Ended

        def trouble(self, counters: Counters, now_s: float) -> str:
            return ""

        def close(self, counters: Counters) -> list[bytes]:
            ended_before_its_last_line.append(feed.link.ended)
            return [HDT]

    read_end, write_end = os.pipe()
    os.close(write_end)
    intake = Intake()
    feed = LiveFeed("f", Last(), intake, VirtualClock())
    feed.start()
    assert feed.join(5)
    os.close(read_end)

    assert ended_before_its_last_line == [False]
    assert feed.link.ended
    assert len(intake) == 1


def test_pauses_grow_to_their_bound_and_go_on_for_ever() -> None:
    """On a virtual clock: a source that never opens is tried again and again, each pause twice the last, at most
    LAST_PAUSE_S; in a day and more that is some thousands of tries."""

    class Absent:
        waits = False
        tries: list[float] = []  # noqa: RUF012

        def open(self) -> None:
            self.tries.append(clock.mono_s())
            if len(self.tries) == 3000:
                feed.stop()
            raise OSError("absent")

        def fileno(self) -> int:
            raise AssertionError

        def read(self, counters: Counters, now_s: float) -> list[bytes]:
            raise AssertionError

        def trouble(self, counters: Counters, now_s: float) -> str:
            raise AssertionError

        def close(self, counters: Counters) -> list[bytes]:
            raise AssertionError

    clock = VirtualClock()
    source = Absent()
    feed = LiveFeed("f", source, Intake(), clock)
    feed.start()
    assert feed.join(20)
    pauses = [round(b - a, 3) for a, b in zip(source.tries, source.tries[1:], strict=False)]

    assert pauses[:8] == [0.5, 1, 2, 4, 8, 16, 30, 30]
    assert set(pauses[6:]) == {LAST_PAUSE_S}
    assert clock.mono_s() > 86400


def test_one_feed_in_trouble_never_touches_another(tmp_path: Path) -> None:
    """A serial line that is gone, beside a UDP feed in full flow: every datagram arrives."""
    intake = Intake()
    absent = Station(f"serial:{tmp_path / 'none'}", intake)
    absent.feed.start()
    port = free_port()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender, Station(f"udp:127.0.0.1:{port}", intake) as good:
        assert good.until_open()
        for _ in range(100):
            sender.sendto(HDT, ("127.0.0.1", port))

        assert good.until_lines(100)
        absent.feed.stop()
        assert absent.feed.join(5)
    assert threading.active_count() < 20
    assert live.FIRST_PAUSE_S < LAST_PAUSE_S
