"""`secondplot config`: writes a commented default configuration, or checks one."""

import argparse
import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from daemon.errors import UserError

if TYPE_CHECKING:
    from daemon.config import Config

HELP = """Writes the default configuration, every key with its meaning and bounds, or checks a file.

examples:
  secondplot config > secondplot.toml
  secondplot config --check secondplot.toml"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--check", type=Path, metavar="FILE", help="check this file; say what is wrong and where")
    parser.add_argument(
        "--show", action="store_true", help="write what is in force: the file and --set laid over the defaults"
    )
    parser.add_argument("--config", type=Path, metavar="PATH", help="with --show: this file and not the default one")
    parser.add_argument("--set", action="append", default=[], metavar="KEY=VALUE", help="with --show: lay this over")
    parser.add_argument("--json", action="store_true", help="with --check: say it as JSON")


def run(args: argparse.Namespace) -> int:
    from daemon import config, settings_text

    if args.check:
        return _check(args.check, args.json)
    in_force = config.load(args.config, args.set) if args.show or args.config or args.set else config.Config()
    sys.stdout.write(settings_text.commented_toml(in_force))
    return 0


def _check(path: Path, as_json: bool) -> int:
    from daemon import config

    try:
        checked = config.load(path)
        config.configured_feeds(checked, path)
    except UserError as error:
        if not as_json:
            raise
        print(json.dumps({"file": str(path), "ok": False, "error": str(error)}))
        return error.code
    if as_json:
        print(json.dumps({"file": str(path), "ok": True, "error": None}))
    else:
        feeds = ", ".join(f"{name} ({feed.uri})" for name, feed in checked.feeds.items()) or "none"
        print(f"{path}: good. Condition {checked.condition!r}; feeds: {feeds}.{_own_conditions(checked)}")
    return 0


def _own_conditions(checked: "Config") -> str:
    """Conditions beside the built-in ones: one that was only misspelt would never come into force."""
    from difflib import get_close_matches

    from alerts.settings import DEFAULT_CONDITIONS

    told = []
    for name in sorted(set(checked.conditions) - set(DEFAULT_CONDITIONS)):
        meant = get_close_matches(name, DEFAULT_CONDITIONS, n=1, cutoff=0.8)
        told.append(f"{name!r}{f' (not {meant[0]!r}?)' if meant else ''}")
    return f" Conditions of your own: {', '.join(told)}." if told else ""
