"""What a person has chosen on the console, and what the console asks of the watch."""

from collections.abc import Callable
from enum import Enum, auto

from daemon.control import Request

Ask = Callable[[Request], str | None]
"""What a key asks, in the verbs of the control socket; and `quit`, which is the keys' own."""


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
