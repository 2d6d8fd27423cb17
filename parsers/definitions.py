"""Which field of a sentence is which: by name, so that no decoder counts commas.

pynmea2's sentence classes are read where they are right. Where they are wrong, incomplete or missing, OWN stands
instead, each with its reason. Fields count from 1; 0 is the address, as in `Sentence.fields`.
"""

from collections.abc import Callable
from operator import itemgetter

from pynmea2 import TalkerSentence

OWN: dict[str, tuple[str, ...]] = {
    # pynmea2 has no class for these. Field tables: docs/sentences.md.
    "RSD": (
        "origin_1_range", "origin_1_bearing", "vrm_1", "ebl_1",
        "origin_2_range", "origin_2_bearing", "vrm_2", "ebl_2",
        "cursor_range", "cursor_bearing", "range_scale", "units", "rotation",
    ),
    "THS": ("heading", "mode"),
    "TTD": ("total", "part", "sequence", "payload", "fill"),
    "VDM": ("total", "part", "sequence", "channel", "payload", "fill"),
    "VDO": ("total", "part", "sequence", "channel", "payload", "fill"),
    # pynmea2 calls field 4 course_true and takes it for T/R; it is the reference B, M, W, R or P.
    "OSD": ("heading", "status", "course", "course_ref", "speed", "speed_ref", "set", "drift", "units"),
    # pynmea2 lacks the navigational status.
    "GNS": (
        "timestamp", "lat", "lat_dir", "lon", "lon_dir", "mode", "num_sats", "hdop",
        "altitude", "geo_sep", "age", "station", "nav_status",
    ),
    # pynmea2 lacks the stern fields, and has two names for "valid" that mean both.
    "VBW": (
        "water_ahead", "water_athwart", "water_status", "ground_ahead", "ground_athwart", "ground_status",
        "stern_water", "stern_water_status", "stern_ground", "stern_ground_status",
    ),
    # pynmea2 gives one name, magnetic, to two things: the symbol of field 4 and (in HDM) of field 2.
    "VHW": ("heading_true", "true", "heading_magnetic", "magnetic", "knots", "n", "km_h", "k"),
}  # fmt: skip


def field_names(formatter: str) -> tuple[str, ...]:
    """The names of a sentence's fields, in order, without the address."""
    if formatter in OWN:
        return OWN[formatter]
    return tuple(field[1] for field in TalkerSentence.sentence_types[formatter].fields)


class Fields:
    """Picks the named fields out of a sentence, in one step, as a tuple of texts.

    `width` is the length that `Sentence.fields` must be padded to for it.
    """

    def __init__(self, formatter: str, *names: str) -> None:
        known = field_names(formatter)
        numbers = [known.index(name) + 1 for name in names]
        self.width = max(numbers) + 1
        self.pick: Callable[[list[str]], tuple[str, ...]] = itemgetter(*numbers)
