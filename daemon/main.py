"""The command line: finds the command, loads it alone, runs it, and says errors in one or two lines."""

import argparse
import os
import re
import sys
from collections.abc import Iterable, Sequence
from importlib import import_module
from typing import NoReturn

from daemon.errors import UserError

# One module of daemon.commands for each, with the one line that --help shows. Loaded only when it is called.
COMMANDS = {
    "watch": "keep a live watch on feeds: console, alerts, archive",
    "replay": "the same over recordings, on the recording's own clock",
    "bench": "sweep alert limits over recordings and recommend a setting",
    "exercise": "make a recording with known truth from a written scenario, or send it live",
    "plot": "a manual plot from ranges and bearings",
    "trial": "trial manoeuvre at one moment of a recording, archive or running watch",
    "debrief": "the passage report: one HTML file",
    "tracks": "list, show and export archived tracks",
    "survey": "listen to feeds and say what is there and what can be worked out from it",
    "ack": "acknowledge an alert of a running watch",
    "silence": "silence the sound of a running watch for 30 s",
    "note": "write a note into a running watch's record",
    "condition": "change the condition of a running watch",
    "status": "say how a running watch stands",
    "config": "write a commented default configuration, or check one",
}

ABOUT = "An independent second plot beside the radar: CPA and TCPA with their uncertainty, and alerts."

EPILOG = """example:
  secondplot replay recordings/fog-crossing.nmea.gz

An aid to look-out, never a substitute. `secondplot COMMAND --help` has an example of each."""


class Parser(argparse.ArgumentParser):
    """Says what is wrong in one line, and where help is; the whole usage would push it off a small screen."""

    def error(self, message: str) -> NoReturn:
        self.exit(2, f"{self.prog}: {message}: see {self.prog} --help\n")


def build_parser(only: str | None = None) -> argparse.ArgumentParser:
    """The whole parser; `only` names the one command whose own arguments are loaded."""
    parser = Parser(
        prog="secondplot",
        description=ABOUT,
        epilog=EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="store_true", help="print the version and end")
    subparsers = parser.add_subparsers(dest="command", metavar="COMMAND")
    for name, line in COMMANDS.items():
        # No abbreviations: one that is right today means another option, or none, when the next is added.
        sub = subparsers.add_parser(
            name, help=line, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
        )
        if name == only:
            module = import_module(f"daemon.commands.{name}")
            sub.description = module.HELP
            module.add_arguments(sub)
        sub.add_argument("--debug", action="store_true", help="show a traceback where the program itself is at fault")
    return parser


def _complete() -> None:
    """The shell asks for completions: answers with those of the command begun on its line, and ends."""
    import argcomplete

    begun = os.environ.get("COMP_LINE", "").split()
    argcomplete.autocomplete(build_parser(next((word for word in begun[1:] if word in COMMANDS), None)))


def _meant(word: str, known: Iterable[str]) -> str:
    """` (did you mean 'watch'?)`, or nothing where no known word is like it."""
    from difflib import get_close_matches

    near = get_close_matches(word, known, n=1)
    return f" (did you mean {near[0]!r}?)" if near else ""


def _refusal(parser: argparse.ArgumentParser, command: str | None, words: Sequence[str]) -> str:
    """What is wrong with words that no argument takes, and what was meant by the first."""
    import contextlib
    import io

    shown = io.StringIO()
    with contextlib.redirect_stdout(shown), contextlib.suppress(SystemExit):
        parser.parse_args([*([command] if command else []), "--help"])
    first = next((word for word in words if word.startswith("-")), words[0])
    option = first.partition("=")[0]
    meant = _meant(option, re.findall(r"--[a-z][a-z-]*", shown.getvalue())) if option.startswith("-") else ""
    see = f"secondplot {command} --help" if command else "secondplot --help"
    kind = "there is no option" if option.startswith("-") else "one word too many,"
    return f"{kind} {option!r}{meant}: see {see}"


def main(argv: Sequence[str] | None = None) -> int:
    """Runs one command and returns its exit code.

    0 done; 1 a fault of ours; 2 wrong usage or configuration; 3 an input or output that cannot be opened or read.
    """
    if "_ARGCOMPLETE" in os.environ:
        _complete()
    words = list(sys.argv[1:] if argv is None else argv)
    command = next((word for word in words if not word.startswith("-")), None)
    if command is not None and command not in COMMANDS:
        print(
            f"secondplot: there is no command {command!r}{_meant(command, COMMANDS)}: see secondplot --help",
            file=sys.stderr,
        )
        return 2
    parser = build_parser(command)
    args, not_understood = parser.parse_known_args(words)
    if not_understood:
        print(
            f"secondplot{f' {command}' * bool(command)}: {_refusal(parser, command, not_understood)}", file=sys.stderr
        )
        return 2
    if args.version:
        from daemon.about import program

        print(program())
        return 0
    if args.command is None:
        build_parser().print_help()
        return 2
    try:
        return int(import_module(f"daemon.commands.{args.command}").run(args))
    except UserError as error:
        print(f"secondplot {args.command}: {error}", file=sys.stderr)
        return error.code
    except BrokenPipeError:
        return 0
    except KeyboardInterrupt:
        return 130
    except Exception as error:
        if args.debug:
            raise
        print(
            f"secondplot {args.command}: a fault of ours: {type(error).__name__}: {error}; "
            "run it again with --debug and report what it prints",
            file=sys.stderr,
        )
        return 1


if __name__ == "__main__":
    sys.exit(main())
