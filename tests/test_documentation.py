"""Every command line that the README, the docs and the help texts show is run, as it stands, in a folder of its own."""

import gzip
import importlib
import os
import re
import select
import shlex
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from msgspec import structs

from daemon import control
from daemon.errors import UserError
from daemon.exercise import generate, reading
from daemon.main import COMMANDS, main
from docs import reference

ROOT = Path(__file__).resolve().parents[1]
PAGES = [ROOT / "README.md", ROOT / "recordings" / "README.md", *sorted((ROOT / "docs").glob("*.md"))]

LINE = re.compile(r"^(?: +|\.venv/bin/)?(secondplot .+)$")

# What a person would wait for is shortened, and nothing else: a passage at its own pace, a minute of listening, twenty
# drawings.
SHORTER = ((" --pace 20", " --pace max"), (" --for 60", " --for 1"), (" --draw 20", " --draw 4"))


def shown() -> Iterator[tuple[str, str]]:
    """Where a command line stands, and the line itself without its comment."""
    for page in PAGES:
        for number, text in enumerate(page.read_text(encoding="utf-8").splitlines(), start=1):
            if found := LINE.match(text):
                yield f"{page.relative_to(ROOT)}:{number}", found[1]
    for name in COMMANDS:
        help_text = importlib.import_module(f"daemon.commands.{name}").HELP
        for number, text in enumerate(help_text.splitlines()):
            if found := LINE.match(text):
                yield f"{name} --help:{number}", found[1]


def words_of(line: str) -> list[str]:
    """The words after `secondplot`, without a comment, a redirection or an explanation in brackets."""
    for long, short in SHORTER:
        line = line.replace(long, short)
    line = re.sub(r"\s{2,}\(.*\)$", "", line)
    words = shlex.split(line, comments=True)[1:]
    return words[: words.index(">")] if ">" in words else words


def is_endless(words: list[str]) -> bool:
    return (words[0] == "watch" and "--self-test" not in words) or (words[0] == "exercise" and "--to" in words)


def is_on_the_lines(words: list[str]) -> bool:
    """Whether it may listen to a port or send to one: two of these would want the same port."""
    return words[0] in {"watch", "exercise", "survey"}


