"""A TOML file to typed settings, with an error that a person can act on: file, line, key, what was meant.

Configuration and scenario files are both read here.
"""

import re
import tomllib
from collections.abc import Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from daemon.errors import CANNOT_OPEN, UserError
from daemon.toml_lines import line_of

Settings = TypeVar("Settings")

LARGEST_FILE = 1 << 20
"""Bytes. A hand-written settings file has a few kilobytes."""

_WHERE = re.compile(r"^(?P<problem>.*?)(?: - at `(?P<where>[^`]*)`)?$", flags=re.DOTALL)
_STEP = re.compile(r"\.([A-Za-z0-9_-]+)|\[(\.\.\.|\d+)\]")


def read_text(path: Path) -> str:
    """The text of a settings file. Raises UserError where there is none that could be one."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except IsADirectoryError:
        raise UserError(f"{path} is a folder; name a TOML file", CANNOT_OPEN) from None
    except OSError as error:
        raise UserError(f"cannot read {path}: {error.strerror}", CANNOT_OPEN) from None
    if len(data) > LARGEST_FILE:
        raise UserError(f"{path} is larger than {LARGEST_FILE >> 20} MiB; that is no settings file", CANNOT_OPEN)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise UserError(f"{path} is not UTF-8 text; name a TOML file", CANNOT_OPEN) from None


def parse(text: str, name: str) -> dict[str, Any]:
    """TOML text to plain values. `name` is the file's, for the message."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        hint = '; text stands in quotes, as in condition = "harbour"' if "Invalid value" in str(error) else ""
        raise UserError(f"{name}: not valid TOML: {error}{hint}") from None


def convert(values: dict[str, Any], into: type[Settings], text: str, name: str) -> Settings:
    """Plain values to typed settings, every key, type and bound checked. Raises UserError for the first mistake."""
    try:
        return msgspec.convert(values, into)
    except msgspec.ValidationError as error:
        raise UserError(explain(str(error), values, into, text, name)) from None


def explain(message: str, values: dict[str, Any], into: type, text: str, name: str) -> str:
    """One or two lines that say which file, line and key is wrong, and what was meant."""
    found = _WHERE.match(message)
    problem, where = (found["problem"], found["where"] or "$") if found else (message, "$")
    path = _path(where, values)
    unknown = re.search(r"unknown field `([^`]*)`", problem)
    if unknown:
        path = (*path, unknown[1])
        meant = get_close_matches(unknown[1], _known_fields(into, path[:-1]), n=2)
        hint = f"; did you mean {' or '.join(map(repr, meant))}?" if meant else ""
        problem = f"there is no such key{hint}"
    if "enum value" in problem and (choices := _choices(into, path)):
        problem = f"{problem.rpartition('value ')[2]} is none of {', '.join(choices)}"
    line = line_of(text, path)
    place = f"{name}, line {line}" if line else name
    return f"{place}: {'.'.join(_quoted(key) for key in path) or 'the file'}: {_plainly(problem)}"


def _plainly(problem: str) -> str:
    swaps = {"`float`": "a number", "`int`": "a whole number", "`str`": "text", "`bool`": "true or false",
             "`object`": "a table", "`array`": "a list", "`null`": "nothing"}  # fmt: skip
    for old, new in swaps.items():
        problem = problem.replace(old, new)
    problem = re.sub(r"object missing required field `([^`]*)`", r"'\1' is missing", problem, flags=re.IGNORECASE)
    return problem[:1].lower() + problem[1:]


def _quoted(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else f'"{key}"'


def _path(where: str, values: dict[str, Any]) -> tuple[str, ...]:
    """`$.alerts.x` to its keys. A step `[...]` hides which key of a free table it was: the first that fits is named."""
    path: list[str] = []
    here: Any = values
    steps = [dotted or bracket for dotted, bracket in _STEP.findall(where)]
    for index, step in enumerate(steps):
        key = _likely_key(here, steps[index + 1 :]) if step == "..." else step
        path.append(key)
        here = _into(here, key)
    return tuple(path)


def _into(here: Any, key: str) -> Any:
    if isinstance(here, list):
        return here[int(key)] if key.isdigit() and int(key) < len(here) else {}
    return here.get(key, {}) if isinstance(here, dict) else {}


def _likely_key(table: Any, rest: list[str]) -> str:
    """The first key of a free table under which the rest of the path is there."""
    for key, value in table.items() if isinstance(table, dict) else ():
        if not rest or (isinstance(value, dict) and rest[0] in value):
            return str(key)
    return "..."


def _known_fields(into: Any, path: tuple[str, ...]) -> list[str]:
    """The keys that a table may have, found by walking the types along `path`."""
    node = msgspec.inspect.type_info(into)
    for step in path:
        node = _step_into(node, step)
    return [field.encode_name for field in getattr(_bare(node), "fields", ())]


def _choices(into: Any, path: tuple[str, ...]) -> list[str]:
    """The words that a key may hold, where it holds one of several."""
    node = msgspec.inspect.type_info(into)
    for step in path:
        node = _step_into(node, step)
    return [str(word) for kind in _plain_types(node) for word in _words_of(kind)]


def _plain_types(node: Any) -> list[Any]:
    """A type without the bounds and description about it; of several, each."""
    while isinstance(node, msgspec.inspect.Metadata):
        node = node.type
    if isinstance(node, msgspec.inspect.UnionType):
        return [plain for part in node.types for plain in _plain_types(part)]
    return [node]


def _words_of(kind: Any) -> Sequence[object]:
    if isinstance(kind, msgspec.inspect.EnumType):
        return [one.value for one in kind.cls]
    return kind.values if isinstance(kind, msgspec.inspect.LiteralType) else ()


def _bare(node: Any) -> Any:
    """A type without the bounds and description about it; of several types the table among them."""
    while isinstance(node, msgspec.inspect.Metadata):
        node = node.type
    if isinstance(node, msgspec.inspect.UnionType):
        tables = (_bare(part) for part in node.types)
        return next((t for t in tables if isinstance(t, (msgspec.inspect.StructType, msgspec.inspect.DictType))), None)
    return node


def _step_into(node: Any, step: str) -> Any:
    node = _bare(node)
    if isinstance(node, (msgspec.inspect.ListType, msgspec.inspect.VarTupleType)):
        return node.item_type
    if isinstance(node, msgspec.inspect.DictType):
        return node.value_type
    return next((field.type for field in getattr(node, "fields", ()) if field.encode_name == step), None)
