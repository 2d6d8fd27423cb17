"""A line of the screen, and how it is to be drawn."""

from msgspec import Struct
from rich.text import Text

from daemon import words
from daemon.console.palette import Glyphs, Palette


class Look(Struct, frozen=True):
    """How to draw: size in cells, colours, characters, and whether a flashing line is now bright."""

    width: int
    height: int
    palette: Palette
    glyphs: Glyphs
    bright: bool = True


class Limits(Struct, frozen=True):
    """The condition in force."""

    condition: str
    cpa_nm: float
    tcpa_min: float


def line(look: Look, *parts: tuple[str, str]) -> Text:
    """One line of (text, role) parts, cut to the width, the cut marked. An empty role is plain text."""
    text = Text(end="", no_wrap=True, overflow="crop", style=look.palette.style("text"))
    for words_, role in parts:
        text.append(look.glyphs.text(words_), look.palette.style(role or "text"))
    if text.cell_len > look.width:
        text.rstrip()
        if text.cell_len > look.width:
            text.truncate(look.width - 1, overflow="crop")
            text.append(look.glyphs.text(words.CUT))
    return text


def rule(look: Look, title: str) -> Text:
    """A line across the screen with a title."""
    return line(look, (f"{look.glyphs.rule * 2} {title} ".ljust(look.width, look.glyphs.rule), "faint"))
