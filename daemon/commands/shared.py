"""Arguments that mean the same in every command that runs the stream."""

import argparse
from pathlib import Path


def add_settings(parser: argparse.ArgumentParser) -> None:
    """Which configuration is in force."""
    group = parser.add_argument_group("configuration")
    group.add_argument("--config", type=Path, metavar="PATH", help="this file, not the one under $XDG_CONFIG_HOME")
    group.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", help="lay this over it, repeatable")
    group.add_argument("--condition", metavar="NAME", help="the condition in force at the start")


def add_reading(parser: argparse.ArgumentParser) -> None:
    """How recordings are read."""
    group = parser.add_argument_group("reading recordings")
    group.add_argument("--rate", type=float, metavar="N", help="lines a second, for a recording that holds no time")
    group.add_argument("--no-checksum", action="store_true", help="take sentences that have no checksum")


def add_outputs(parser: argparse.ArgumentParser) -> None:
    """Where events go."""
    group = parser.add_argument_group("outputs")
    group.add_argument("--events", metavar="PATH", help="write events as JSON Lines; - for standard output")
    group.add_argument("--archive", type=Path, metavar="PATH", help="keep tracks in this SQLite archive")
    group.add_argument("--plain", action="store_true", help="line by line, even on a terminal")
    group.add_argument("--quiet", action="store_true", help="no console at all")
    group.add_argument(
        "--palette",
        metavar="NAME",
        help="colours of the screen: day, night (dim red), high contrast or monochrome (default where NO_COLOR is set)",
    )


def overrides(args: argparse.Namespace) -> list[str]:
    """`--set` and what has a flag of its own, in the form of `--set`."""
    import json

    chosen = list(args.set)
    if args.condition:
        chosen.append(f"condition = {json.dumps(args.condition)}")
    limits = {key: getattr(args, key, None) for key in ("keep_days", "keep_mib")}  # of `watch`
    return chosen + [f"archive.{key} = {value}" for key, value in limits.items() if value is not None]
