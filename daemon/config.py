"""The configuration: built-in defaults, then a TOML file, then `--set KEY=VALUE`, each over the one before."""

import os
import tomllib
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
from msgspec import Meta, Struct, field, structs

from alerts.annunciators.settings import Annunciators
from alerts.plotting.ais import AisSettings
from alerts.plotting.encounter import EncounterSettings
from alerts.plotting.lays import MarkSettings
from alerts.plotting.picture import OwnShipSettings
from alerts.plotting.quality import QualitySettings
from alerts.settings import DEFAULT_CONDITIONS, Alerts, Condition, misnamed
from daemon import settings_file
from daemon.errors import UserError
from daemon.toml_lines import line_of

if TYPE_CHECKING:
    from daemon.feeds.uri import FeedSpec


class FeedSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One source of sentences."""

    uri: Annotated[str, Meta(description="serial:PORT@BAUD, udp:[ADDRESS:]PORT, tcp:HOST:PORT, file:PATH or -")]
    checksum: Annotated[bool, Meta(description="refuse sentences that have no checksum")] = True
    silent_after_s: Annotated[
        float, Meta(gt=0, le=3600, description="without a line for this long the feed is said to be silent")
    ] = 10.0


class ArchiveSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where tracks are kept."""

    path: Annotated[str | None, Meta(description="archive of `watch`; empty: under $XDG_DATA_HOME/secondplot")] = None
    keep_days: Annotated[
        Annotated[float, Meta(gt=0)] | None, Meta(description="what is older is removed; empty: kept for ever")
    ] = None
    keep_mib: Annotated[
        Annotated[float, Meta(ge=1)] | None,
        Meta(description="what is oldest is removed to stay within this size, the last hour never; empty: no limit"),
    ] = None


class LabelsFrom(StrEnum):
    """Whose date and time stand beside the stream's own seconds."""

    HOST = "host"
    INSTRUMENTS = "instruments"


class ClockSettings(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Labels of time. Ages, motion and alerts never depend on them."""

    labels_from: Annotated[
        LabelsFrom,
        Meta(
            description="host: this computer's clock; instruments: RMC or ZDA once they go on steadily, for a computer"
            " whose clock is not set"
        ),
    ] = LabelsFrom.HOST


class Config(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All that can be set."""

    condition: Annotated[str, Meta(description="the set of limits in force at the start")] = "open water"
    feeds: dict[str, FeedSettings] = field(default_factory=dict)
    conditions: dict[str, Condition] = field(default_factory=lambda: dict(DEFAULT_CONDITIONS))
    own_ship: OwnShipSettings = field(default_factory=OwnShipSettings)
    ais: AisSettings = field(default_factory=AisSettings)
    encounters: EncounterSettings = field(default_factory=EncounterSettings)
    marks: MarkSettings = field(default_factory=MarkSettings)
    picture_quality: QualitySettings = field(default_factory=QualitySettings)
    alerts: Alerts = field(default_factory=Alerts)
    annunciators: Annunciators = field(default_factory=Annunciators)
    archive: ArchiveSettings = field(default_factory=ArchiveSettings)
    clock: ClockSettings = field(default_factory=ClockSettings)


def default_path() -> Path:
    """$XDG_CONFIG_HOME/secondplot/secondplot.toml, by the XDG base directory specification."""
    home = os.environ.get("XDG_CONFIG_HOME") or str(Path.home() / ".config")
    return Path(home) / "secondplot" / "secondplot.toml"


def archive_path(config: Config) -> Path:
    """Where a watch keeps its tracks unless it is told otherwise: as configured, else under $XDG_DATA_HOME."""
    if config.archive.path:
        return Path(config.archive.path)
    home = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(home) / "secondplot" / "watch.sqlite"


def load(path: Path | None, overrides: Sequence[str] = ()) -> Config:
    """The configuration in force. A file that is named must exist; the default one need not.

    Raises UserError with file, line, key and what was meant for any mistake.
    """
    chosen = path or (default_path() if default_path().is_file() else None)
    text = settings_file.read_text(chosen) if chosen else ""
    name = str(chosen) if chosen else "built-in defaults"
    values = settings_file.parse(text, name)
    config = from_values(values, text, name)
    if not overrides:
        return config
    for override in overrides:
        _overlay(values, _override(override))
    return from_values(values, "", "command line")  # the file alone was good: a mistake was made there


def feed_specs(uris: Sequence[str], config: Config, path: Path | None = None) -> "list[FeedSpec]":
    """The feeds of the command line, else those of the configuration (read from `path`), each under its own name.

    Raises UserError for a URI that cannot be meant, two feeds of one name, or none at all.
    """
    from daemon.feeds.uri import parse

    specs = [parse(uri) for uri in uris] or configured_feeds(config, path)
    if not specs:
        raise UserError("no feed: give --feed udp:10110, for example, or [feeds] in the configuration")
    names = [spec.name for spec in specs]
    for name in names:
        if names.count(name) > 1:
            raise UserError(f"two feeds are called {name!r}: give one of them ?name=ANOTHER")
    return specs


def configured_feeds(config: Config, path: Path | None = None) -> "list[FeedSpec]":
    """The configuration's feeds. UserError for the first URI that cannot be meant, with its line in the file."""
    from daemon.feeds.uri import parse

    chosen = path or default_path()
    specs = []
    for name, feed in config.feeds.items():
        try:
            specs.append(structs.replace(parse(feed.uri), name=name))
        except UserError as error:
            text = settings_file.read_text(chosen) if chosen.is_file() else ""
            line = line_of(text, ("feeds", name, "uri"))
            where = f"{chosen}, line {line}: " if line else ""
            raise UserError(f"{where}feeds.{name}.uri: {error}") from None
    return specs


def from_values(values: dict[str, Any], text: str = "", name: str = "configuration") -> Config:
    """Plain values laid over the defaults, checked. A condition that names few keys keeps the other defaults."""
    settings_file.convert(values, Config, text, name)  # the user's own words first, so that the path fits them
    whole: dict[str, Any] = {"conditions": msgspec.to_builtins(DEFAULT_CONDITIONS)}
    _overlay(whole, values)
    config = settings_file.convert(whole, Config, text, name)
    if config.condition not in config.conditions:
        known = ", ".join(repr(condition) for condition in config.conditions)
        line = line_of(text, ("condition",))
        raise UserError(f"{name}{f', line {line}' if line else ''}: condition: {config.condition!r} is none of {known}")
    for path, wrong in misnamed(config.alerts, config.conditions):
        line = line_of(text, path)
        raise UserError(f"{name}{f', line {line}' if line else ''}: {'.'.join(path)}: {wrong}")
    return config


def _override(text: str) -> dict[str, Any]:
    """`alerts.closest_approach.hold_s=4` to nested values. The value is TOML; bare words are taken as text."""
    key, equals, value = text.partition("=")
    if not equals:
        raise UserError(f"--set {text}: write it KEY=VALUE, for example --set alerts.closest_approach.hold_s=4")
    for line in (f"{key} = {value}", f"{key} = {msgspec.json.encode(value.strip()).decode()}"):
        try:
            return tomllib.loads(line)
        except tomllib.TOMLDecodeError:
            continue
    raise UserError(f"--set {text}: {key!r} is no key; write for example alerts.closest_approach.hold_s")


def _overlay(below: dict[str, Any], above: dict[str, Any]) -> None:
    for key, value in above.items():
        if isinstance(value, dict) and isinstance(below.get(key), dict):
            _overlay(below[key], value)
        else:
            below[key] = value
