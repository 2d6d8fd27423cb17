"""`exercise` as a person uses it: files, live traffic on real sockets and pseudo-terminals, worksheets, references."""

import gzip
import itertools
import json
import os
import re
import select
import socket
import threading
import tty
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest

from daemon.clock import VirtualClock
from daemon.exercise import generate, keys, live, reading, traffic
from daemon.exercise.passage import Passage
from daemon.exercise.plot_problem import Plot, Problem, problems, worked
from daemon.main import main

ROOT = Path(__file__).resolve().parent.parent.parent
TURN = ROOT / "recordings" / "late-turn.toml"


@pytest.fixture
def short(tmp_path: Path) -> Path:
    """A scenario of one minute."""
    path = tmp_path / "short.toml"
    text = TURN.read_text(encoding="utf-8")
    path.write_text(re.sub(r"duration_min = \d+", "duration_min = 1", text), encoding="utf-8")
    return path


def test_it_writes_a_recording_and_its_truth(
    short: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Named after the scenario, here, the same bytes each time; another seed gives others."""
    monkeypatch.chdir(tmp_path)
    assert main(["exercise", str(short), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    first = Path("short.nmea.gz").read_bytes()
    assert main(["exercise", str(short), "--output", "again.nmea.gz"]) == 0
    assert main(["exercise", str(short), "--output", "other.nmea", "--seed", "5"]) == 0

    assert said["recording"] == "short.nmea.gz"
    assert said["line"]["fits"]
    assert Path("again.nmea.gz").read_bytes() == first
    assert Path("other.nmea").read_bytes() != gzip.decompress(first)
    truth = [json.loads(line) for line in gzip.decompress(Path("other.truth.jsonl.gz").read_bytes()).splitlines()]
    assert [record["record"] for record in truth[:2]] == ["exercise", "closest approach"]
    assert list(truth[0])[:2] == ["record", "time"]
    assert truth[-1]["time"] == "2027-09-30T07:46:00.000Z"


def test_it_says_when_the_line_is_too_slow(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """4,800 baud are 480 characters a second; five headings, three targets and the rest need more at times."""
    assert main(["exercise", str(short), "--check", "--baud", "4800"]) == 0
    slow = capsys.readouterr()
    assert main(["exercise", str(short), "--check"]) == 0
    fast = capsys.readouterr()

    assert "DOES NOT FIT" not in fast.out + fast.err
    assert "Turns towards us: CPA" in fast.out
    passage = Passage(reading.load(short))
    per_second: dict[int, int] = {}
    for at, line in generate.lines(passage):
        per_second[at // 1000] = per_second.get(at // 1000, 0) + len(line) + 2
    over = sum(characters > 480 for characters in per_second.values())
    assert (f"IT DOES NOT FIT in {over} of 60 seconds" in slow.err) == (over > 0)
    assert generate.measure(passage, 1200).over == 60


def test_a_line_that_is_silent_at_times_is_less_full_for_it() -> None:
    """Ten characters and CR LF each fifth second are 2.4 a second of the 480 that a line of 4,800 baud carries."""
    load = generate.Load(4800)
    made = [(5000 * k, "$XXYYY,1*0") for k in range(13)]

    assert list(generate.counted(iter(made), load)) == made
    assert load.seconds == 61
    assert load.share == pytest.approx(13 * 12 / 61 / 480)
    assert load.busiest_characters == 12


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["exercise"], 2, "name a scenario file"),
        (["exercise", "nowhere.toml"], 3, "cannot read nowhere.toml"),
        (["exercise", "{short}", "--output", "no/such/place.nmea"], 3, "cannot write no/such/place.nmea"),
        (["exercise", "{short}", "--output", "a.nmea", "--truth", "./a.nmea"], 2, "one would be written over another"),
        (["exercise", "{short}", "--output", "{short}"], 2, "one would be written over another"),
        (["exercise", "{short}", "--to", "tcp:127.0.0.1:1"], 2, "write pty, serial:PORT"),
        (
            ["exercise", "{short}", "--to", "serial:/dev/no-such-port"],
            3,
            "/dev/no-such-port is not there",
        ),
        (["exercise", "{short}", "--to", "udp:127.0.0.1:10110", "--pace", "0"], 2, "--pace 0: write a number over 0"),
        (["exercise", "{short}", "--start", "yesterday"], 2, "--start yesterday: write now"),
        (["exercise", "{short}", "--seed", "-1"], 2, "--seed: write a whole number"),
        (["exercise", "{short}", "--questions", "{short}"], 3, "is no folder"),
        (["exercise", "{short}", "--questions", ".", "--interval", "6"], 2, "take a shorter interval"),
        (["exercise", "{short}", "--questions", ".", "--interval", "nan"], 2, "--interval nan: write minutes from"),
        (["exercise", "{short}", "--questions", ".", "--interval", "1e-9"], 2, "--interval 1e-09: write minutes from"),
        (["exercise", "{short}", "--questions", ".", "--plots", "1"], 2, "--plots 1: write how many, from 2 to 20"),
        (["exercise", "{short}", "--start", "2090-01-01"], 2, "--start 2090-01-01: write a year from 2000 to 2079"),
        (["exercise", "--draw", "0"], 2, "--draw: write how many"),
        (["exercise", "{short}", "--draw", "1"], 2, "--draw only writes files: leave out the scenario"),
        (["exercise", "--draw", "1", "--to", "pty"], 2, "--draw only writes files"),
        (["exercise", "--draw", "1", "--seed", "-3"], 2, "--seed: write a whole number"),
    ],
)
def test_mistakes_are_said_in_a_line(
    words: list[str],
    code: int,
    said: str,
    short: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Wrong usage is 2, what cannot be opened 3; never a traceback."""
    monkeypatch.chdir(short.parent)

    assert main([word.format(short=short) for word in words]) == code
    text = capsys.readouterr().err
    assert said in text
    assert text.count("\n") <= 2


# ---------------------------------------------------------------------------------------------------- live


def test_udp_carries_every_sentence(short: Path) -> None:
    """A datagram for each, plain, with TAG blocks, or as IEC 61162-450 has them."""
    made = list(generate.lines(reading.load(short)))[:300]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 1 << 20)
        receiver.settimeout(5)
        heard: dict[str, list[bytes]] = {}
        for form in ("plain", "tag", "450"):
            outlet = live.open_outlet(f"udp:127.0.0.1:{receiver.getsockname()[1]}", 38400)
            heard[form] = []
            for begin in range(0, 300, 100):
                part = made[begin : begin + 100]
                sent = live.send(part, outlet, VirtualClock(), threading.Event(), pace=None, form=form)
                heard[form] += [receiver.recv(2000) for _ in part]
                assert (sent.sentences, sent.thrown_away) == (100, 0)
            outlet.close()

    assert heard["plain"] == [line.encode() + b"\r\n" for _, line in made]
    assert heard["tag"] == [line.encode() + b"\r\n" for line in generate.tagged(made)]
    assert heard["450"] == [b"UdPbC\0" + data for data in heard["tag"]]


