"""The survey: what is there, what is wrong with it, and what follows, from recordings and from live feeds."""

import json
import socket
import threading
from collections.abc import Sequence
from pathlib import Path

import pytest

from daemon.clock import HostClock
from daemon.feeds.uri import parse
from daemon.main import main
from daemon.survey import listen
from daemon.survey.findings import Grade
from daemon.survey.survey import Report
from daemon.survey.tally import MOST_ADDRESSES
from daemon.survey.words import text_of
from tests.daemon.feed_makers import SerialCable, free_port
from tests.parsers import lines as made

ROOT = Path(__file__).resolve().parents[2]
START_MS = 1_800_000_000_000


def tagged(at_s: float, body: str, source: str = "") -> bytes:
    block = (f"s:{source}," if source else "") + f"c:{START_MS + round(at_s * 1000)}"
    return f"{made.tagged(block, made.sealed(body))}\r\n".encode("latin-1")


def of(tmp_path: Path, lines: Sequence[bytes]) -> Report:
    path = tmp_path / "made.nmea"
    path.write_bytes(b"".join(lines))
    return listen.of_files([str(path)])


def found(report: Report, grade: Grade) -> dict[str, str]:
    return {finding.subject: finding.text for finding in report.findings if finding.grade is grade}


RMC = "$GPRMC,080000.00,A,5812.0000,N,01130.0000,E,10.0,045.0,150127,,,A"
TTM = "$RATTM,{n:02d},4.00,045.0,{ref},10.0,200.0,T,0.50,10.0,N,,T,,,A"


def test_a_whole_recording_counts_like_any_other_tool() -> None:
    """Numbers of each address in a shipped recording equal those that a plain text search gives."""
    import gzip

    path = ROOT / "recordings" / "fog-crossing.nmea.gz"
    raw = gzip.decompress(path.read_bytes())
    report = listen.of_files([str(path)])
    (feed,) = report.feeds

    assert feed.lines == feed.accepted == raw.count(b"\n")
    assert {s.address: s.count for s in feed.sentences} == {
        s.address: raw.count(b"$" + s.address.encode() + b",") for s in feed.sentences
    }
    assert not found(report, Grade.CANNOT)
    assert not found(report, Grade.FAULT)


def test_rates_and_gaps(tmp_path: Path) -> None:
    """Two a second, one pause of 30 s: rate and longest gap by sentence, and the gap told for the feed."""
    times = [n / 2 for n in range(40)] + [49.5 + n / 2 for n in range(40)]
    report = of(tmp_path, [tagged(at_s, "$HEHDT,123.4,T") for at_s in times])
    (feed,) = report.feeds

    assert feed.sentences[0].longest_gap_s == pytest.approx(30.0)
    assert len(feed.gaps) == 1
    assert feed.gaps[0] == pytest.approx((19.5, 30.0))
    assert "1 pause of over 10 s without any line" in found(report, Grade.FAULT)["feed made"]


def test_refusals_have_reasons_and_harmless_examples(tmp_path: Path) -> None:
    """Wrong checksums on one line in ten are named as a fault with what to look at; escapes are shown, not obeyed."""
    lines = [tagged(n, "$HEHDT,123.4,T") for n in range(90)]
    lines += [b"$HEHDT,\x1b[2J\x9b31m,T*00\r\n"] * 10
    report = of(tmp_path, lines)
    (feed,) = report.feeds
    text = text_of(report)

    assert feed.refused == {"checksum wrong": 10}
    assert len(feed.examples["checksum wrong"]) == 3
    assert "noise, a loose plug" in text
    assert "\\x1b[2J" in text
    assert not set(text) & {chr(code) for code in (*range(10), *range(11, 32), *range(127, 160))}


