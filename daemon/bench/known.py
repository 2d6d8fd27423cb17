"""The truth that an exercise carries beside its recording, read back: who was where, second by second."""

import gzip
from datetime import datetime
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Instant
from daemon.errors import CANNOT_OPEN, UserError
from daemon.exercise import truth

Floats = npt.NDArray[np.float64]


class Known(Struct, frozen=True):
    """K moments, N vessels. East and north are from own ship, NM; `tcpa_min` is NaN where there is none."""

    names: tuple[str, ...]
    clutter: tuple[bool, ...]
    utc_ms: Floats  # (K,)
    east_nm: Floats  # (K, N)
    north_nm: Floats
    cpa_nm: Floats
    tcpa_min: Floats
    closest_nm: Floats  # (N,): in the whole time, to the second
    closest_utc_ms: Floats


def beside(recording: str) -> Path | None:
    """The file of the truth beside a recording, where there is one."""
    path = Path(recording)
    stem = path.name.removesuffix(".gz").removesuffix(".nmea")
    names = (f"{stem}.truth.jsonl.gz", f"{stem}.truth.jsonl")
    return next((path.with_name(name) for name in names if path.with_name(name).is_file()), None)


def read(path: Path) -> Known:
    """The whole file. Raises UserError where it is no truth of an exercise."""
    opener = gzip.open if path.suffix == ".gz" else open
    decoder = msgspec.json.Decoder(truth.AnyRecord, dec_hook=_instant)
    closest: list[truth.ClosestApproach] = []
    situations: list[truth.Situation] = []
    try:
        with opener(path, "rb") as file:
            for line in file:
                record = decoder.decode(line)
                if isinstance(record, truth.ClosestApproach):
                    closest.append(record)
                elif isinstance(record, truth.Situation):
                    situations.append(record)
    except (OSError, EOFError, msgspec.DecodeError) as error:
        raise UserError(f"{path} is no truth of an exercise: {error}", CANNOT_OPEN) from None
    if not situations:
        raise UserError(f"{path} is no truth of an exercise: it holds no situation", CANNOT_OPEN)
    return _known(closest, situations)


def _known(closest: list[truth.ClosestApproach], situations: list[truth.Situation]) -> Known:
    table = np.array(
        [
            [(t.range_nm, t.bearing_deg, t.cpa_nm, np.nan if t.tcpa_min is None else t.tcpa_min) for t in s.targets]
            for s in situations
        ]
    ).reshape(len(situations), len(closest), 4)
    angle = np.radians(table[..., 1])
    return Known(
        names=tuple(one.target for one in closest),
        clutter=tuple(one.clutter for one in closest),
        utc_ms=np.array([s.time.utc_ms for s in situations], dtype=np.float64),
        east_nm=table[..., 0] * np.sin(angle),
        north_nm=table[..., 0] * np.cos(angle),
        cpa_nm=table[..., 2],
        tcpa_min=table[..., 3],
        closest_nm=np.array([one.cpa_nm for one in closest]),
        closest_utc_ms=np.array([one.time.utc_ms for one in closest], dtype=np.float64),
    )


def _instant(kind: type, value: Any) -> Any:
    if kind is Instant and isinstance(value, str):
        return Instant(round(datetime.fromisoformat(value).timestamp() * 1000))
    raise NotImplementedError
