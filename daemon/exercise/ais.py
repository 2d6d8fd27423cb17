"""The targets' AIS, and own ship's: reports at their intervals, late, lost and off as the scenario says."""

import re
from collections.abc import Iterator
from unicodedata import combining, normalize

import numpy as np
from numpy.random import Generator

from alerts.plotting.ais_intervals import STOPPED_KN, reporting_interval_s
from daemon.exercise.geodesy import NM_M, Floats, offset
from daemon.exercise.passage import AIS, Passage, chance
from daemon.exercise.scenario import Ais, Target
from daemon.exercise.sensors import wander, wander_at
from daemon.exercise.sentence_stream import Write
from parsers import encode
from parsers.observations import AisClass

Message = dict[str, str | int | float]

STATIC_EVERY_S = 360.0
OWN_EVERY_S = 10.0


FASTEST_KN = 102.2
"""The highest speed that a position report holds; it stands for all that is faster (ITU-R M.1371, from memory)."""

_UNTOLD = re.compile("[^ -?A-Z\\[\\\\\\]^_]")  # what six bits cannot hold; '@' would end the text


def six_bit(text: str) -> str:
    """A name as AIS can carry it: capitals without their accents, `?` for what it has no letter for, 20 at most."""
    plain = "".join(letter for letter in normalize("NFKD", text.upper()) if not combining(letter))
    return _UNTOLD.sub("?", plain)[:20]


def interval_s(ais: Ais, speed_kn: float) -> float:
    """Between position reports: the scenario's own, else by class and speed. A stopped ship says that she is moored."""
    if ais.interval_s is not None:
        return ais.interval_s
    return reporting_interval_s(AisClass.B if ais.station == "B" else AisClass.A, speed_kn, status(ais, speed_kn))


def status(ais: Ais, speed_kn: float) -> int:
    """Navigational status: under way by engine, or moored where she lies still (ITU-R M.1371, from memory)."""
    return 5 if ais.station == "A" and speed_kn < STOPPED_KN else 0


