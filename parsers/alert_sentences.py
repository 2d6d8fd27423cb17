"""Alert sentences: ALF, ALC, ARC, HBT and the older ALR out; ACN and the older ACK in.

Field tables and what is sure of them: docs/sentences.md. Rules for this file:

- No sentence is longer than 82 characters with its start character and line end. Text is cut to fit, never in the
  middle of an escape.
- ACN is read with its last two fields in either order: the sources disagree, three against one. It is written with
  the command first.
- Numbers outside a field's own range are refused, not cut: an acknowledgement must not hit another alert.
"""

from collections.abc import Sequence

from msgspec import Struct

from parsers.encode import escape, sentence
from parsers.numbers import DAY_S, Reading
from parsers.observations import AlertCommand, Observation
from parsers.sentence import RefusalError, RefusalReason, shown

MOST_BODY = 82 - len("$*hh\r\n")
"""Characters between the start character and the star, both left out."""

TITLE_LENGTH = 16
COMMANDS = {"A": "acknowledge", "Q": "request", "O": "transfer", "S": "silence"}
MOST_IDENTIFIER = 9_999_999
MOST_INSTANCE = 999_999


class AlertName(Struct, frozen=True, gc=False):
    """Which alert: a maker's mnemonic (null for standard ones), identifier, instance and revision."""

    mnemonic: str
    identifier: int
    instance: int
    revision: int


class AlertReport(Struct, frozen=True, kw_only=True, gc=False):
    """What ALF says of one alert. `time_of_day_s`: UTC of the last change. Letters as in the field table."""

    name: AlertName
    time_of_day_s: float | None
    category: str
    priority: str
    state: str
    escalation: int
    title: str
    description: str = ""


# ---------------------------------------------------------------------------------------------------- out


def alf(report: AlertReport, *, sequence: int = 0, talker: str = "II") -> tuple[str, ...]:
    """One or two sentences: the title in the first, the longer description in the second.

    The second leaves time, category, priority and state null, to make room for text.
    """
    name, total = report.name, 2 if report.description else 1
    who = f"{name.mnemonic},{name.identifier},{name.instance},{name.revision},{report.escalation}"
    number = str(sequence % 10) if total == 2 else ""
    head = f"{talker}ALF,{total},1,{number},{_time(report.time_of_day_s)},"
    head += f"{report.category},{report.priority},{report.state},{who},"
    lines = [sentence(head + _fit(report.title[:TITLE_LENGTH], MOST_BODY - len(head)))]
    if total == 2:
        head = f"{talker}ALF,2,2,{number},,,,,{who},"
        lines.append(sentence(head + _fit(report.description, MOST_BODY - len(head))))
    return tuple(lines)


def alc(alerts: Sequence[AlertName], *, sequence: int = 0, talker: str = "II") -> tuple[str, ...]:
    """The list of all alerts that are not normal, over as many sentences as it needs; one with no entry for none."""
    head = f"{talker}ALC,00,00,00,00"
    parts: list[list[str]] = [[]]
    for name in alerts:
        entry = f",{name.mnemonic},{name.identifier},{name.instance},{name.revision}"
        if len(head) + sum(map(len, parts[-1])) + len(entry) > MOST_BODY:
            parts.append([])
        parts[-1].append(entry)
    parts = parts[:99]
    return tuple(
        sentence(f"{talker}ALC,{len(parts):02d},{number:02d},{sequence % 100:02d},{len(part):02d}{''.join(part)}")
        for number, part in enumerate(parts, 1)
    )


def arc(time_of_day_s: float | None, name: AlertName, command: str, *, talker: str = "II") -> str:
    """A command refused."""
    return sentence(f"{talker}ARC,{_time(time_of_day_s)},{name.mnemonic},{name.identifier},{name.instance},{command}")


def hbt(interval_s: float, *, normal: bool, sequence: int, talker: str = "II") -> str:
    """The heartbeat, so that silence of the sender is noticed."""
    return sentence(f"{talker}HBT,{interval_s:g},{'A' if normal else 'V'},{sequence % 10}")


def alr(
    time_of_day_s: float | None, number: int, *, exceeded: bool, acknowledged: bool, text: str, talker: str = "II"
) -> str:
    """The older alarm sentence. `number` 0 to 999."""
    state = f"{'A' if exceeded else 'V'},{'A' if acknowledged else 'V'}"
    head = f"{talker}ALR,{_time(time_of_day_s)},{number:03d},{state},"
    return sentence(head + _fit(text, MOST_BODY - len(head)))


def _fit(text: str, room: int) -> str:
    """Escaped text that fits into so many characters."""
    kept, used = [], 0
    for character in text:
        coded = escape(character)
        if used + len(coded) > room:
            break
        kept.append(coded)
        used += len(coded)
    return "".join(kept)


def _time(time_of_day_s: float | None) -> str:
    if time_of_day_s is None:
        return ""
    centiseconds = round(time_of_day_s % DAY_S * 100) % (DAY_S * 100)
    seconds, hundredths = divmod(centiseconds, 100)
    return f"{seconds // 3600:02d}{seconds // 60 % 60:02d}{seconds % 60:02d}.{hundredths:02d}"


# ----------------------------------------------------------------------------------------------------- in


def read_acn(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """An alert command. A sentence that is a mere report (flag other than C) commands nothing."""
    _, _, mnemonic, identifier, instance, fifth, sixth = fields[:7]
    # Either order; C is no command letter, so nothing can be mistaken.
    command, flag = (sixth, fifth) if fifth == "C" else (fifth, sixth)
    if not (command or flag or identifier):
        return ()
    if command not in COMMANDS:
        raise RefusalError(RefusalReason.FLAG_UNKNOWN, f"alert command {shown(command)}")
    if flag != "C":
        reading.odd("no command flag")
        return ()
    return (
        AlertCommand(
            at_s=reading.at_s,
            source=reading.source,
            command=COMMANDS[command],
            identifier=_whole(identifier, MOST_IDENTIFIER),
            instance=_whole(instance, MOST_INSTANCE) if instance else None,
            mnemonic=mnemonic if mnemonic.isascii() and mnemonic.isalnum() and len(mnemonic) <= 3 else "",
        ),
    )


def read_ack(fields: list[str], reading: Reading) -> tuple[Observation, ...]:
    """The older acknowledgement: `identifier` is the alarm number of ALR, 0 to 999; 0 is all."""
    if not fields[1]:
        return ()
    number = _whole(fields[1], 999)
    return (AlertCommand(at_s=reading.at_s, source=reading.source, command=COMMANDS["A"], identifier=number),)


def _whole(text: str, most: int) -> int:
    """A whole number within [0, most]; a null field is no number."""
    if not (text.isascii() and text.isdigit()):
        raise RefusalError(RefusalReason.NUMBER_MALFORMED if text else RefusalReason.FIELD_MISSING, shown(text))
    if len(text) > 12 or int(text) > most:
        raise RefusalError(RefusalReason.OUT_OF_RANGE, f"{shown(text)} is over {most}")
    return int(text)