@pytest.mark.parametrize(
    ("bodies", "grade", "subject", "word"),
    [
        (["$GPGSV,1,1,00"], Grade.CANNOT, "CPA and TCPA", "no tracked targets"),
        ([TTM.format(n=1, ref="T")], Grade.CAN, "CPA and TCPA", "1 target number,"),
        ([TTM.format(n=1, ref="R")], Grade.CANNOT, "true bearings", "relative bearings cannot be made true"),
        (
            [TTM.format(n=1, ref="R"), RMC],
            Grade.LIMITED,
            "true bearings",
            "course over ground from made/GPRMC stands in",
        ),
        (["$HCHDM,120.0,M"], Grade.LIMITED, "true bearings", "nobody sends the variation"),
        (["$HCHDG,120.0,,,3.0,E"], Grade.CAN, "true bearings", "variation is sent"),
        (["$HEHDT,120.0,T"], Grade.CANNOT, "true motion of targets", "own motion is not known"),
        (["$HEHDT,120.0,T", "$VWVHW,,T,,M,6.0,N,,K"], Grade.LIMITED, "true motion of targets", "through the water"),
        ([RMC], Grade.CAN, "positions and exported tracks", "made/GPRMC"),
        ([TTM.format(n=1, ref="T")], Grade.CANNOT, "picture changes", "no RSD"),
        (["$HEHDT,120.0,T"], Grade.LIMITED, "time", "no date and time"),
    ],
)
def test_what_can_and_cannot_be_worked_out(
    tmp_path: Path, bodies: list[str], grade: Grade, subject: str, word: str
) -> None:
    """Each lack is named, with what to change on board."""
    report = of(tmp_path, [tagged(n, body) for n in range(20) for body in bodies])
    finding = next(f for f in report.findings if f.grade is grade and f.subject == subject)

    assert word in finding.text
    assert finding.mend or grade is Grade.CAN or subject == "cross-check against the set"


def test_two_headings_that_disagree_are_a_fault(tmp_path: Path) -> None:
    """Six degrees apart across north: mean and greatest difference are told; the same two in agreement are not."""
    lines = []
    for n in range(40):
        lines += [tagged(n, "$HEHDT,358.0,T"), tagged(n + 0.2, "$GPHDT,004.0,T"), tagged(n + 0.4, "$IIHDT,358.5,T")]
    report = of(tmp_path, lines)
    texts = [f.text for f in report.findings if "disagree" in f.subject]

    assert len(texts) == 2
    assert all("made/GPHDT" in text for text in texts)
    assert report.comparisons[0].mean == pytest.approx(6.0)


def test_two_positions_that_disagree(tmp_path: Path) -> None:
    """A tenth of a minute of latitude is 0.1 NM."""
    other = RMC.replace("$GP", "$GN").replace("5812.0000", "5812.1000")
    report = of(tmp_path, [tagged(n, body) for n in range(20) for body in (RMC, other)])
    comparison = next(c for c in report.comparisons if c.quantity == "position")

    assert comparison.mean == pytest.approx(0.1, abs=1e-6)
    assert comparison.disagrees


def test_instruments_that_are_off_the_lines_own_time(tmp_path: Path) -> None:
    """RMC says 08:00:00 all the while, lines are dated 10 s later on average."""
    report = of(tmp_path, [tagged(n, RMC) for n in range(5, 16)])

    assert report.clock_offset_s == pytest.approx(-10.0)
    assert "10.0 s behind" in found(report, Grade.FAULT)["time"]


def test_slow_reports_and_old_equipment(tmp_path: Path) -> None:
    """Targets every 10 s, and sentences without checksum: each has its mend."""
    lines = [tagged(n * 10, TTM.format(n=1, ref="T")) for n in range(20)]
    lines += [b"$HEHDT,123.4,T\r\n"] * 5
    text = text_of(of(tmp_path, lines))

    assert "only every 10 s" in text
    assert "feeds.NAME.checksum = false" in text


def test_a_flood_of_addresses_is_bounded(tmp_path: Path) -> None:
    """Ten thousand invented addresses and talkers: the tables stay small, nothing is lost from the sums."""
    letters = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
    lines = [
        tagged(n / 100, f"${letters[n % 26]}{letters[n // 26 % 26]}{letters[n // 676 % 26]}ZZ,1") for n in range(10_000)
    ]
    (feed,) = of(tmp_path, lines).feeds

    assert len(feed.sentences) <= MOST_ADDRESSES + 1
    assert sum(s.count for s in feed.sentences) == feed.accepted == 10_000


def test_live_over_a_serial_line_and_udp(tmp_path: Path) -> None:
    """Two feeds at once; copies by both are told; a feed where nothing comes is told."""
    cable = SerialCable(tmp_path / "ttyUSB0")
    port, silent = free_port(), free_port()
    uris = [f"serial:{cable.link}?name=radar", f"udp:127.0.0.1:{port}?name=net", f"udp:127.0.0.1:{silent}?name=dead"]
    stop = threading.Event()

    def send() -> None:
        number = 0
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
            while not stop.wait(0.02):
                number += 1
                line = made.sealed(f"$HEHDT,{number % 360:03d}.0,T").encode() + b"\r\n"
                cable.send(line)
                sender.sendto(line, ("127.0.0.1", port))

    sending = threading.Thread(target=send)
    sending.start()
    report = listen.of_feeds([parse(uri) for uri in uris], 1.0, HostClock())
    stop.set()
    sending.join()
    cable.pull()
    dead, net, radar = report.feeds

    assert (dead.name, dead.lines) == ("dead", 0)
    assert min(net.lines, radar.lines) > 20
    assert net.duplicates + radar.duplicates >= min(net.lines, radar.lines) - 3
    assert "not one line came" in found(report, Grade.FAULT)["feed dead"]
    assert net.account["lines"] == net.lines


