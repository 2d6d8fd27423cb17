"""The worked examples of worked-examples.json by their names, and vectors to work them with."""

import json
from math import cos, radians, sin
from pathlib import Path
from typing import Any

EXAMPLES: dict[str, dict[str, Any]] = {
    example["id"]: example
    for example in json.loads((Path(__file__).parent / "worked-examples.json").read_text(encoding="utf-8"))
}


def vector(direction_deg: float, length: float) -> tuple[float, float]:
    """East and north, in the unit of the length."""
    return length * sin(radians(direction_deg)), length * cos(radians(direction_deg))
