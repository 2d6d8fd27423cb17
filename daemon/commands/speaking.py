"""Arguments that the commands which speak to a running watch share."""

import argparse


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--watch", metavar="NAME", help="which watch, where several are running (their --name)")
    parser.add_argument("--json", action="store_true", help="print the answer as JSON")


def ask(args: argparse.Namespace, verb: str, alert_id: int | None = None, text: str | None = None) -> int:
    """Ask, print the answer, and give the exit code."""
    from daemon import control

    return control.say(control.ask(control.Request(verb, alert_id, text), args.watch), args.json)
