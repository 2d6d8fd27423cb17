"""`secondplot bench`: from the command line to the table, CSV, JSON and page; over processes and a cluster alike."""

import csv
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest

from daemon.bench.grid import grid_of
from daemon.bench.page import page
from daemon.bench.passages import passages_of
from daemon.config import load
from daemon.errors import UserError
from daemon.main import main
from tests.daemon import bench_makers
from tests.daemon.browser import CHROMIUM, browse

ROOT = Path(__file__).parents[2]
SWEEP = ["--sweep", "cpa_nm=0.2:1.0:0.2", "--sweep", "tcpa_min=2,4,8"]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two passages: a busy one with its truth, and the same without, told by hindsight."""
    folder = tmp_path_factory.mktemp("passages")
    recording = bench_makers.write_busy(folder)
    shutil.copy(recording, folder / "again.nmea.gz")
    return folder


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["bench", *words, "--json"]) == 0
    found: dict[str, Any] = json.loads(capsys.readouterr().out)
    return found


@pytest.fixture(scope="module")
def alone(folder: Path) -> dict[str, Any]:
    """The whole answer, worked out in one process."""
    command = [sys.executable, "-m", "daemon.main", "bench", str(folder), *SWEEP, "--workers", "1", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=100)
    found: dict[str, Any] = json.loads(done.stdout)
    return found


CLUSTER = """
import contextlib, io, json, sys
from distributed import LocalCluster
from daemon.main import main
if __name__ == "__main__":
    with LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        out = io.StringIO()
        with contextlib.redirect_stdout(out):
            code = main(["bench", *sys.argv[1:], "--json", "--scheduler", cluster.scheduler_address])
        print(json.dumps({**json.loads(out.getvalue()), "workers": len(cluster.workers)}))
    sys.exit(code)
"""


@pytest.fixture(scope="module", autouse=True)
def spread(folder: Path) -> Iterator[tuple[Future[str], Future[str]]]:
    """The same over two processes, then over a cluster of two: begun first and asked for last, beside the others."""

    def answered(*words: str) -> str:
        done = subprocess.run([sys.executable, *words], capture_output=True, text=True, timeout=110, cwd=ROOT)
        assert done.returncode == 0, done.stderr
        return done.stdout

    with ThreadPoolExecutor(1) as beside:
        yield (
            beside.submit(answered, "-m", "daemon.main", "bench", str(folder), *SWEEP, "--workers", "2", "--json"),
            beside.submit(answered, "-c", CLUSTER, str(folder), *SWEEP),
        )


def test_every_setting_is_told_with_what_it_caught_and_cost(alone: dict[str, Any]) -> None:
    """Sixteen settings over two passages; the wider the limits, the longer the warning and the more alerts."""
    assert [one["truth"] for one in alone["passages"]] == ["hindsight", "exercise"]
    assert len(alone["settings"]) == 16
    assert alone["close_passes"] >= 4
    assert alone["encounters"] == alone["close_passes"] + alone["passed_clear"] + alone["unjudged"]
    by_name = {one["name"]: one for one in alone["settings"]}
    narrow, wide = by_name["cpa_nm=0.2, tcpa_min=2"], by_name["cpa_nm=1, tcpa_min=8"]
    assert wide["warning_median_min"] > narrow["warning_median_min"]
    assert wide["alerts"] > narrow["alerts"]
    assert wide["caught"] >= narrow["caught"]
    assert "no guarantee" in alone["caution"]


def test_a_scheduler_that_is_not_there_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    code = main(["bench", str(folder), *SWEEP, "--scheduler", "nowhere", "--quiet"])

    assert code in (2, 3)
    assert "--scheduler nowhere" in capsys.readouterr().err


def test_the_table_csv_and_page_hold_the_same(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], alone: dict[str, Any]
) -> None:
    """The recommended setting is told in the table, and the page needs nothing but itself."""
    file = str(folder / "busy.nmea.gz")
    outputs = ["--csv", str(tmp_path / "all.csv"), "--html", str(tmp_path / "page.html")]

    assert main(["bench", file, *SWEEP, "--at-least-warning", "1min", *outputs]) == 0

    out = capsys.readouterr().out
    assert "recommended: " in out
    assert "Past traffic is no guarantee" in out
    with (tmp_path / "all.csv").open(encoding="utf-8", newline="") as table:
        rows = list(csv.DictReader(table))
    assert len(rows) == 16
    assert rows[0]["setting"] == "as configured"
    assert rows[1]["cpa_nm"] == "0.2"
    for row in rows:
        assert (
            float(row["nuisance_per_h_low_95"]) <= float(row["nuisance_per_h"]) <= float(row["nuisance_per_h_high_95"])
        )
    html = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert not re.search(r"""(?:src|href)\s*=\s*["'](?!#)""", html)
    assert "default-src 'none'" in html
    assert html.count("data-setting") >= 3 * 15
    assert "no guarantee" in html