class TestCommand:
    def test_feeds_of_which_none_can_be_opened_are_no_survey(self, capsys: pytest.CaptureFixture[str]) -> None:
        """Their errors are said instead of a report that would send a person to the radar's menus."""
        code = main(["survey", "--feed", "serial:/dev/no-such-port@4800?name=radar", "--for", "0.2"])
        said = capsys.readouterr()

        assert (code, said.out) == (3, "")
        assert said.err == "secondplot survey: radar: /dev/no-such-port is not there: is the adapter plugged in?\n"

    def test_the_feeds_of_the_configuration_where_none_is_named(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """As in a watch: under their own names, each with its own word on checksums; --feed stands alone."""
        (tmp_path / "old.nmea").write_text("$HEHDT,123.4,T\n" * 3, encoding="utf-8")
        (tmp_path / "secondplot").mkdir()
        config = tmp_path / "secondplot" / "secondplot.toml"
        uri = f'uri = "file:{tmp_path}/old.nmea"\n'
        config.write_text(f"[feeds.strict]\n{uri}[feeds.lenient]\n{uri}checksum = false\n", encoding="utf-8")
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
        heard = []
        for arguments in ([], ["--config", str(config)], ["--feed", f"file:{tmp_path}/old.nmea?name=other"]):
            assert main(["survey", "--json", *arguments]) == 0
            feeds = json.loads(capsys.readouterr().out)["feeds"]
            heard.append({feed["name"]: (feed["accepted"], feed["lines"]) for feed in feeds})

        assert heard == [{"lenient": (3, 3), "strict": (0, 3)}] * 2 + [{"other": (0, 3)}]

    def test_a_configuration_that_is_not_needed_is_not_read(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """A mistake in it keeps nobody from looking at a cable; where its feeds are meant, its line is told."""
        (tmp_path / "secondplot").mkdir()
        config = tmp_path / "secondplot" / "secondplot.toml"
        config.write_text('[feeds.radar]\nuri = "/dev/ttyUSB0"\n', encoding="utf-8")
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
        recording = ROOT / "recordings" / "late-turn.nmea.gz"

        assert main(["survey", "--json", str(recording)]) == 0
        assert main(["survey", "--feed", f"udp:127.0.0.1:{free_port()}", "--for", "0.1"]) == 0
        assert main(["survey"]) == 2
        assert f"{config}, line 2: feeds.radar.uri: feed '/dev/ttyUSB0' is not" in capsys.readouterr().err

    def test_json_is_whole(self, capsys: pytest.CaptureFixture[str]) -> None:
        """The same report for a script."""
        code = main(["survey", "--json", str(ROOT / "recordings" / "fog-crossing.nmea.gz")])
        report = json.loads(capsys.readouterr().out)

        assert code == 0
        assert report["targets"] == 5
        assert {finding["grade"] for finding in report["findings"]} == {"can"}

    @pytest.mark.parametrize(
        ("arguments", "code", "word"),
        [
            ([], 2, "no feed: give --feed udp:10110, for example, or [feeds] in the configuration"),
            (["--feed", "udp:1", "file"], 2, "name either"),
            (["--config", "boat.toml", "file"], 2, "name either"),
            (["--config", "absent.toml"], 3, "absent.toml"),
            (["--feed", "udp:0"], 2, "no port"),
            (["--feed", "udp:10110", "--feed", "udp:10110"], 2, "two feeds are called"),
            (["--feed", "udp:10110", "--for", "-1"], 2, "--for"),
            (["absent.nmea"], 3, "absent.nmea"),
        ],
    )
    def test_mistakes(
        self,
        tmp_path: Path,
        capsys: pytest.CaptureFixture[str],
        monkeypatch: pytest.MonkeyPatch,
        arguments: list[str],
        code: int,
        word: str,
    ) -> None:
        """One line on stderr and the right code."""
        monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

        assert main(["survey", *arguments]) == code
        assert word in capsys.readouterr().err