def test_a_pseudo_terminal_waits_for_its_reader_and_then_for_nobody(short: Path) -> None:
    """Nothing is sent before somebody opens it; what a reader takes is what was sent; without one it is thrown away."""
    made = list(generate.lines(reading.load(short)))[:100]
    clock, stop = VirtualClock(), threading.Event()
    outlet = live.open_outlet("pty", 38400)
    assert not outlet.send(b"nobody is there")
    reader = os.open(outlet.name, os.O_RDONLY | os.O_NOCTTY)
    tty.setraw(reader)
    assert outlet.wait_for_reader(clock, stop)

    taken = b""
    sent = live.send(made, outlet, clock, stop, pace=1.0)
    while select.select([reader], [], [], 0.2)[0]:
        taken += os.read(reader, 65536)
    assert sent.thrown_away == 0
    assert taken == b"".join(line.encode() + b"\r\n" for _, line in made)
    assert clock.mono_s() == pytest.approx((made[-1][0] - made[0][0]) / 1000, abs=0.01)
    os.close(reader)
    assert live.send(made, outlet, clock, stop, pace=None).thrown_away == 100
    outlet.close()


def test_a_serial_port_carries_it_at_any_pace(short: Path) -> None:
    """Through pyserial on a real terminal device; ten times the pace takes a tenth of the time."""
    made = list(generate.lines(reading.load(short)))[:100]
    master, slave = os.openpty()
    tty.setraw(slave)
    clock = VirtualClock()
    outlet = live.open_outlet(f"serial:{os.ttyname(slave)}@38400", 4800)
    live.send(made, outlet, clock, threading.Event(), pace=10.0)
    taken = b""
    while select.select([master], [], [], 0.2)[0]:
        taken += os.read(master, 65536)
    outlet.close()
    os.close(master)
    os.close(slave)

    assert outlet.name.endswith("@38400")
    assert taken == b"".join(line.encode() + b"\r\n" for _, line in made)
    assert clock.mono_s() == pytest.approx((made[-1][0] - made[0][0]) / 10_000, abs=0.01)


