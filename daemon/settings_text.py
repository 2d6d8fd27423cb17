"""Settings types to commented TOML: the default configuration file and the reference in docs, from one source.

A comment comes from the field's description, its bounds and its unit from its type, a table's from its class. So
neither file nor reference can go stale.
"""

import inspect
from collections.abc import Iterator
from enum import Enum
from typing import Any

import msgspec
from msgspec import Struct, UnsetType
from msgspec.inspect import (
    BoolType,
    CustomType,
    DictType,
    EnumType,
    Field,
    FloatType,
    IntType,
    ListType,
    Metadata,
    NoneType,
    StrType,
    StructType,
    Type,
    UnionType,
    VarTupleType,
    type_info,
)


class Row(Struct, frozen=True):
    """One key as the reference shows it. `default` is TOML, or empty where there is none."""

    table: str
    key: str
    kind: str
    default: str
    meaning: str


def commented_toml(settings: Struct) -> str:
    """The settings as TOML: every key present, commented, those without a value commented out.

    So is a table that there may be any number of, where there is none: an empty one would forbid to add one below it.
    """
    return "\n".join(_table_lines(settings, (), set())).strip() + "\n"


def rows(settings: Struct, table: tuple[str, ...] = ()) -> Iterator[Row]:
    """Every key of the settings and of the tables in it, in order."""
    plain, inner, absent = _parted(settings)
    for field, value in plain:
        yield Row(_dotted(table), field.encode_name, kind_of(field.type), toml_value(value), meaning_of(field))
    for key, _, kind in absent:
        for field in kind.fields:
            default = toml_value(_default(field))
            yield Row(_dotted((*table, key)), field.encode_name, kind_of(field.type), default, meaning_of(field))
    for key, part in inner:
        yield from rows(part, (*table, key))


def _table_lines(settings: Struct, table: tuple[str, ...], explained: set[type]) -> Iterator[str]:
    """One table and those in it. What a type is for is said once, where it first comes."""
    yield from _explanation(type(settings), explained)
    if table:
        yield f"[{_dotted(table)}]"
    plain, inner, absent = _parted(settings)
    for field, value in plain:
        yield _assignment(field, value)
    for key, meaning, kind in absent:
        yield ""
        yield from _explanation(kind.cls, explained)
        if meaning:
            yield f"# {meaning}"
        yield f"# [{_dotted((*table, key))}]"
        yield from (f"# {_assignment(field, _default(field)).removeprefix('# ')}" for field in kind.fields)
    for key, part in inner:
        yield ""
        yield from _table_lines(part, (*table, key), explained)


def _explanation(kind: type, explained: set[type]) -> Iterator[str]:
    if kind not in explained:
        explained.add(kind)
        yield from (f"# {line}".rstrip() for line in (inspect.getdoc(kind) or "").splitlines())


def _default(field: Field) -> Any:
    """A field's default; None where it must be given."""
    if field.default_factory is not msgspec.NODEFAULT:
        return field.default_factory()
    return None if field.default is msgspec.NODEFAULT else field.default


def _assignment(field: Field, value: Any) -> str:
    text = toml_value(value)
    line = f"{field.encode_name} = {text}" if text else f"# {field.encode_name} ="
    meaning, kind = meaning_of(field), kind_of(field.type)
    return f"{line:<34}  # {f'{meaning} ({kind})' if meaning else kind}"


def _parted(
    settings: Struct,
) -> tuple[list[tuple[Field, Any]], list[tuple[str, Struct]], list[tuple[str, str, StructType]]]:
    """The keys of this table with their values, the tables in it by their names, and those that it might hold."""
    kind = type_info(type(settings))
    assert isinstance(kind, StructType)
    plain: list[tuple[Field, Any]] = []
    inner: list[tuple[str, Struct]] = []
    absent: list[tuple[str, str, StructType]] = []
    for field in kind.fields:
        value = getattr(settings, field.name)
        if isinstance(value, Struct):
            inner.append((field.encode_name, value))
        elif isinstance(value, dict) and (held := _table_in(field.type)):
            if not value:
                absent.append((f"{field.encode_name}.NAME", meaning_of(field), held))
            inner.extend((f"{field.encode_name}.{_key(key)}", part) for key, part in value.items())
        else:
            plain.append((field, value))
    return plain, inner, absent


def _table_in(kind: Type) -> StructType | None:
    """What a table of tables holds; None where it is none."""
    kind = bare(kind)
    held = bare(kind.value_type) if isinstance(kind, DictType) else None
    return held if isinstance(held, StructType) else None


def bare(kind: Type) -> Type:
    """A type without the bounds and description about it."""
    return bare(kind.type) if isinstance(kind, Metadata) else kind


def meaning_of(field: Field) -> str:
    """The description that stands at the field's type."""
    kind: Type = field.type
    while isinstance(kind, Metadata):
        description = (kind.extra_json_schema or {}).get("description")
        if description:
            return str(description)
        kind = kind.type
    if isinstance(kind, UnionType):
        for part in kind.types:
            if isinstance(part, Metadata) and (part.extra_json_schema or {}).get("description"):
                return str((part.extra_json_schema or {})["description"])
    return ""


def kind_of(kind: Type) -> str:
    """What may stand there, in words: `a number, over 0, at most 20`."""
    kind = bare(kind)
    if isinstance(kind, UnionType):
        return " or ".join(kind_of(part) for part in kind.types if not isinstance(bare(part), NoneType)) + (
            ", or left out" if any(isinstance(bare(part), NoneType) for part in kind.types) else ""
        )
    if isinstance(kind, (FloatType, IntType)):
        return ", ".join(["a number" if isinstance(kind, FloatType) else "a whole number", *_bounds(kind)])
    if isinstance(kind, EnumType):
        return "one of " + ", ".join(str(member.value) for member in kind.cls)
    if isinstance(kind, (ListType, VarTupleType)):
        return "a list"
    if isinstance(kind, msgspec.inspect.LiteralType):
        return "one of " + ", ".join(str(value) for value in kind.values)
    names: dict[type[Any], str] = {StrType: "text", BoolType: "true or false", DictType: "a table", CustomType: "text"}
    return names.get(type(kind), "")


def _bounds(kind: FloatType | IntType) -> list[str]:
    words = {"gt": "over", "ge": "at least", "lt": "under", "le": "at most"}
    return [f"{word} {getattr(kind, name):g}" for name, word in words.items() if getattr(kind, name) is not None]


def toml_value(value: Any) -> str:
    """A plain value as TOML; empty for None, which TOML does not have."""
    if value is None or isinstance(value, UnsetType):
        return ""
    if isinstance(value, Enum):
        return toml_value(value.value)
    if isinstance(value, (list, tuple, frozenset, set)):
        return "[" + ", ".join(toml_value(part) for part in value) + "]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(key)} = {toml_value(part)}" for key, part in value.items()) + "}"
    if isinstance(value, Struct):
        return toml_value(msgspec.to_builtins(value))
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return msgspec.json.encode(value).decode()  # text, numbers, true and false look the same in JSON


def _key(key: str) -> str:
    return (
        key if key.replace("-", "").replace("_", "").isalnum() and key.isascii() else msgspec.json.encode(key).decode()
    )


def _dotted(table: tuple[str, ...]) -> str:
    return ".".join(table)
