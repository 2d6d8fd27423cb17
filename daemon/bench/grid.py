"""The settings to try: `--sweep KEY=VALUES` to a grid of limits, each checked as a configuration is.

A key alone is a limit of the conditions (`cpa_nm`: in every condition) or of the rule closest_approach
(`probability`); `conditions.harbour.cpa_nm` and `alerts.bow_crossing.hold_s` name one. The first setting is always
the configuration as it stands, so that every other can be held against it.
"""

import tomllib
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from difflib import get_close_matches
from itertools import product
from typing import Any

import msgspec
from msgspec import Struct

from alerts.settings import RULES, Alerts, Basis, ClosestApproach, Condition
from daemon import settings_file
from daemon.config import Config
from daemon.errors import UserError

MOST_VALUES = 1000
MOST_SETTINGS = 20_000
"""More than that is a slip of the pen, and would not fit into a report."""

AS_CONFIGURED = "as configured"

Path = tuple[str, ...]
Value = float | int | str

CLOSEST = "closest_approach"
VECTORISED = frozenset({"probability", "basis", "hold_s", "clear_ratio", "clear_hold_s"})
"""Keys of closest_approach that are swept for all settings at once, as are `cpa_nm` and `tcpa_min`."""


class Limits(Struct, frozen=True, kw_only=True):
    """What a setting is: everything that decides about alerts."""

    alerts: Alerts
    conditions: dict[str, Condition]


class Axis(Struct, frozen=True):
    """One swept key: its name as given, the paths that it stands for, and its values in order."""

    name: str
    paths: tuple[Path, ...]
    values: tuple[Value, ...]


class Setting(Struct, frozen=True):
    """One point of the grid. `values` goes with the axes, and is empty for the configuration as it stands."""

    values: tuple[Value, ...]
    limits: Limits


class Grid(Struct, frozen=True, kw_only=True):
    """All settings, the first being the configuration as it stands. `rules` are those whose alerts are judged."""

    axes: tuple[Axis, ...]
    settings: tuple[Setting, ...]
    rules: tuple[str, ...]
    vectorised: bool

    def name(self, index: int) -> str:
        """`cpa_nm=0.5, tcpa_min=12`, for people."""
        values = self.settings[index].values
        if not values:
            return AS_CONFIGURED
        return ", ".join(f"{axis.name}={said(value)}" for axis, value in zip(self.axes, values, strict=True))


def said(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:g}"


def grid_of(config: Config, sweeps: Sequence[str], rules: Sequence[str] = ()) -> Grid:
    """The grid. Raises UserError for a key, a value or a rule that there is not, and for values out of bounds."""
    base = Limits(alerts=config.alerts, conditions=config.conditions)
    plain: dict[str, Any] = msgspec.to_builtins(base)
    axes = tuple(_axis(text, plain, config) for text in sweeps)
    _refuse_twice(axes)
    size = 1
    for axis in axes:
        size *= len(axis.values)
    if size > MOST_SETTINGS:
        raise UserError(f"{size:,} settings: at most {MOST_SETTINGS:,}; take wider steps, or sweep fewer keys")
    judged = _rules(rules, axes)
    settings = [Setting((), base)]
    settings += [_setting(plain, axes, values) for values in product(*(axis.values for axis in axes))]
    paths = [path for axis in axes for path in axis.paths]
    return Grid(
        axes=axes,
        settings=tuple(settings),
        rules=judged,
        vectorised=judged == (CLOSEST,) and all(map(_is_vectorised, paths)),
    )


def _is_vectorised(path: Path) -> bool:
    if path[0] == "conditions":
        return path[2] in ("cpa_nm", "tcpa_min")
    return path[:2] == ("alerts", CLOSEST) and path[2] in VECTORISED


def _rules(named: Sequence[str], axes: Sequence[Axis]) -> tuple[str, ...]:
    """The rules named, else those whose tables are swept, else closest_approach."""
    for rule in named:
        if rule not in RULES:
            raise UserError(f"--rule {rule}: no such rule; one of {', '.join(RULES)}")
    tables = {path[1] for axis in axes for path in axis.paths if path[0] == "alerts" and path[1] in RULES}
    chosen = set(named) or tables or {CLOSEST}
    return tuple(rule for rule in RULES if rule in chosen)


def _axis(text: str, plain: dict[str, Any], config: Config) -> Axis:
    name, equals, values = text.partition("=")
    name = name.strip()
    if not equals or not name or not values.strip():
        raise UserError(f"--sweep {text}: write it KEY=FROM:TO:STEP or KEY=VALUE,VALUE, e.g. cpa_nm=0.2:1.5:0.1")
    paths = _paths(name, config)
    at = [_value_at(plain, path) for path in paths]
    is_basis = paths[0][-1] == "basis"
    if not is_basis and any(isinstance(one, bool) or not isinstance(one, int | float) for one in at):
        raise UserError(f"--sweep {text}: {name} is not a number")
    whole = isinstance(at[0], int) and not is_basis and _is_whole(paths[0])
    return Axis(name, paths, _values(text, values.strip(), is_basis, whole))


