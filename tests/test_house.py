"""The rules of the house: what may import what, and where packages end."""

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
WINGS = ("parsers", "alerts", "daemon")

# Each wing may import itself and the wings that lie before it in the data's way.
ALLOWED = {"parsers": {"parsers"}, "alerts": {"alerts", "parsers"}, "daemon": {"daemon", "alerts", "parsers"}}

# The core runs the same under a live feed, a replay and a sweep, so it holds no clock, file, socket or thread.
# Annunciators speak to the world and are the one exception.
WORLD = {
    "asyncio",
    "concurrent",
    "fcntl",
    "input()",
    "io",
    "multiprocessing",
    "open()",
    "os",
    "pathlib",
    "print()",
    "random",
    "select",
    "serial",
    "shutil",
    "signal",
    "socket",
    "sqlite3",
    "subprocess",
    "tempfile",
    "threading",
    "time",
}


@cache
def used_by(path: Path) -> set[str]:
    """Top-level names of all modules that a file imports, at any depth in its code; `open()` for what it calls."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: a relative import hides where a name comes from"
            names.add(str(node.module).split(".")[0])
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            names.add(f"{node.func.id}()")
    return names


def files_of(wing: str) -> list[Path]:
    """All its code; a wing without any would pass every test."""
    files = list((ROOT / wing).rglob("*.py"))
    assert files
    return files


@pytest.mark.parametrize("wing", WINGS)
def test_nothing_flows_back(wing: str) -> None:
    """A wing imports only itself and the wings before it."""
    for path in files_of(wing):
        foreign = (used_by(path) & set(WINGS)) - ALLOWED[wing]

        assert not foreign, f"{path.relative_to(ROOT)} imports {foreign}"


def test_the_core_does_not_touch_the_world() -> None:
    """parsers/ and alerts/ (but for annunciators/) import no clock, file, socket or thread, open and print nothing.

    That nobody asks datetime what time it is, a test of the clock holds.
    """
    for wing in ("parsers", "alerts"):
        for path in files_of(wing):
            if "annunciators" in path.parts:
                continue
            touched = used_by(path) & WORLD

            assert not touched, f"{path.relative_to(ROOT)} imports {touched}"


@pytest.mark.parametrize("wing", WINGS)
def test_wings_are_namespace_packages(wing: str) -> None:
    """No __init__.py: another distribution on the index installs a package `daemon`, and must not be overwritten."""
    assert (ROOT / wing).is_dir()
    assert not list((ROOT / wing).rglob("__init__.py"))
