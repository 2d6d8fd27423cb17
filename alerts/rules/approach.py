"""Is it true? The three rules on an approaching target, as pure functions of a plot's values and the limits.

Each takes plain floats or numpy arrays of any shapes that broadcast, and answers bools or arrays of them: the watch
judges one plot with them, a sweep of settings judges all plots at once, and both get the same answer to the last bit.
An unknown value is NaN here, and every comparison with it is false. `enter` functions say that a plot is inside the
limits, `stay` functions that it is not yet beyond the wider limits at which an alert is cleared.
"""

import math

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.events import Plot
from alerts.plotting.terms import Check
from alerts.settings import Basis

Values = float | npt.NDArray[np.float64]
Truth = bool | npt.NDArray[np.bool_]

PAST_MIN = -0.5
"""A danger is over half a minute after its CPA: at the CPA itself the sign of TCPA is noise."""


class Figures(Struct, gc=False):
    """What these rules look at in a plot; NaN for unknown. Floats, or arrays with one value for each plot."""

    range_nm: Values
    cpa_nm: Values
    tcpa_min: Values
    inside_probability: Values
    bearing_rate_deg_min: Values
    bearing_rate_sd_deg_min: Values
    bow_crossing_nm: Values
    bow_crossing_min: Values
    reported_cpa_nm: Values
    reported_tcpa_min: Values


def figures(plot: Plot) -> Figures:
    """A plot's figures. The set's own are left out while its answer is known to be settling."""
    settling = plot.check in (Check.SETTLING, Check.NOT_REPORTED)
    return Figures(
        plot.range_nm,
        math.nan if plot.cpa_nm is None else plot.cpa_nm,
        math.nan if plot.tcpa_min is None else plot.tcpa_min,
        math.nan if plot.inside_probability is None else plot.inside_probability,
        math.nan if plot.bearing_rate_deg_min is None else plot.bearing_rate_deg_min,
        math.nan if plot.bearing_rate_sd_deg_min is None else plot.bearing_rate_sd_deg_min,
        math.nan if plot.bow_crossing_nm is None else plot.bow_crossing_nm,
        math.nan if plot.bow_crossing_min is None else plot.bow_crossing_min,
        math.nan if settling or plot.reported_cpa_nm is None else plot.reported_cpa_nm,
        math.nan if settling or plot.reported_tcpa_min is None else plot.reported_tcpa_min,
    )


def unknown(value: Values) -> Truth:
    """Is it NaN? The one value that does not equal itself."""
    return value != value


# ---------------------------------------------------------------------------------------- closest_approach


def closest_enter(f: Figures, cpa_nm: Values, tcpa_min: Values, probability: Values, basis: Basis) -> Truth:
    """CPA and TCPA both inside the limits (MSC.192(79) 5.29.1), by our own answer, the set's, or either.

    Ours: the probability of passing inside `cpa_nm` is at least `probability`, and the CPA lies ahead, within
    `tcpa_min`. The set's carries no uncertainty, so its CPA itself is held against the limit.
    """
    ours = (f.inside_probability >= probability) & (f.tcpa_min >= 0) & (f.tcpa_min <= tcpa_min)
    if basis is Basis.RECOMPUTED:
        return ours
    theirs = (f.reported_cpa_nm <= cpa_nm) & (f.reported_tcpa_min >= 0) & (f.reported_tcpa_min <= tcpa_min)
    return theirs if basis is Basis.REPORTED else ours | theirs


def closest_stay(f: Figures, cpa_nm: Values, tcpa_min: Values, clear_ratio: Values, basis: Basis) -> Truth:
    """Not yet beyond `clear_ratio` times both limits, nor past. A plot that cannot be judged stays."""
    ours = _inside(f.cpa_nm, f.tcpa_min, cpa_nm, tcpa_min, clear_ratio)
    if basis is Basis.RECOMPUTED:
        return ours
    theirs = _inside(f.reported_cpa_nm, f.reported_tcpa_min, cpa_nm, tcpa_min, clear_ratio)
    return theirs if basis is Basis.REPORTED else ours | theirs


def _inside(cpa: Values, tcpa: Values, cpa_limit: Values, tcpa_limit: Values, ratio: Values) -> Truth:
    judged = (cpa <= cpa_limit * ratio) & (tcpa <= tcpa_limit * ratio) & (tcpa >= PAST_MIN)
    return judged | unknown(cpa) | unknown(tcpa)