def test_a_drill_starts_now_and_stops_when_told(short: Path) -> None:
    """The command itself, on UDP: sentences carry today's time; SIGTERM ends it with a count and code 0."""
    import subprocess
    import sys
    import time

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.settimeout(20)
        where = f"udp:127.0.0.1:{receiver.getsockname()[1]}"
        words = [sys.executable, "-m", "daemon.main", "exercise", str(short), "--to", where, "--json"]
        with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
            line = b""
            while b"RMC" not in line:
                line = receiver.recv(2000)
            now = time.gmtime()
            process.terminate()
            out, _ = process.communicate(timeout=10)

    assert process.returncode == 0
    assert line.split(b",")[9] == time.strftime("%d%m%y", now).encode()
    assert json.loads(out.splitlines()[-1])["sentences"] > 0


@pytest.mark.parametrize(
    ("words", "is_warned"),
    [(["--pace", "max"], True), (["--pace", "max", "--form", "tag"], False)],
)
def test_another_pace_than_the_clocks_is_warned_of(
    short: Path, capsys: pytest.CaptureFixture[str], words: list[str], is_warned: bool
) -> None:
    """A watch that dates lines by its own clock would see ships at eighty knots and no danger, or one too soon."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        where = f"udp:127.0.0.1:{receiver.getsockname()[1]}"
        assert main(["exercise", str(short), "--to", where, *words]) == 0

    assert ("use --form tag here, and ?time=tag" in capsys.readouterr().err) is is_warned


# ----------------------------------------------------------------------------------------------- worksheets


class Tags(HTMLParser):
    """Counts tags, and notes every address that a page would load something from."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.counts: dict[str, int] = {}
        self.loads: list[str] = []
        self.open: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.counts[tag] = self.counts.get(tag, 0) + 1
        self.loads += [value or "" for name, value in attrs if name in ("src", "href")]


