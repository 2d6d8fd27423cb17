"""The cross-check's tables: lines for eyes and for Markdown, and the page that they stand on."""

from collections.abc import Sequence
from pathlib import Path

FAULT_HEAD = ("fault", "runs", "named", "must", "median s", "95 % s", "within s", "aim s")
HONEST_HEAD = ("honest set", "target hours", "false differs", "an hour", "must", "aim")
PAGE = Path(__file__).parents[2] / "docs" / "crosscheck.md"
BEGIN, END = "<!-- measured: begin -->", "<!-- measured: end -->"


def row(what: str, *values: object) -> str:
    """A line of a table, for eyes and for Markdown."""
    return f"| {what:52} | " + " | ".join(f"{value:>8}" for value in values) + " |"


def rule(head: Sequence[str]) -> str:
    return f"| {'---':52} | " + " | ".join(f"{'---:':>8}" for _ in head[1:]) + " |"


def write(lines: Sequence[str], runs: int, seed: int) -> None:
    """Puts the tables between the page's marks."""
    page = PAGE.read_text(encoding="utf-8")
    before, after = page.split(BEGIN)[0], page.split(END)[1]
    how = f"`python -m tests.benchmarks.crosscheck --write`, {runs} runs of each fault, seed {seed}."
    PAGE.write_text("\n".join([before + BEGIN, how, "", *lines, END]) + after, encoding="utf-8")
