"""What can be tuned in the annunciators, with its default, its unit and its sane bounds.

Units stand in the names. `msgspec.convert` refuses unknown keys, wrong types and values outside the bounds.
"""

from typing import Annotated

from msgspec import Meta, Struct, field

from alerts.plotting.terms import Priority


class ConsoleLine(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A line on stderr for each alert that is told, where no console is open."""

    on: Annotated[bool, Meta(description="write a line on stderr where no console is open")] = True


class Bell(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The terminal's bell: three strokes for an alarm, two for a warning, none for a caution.

    Unless it is on, it rings only in place of a sound that cannot be played.
    """

    on: Annotated[bool, Meta(description="ring the terminal's bell even where there is sound")] = False


class Sound(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tone patterns played by a player found on this machine.

    `command`: "auto", "off", or your own player with its arguments; it gets the name of a WAV file as its last
    argument. `volume` is the peak of the samples against full scale. Frequencies in Hz (A.1021(26): 200 to 2,500).
    """

    on: Annotated[bool, Meta(description="play tone patterns")] = True
    command: Annotated[
        str,
        Meta(
            min_length=1,
            max_length=500,
            description="auto, off, or a player with its arguments; it gets a WAV file's name last",
        ),
    ] = "auto"
    volume: Annotated[float, Meta(gt=0, le=1, description="peak of the samples against full scale")] = 0.7
    alarm_hz: Annotated[float, Meta(ge=200, le=2500, description="pitch of an alarm's three tones")] = 1800.0
    warning_hz: Annotated[float, Meta(ge=200, le=2500, description="pitch of a warning's two tones")] = 900.0
    time_limit_s: Annotated[float, Meta(gt=0, le=60, description="the player is ended after so long")] = 10.0

    def __post_init__(self) -> None:
        if not max(self.alarm_hz, self.warning_hz) / min(self.alarm_hz, self.warning_hz) >= 1.25:
            raise ValueError("alarm_hz and warning_hz must differ by a quarter: no two sounds alike")


class Command(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A command of your own: the program and its arguments, run without a shell, the alert as JSON on its stdin.

    At most `per_minute` starts a minute; what is held back is counted and told with the next.
    """

    argv: Annotated[tuple[str, ...], Meta(max_length=64, description="the program and its arguments; empty: none")] = ()
    priorities: Annotated[tuple[Priority, ...], Meta(description="told for these priorities")] = (
        Priority.ALARM,
        Priority.WARNING,
    )
    time_limit_s: Annotated[float, Meta(gt=0, le=60, description="ended after so long")] = 10.0
    per_minute: Annotated[int, Meta(ge=1, le=600, description="started at most so often a minute; the rest waits")] = 12


class Sentences(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Standard alert sentences out, and commands back.

    `uri`: serial:/dev/ttyUSB1@38400 or udp:HOST:PORT; empty is off. ALF, ALC and HBT, with ARC for a command refused;
    `older` sends ALR instead. `accept_from` names the feeds from which ACN and ACK are obeyed; from others they are
    counted and not obeyed. `mnemonic` is the maker's code beside identifiers that are not standard: this program
    holds none, so put your own there if the receiver asks for one.
    """

    uri: Annotated[
        Annotated[str, Meta(max_length=200, pattern="^(|serial:.+|udp:.+:[0-9]+)$")],
        Meta(description="serial:PORT@BAUD or udp:HOST:PORT; empty: off"),
    ] = ""
    talker: Annotated[str, Meta(pattern="^[A-Z][A-Z0-9]$", description="talker letters")] = "II"
    older: Annotated[bool, Meta(description="send ALR in place of ALF, ALC and HBT")] = False
    mnemonic: Annotated[
        str, Meta(pattern="^[A-Z]{3}$", description="maker's code beside identifiers that are not standard")
    ] = "XXX"
    heartbeat_s: Annotated[float, Meta(ge=1, le=60, description="HBT so often")] = 30.0
    list_s: Annotated[float, Meta(ge=1, le=30, description="ALC so often")] = 30.0
    accept_from: Annotated[tuple[str, ...], Meta(description="feeds whose ACN and ACK are obeyed")] = ()


class Annunciators(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who tells the alerts."""

    console_line: ConsoleLine = field(default_factory=ConsoleLine)
    bell: Bell = field(default_factory=Bell)
    sound: Sound = field(default_factory=Sound)
    command: Command = field(default_factory=Command)
    sentences: Sentences = field(default_factory=Sentences)


ANNUNCIATORS: tuple[str, ...] = Annunciators.__struct_fields__
"""The names of all annunciators."""
