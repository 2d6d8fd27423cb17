"""The rules of the house: what may import what, and where packages end."""

import ast
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
    "os",
    "pathlib",
    "random",
    "select",
    "serial",
    "socket",
    "sqlite3",
    "subprocess",
    "threading",
    "time",
}


def imports_of(path: Path) -> set[str]:
    """Top-level names of all modules that a file imports, at any depth in its code."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names.update(alias.name.split(".")[0] for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            assert node.level == 0, f"{path}: a relative import hides where a name comes from"
            names.add(node.module.split(".")[0])
    return names


@pytest.mark.parametrize("wing", WINGS)
def test_nothing_flows_back(wing: str) -> None:
    """A wing imports only itself and the wings before it."""
    for path in (ROOT / wing).rglob("*.py"):
        foreign = (imports_of(path) & set(WINGS)) - ALLOWED[wing]

        assert not foreign, f"{path.relative_to(ROOT)} imports {foreign}"


def test_the_core_does_not_touch_the_world() -> None:
    """parsers/ and alerts/ (but for annunciators/) import no clock, file, socket or thread."""
    for wing in ("parsers", "alerts"):
        for path in (ROOT / wing).rglob("*.py"):
            if "annunciators" in path.parts:
                continue
            touched = imports_of(path) & WORLD

            assert not touched, f"{path.relative_to(ROOT)} imports {touched}"


def test_nobody_in_the_core_asks_a_clock() -> None:
    """datetime is there for labels; now() and today() are not called: time comes in with the data."""
    for wing in ("parsers", "alerts"):
        for path in (ROOT / wing).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                asked = isinstance(node, ast.Attribute) and node.attr in {"now", "utcnow", "today"}

                assert not asked, f"{path.relative_to(ROOT)} asks a clock"


@pytest.mark.parametrize("wing", WINGS)
def test_wings_are_namespace_packages(wing: str) -> None:
    """No __init__.py: another distribution on the index installs a package `daemon`, and must not be overwritten."""
    assert (ROOT / wing).is_dir()
    assert not list((ROOT / wing).rglob("__init__.py"))
