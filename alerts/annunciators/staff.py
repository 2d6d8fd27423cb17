"""Who is on duty: the annunciators that the configuration asks for, and the test of all of them."""

from collections.abc import Callable
from typing import TextIO

from msgspec import Struct

from alerts.annunciators import outputs
from alerts.annunciators.bell import Bell
from alerts.annunciators.command import Command
from alerts.annunciators.console_line import ConsoleLine
from alerts.annunciators.desk import Desk
from alerts.annunciators.face import Annunciator
from alerts.annunciators.sentences import Sentences
from alerts.annunciators.settings import Annunciators
from alerts.annunciators.sound import Sound
from alerts.events import Alert, Moment
from alerts.notices import Notice, Why
from alerts.plotting.terms import AlertState, Priority


class Staff(Struct, frozen=True):
    """The annunciators to give to a Desk, and what a person must be told at the start."""

    annunciators: tuple[Annunciator, ...]
    warnings: tuple[str, ...]


def engage(settings: Annunciators, terminal: TextIO, now_s: Callable[[], float], *, console_is_open: bool) -> Staff:
    """Open the annunciators that are on. `terminal` takes bell and lines; a console that is open shows its own lines.

    `now_s` gives a monotonic time.

    Raises ValueError where annunciators.sentences.uri cannot be meant.
    """
    chosen: list[Annunciator] = []
    warnings: list[str] = []
    if settings.console_line.on and not console_is_open:
        chosen.append(ConsoleLine(terminal))
    if settings.bell.on:
        chosen.append(Bell(terminal))
    if settings.sound.on and settings.sound.command != "off":
        sound = Sound(settings.sound, Bell(terminal))
        chosen.append(sound)
        if sound.warning:
            warnings.append(sound.warning)
    if settings.command.argv:
        chosen.append(Command(settings.command, now_s))
    if settings.sentences.uri:
        chosen.append(Sentences(settings.sentences, outputs.parse(settings.sentences.uri)))
    return Staff(tuple(chosen), tuple(warnings))


class Tested(Struct, frozen=True):
    """How one annunciator fared with one priority. `problem` is empty where it works.

    `told` is False where there was nothing to tell: a caution makes no sound.
    """

    annunciator: str
    priority: Priority
    problem: str
    told: bool

    def __str__(self) -> str:
        said = self.problem or ("works" if self.told else "nothing to tell: silent at this priority")
        return f"TEST {self.annunciator:<13} {self.priority:<8} {said}"


TEST_ID = 999_000
"""Ids of test alerts lie above those that a watch gives in its life."""


def self_test(desk: Desk, moment: Moment, timeout_s: float = 15.0) -> list[Tested]:
    """Raise one alert of each priority through every annunciator, marked as a test, and end it again."""
    results: list[Tested] = []
    for number, priority in enumerate(Priority, TEST_ID):
        raised = _test_notice(moment, number, priority, AlertState.ACTIVE_UNACKNOWLEDGED)
        outcomes = desk.try_out(raised, timeout_s)
        results += [Tested(outcome.name, priority, outcome.problem, outcome.told) for outcome in outcomes]
        desk.try_out(_test_notice(moment, number, priority, AlertState.NORMAL), timeout_s)
    return results


def _test_notice(moment: Moment, number: int, priority: Priority, state: AlertState) -> Notice:
    ends = state is AlertState.NORMAL
    if priority is Priority.CAUTION and not ends:
        state = AlertState.ACTIVE_ACKNOWLEDGED
    text = f"TEST of the alerting, {priority}: {'test over' if ends else 'no danger, this is a test'}"
    alert = Alert(
        time=moment.time,
        id=number,
        rule="self_test",
        priority=priority,
        state=state,
        target=None,
        text=text,
        values={"is_test": True},
    )
    audible = not ends and priority is not Priority.CAUTION
    return Notice(at_s=moment.at_s, why=Why.TEST, alert=alert, audible=audible, is_test=True)


def report(results: list[Tested]) -> list[str]:
    """The self-test's outcome, a line for each annunciator and priority, each marked as a test."""
    if not results:
        return ["TEST no annunciator is on: nobody would be told of an alert"]
    return [str(one) for one in results]
