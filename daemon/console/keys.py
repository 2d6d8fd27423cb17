"""Keys to what they mean: moves on the screen, and requests to the watch."""

from collections.abc import Callable

from daemon.console.palette import PALETTES
from daemon.console.state import Page, Prompt, View
from daemon.control import Request

NOTE_MAX = 200

_NAMED = {
    b"\x1b[A": "up",
    b"\x1bOA": "up",
    b"\x1b[B": "down",
    b"\x1bOB": "down",
    b"\r": "enter",
    b"\n": "enter",
    b"\x7f": "back",
    b"\x08": "back",
    b"\x1b": "escape",
}


def split(data: bytes) -> list[str]:
    """What one read from a terminal holds: named keys and single characters. Other escape sequences are dropped."""
    keys: list[str] = []
    while data:
        name = next((code for code in _NAMED if len(code) > 1 and data.startswith(code)), None)
        if name is not None:
            keys.append(_NAMED[name])
            data = data[len(name) :]
        elif data.startswith((b"\x1b[", b"\x1bO")):
            data = data[_sequence_length(data) :]
        elif data[:1] in _NAMED:
            keys.append(_NAMED[data[:1]])
            data = data[1:]
        else:
            text, data = _plain(data)
            keys += list(text)
    return keys


def _sequence_length(data: bytes) -> int:
    """An escape sequence ends with its first byte of 0x40 to 0x7E after the introducer (ECMA-48, 5.4)."""
    return next((i + 1 for i in range(2, len(data)) if 0x40 <= data[i] <= 0x7E), len(data))


def _plain(data: bytes) -> tuple[str, bytes]:
    end = next((i for i, byte in enumerate(data) if bytes([byte]) in _NAMED), len(data))
    text = data[:end].decode("utf-8", "ignore")
    return "".join(character for character in text if character.isprintable()), data[end:]


class Keys:
    """Turns keys into changes of the view and requests. `palette` is the name of the palette in force."""

    def __init__(self, view: View, ask: Callable[[Request], None], palette: str) -> None:
        self._view = view
        self._ask = ask
        self.palette = palette

    def press(self, key: str) -> None:
        view = self._view
        view.message = ""
        if view.prompt is not Prompt.NONE:
            self._prompted(key)
        elif view.page in (Page.CAUTIONS, Page.HELP):
            view.page = Page.WATCH
        elif key in ("down", "up", "j", "k"):
            self._move(1 if key in ("down", "j") else -1)
        elif key == "enter":
            view.chosen = view.chosen or (view.order[0] if view.order else None)
            view.page = Page.TARGET if view.chosen else Page.WATCH
        elif key == "escape":
            view.page, view.chosen = Page.WATCH, view.chosen if view.page is Page.TARGET else None
        else:
            self._command(key)

    def _move(self, step: int) -> None:
        view = self._view
        if not view.order:
            return
        at = view.order.index(view.chosen) + step if view.chosen in view.order else 0
        view.chosen = view.order[min(max(at, 0), len(view.order) - 1)]

    def _command(self, key: str) -> None:
        view = self._view
        if key == "a":
            self._acknowledge()
        elif key == "s":
            self._ask(Request("silence"))
            view.message = "Silence asked for."
        elif key == "n":
            view.prompt, view.typed = Prompt.NOTE, ""
        elif key == "c":
            view.prompt = Prompt.CONDITION if view.conditions else Prompt.NONE
        elif key == "p":
            names = list(PALETTES)
            self.palette = names[(names.index(self.palette) + 1) % len(names)]
            view.message = f"Palette: {self.palette}."
        elif key in ("?", "h"):
            view.page = Page.HELP
        elif key == "q":
            view.prompt = Prompt.QUIT

    def _acknowledge(self) -> None:
        """The alert that stood on the screen, by its number: never one that has come in since."""
        view = self._view
        if view.first_alert is None:
            view.message = "Nothing waits to be acknowledged."
            return
        self._ask(Request("ack", id=view.first_alert))
        view.message = f"Acknowledgement of alert {view.first_alert} asked for."

    def _prompted(self, key: str) -> None:
        view = self._view
        prompt, view.prompt = view.prompt, Prompt.NONE
        if prompt is Prompt.QUIT:
            if key == "y":
                self._ask(Request("quit"))
                view.message = "Ending the watch."
        elif prompt is Prompt.CONDITION:
            if key.isdecimal() and 1 <= int(key) <= len(view.conditions):
                self._ask(Request("condition", text=view.conditions[int(key) - 1]))
                view.message = f"Condition {view.conditions[int(key) - 1]} asked for."
        else:
            self._typing(key)

    def _typing(self, key: str) -> None:
        view = self._view
        if key == "enter":
            if view.typed.strip():
                self._ask(Request("note", text=view.typed.strip()))
                view.message = "Note written."
            return
        if key == "escape":
            return
        view.prompt = Prompt.NOTE
        if key == "back":
            view.typed = view.typed[:-1]
        elif len(key) == 1 and len(view.typed) < NOTE_MAX:
            view.typed += key
