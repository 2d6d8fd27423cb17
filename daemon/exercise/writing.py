"""A Scenario back to its TOML, so that a drawn encounter can be read, changed and made again."""

from collections.abc import Iterator
from datetime import datetime
from typing import Any

import msgspec

from daemon.exercise.scenario import Scenario
from daemon.settings_text import toml_value


def to_toml(scenario: Scenario) -> str:
    """TOML that reads back as the same scenario. Keys that have their default are left out."""
    return "\n".join(_table(_without_defaults(scenario), ())).strip() + "\n"


def _without_defaults(value: Any) -> Any:
    """Tables as dictionaries without the keys that a reader would fill in himself."""
    if isinstance(value, msgspec.Struct):
        named = {
            field.encode_name: (getattr(value, field.name), field) for field in msgspec.structs.fields(type(value))
        }
        return {key: _without_defaults(part) for key, (part, field) in named.items() if not _is_default(part, field)}
    if isinstance(value, tuple):
        return [_without_defaults(part) for part in value]
    return value


def _is_default(value: Any, field: msgspec.structs.FieldInfo) -> bool:
    if field.default_factory is not msgspec.NODEFAULT:
        return bool(value == field.default_factory())
    return bool(value is None or value == field.default)


def _table(values: dict[str, Any], path: tuple[str, ...]) -> Iterator[str]:
    """Plain keys first, then tables, then lists of tables, each under its header."""
    for key, value in values.items():
        if not _is_table(value):
            yield f"{key} = {_plain(value)}"
    for key, value in values.items():
        if isinstance(value, dict):
            yield from ("", f"[{'.'.join((*path, key))}]")
            yield from _table(value, (*path, key))
        elif _is_table(value):
            for part in value:
                yield from ("", f"[[{'.'.join((*path, key))}]]")
                yield from _table(part, (*path, key))


def _is_table(value: Any) -> bool:
    return isinstance(value, dict) or (isinstance(value, list) and bool(value) and isinstance(value[0], dict))


def _plain(value: Any) -> str:
    return value.isoformat() if isinstance(value, datetime) else toml_value(value)
