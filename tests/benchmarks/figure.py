"""One measured figure beside its bound, and the machine it was measured on."""

import os
import platform
import sqlite3
from importlib.metadata import version
from pathlib import Path

import numpy as np
from msgspec import Struct


class Figure(Struct, frozen=True):
    """`met` is None where there is no bound and the figure is only told."""

    name: str
    measured: str
    bound: str = ""
    met: bool | None = None

    def line(self) -> str:
        verdict = {None: "", True: "met", False: "NOT MET"}[self.met]
        return f"| {self.name} | {self.measured} | {self.bound} | {verdict} |"


def under(name: str, value: float, unit: str, bound: float, detail: str = "", digits: int = 1) -> Figure:
    """A figure that must be under its bound."""
    return Figure(name, f"{value:.{digits}f} {unit}{detail}", f"under {bound:g} {unit}", value < bound)


def at_least(name: str, value: float, unit: str, bound: float, detail: str = "") -> Figure:
    """A figure that must reach its bound."""
    return Figure(name, f"{value:.2f}{unit}{detail}", f"at least {bound:g}{unit}", value >= bound)


def machine() -> str:
    """Processor, cores, and what the program was run with."""
    names = [line.partition(":")[2].strip() for line in _lines("/proc/cpuinfo") if line.startswith("model name")]
    return (
        f"{names[0] if names else platform.machine()}, {os.cpu_count()} cores; "
        f"{platform.system()} {platform.release()}, Python {platform.python_version()}, numpy {np.__version__}, "
        f"msgspec {version('msgspec')}, pynmea2 {version('pynmea2')}, SQLite {sqlite3.sqlite_version}"
    )


def _lines(path: str) -> list[str]:
    try:
        return Path(path).read_text().splitlines()
    except OSError:
        return []
