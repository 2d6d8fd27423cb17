"""Every key of a scenario as a Markdown reference, from the types themselves: docs/exercises.md cannot go stale."""

import inspect
from collections.abc import Iterator

import msgspec
from msgspec.inspect import Field, ListType, StructType, Type, UnionType, VarTupleType, type_info

from daemon.exercise.scenario import Scenario
from daemon.settings_text import bare, kind_of, meaning_of, toml_value

UNITS = {
    "_deg": "degrees",
    "_kn": "knots",
    "_nm": "nautical miles",
    "_m": "metres",
    "_s": "seconds",
    "_min": "minutes",
    "_hz": "a second",
    "_deg_min": "degrees a minute",
    "_kn_min": "knots a minute",
    "_percent": "per cent",
}


def markdown() -> str:
    """The reference: a heading and a table of keys for each table of a scenario."""
    kind = type_info(Scenario)
    assert isinstance(kind, StructType)
    return "\n".join(_tables(kind, "", False, set())) + "\n"


def _tables(kind: StructType, path: str, listed: bool, done: set[type]) -> Iterator[str]:
    if kind.cls in done:
        return
    done.add(kind.cls)
    header = f"`[[{path}]]`" if listed else f"`[{path}]`" if path else "The file itself"
    yield from (f"### {header}", "", *_about(kind), "", "| key | what may stand there | default | meaning |")
    yield "| --- | --- | --- | --- |"
    inner: list[tuple[StructType, str, bool]] = []
    for field in kind.fields:
        part = _struct(field.type)
        yield f"| `{field.encode_name}` | {_kind(field, part)} | {_default(field)} | {meaning_of(field)} |"
        if part is not None:
            name = f"{path}.{field.encode_name}" if path else field.encode_name
            inner.append((part, name, _is_list(field.type)))
    yield ""
    for part, name, many in inner:
        yield from _tables(part, name, many, done)


def _about(kind: StructType) -> list[str]:
    return (inspect.getdoc(kind.cls) or "").splitlines()


def _struct(kind: Type) -> StructType | None:
    """The table that a key holds: itself, one of several choices, or those in a list."""
    kind = bare(kind)
    if isinstance(kind, StructType):
        return kind
    if isinstance(kind, UnionType):
        return next((found for part in kind.types if (found := _struct(part))), None)
    if isinstance(kind, ListType | VarTupleType):
        return _struct(kind.item_type)
    return None


def _is_list(kind: Type) -> bool:
    return isinstance(bare(kind), ListType | VarTupleType)


def _kind(field: Field, table: StructType | None) -> str:
    if field.encode_name in ("at", "from", "until", "seen", "acquire", "drop"):
        return "minutes from the start, or a UTC time of day"
    if field.encode_name == "start":
        return "date and time"
    shape = bare(field.type)
    if table is not None:
        choices = [] if not isinstance(shape, UnionType) else [kind_of(part) for part in shape.types if kind_of(part)]
        return " or ".join(["tables" if _is_list(field.type) else "a table", *choices])
    if isinstance(shape, VarTupleType):
        return f"a list; each {kind_of(shape.item_type)}"
    unit = next((text for end, text in sorted(UNITS.items(), key=_longest) if field.encode_name.endswith(end)), "")
    words = kind_of(field.type)
    return words.replace("a number", f"a number of {unit}", 1) if unit else words


def _longest(item: tuple[str, str]) -> int:
    return -len(item[0])


def _default(field: Field) -> str:
    if field.required:
        return "must be given"
    if field.default_factory is not msgspec.NODEFAULT:
        return ""
    if isinstance(field.default, msgspec.Struct) or field.default in (None, ()):
        return ""
    return f"`{toml_value(field.default)}`"
