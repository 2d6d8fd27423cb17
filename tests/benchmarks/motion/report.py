"""The measured table and its pictures in docs/method.md."""

import platform
import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from daemon.pictures.drawing import LIGHT, Drawing
from tests.benchmarks.motion.figure import Figure
from tests.benchmarks.motion.imo import Cell, imo_cells
from tests.benchmarks.motion.probability import Bin, reliability

DOCS = Path(__file__).resolve().parents[3] / "docs"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"
MARKS = {True: "yes", False: "**no**", None: ""}


def line(figure: Figure) -> str:
    """One figure for the terminal."""
    bound = f"  (must {figure.must or '-'}, aim {figure.aim or '-'})" if figure.must else ""
    verdict = {True: "ok   ", False: "OVER ", None: "     "}[figure.met]
    return f"{verdict}{figure.name}: {figure.measured}{bound}  [{figure.runs} runs, seed {figure.seed}]"


def table(figures: Sequence[Figure]) -> str:
    rows = [
        "| figure | measured | must | met | aim | met | runs, seed |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    for one in figures:
        cells = (one.name, one.measured, one.must, MARKS[one.met], one.aim, MARKS[one.reached])
        rows.append(f"| {' | '.join(cells)} | {one.runs}, {one.seed} |")
    return "\n".join(rows)


def imo_table(cells: Sequence[Cell]) -> str:
    """All cells of the standards' tables after three and one minutes with their sensor errors."""
    rows = [
        "| after | scenario | quantity | our 95 % error | least possible | A.823(19) | MSC.192(79) |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    allowed = {(c.minutes, c.scenario, c.quantity, c.standard): c.allowed for c in cells if not c.white}
    shown = set()
    for cell in cells:
        key = cell.minutes, cell.scenario, cell.quantity
        if cell.white or key in shown:
            continue
        shown.add(key)
        limits = (allowed.get((*key, standard)) for standard in ("A.823(19)", "MSC.192(79)"))
        text = " | ".join("-" if limit is None else _against(cell.error, limit) for limit in limits)
        rows.append(
            f"| {cell.minutes} min | {cell.scenario} | {cell.quantity} | {cell.error:.2f} | {cell.bound:.2f} | {text} |"
        )
    return "\n".join(rows)


def _against(error: float, limit: float) -> str:
    return f"{limit:g}" if error <= limit else f"**{limit:g}**"


def reliability_plot(bins: Sequence[Bin]) -> str:
    """Probability said against share that came, the diagonal being honest; an SVG file's text."""
    size, edge = 320.0, 40.0
    drawing = Drawing(size + edge + 40, size + edge + 20, "Reliability of inside_probability", "said against came")

    def place(said: float, came: float) -> tuple[float, float]:
        return edge + said * size, 10 + (1 - came) * size

    for tenth in range(11):
        value = tenth / 10
        drawing.line(place(value, 0), place(value, 1), "hair")
        drawing.line(place(0, value), place(1, value), "hair")
        if tenth % 2 == 0:
            drawing.text((place(value, 0)[0], size + 24), f"{value:.1f}", "s", "middle")
            drawing.text((edge - 4, place(0, value)[1] + 3), f"{value:.1f}", "s", "end")
    drawing.line(place(0, 0), place(1, 1), "axis")
    drawing.line(place(0, 0.05), place(0.95, 1), "limit")
    drawing.line(place(0.05, 0), place(1, 0.95), "limit")
    for one in bins:
        if one.cases:
            drawing.circle(place(one.said, one.came), 4.0, "ours-dot", f"{one.cases} encounters")
            drawing.text((place(one.said, one.came)[0] + 7, place(one.said, one.came)[1] + 12), str(one.cases), "s")
    drawing.text((edge + size / 2, size + 42), "probability said", "", "middle")
    drawing.text((edge + 6, 24), "share that passed inside")
    return drawing.svg(LIGHT)


def bins_table(bins: Sequence[Bin]) -> str:
    rows = ["| said | encounters | mean said | passed inside | apart |", "| --- | --- | --- | --- | --- |"]
    for k, one in enumerate(bins):
        apart = one.came - one.said
        rows.append(
            f"| {k / 10:.1f} to {(k + 1) / 10:.1f} | {one.cases} | {one.said:.3f} | {one.came:.3f} | {apart:+.3f} |"
        )
    return "\n".join(rows)


def write(figures: Sequence[Figure], share: float) -> None:
    """Put the figures between the markers of docs/method.md, and the pictures beside it."""
    path = DOCS / "method.md"
    text = path.read_text(encoding="utf-8")
    before, after = text.split(BEGIN)[0], text.split(END)[1]
    cells = list(imo_cells(max(20, int(1000 * share))))
    bins, _ = reliability(max(2000, int(20_000 * share)))
    (DOCS / "method").mkdir(exist_ok=True)
    (DOCS / "method" / "reliability.svg").write_text(reliability_plot(bins) + "\n", encoding="utf-8")
    machine = f"Python {sys.version.split()[0]}, numpy {np.__version__}, {platform.machine()}"
    body = "\n\n".join(
        (
            f"Made by `python -m tests.benchmarks.motion --write` ({machine}).",
            table(figures),
            "### The four scenarios, cell by cell\n\nSensor errors of A.823(19) Appendix 3, biases included. 'Least "
            "possible' is the 95 % error of an unbiased estimator at the Cramér-Rao bound that has the same biases. A "
            "limit that is passed is in bold.",
            imo_table(cells),
            "### Reliability of `inside_probability`\n\n"
            "![Probability said against share that came](method/reliability.svg)",
            bins_table(bins),
        )
    )
    path.write_text(f"{before}{BEGIN}\n\n{body}\n\n{END}{after}", encoding="utf-8")
