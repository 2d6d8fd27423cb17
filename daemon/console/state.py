"""What a person has chosen on the console, and what the console asks of the watch."""

from collections.abc import Callable
from enum import Enum, auto

from msgspec import Struct


class Request(Struct, frozen=True):
    """One thing that a key asks of the watch, in the verbs of the control socket.

    `ack` (with the alert's `id`), `silence`, `note` (`text`), `condition` (`text`: its name), `quit`.
    """

    verb: str
    id: int | None = None
    text: str | None = None


Ask = Callable[[Request], str | None]


class Page(Enum):
    CAUTIONS = auto()
    WATCH = auto()
    TARGET = auto()
    HELP = auto()


class Prompt(Enum):
    """What the bottom line is asking for."""

    NONE = auto()
    NOTE = auto()
    CONDITION = auto()
    QUIT = auto()


class View:
    """The page shown, the target chosen, and the line being typed. Owned by the drawing thread."""

    def __init__(self, conditions: tuple[str, ...] = ()) -> None:
        self.page = Page.CAUTIONS
        self.order: list[str] = []
        self.chosen: str | None = None
        self.prompt = Prompt.NONE
        self.typed = ""
        self.message = ""
        self.first_alert: int | None = None  # the one that the acknowledge key speaks of
        self.conditions = conditions