# ------------------------------------------------------------------------------------------ steady_bearing

DEG_PER_RADIAN = 180.0 / math.pi


NEAR_CPA_MIN = 1.0
"""Nearer to the CPA than this, range and CPA are alike and their difference, the way still to run, is noise."""


def drift_limit_deg_min(range_nm: Values, cpa_nm: Values, tcpa_min: Values, pass_nm: Values) -> Values:
    """The drift, degrees a minute, of a vessel at this range and relative speed that would pass at `pass_nm`.

    The bearing rate of a straight relative track is V CPA / r^2, with V = sqrt(r^2 - CPA^2) / TCPA. It falls with the
    square of the range: what is steady at 6 NM may be drawing aft at 1 NM.
    """
    if isinstance(range_nm, float) and isinstance(cpa_nm, float) and isinstance(tcpa_min, float):
        # The same for one plot: numpy's functions of single numbers took a quarter of the rules' time.
        way = math.sqrt(max(range_nm * range_nm - cpa_nm * cpa_nm, 0.0))
        return DEG_PER_RADIAN * (way / max(tcpa_min, NEAR_CPA_MIN)) * pass_nm / max(range_nm * range_nm, 1e-6)
    way_nm = np.sqrt(np.maximum(range_nm * range_nm - cpa_nm * cpa_nm, 0.0))
    speed_nm_min = way_nm / np.maximum(tcpa_min, NEAR_CPA_MIN)
    return DEG_PER_RADIAN * speed_nm_min * pass_nm / np.maximum(range_nm * range_nm, 1e-6)


def _size(values: Values) -> Values:
    """Without its sign."""
    return abs(values) if isinstance(values, float) else np.abs(values)


class DriftLimits(Struct, frozen=True, gc=False):
    """What a drift is held against; floats, or arrays with one value for each setting."""

    pass_nm: Values
    tcpa_min: Values
    range_nm: Values
    close_nm: Values
    doubt: Values


def steady_enter(f: Figures, limits: DriftLimits) -> Truth:
    """Rule 7(d)(i): approaching, and the compass bearing does not appreciably change; or 7(d)(ii): at close range.

    The drift may exceed the limit by `doubt` standard deviations of its own; where its standard deviation is over
    the limit itself, nothing can be said of it. At close range an approaching target counts whatever its drift.
    """
    approaching = (f.tcpa_min > 0) & (f.tcpa_min <= limits.tcpa_min)
    limit = drift_limit_deg_min(f.range_nm, f.cpa_nm, f.tcpa_min, limits.pass_nm)
    sd = f.bearing_rate_sd_deg_min
    steady = (sd <= limit) & (_size(f.bearing_rate_deg_min) <= limit + limits.doubt * sd)
    return approaching & ((steady & (f.range_nm <= limits.range_nm)) | (f.range_nm <= limits.close_nm))


def steady_stay(f: Figures, limits: DriftLimits, clear_ratio: Values) -> Truth:
    """Not yet past, not further off than `clear_ratio` times the range, and not surely drawing by that much more."""
    ahead = (f.tcpa_min >= PAST_MIN) & (f.range_nm <= limits.range_nm * clear_ratio)
    limit = clear_ratio * drift_limit_deg_min(f.range_nm, f.cpa_nm, f.tcpa_min, limits.pass_nm)
    sure_of = _size(f.bearing_rate_deg_min) - limits.doubt * f.bearing_rate_sd_deg_min
    kept = (sure_of <= limit) | unknown(sure_of) | (f.range_nm <= limits.close_nm * clear_ratio)
    return (ahead & kept) | unknown(f.tcpa_min)


# ------------------------------------------------------------------------------------------- bow_crossing


def bow_enter(f: Figures, crossing_nm: Values, crossing_min: Values) -> Truth:
    """The target will cut our heading line ahead, inside both limits."""
    return (f.bow_crossing_nm <= crossing_nm) & (f.bow_crossing_min >= 0) & (f.bow_crossing_min <= crossing_min)


def bow_stay(f: Figures, crossing_nm: Values, crossing_min: Values, clear_ratio: Values) -> Truth:
    """Not beyond the wider limits. That it never crosses ahead is an answer; only an unsettled track is unknown."""
    wider = bow_enter(f, crossing_nm * clear_ratio, crossing_min * clear_ratio)
    return wider | unknown(f.cpa_nm)
