"""Pages and tables that are made from the code: `python -m docs.reference` writes them, a test holds them to it.

Run it from the project's root.
"""

import argparse
import inspect
import typing
from collections.abc import Iterator
from enum import Enum
from importlib import import_module
from itertools import groupby
from pathlib import Path
from types import ModuleType, NoneType, UnionType

from alerts import events
from daemon import settings_text
from daemon.config import Config
from daemon.main import COMMANDS
from daemon.sinks import archive_schema
from daemon.words import CAUTIONS
from docs import alert_tables

FOLDER = Path(__file__).parent

EXIT_CODES = """0 done; 1 a fault of ours; 2 wrong usage or configuration; 3 an input or output that cannot be opened or
read; 130 interrupted"""

FILES = """$XDG_CONFIG_HOME/secondplot/secondplot.toml, else ~/.config/secondplot/secondplot.toml: the configuration.
$XDG_DATA_HOME/secondplot/watch.sqlite, else ~/.local/share/secondplot/watch.sqlite: the archive of a watch."""

COMMANDS_HEAD = f"""# Commands

Made from the code by `python -m docs.reference`, as is the manual page that comes with the program (`man secondplot`).
Results go to standard output, messages to standard error.

Exit codes: {EXIT_CODES}.

Every command also has `--help`, and `--debug` shows a traceback where the program itself is at fault.

Completion in the shell: install with the extra `completion`, then `eval "$(register-python-argcomplete secondplot)"`.
"""

CONFIGURATION_HEAD = """# Configuration

Made from the code by `python -m docs.reference`. One TOML file: `--config PATH`, else
`$XDG_CONFIG_HOME/secondplot/secondplot.toml`, else the built-in defaults. `--set KEY=VALUE` lays a value over it.

    secondplot config > secondplot.toml
    secondplot config --check secondplot.toml

An unknown key, a wrong type or an impossible limit is refused at the start, with its line and what was meant. Each
condition is a table of its own, and you may add others; a feed is one too:

    [feeds.radar]
    uri = "serial:/dev/ttyUSB0@38400"
"""

EVENTS_HEAD = """# Events and archive

Made from the code by `python -m docs.reference`.

## Events: `--events PATH`

JSON Lines, UTF-8: one object a line, `event` and `time` first. Times are RFC 3339 UTC with milliseconds, from the
data's own clock. Units stand in the keys; bearings and courses are true degrees from 0 to 360, unless the key says
relative (-180 to 180, starboard positive). What is not known is `null`. The same recording gives the same bytes at any
pace.
"""

ARCHIVE_HEAD = """
## Archive

One SQLite file, readable with any SQLite tool while the watch runs. Times that end in `_utc_ms` are UNIX milliseconds;
they are labels and follow the wall clock. `at_s` counts the stream's own seconds: order and ages go by it. A newer
program brings an old archive up to date when it opens it for writing.
"""


def configuration() -> str:
    """docs/configuration.md."""
    parts = [CONFIGURATION_HEAD]
    for table, rows in groupby(settings_text.rows(Config()), key=lambda row: row.table):
        parts.append(
            f"\n## {f'`[{table}]`' if table else 'At the top'}\n\n"
            "| key | default | what it is | may be |\n| --- | --- | --- | --- |"
        )
        parts += [f"| `{r.key}` | {_code(r.default)} | {_cell(r.meaning)} | {_cell(r.kind)} |" for r in rows]
    return "\n".join(parts) + "\n"


def events_and_archive() -> str:
    """docs/events.md."""
    parts = [EVENTS_HEAD]
    for kind in typing.get_args(events.AnyEvent):
        parts += [
            f"### `{kind.__struct_config__.tag}`",
            "",
            inspect.cleandoc(kind.__doc__),  # its own: getdoc() would take one from the library's base class
            "",
            "| key | what may stand there |",
            "| --- | --- |",
        ]
        hints = typing.get_type_hints(kind)
        parts += [f"| `{name}` | {_cell(_words(hints[name]))} |" for name in kind.__struct_encode_fields__]
        parts.append("")
    parts += [ARCHIVE_HEAD, "```sql", *(step.strip() for step in archive_schema.STEPS), "```", ""]
    return "\n".join(parts)