def test_worksheet_and_answers(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Two files that stand alone: a sheet for each target with its plots, and the answers; nothing is loaded."""
    fog = ROOT / "recordings" / "fog-crossing.toml"
    assert main(["exercise", str(fog), "--questions", str(tmp_path), "--json"]) == 0
    paths = json.loads(capsys.readouterr().out)
    pages = {kind: Path(paths[kind]).read_text(encoding="utf-8") for kind in ("worksheet", "answers")}

    for page in pages.values():
        tags = Tags(page)
        assert tags.counts["svg"] == tags.counts["section"] == 5
        assert tags.counts["circle"] == 5 * 6
        assert not tags.loads
        assert "script" not in tags.counts
        assert "aid to a proper look-out" in page
    assert "CPA 0.0" not in pages["worksheet"]
    assert "W A is the target's own way" not in pages["worksheet"]
    assert "risk of collision" in pages["answers"]
    assert pages["worksheet"].count("08:03") == pages["answers"].count("<td>08:03</td>") == 5


def test_answers_are_near_the_truth() -> None:
    """Plotted from rounded ranges and bearings, for every target of every passage: inside the pass marks for crews.

    US STCW assessments as a state academy has them: 5 degrees, 5 knots, 0.5 NM, 3 minutes.
    """
    from daemon.exercise.truth import situations

    asked = 0
    for path in sorted((ROOT / "recordings").glob("*.toml")):
        passage = Passage(reading.load(path))
        for problem in [*problems(passage, 3.0)[:12], *problems(passage, 6.0)[:6]]:
            answer = worked(problem)
            assert answer.tcpa_min > 0, (path.name, problem.target)
            (now,) = situations(passage, np.array([problem.plots[-1].at_s]))
            exact = next(target for target in now.targets if target.target == problem.target)
            asked += 1

            assert abs(answer.cpa_nm - exact.cpa_nm) < 0.5
            assert abs(answer.speed_kn - exact.speed_kn) < 2.0
            if exact.tcpa_min is not None and answer.relative_speed_kn > 5:
                assert abs(answer.tcpa_min - exact.tcpa_min) < 3.0
    assert asked >= 60


def test_a_published_plot_is_worked_as_published() -> None:
    """Canadian Coast Guard Auxiliary (Pacific), radar plotting slides 2008, 'end-on situation': own 050 at 10 kn;
    358 relative 2.5 NM at 1200, 359 relative 0.77 NM at 1206; target 174 relative to our head, 7.5 kn."""
    plots = tuple(Plot(at, r, (50 + rel) % 360, rel - 360) for at, r, rel in ((0, 2.5, 358.0), (360, 0.77, 359.0)))
    answer = worked(Problem("end on", plots, 50.0, 10.0, 50.0, 6.0))

    assert (answer.course_deg - 50) % 360 == pytest.approx(174, abs=2)
    assert answer.speed_kn == pytest.approx(7.5, abs=0.3)
    assert answer.relative_course_deg == pytest.approx(227.555, abs=0.01)
    assert answer.cpa_nm == pytest.approx(0.0194, abs=0.001)
    assert answer.tcpa_min == pytest.approx(2.6694, abs=0.001)


def test_what_closes_by_less_than_can_be_read_is_no_problem() -> None:
    """Three knots of relative movement are asked; a twentieth, which three plots do not show, is not.

    The plots of such a vessel are all alike, and the answer would be that it has passed.
    """
    text = (
        'title = "t"\nstart = 2027-01-15T08:00:00Z\nduration_min = 20\nplace = {{ lat_deg = 50, lon_deg = -5 }}\n'
        "own_ship = {{ course_deg = 20, speed_kn = 8 }}\nsensors = {{ speed = {{}}, heading = {{}} }}\n"
        "radar = {{ max_range_nm = 96 }}\n[[targets]]\n"
        'name = "ahead"\nrelative_deg = 0\ncourse_deg = 20\nspeed_kn = {speed_kn}\nrange_nm = {range_nm}\n'
    )

    def asked(speed_kn: float, range_nm: float = 4.0) -> list[Problem]:
        return problems(Passage(reading.parse(text.format(speed_kn=speed_kn, range_nm=range_nm))), 3.0)

    assert [worked(one).tcpa_min > 0 for one in asked(5.0)] == [True]
    assert asked(7.95) == []
    assert asked(5.0, range_nm=60.0) == []  # nor is what the largest sheet has no room for


def test_what_is_checked_is_not_sent(short: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--check` writes nothing, also where an address stands beside it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind(("127.0.0.1", 0))
        receiver.setblocking(False)
        where = f"udp:127.0.0.1:{receiver.getsockname()[1]}"
        assert main(["exercise", str(short), "--check", "--to", where, "--pace", "max"]) == 0

        assert "good." in capsys.readouterr().out
        with pytest.raises(BlockingIOError):
            receiver.recv(2000)


def test_text_from_a_scenario_is_text(short: Path, tmp_path: Path) -> None:
    """Markup in names and titles is shown, not obeyed."""
    hostile = ROOT / "recordings" / "fog-crossing.toml"
    text = hostile.read_text(encoding="utf-8").replace('"Corvus Trader"', '"<script>x</script>"')
    path = tmp_path / "hostile.toml"
    path.write_text(text.replace('title = "Fog crossing"', 'title = "<img src=x>"'), encoding="utf-8")
    assert main(["exercise", str(path), "--questions", str(tmp_path)]) == 0
    page = (tmp_path / "hostile.answers.html").read_text(encoding="utf-8")

    assert "script" not in Tags(page).counts
    assert "img" not in Tags(page).counts
    assert "&lt;script&gt;x&lt;/script&gt;" in page


# ----------------------------------------------------------------------------------------- drawn, and docs


def test_drawn_encounters_are_written_with_their_scenarios(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Scenario, recording and truth of each; the scenario makes the recording again. Seed 0 is a seed."""
    assert main(["exercise", "--draw", "2", "--seed", "9", "--output", str(tmp_path)]) == 0
    scenario = tmp_path / "encounter-00002.toml"
    assert main(["exercise", str(scenario), "--output", str(tmp_path / "again.nmea.gz")]) == 0

    drawn = scenario.read_text(encoding="utf-8")
    assert main(["exercise", "--draw", "1", "--seed", "0", "--output", str(tmp_path / "other")]) == 0

    assert "seed = 9000001" in drawn
    assert "seed = 0" in (tmp_path / "other" / "encounter-00001.toml").read_text(encoding="utf-8")
    assert len(list(tmp_path.glob("encounter-*"))) == 6
    assert (tmp_path / "again.nmea.gz").read_bytes() == (tmp_path / "encounter-00002.nmea.gz").read_bytes()


def test_traffic_pictures() -> None:
    """Forty vessels in six miles, some three in ten without AIS, clutter named as such, reports up to 10 s late."""
    (picture,) = traffic.draw(2, 1)
    vessels = [target for target in picture.targets if not target.clutter]
    with_ais = [target for target in vessels if target.ais]

    assert len(vessels) == 40
    assert 20 <= len(with_ais) <= 36
    assert sum(target.clutter for target in picture.targets) == 6
    assert max(target.range_nm or 0 for target in vessels) <= 6
    places = [(t.range_nm or 0) * np.exp(1j * np.radians(t.bearing_deg or 0)) for t in vessels]
    assert min(abs(a - b) for a, b in itertools.combinations(places, 2)) >= 0.15
    sent = [line for _, line in generate.lines(picture) if line.startswith("!AIVDM")]
    assert len(sent) > 300
    assert traffic.draw(2, 1) == [picture]


def test_every_key_is_documented() -> None:
    """docs/exercises.md ends with the reference that the types give; every key has a meaning."""
    docs = (ROOT / "docs" / "exercises.md").read_text(encoding="utf-8")
    reference = keys.markdown()
    rows = [line for line in reference.splitlines() if line.startswith("| `")]

    assert docs.endswith(reference), "make it again: secondplot exercise --keys"
    assert len(rows) > 150
    for row in rows:
        key, kind, _, meaning = (cell.strip() for cell in row.strip("|").split(" | "))
        assert kind, key
        assert meaning, key


def test_the_folder_for_what_is_made_is_made_too(short: Path, tmp_path: Path) -> None:
    sheets, drawn = tmp_path / "for the crew" / "sheets", tmp_path / "drawn"

    assert main(["exercise", str(short), "--questions", str(sheets), "--interval", "0.2"]) == 0
    assert main(["exercise", "--draw", "1", "--output", str(drawn)]) == 0
    assert len(list(sheets.iterdir())) == 2
    assert (drawn / "encounter-00001.toml").exists()