class Positions:
    """One target's position reports: when each was measured and when it arrives, and what it says.

    `at_s` and `arrives_s` (M,), `lat_deg lon_deg sog_kn cog_deg heading_deg` (M,), all as sent but for rounding.
    """

    def __init__(self, passage: Passage, column: int, target: Target, ais: Ais, rng: Generator) -> None:
        self.ais = ais
        duration = passage.scenario.duration_s
        every = interval_s(ais, abs(target.speed_kn))
        at = np.arange(rng.random() * every, duration, every)
        at = np.clip(at + (rng.random(at.shape) - 0.5) * 0.2 * every, 0, duration)  # slots are sought about the time
        at = at[rng.random(at.shape) >= ais.loss]
        late = ais.delay_s + rng.random(at.shape) * ais.delay_spread_s
        kept = at + late < duration
        self.at_s, self.arrives_s = at[kept], (at + late)[kept]
        state = passage.targets.at(self.at_s)
        slow = [wander(rng, ais.error_m / NM_M, duration, 1) for _ in range(2)]
        east, north = (wander_at(values, self.at_s) for values in slow)
        self.lat_deg, self.lon_deg = offset(
            state.lat_deg[:, column],
            state.lon_deg[:, column],
            east + ais.offset_east_m / NM_M,
            north + ais.offset_north_m / NM_M,
        )
        ve, vn = state.east_kn[:, column], state.north_kn[:, column]
        self.sog_kn, self.cog_deg = np.hypot(ve, vn), np.degrees(np.arctan2(ve, vn)) % 360.0
        self.heading_deg = state.course_deg[:, column] % 360.0

    def order(self) -> np.ndarray:
        """Indices by arrival: a late report may come after a newer one."""
        return np.argsort(self.arrives_s, kind="stable")

    def message(self, i: int, start_ms: int) -> Message:
        """The i-th report's fields as pyais names them."""
        second = int((start_ms + round(self.at_s[i] * 1000)) // 1000 % 60)
        fields: Message = {
            "msg_type": 1 if self.ais.station == "A" else 18,
            "mmsi": self.ais.mmsi,
            "lat": float(self.lat_deg[i]),
            "lon": float((self.lon_deg[i] + 180) % 360 - 180),
            "speed": min(round(float(self.sog_kn[i]), 1), FASTEST_KN),
            "course": round(float(self.cog_deg[i]), 1) % 360.0,
            "heading": round(float(self.heading_deg[i])) % 360 if self.ais.heading else 511,
            "accuracy": 0,
            "second": second,
        }
        if self.ais.station == "A":
            fields["status"] = status(self.ais, float(self.sog_kn[i]))
        return fields


def streams(passage: Passage) -> Iterator[tuple[Floats, Write]]:
    """Times and writers of all AIS sentences of a passage; a message of several sentences is joined by line ends."""
    for column, target in enumerate(passage.scenario.targets):
        if target.ais is not None:
            rng = chance(passage.scenario.seed, AIS * 100_000 + column)
            yield _dynamic(passage, Positions(passage, column, target, target.ais, rng))
            yield _static(passage, target, target.ais, column)
    if passage.scenario.own_ship.mmsi is not None:
        yield _own(passage, passage.scenario.own_ship.mmsi)


def _dynamic(passage: Passage, reports: Positions) -> tuple[Floats, Write]:
    order, start_ms = reports.order(), passage.scenario.start_ms

    def write(i: int, j: int) -> list[str]:
        return [encode.vdm(reports.message(int(k), start_ms), channel="AB"[int(k) % 2])[0] for k in order[i:j]]

    return reports.arrives_s[order], write


def _static(passage: Passage, target: Target, ais: Ais, column: int) -> tuple[Floats, Write]:
    """Name, type and size: within the first minute, then each six minutes. Class B sends two halves of type 24."""
    times = np.arange(5.0 + 1.3 * column % 50.0, passage.scenario.duration_s, STATIC_EVERY_S)
    name = six_bit(ais.name or target.name)
    half = max(1, round(target.length_m / 2))
    size: Message = {
        "to_bow": half,
        "to_stern": max(0, round(target.length_m) - half),
        "to_port": max(1, round(target.length_m / 12)),
        "to_starboard": max(1, round(target.length_m / 12)),
    }
    first: Message = {"msg_type": 5 if ais.station == "A" else 24, "mmsi": ais.mmsi, "shipname": name}
    if ais.station == "A":
        lines = encode.vdm({**first, "ship_type": ais.ship_type, **size}, sequence=column)
    else:
        lines = encode.vdm({**first, "partno": 0})
        lines += encode.vdm({"msg_type": 24, "mmsi": ais.mmsi, "partno": 1, "ship_type": ais.ship_type, **size})
    return times, lambda i, j: ["\n".join(lines)] * (j - i)


def _own(passage: Passage, mmsi: int) -> tuple[Floats, Write]:
    times = np.arange(1.7, passage.scenario.duration_s, OWN_EVERY_S)
    state, start_ms = passage.own.state(times), passage.scenario.start_ms
    sog, cog = np.hypot(state.east_kn, state.north_kn), np.degrees(np.arctan2(state.east_kn, state.north_kn))

    def write(i: int, j: int) -> list[str]:
        return [
            encode.vdm(
                {
                    "msg_type": 18,
                    "mmsi": mmsi,
                    "lat": float(state.lat_deg[k]),
                    "lon": float((state.lon_deg[k] + 180) % 360 - 180),
                    "speed": min(round(float(sog[k]), 1), FASTEST_KN),
                    "course": round(float(cog[k] % 360.0), 1) % 360.0,
                    "heading": 511,
                    "second": int((start_ms + round(times[k] * 1000)) // 1000 % 60),
                },
                own_ship=True,
            )[0]
            for k in range(i, j)
        ]

    return times, write
