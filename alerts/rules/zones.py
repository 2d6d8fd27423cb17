"""Is it true? Guard zones: sectors by range and bearing. Pure functions, for floats and numpy arrays alike."""

import math

import numpy as np
import numpy.typing as npt

from alerts.events import Plot
from alerts.settings import Zone, ZoneReference

Values = float | npt.NDArray[np.float64]
Truth = bool | npt.NDArray[np.bool_]


def is_all_round(zone: Zone) -> bool:
    """A whole circle needs no bearing."""
    return abs(zone.to_deg - zone.from_deg) >= 360


def zone_bearing_deg(plot: Plot, zone: Zone) -> float:
    """The plot's bearing in the zone's own reference; NaN for unknown."""
    bearing = plot.relative_bearing_deg if zone.reference is ZoneReference.RELATIVE else plot.bearing_deg
    return math.nan if bearing is None else bearing


def zone_enter(range_nm: Values, bearing_deg: Values, zone: Zone) -> Truth:
    """Inside the sector, edges included. Unknown bearing: false, but for a whole circle."""
    return _within(range_nm, bearing_deg, zone, 1.0, 0.0)


def zone_stay(range_nm: Values, bearing_deg: Values, zone: Zone, clear_ratio: Values, margin_deg: float) -> Truth:
    """Not yet outside a sector that is wider by the ratio in range and the margin on each side.

    At an unknown bearing the range alone tells that a target has left.
    """
    unknown = bearing_deg != bearing_deg  # NaN is the one value that does not equal itself
    within = _within(range_nm, bearing_deg, zone, clear_ratio, margin_deg)
    return within | (unknown & _within_ranges(range_nm, zone, clear_ratio))


def _within_ranges(range_nm: Values, zone: Zone, ratio: Values) -> Truth:
    return (range_nm >= zone.from_nm / ratio) & (range_nm <= zone.to_nm * ratio)


def _within(range_nm: Values, bearing_deg: Values, zone: Zone, ratio: Values, margin_deg: float) -> Truth:
    by_range = _within_ranges(range_nm, zone, ratio)
    if is_all_round(zone):
        return by_range
    width = (zone.to_deg - zone.from_deg) % 360 + 2 * margin_deg
    if width >= 360:
        return by_range
    return by_range & ((bearing_deg - zone.from_deg + margin_deg) % 360 <= width)
