"""Sinks, as the command line and the configuration ask for them."""

import argparse
import os
import sys
from collections.abc import Callable
from pathlib import Path

from daemon.about import program
from daemon.clock import Clock
from daemon.config import ArchiveSettings, Config
from daemon.console.palette import PALETTES
from daemon.control import Request
from daemon.errors import UserError
from daemon.sinks.archive import Archive
from daemon.sinks.archive_store import Passage
from daemon.sinks.console import Console
from daemon.sinks.events import EventsSink
from daemon.sinks.face import Sink
from daemon.sinks.plain import Plain


def has_screen(args: argparse.Namespace) -> bool:
    """Whether the live screen is drawn: on a terminal, unless something else is asked for."""
    return sys.stdout.isatty() and not (args.plain or args.quiet or args.events == "-")


def palette_of(args: argparse.Namespace) -> str:
    """The palette's name. Raises UserError for one that there is not: ask before anything is opened."""
    palette = args.palette or ("monochrome" if os.environ.get("NO_COLOR") else "day")
    if palette not in PALETTES:
        raise UserError(f"--palette {palette}: choose one of {', '.join(PALETTES)}")
    return palette


def console(
    args: argparse.Namespace, config: Config, ask: Callable[[Request], None], pace: float, patient: bool
) -> list[Sink]:
    """The screen, or the plain lines, or nothing."""
    if args.quiet or args.events == "-":
        return []
    if not has_screen(args):
        return [Plain(patient=patient)]
    return [Console(ask, conditions=config.conditions, condition=config.condition, palette=palette_of(args), pace=pace)]


def files(
    args: argparse.Namespace, clock: Clock, origin: str, source: str, config: Config, archive: Path | None
) -> list[Sink]:
    """Events and archive."""
    sinks: list[Sink] = []
    if args.events:
        sinks.append(EventsSink(args.events))
    if archive:
        passage = Passage(origin=origin, source=source, program=program())
        keep = config.archive if origin == "watch" else ArchiveSettings()  # a replay removes nothing
        lossless = origin == "replay"
        sinks.append(
            Archive(archive, passage, clock, lossless=lossless, keep_days=keep.keep_days, keep_mib=keep.keep_mib)
        )
    return sinks