def test_a_wish_that_nothing_fulfils_is_said_plainly(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = str(folder / "busy.nmea.gz")
    found = answer(capsys, file, *SWEEP, "--at-least-warning", "3h", "--at-most-nuisance", "0/h")

    assert found["recommended"] is None
    assert found["why"].startswith("no setting does")


@pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this machine")
def test_the_page_shows_the_encounters_behind_its_first_cell(folder: Path, tmp_path: Path) -> None:
    """In a browser: the script runs under the page's own policy, without a complaint, and fills every encounter in."""
    file = tmp_path / "page.html"
    assert main(["bench", str(folder / "busy.nmea.gz"), *SWEEP, "--quiet", "--html", str(file)]) == 0
    seen = browse(file, tmp_path / "profile")

    told = re.findall(r'<b class="told-here">(.*?)</b>', seen.dom)
    assert len(told) >= 3
    assert all("alert" in one for one in told)
    assert any("min before" in one for one in told)
    assert 'class="danger alerted"' in seen.dom
    assert 'aria-pressed="true"' in seen.dom
    assert seen.complaints == []


def test_names_in_a_recording_cannot_break_the_page(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Text from the wire is text in the page: checked where the page is made, with a hostile name."""
    import msgspec

    from daemon.bench.choosing import Wish
    from daemon.bench.outcome import Task, work
    from daemon.bench.report import report_of
    from daemon.replaying import lookout_settings

    config = load(None)
    grid = grid_of(config, ["cpa_nm=0.3,0.6"])
    paths = (str(folder / "busy.nmea.gz"),)
    task = Task(
        paths=paths,
        name="<img src=x>",
        settings=lookout_settings(config),
        grid=grid,
        within_nm=2.0,
        close_nm=None,
        by_truth=True,
    )
    outcome = work(task)
    hostile = tuple(
        msgspec.structs.replace(one, target="</script><script>alert(1)</script>") for one in outcome.encounters
    )
    outcome = msgspec.structs.replace(outcome, encounters=hostile)
    report = report_of(grid, [outcome, outcome], wish=Wish(), late_min=5.0, seed=1, is_partial=False, planned=2)

    html = page(report)

    assert "<script>alert" not in html
    assert "<img" not in html
    assert "By passage" in html
    assert html.count("<td>&lt;img src=x&gt;</td>") == 2


def test_an_interrupt_gives_what_is_finished_marked_as_partial(folder: Path, tmp_path: Path) -> None:
    """Ctrl-C in the middle: the figures so far, said to be partial, and exit code 130."""
    long = tmp_path / "long"
    long.mkdir()
    for number in range(30):
        shutil.copy(folder / "busy.nmea.gz", long / f"{number:02d}.nmea.gz")
    command = [sys.executable, "-m", "daemon.main", "bench", str(long), *SWEEP, "--workers", "1", "--json"]
    running = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    _wait_until_reading(running.pid, long)
    running.send_signal(signal.SIGINT)
    out, err = running.communicate(timeout=60)

    assert running.returncode == 130, err
    found = json.loads(out)
    assert found["partial"] is True
    assert 1 <= len(found["passages"]) < 30
    assert found["passages_planned"] == 30


def _wait_until_reading(pid: int, folder: Path) -> None:
    """Until the process is well inside the third file, or a later one: it has finished two.

    Every file's head is read before the first of them is: that is not yet reading it.
    """
    for _ in range(6000):
        for link in Path(f"/proc/{pid}/fd").iterdir():
            path = Path(os.path.realpath(link))
            if path.parent == folder and path.name >= "02" and _read_so_far(pid, link.name) > 10_000:
                return
        time.sleep(0.01)
    raise AssertionError("it never came to the third recording")


def _read_so_far(pid: int, descriptor: str) -> int:
    try:
        told = Path(f"/proc/{pid}/fdinfo/{descriptor}").read_text(encoding="ascii")
    except FileNotFoundError:  # closed meanwhile
        return 0
    return int(told.split()[1])


def test_an_archive_is_judged_like_the_recording_that_it_was_made_from(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its measurements are plotted again: the same close passes, caught alike, warnings to half a minute."""
    recording = str(folder / "busy.nmea.gz")
    archive = tmp_path / "passage.sqlite"
    assert main(["replay", recording, "--quiet", "--archive", str(archive)]) == 0
    capsys.readouterr()

    again = answer(capsys, str(archive), *SWEEP, "--close", "0.6")
    first = answer(capsys, recording, *SWEEP, "--close", "0.6", "--truth", "hindsight")

    assert again["passages"][0]["name"] == "passage.sqlite, passage 1"
    assert again["close_passes"] == first["close_passes"] >= 3
    for ours, theirs in zip(again["settings"], first["settings"], strict=True):
        assert ours["caught"] == theirs["caught"]
        assert ours["warning_median_min"] == pytest.approx(theirs["warning_median_min"], abs=0.5)


def test_a_recording_of_which_nothing_can_be_used_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """No hour, no encounter, no figure; and the message says which file it was."""
    (tmp_path / "spoilt.nmea").write_bytes(b"$GPHDT,61.0,T*00\r\n" * 3)

    assert main(["bench", str(tmp_path / "spoilt.nmea"), *SWEEP, "--json"]) == 0

    told = capsys.readouterr()
    found = json.loads(told.out)
    assert "spoilt.nmea: no line could be used" in told.err
    assert (found["hours"], found["encounters"], found["recommended"]) == (0.0, 0, None)
    assert found["settings"][0]["alerts_per_h"] is None


def test_mistakes_are_named_with_the_mend() -> None:
    config = load(None)
    for sweep, said in (
        ("cpa_mn=0.2:1:0.1", "no limit of that name; did you mean"),
        ("cpa_nm", "KEY=FROM:TO:STEP"),
        ("cpa_nm=1:0:0.1", "FROM must not be above TO"),
        ("cpa_nm=0:1:0.5", "cpa_nm"),
        ("basis=ours", "none of recomputed, reported, either"),
        ("alerts.closest_approach.on=0,1", "not a number"),
        ("own_ship.variation_deg=1,2", "only keys of"),
        ("alerts.life.flap_changes=2.5", "whole numbers"),
        ("conditions.harbor.cpa_nm=1,2", "did you mean harbour"),
    ):
        with pytest.raises(UserError, match=re.escape(said)):
            grid_of(config, [sweep])
    with pytest.raises(UserError, match="swept twice"):
        grid_of(config, ["cpa_nm=0.2,0.4", "conditions.harbour.cpa_nm=0.2,0.4"])


def test_steps_are_decimal_and_both_ends_belong_to_the_range() -> None:
    grid = grid_of(load(None), ["cpa_nm=0.2:1.5:0.1"])

    assert grid.axes[0].values == (0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.2, 1.3, 1.4, 1.5)
    assert {one.cpa_nm for one in grid.settings[1].limits.conditions.values()} == {0.2}
    assert grid.settings[0].limits.conditions == load(None).conditions


def test_the_hours_of_one_watch_are_one_passage(tmp_path: Path) -> None:
    """What `watch --record` wrote belongs together; other files of a folder are passages of their own."""
    for name in ("secondplot-2027-01-15T09Z.nmea", "secondplot-2027-01-15T08Z.nmea.gz", "drill.nmea", "notes.md"):
        (tmp_path / name).write_bytes(b"$GPHDT,1*00\r\n")

    passages = passages_of([str(tmp_path)])

    assert [len(one.paths) for one in passages] == [2, 1]
    assert [Path(path).name[22:] for path in passages[0].paths] == ["08Z.nmea.gz", "09Z.nmea"]
    with pytest.raises(UserError, match="named twice"):
        passages_of([str(tmp_path / "drill.nmea"), str(tmp_path / "drill.nmea")])


def test_figures_are_the_same_over_processes(alone: dict[str, Any], spread: tuple[Future[str], Future[str]]) -> None:
    """Two processes, to the last digit."""
    assert json.loads(spread[0].result()) == alone


def test_figures_are_the_same_over_a_cluster(alone: dict[str, Any], spread: tuple[Future[str], Future[str]]) -> None:
    """A local Dask cluster of two workers, to the last digit."""
    pytest.importorskip("distributed", reason="the extra `cluster` is not installed")
    found = json.loads(spread[1].result().splitlines()[-1])

    assert found.pop("workers") == 2
    assert found == alone