def _is_whole(path: Path) -> bool:
    """Whether the key takes whole numbers only: it has none of the floats' decimals in its own default."""
    return path[-1] in ("flap_changes", "capacity", "observations")


def _paths(name: str, config: Config) -> tuple[Path, ...]:
    if "." not in name:
        if name in Condition.__struct_fields__:
            return tuple(("conditions", condition, name) for condition in config.conditions)
        if name in ClosestApproach.__struct_fields__:
            return (("alerts", CLOSEST, name),)
        known = [*Condition.__struct_fields__, *ClosestApproach.__struct_fields__]
        raise UserError(f"--sweep {name}: no limit of that name{_hint(name, known)}; others as alerts.RULE.KEY")
    try:
        nested: Any = tomllib.loads(f"{name} = 0")
    except tomllib.TOMLDecodeError:
        raise UserError(
            f'--sweep {name}: no key; a name with spaces stands in "", conditions."open water".cpa_nm'
        ) from None
    path: list[str] = []
    while isinstance(nested, dict):
        key, nested = next(iter(nested.items()))
        path.append(key)
    if path[0] in RULES:
        path.insert(0, "alerts")
    if path[0] not in ("alerts", "conditions"):
        raise UserError(f"--sweep {name}: only keys of [conditions] and [alerts] can be swept")
    return (tuple(path),)


def value_at(limits: Limits, path: Path) -> Value:
    """What a key is in these limits."""
    value: Value = _value_at(msgspec.to_builtins(limits), path)
    return value


def _hint(name: str, known: Sequence[str]) -> str:
    meant = get_close_matches(name, known, n=2)
    return f"; did you mean {' or '.join(meant)}?" if meant else ""


def _value_at(plain: dict[str, Any], path: Path) -> Any:
    here: Any = plain
    for step in path:
        if not isinstance(here, dict) or step not in here:
            known = list(here) if isinstance(here, dict) else []
            raise UserError(f"--sweep {'.'.join(path)}: there is no {step!r}{_hint(step, known)}")
        here = here[step]
    return here


def _values(text: str, values: str, is_basis: bool, whole: bool) -> tuple[Value, ...]:
    """`0.2:1.5:0.1` (both ends belong to it) or `0.3,0.5`. Decimal steps: 0.3 is 0.3, not 0.30000000000000004."""
    if is_basis:
        return tuple(dict.fromkeys(_basis(text, one.strip()) for one in values.split(",")))
    parts = values.split(":")
    if len(parts) == 3:
        numbers = _steps(text, *(_decimal(text, part) for part in parts))
    elif len(parts) == 1:
        numbers = [_decimal(text, part) for part in values.split(",")]
    else:
        raise UserError(f"--sweep {text}: a range is FROM:TO:STEP")
    if whole and any(number != number.to_integral_value() for number in numbers):
        raise UserError(f"--sweep {text}: whole numbers only")
    return tuple(dict.fromkeys(int(number) if whole else float(number) for number in numbers))


def _steps(text: str, low: Decimal, high: Decimal, step: Decimal) -> list[Decimal]:
    if step <= 0 or high < low:
        raise UserError(f"--sweep {text}: FROM must not be above TO, and STEP must be over 0")
    count = int((high - low) / step) + 1
    if count > MOST_VALUES:
        raise UserError(f"--sweep {text}: {count:,} values; at most {MOST_VALUES}")
    return [low + index * step for index in range(count)]


def _decimal(text: str, part: str) -> Decimal:
    try:
        number = Decimal(part.strip())
    except InvalidOperation:
        raise UserError(f"--sweep {text}: {part.strip()!r} is no number") from None
    if not number.is_finite() or abs(number) > 10**9:
        raise UserError(f"--sweep {text}: {part.strip()!r} is no limit")
    return number


def _basis(text: str, word: str) -> str:
    if word not in list(Basis):
        raise UserError(f"--sweep {text}: {word!r} is none of {', '.join(Basis)}")
    return word


def _refuse_twice(axes: Sequence[Axis]) -> None:
    seen: set[Path] = set()
    for axis in axes:
        if seen & set(axis.paths):
            raise UserError(f"--sweep {axis.name}: swept twice")
        seen.update(axis.paths)


def _setting(plain: dict[str, Any], axes: Sequence[Axis], values: tuple[Value, ...]) -> Setting:
    changed = plain
    for axis, value in zip(axes, values, strict=True):
        for path in axis.paths:
            changed = _replaced(changed, path, value)
    return Setting(values, settings_file.convert(changed, Limits, "", "--sweep"))


def _replaced(table: dict[str, Any], path: Path, value: Value) -> dict[str, Any]:
    """The table with one value changed; what is not on the way is shared."""
    head, rest = path[0], path[1:]
    return {**table, head: _replaced(table[head], rest, value) if rest else value}