def commands() -> str:
    """docs/commands.md."""
    parts = [COMMANDS_HEAD]
    for name, module, parser in _each_command():
        prose, _, examples = module.HELP.partition("\n\nexample")
        parts += [f"## `secondplot {name}`", "", prose, ""]
        if examples:
            lines = examples.partition(":\n")[2].partition("\n\n")
            parts += ["```", *(line.removeprefix("  ") for line in lines[0].splitlines()), "```", "", lines[2], ""]
        parts += _options(parser)
    return "\n".join(parts).replace("\n\n\n\n", "\n\n").replace("\n\n\n", "\n\n").rstrip() + "\n"


def _arguments(parser: argparse.ArgumentParser) -> Iterator[tuple[str, str]]:
    """Each argument as it is written, and its meaning; those of an action of its own with its name before them."""
    for action in parser._actions:  # argparse has no public way to ask what a parser takes
        if isinstance(action, argparse._SubParsersAction):
            for name, sub in action.choices.items():
                yield from ((f"{name} {shown}", meaning) for shown, meaning in _arguments(sub))
        elif action.dest != "help":
            value = action.metavar or "|".join(map(str, action.choices or ())) or action.dest.upper()
            names = ", ".join(action.option_strings)
            shown = f"{names} {value if action.nargs != 0 else ''}".strip() if names else str(value)
            yield shown, (action.help or "").replace("%%", "%")


def manual() -> str:
    """docs/secondplot.1, the page that `man secondplot` shows (man-pages(7))."""
    parts = [
        '.TH SECONDPLOT 1 "" "secondplot"',
        ".SH NAME", r"secondplot \- an independent second plot of a radar\(aqs tracked targets",
        ".SH SYNOPSIS", r".B secondplot", r".I COMMAND", r"[options]",
        ".SH DESCRIPTION", *_roff(import_module("daemon.main").ABOUT),
        ".SH CAUTIONS", *(line for caution in CAUTIONS for line in (*_roff(caution), ".br")),
        ".SH COMMANDS",
    ]  # fmt: skip
    for name, module, parser in _each_command():
        prose, _, examples = module.HELP.partition("\n\nexample")
        parts += [f'.SS "secondplot {name}"', *_roff(prose)]
        for shown, meaning in _arguments(parser):
            parts += [".TP", *_roff(shown, r"\fB", r"\fR"), *_roff(meaning)]
        if examples:
            parts += [".PP", "Examples:", ".PP", ".nf", *_roff(examples.partition(":\n")[2]), ".fi"]
    parts += [".SH EXIT STATUS", *_roff(EXIT_CODES), ".SH FILES", *_roff(FILES)]
    return "\n".join(parts) + "\n"


def _roff(text: str, before: str = "", after: str = "") -> Iterator[str]:
    """Text as roff: its own signs escaped, no line taken for a request."""
    for line in text.splitlines():
        safe = line.replace("\\", r"\e").replace("-", r"\-").replace("'", r"\(aq")
        guard = r"\&" if safe[:1] in (".", "") else ""
        yield f"{before}{guard}{safe}{after}"


def _each_command() -> Iterator[tuple[str, ModuleType, argparse.ArgumentParser]]:
    for name in COMMANDS:
        parser = argparse.ArgumentParser(prog=f"secondplot {name}", add_help=False)
        module = import_module(f"daemon.commands.{name}")
        module.add_arguments(parser)
        yield name, module, parser


def _options(parser: argparse.ArgumentParser) -> list[str]:
    rows = [f"| `{_cell(shown)}` | {_cell(meaning)} |" for shown, meaning in _arguments(parser)]
    return ["| argument | meaning |", "| --- | --- |", *rows, ""] if rows else []


def _words(hint: object) -> str:
    return " or ".join(_names(hint))


def _names(hint: object) -> Iterator[str]:
    if isinstance(hint, UnionType) or typing.get_origin(hint) is typing.Union:
        for part in typing.get_args(hint):
            yield from _names(part)
    elif typing.get_origin(hint) is dict:
        yield "an object"
    elif isinstance(hint, type) and issubclass(hint, Enum):
        yield ", ".join(f"`{member.value}`" for member in hint)
    else:
        plain = {float: "a number", int: "a whole number", str: "text", bool: "true or false", NoneType: "`null`"}
        yield plain.get(hint, "a time")  # type: ignore[call-overload]


def _code(text: str) -> str:
    return f"`{text}`" if text else ""


def _cell(text: str) -> str:
    return " ".join(text.split()).replace("|", "\\|")


PAGES = {
    "alerts.md": alert_tables.page,
    "commands.md": commands,
    "configuration.md": configuration,
    "events.md": events_and_archive,
    "secondplot.1": manual,
}


def main() -> None:
    """Writes them all."""
    for name, page in PAGES.items():
        (FOLDER / name).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main()
