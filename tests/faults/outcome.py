"""What a fault scenario answers: tried how often, and what was lost. Tests assert it, the benchmark prints it."""

from msgspec import Struct


class Outcome(Struct, frozen=True, kw_only=True):
    """`lost` in the words of the table; `bad` lists every broken promise and is empty when all held."""

    fault: str
    tried: int
    lost: str
    figures: dict[str, float] = {}
    bad: list[str] = []
