"""Colours by name, and the characters a terminal can show. Nothing is told by colour alone."""

from msgspec import Struct
from rich.style import Style


class Palette(Struct, frozen=True):
    """A rich style for each role on the screen."""

    name: str
    text: str
    faint: str
    title: str
    good: str
    stale: str
    alarm: str
    warning: str
    caution: str
    chosen: str

    def style(self, role: str) -> Style:
        return Style.parse(getattr(self, role))


PALETTES = {
    palette.name: palette
    for palette in (
        Palette(
            "day",
            text="default",
            faint="dim",
            title="bold",
            good="default",
            stale="italic yellow",
            alarm="bold white on dark_red",
            warning="bold black on yellow",
            caution="bold cyan",
            chosen="underline",
        ),
        # One hue, so that the eye keeps its night sight: brightness and reversed bars carry the rest.
        Palette(
            "night",
            text="#a01818 on #000000",
            faint="#801818 on #000000",
            title="bold #b82020 on #000000",
            good="#a01818 on #000000",
            stale="italic #c02020 on #000000",
            alarm="bold #000000 on #d02020",
            warning="bold #000000 on #902020",
            caution="bold #d02020 on #000000",
            chosen="underline #c02020 on #000000",
        ),
        Palette(
            "high contrast",
            text="bright_white on black",
            faint="white on black",
            title="bold bright_white on black",
            good="bright_white on black",
            stale="bold bright_yellow on black",
            alarm="bold black on bright_white",
            warning="bold black on bright_yellow",
            caution="bold bright_cyan on black",
            chosen="underline bold bright_white on black",
        ),
        Palette(
            "monochrome",
            text="default",
            faint="default",
            title="bold",
            good="default",
            stale="default",
            alarm="bold reverse",
            warning="reverse",
            caution="bold",
            chosen="underline",
        ),
    )
}


class Glyphs(Struct, frozen=True):
    """Characters of the screen. `translate` makes text fit a terminal that knows ASCII only."""

    mark: str
    line: str
    rule: str
    ascii_only: bool = False

    def text(self, text: str) -> str:
        if not self.ascii_only:
            return text
        spelt = text.replace("°/min", "deg/min").replace("° ", " deg ").translate(_TO_ASCII)
        return spelt.encode("ascii", "replace").decode("ascii")


_TO_ASCII = str.maketrans({"°": " ", "′": "'", "–": "-", "−": "-", "±": "~", "…": "~", "·": "-", "←": "<", "→": ">"})

UNICODE = Glyphs(mark="●", line="│", rule="─")
ASCII = Glyphs(mark="o", line="|", rule="-", ascii_only=True)


def glyphs_for(encoding: str) -> Glyphs:
    """The characters that an output of this encoding can carry."""
    try:
        "°′–±●│─…←→".encode(encoding)
    except (LookupError, UnicodeEncodeError):
        return ASCII
    return UNICODE