def speaks_to_a_watch(words: list[str]) -> bool:
    has_file = any(word.endswith((".gz", ".sqlite", ".nmea")) for word in words)
    return words[0] in {"ack", "silence", "note", "condition", "status"} or (words[0] == "trial" and not has_file)


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with what the examples name: recordings, a passage, an archive of three passages, a configuration."""
    folder = tmp_path_factory.mktemp("examples")
    shutil.copytree(ROOT / "recordings", folder / "recordings")
    (folder / "passage.nmea").write_bytes(gzip.decompress((ROOT / "recordings/late-turn.nmea.gz").read_bytes()))
    morning = structs.replace(
        reading.load(ROOT / "recordings/late-turn.toml"), start=datetime(2027, 10, 2, 10, 30, tzinfo=UTC)
    )
    generate.write(morning, folder / "morning.nmea.gz")
    for recording in ("recordings/fog-crossing.nmea.gz", "recordings/late-turn.nmea.gz", "morning.nmea.gz"):
        archive = str(folder / "passage.sqlite")
        assert main(["replay", str(folder / recording), "--quiet", "--archive", archive]) == 0
    (folder / "passages").mkdir()
    for copy in ("passage.nmea.gz", "passages/one.nmea.gz"):
        shutil.copy(ROOT / "recordings/late-turn.nmea.gz", folder / copy)
    (folder / "boat.toml").write_text('[feeds.radar]\nuri = "udp:127.0.0.1:10181"\n', encoding="utf-8")
    (folder / "secondplot.toml").write_text('condition = "coastal"\n', encoding="utf-8")
    return folder


def start(words: list[str], folder: Path, speaks_in: Path | None = None) -> "subprocess.Popen[bytes]":
    """`speaks_in` is the runtime directory: what runs in the same one can speak to each other."""
    homes = {name: folder / name.lower() for name in ("XDG_CONFIG_HOME", "XDG_DATA_HOME")}
    homes["XDG_RUNTIME_DIR"] = speaks_in or folder / "runtime"
    for home in homes.values():
        home.mkdir(exist_ok=True, mode=0o700)
    environment = {**os.environ, **{name: str(home) for name, home in homes.items()}, "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "daemon.main", *words]
    return subprocess.Popen(
        command, cwd=folder, env=environment, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    )


def is_up(words: list[str], process: "subprocess.Popen[bytes]", speaks_in: Path) -> bool:
    """Whether it does what it is for: a watch answers, an exercise has said where it sends."""
    if words[0] == "exercise":
        assert process.stdout
        return bool(select.select([process.stdout], [], [], 0)[0])
    with suppress(UserError):
        return control.ask(control.Request("status"), folder=speaks_in / "secondplot").ok
    return False


def runs_until_stopped(words: list[str], folder: Path) -> str:
    """Starts what does not end by itself, sees that it goes on, and ends it in order. Answers what is wrong."""
    with TemporaryDirectory() as speaks_in:
        process = start(words, folder, Path(speaks_in))
        latest = time.monotonic() + 30
        while process.poll() is None and time.monotonic() < latest and not is_up(words, process, Path(speaks_in)):
            time.sleep(0.02)
        went_on = process.poll() is None and time.monotonic() < latest
        process.send_signal(signal.SIGTERM)
        said = process.communicate(timeout=10)[0].decode()[-500:]
    return "" if went_on and process.returncode == 0 else f"ended with {process.returncode}: {said}"


def runs_to_its_end(words: list[str], folder: Path) -> str:
    process = start(words, folder)
    said = process.communicate(timeout=60)[0].decode()[-800:]
    # The self-test says by its code where an annunciator does not work, as on a machine without a sound card.
    # A survey of a serial line ends with it where no adapter is plugged in.
    adapter = any(word.startswith("serial:") for word in words) and "udp:10110" not in words
    good = (0, 3) if "--self-test" in words or adapter else (0,)
    return "" if process.returncode in good else f"ended with {process.returncode}: {said}"


def runs(words: list[str], folder: Path) -> str:
    return (runs_until_stopped if is_endless(words) else runs_to_its_end)(words, folder)


def is_answered(words: list[str], folder: Path) -> str:
    """What speaks to a watch: two are running, to serve all examples, so one is named."""
    chosen = [] if "--watch" in words else ["--watch", "watch"]
    problem = runs_to_its_end([*words, *chosen], folder)
    return "" if "no such alert" in problem else problem


@contextmanager
def a_running_watch(folder: Path) -> Iterator[None]:
    """Two watches, of the names that the examples speak to, with an exercise coming in to the first."""
    feeds = ("udp:127.0.0.1:10179?name=radar", "udp:127.0.0.1:10180?name=other")
    sent = ["exercise", "recordings/fog-crossing.toml", "--to", "udp:127.0.0.1:10179", "--pace", "4"]
    events = folder / "watch.jsonl"
    running = [
        start(["watch", "--feed", feeds[0], "--quiet", "--no-archive", "--events", str(events)], folder),
        start(["watch", "--feed", feeds[1], "--quiet", "--no-archive", "--name", "radar"], folder),
        start(sent, folder),
    ]
    try:
        latest = time.monotonic() + 60
        while not (events.exists() and '"event":"plot"' in events.read_text(encoding="utf-8")):
            assert time.monotonic() < latest, "the watch plots no target"
            time.sleep(0.1)
        yield
    finally:
        for process in running:
            process.send_signal(signal.SIGTERM)
            process.communicate(timeout=10)


@pytest.mark.timeout(400)  # half a hundred processes: on a busy machine more than two minutes
def test_every_command_line_runs(place: Path) -> None:
    """Each as it stands, once; those that speak to a watch speak to a running one with a target on its plot."""
    examples = {tuple(words_of(line)): f"{where}: {line}" for where, line in reversed(list(shown()))}
    wrong: dict[str, str] = {}

    def run_each(belongs: Callable[[list[str]], bool], run: Callable[[list[str], Path], str]) -> None:
        for words, example in examples.items():
            if belongs(list(words)):
                wrong[example] = run(list(words), place)

    def is_on_its_own(words: list[str]) -> bool:
        return not speaks_to_a_watch(words) and not is_on_the_lines(words)

    with a_running_watch(place), ThreadPoolExecutor(2) as lanes:  # what is live mostly waits
        live = lanes.submit(run_each, is_on_the_lines, runs)
        spoken = lanes.submit(run_each, speaks_to_a_watch, is_answered)
        run_each(is_on_its_own, runs)
        live.result()
        spoken.result()

    assert len(wrong) == len(examples)
    assert not any(wrong.values()), "\n".join(f"{one}\n    {problem}" for one, problem in wrong.items() if problem)


@pytest.mark.parametrize("name", reference.PAGES)
def test_pages_made_from_the_code_are_current(name: str) -> None:
    """`python -m docs.reference` would change nothing."""
    assert (ROOT / "docs" / name).read_text(encoding="utf-8") == reference.PAGES[name]()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_every_link_leads_somewhere(page: Path) -> None:
    """Links and pictures inside the project are there."""
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text(encoding="utf-8")):
        assert "://" in target or (page.parent / target).exists(), f"{page.name} links to {target}"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_help_with_an_example(name: str) -> None:
    """A command that is listed is there, says what it does, and shows how."""
    module = importlib.import_module(f"daemon.commands.{name}")

    assert "example" in module.HELP
    assert f"secondplot {name}" in module.HELP


def test_the_shell_completes_commands_and_their_options(tmp_path: Path) -> None:
    """What bash asks argcomplete for, by its own protocol: the answer comes on file descriptor 8."""
    answers = {}
    for line in ("secondplot re", "secondplot replay --pa"):
        asked = {"_ARGCOMPLETE": "1", "_ARGCOMPLETE_IFS": "\n", "COMP_LINE": line, "COMP_POINT": str(len(line))}
        out = tmp_path / "out"
        command = f"{sys.executable} -m daemon.main 8>{shlex.quote(str(out))} 9>/dev/null"
        subprocess.run(["bash", "-c", command], cwd=ROOT, env={**os.environ, **asked}, check=False, timeout=30)
        answers[line] = out.read_text(encoding="utf-8").split()

    assert answers == {"secondplot re": ["replay"], "secondplot replay --pa": ["--pace", "--palette"]}
