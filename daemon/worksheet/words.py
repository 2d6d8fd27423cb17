"""A manual plot in the trade's words, and its JSON."""

from collections.abc import Iterator

from alerts.plotting.colregs import rule_number
from alerts.plotting.encounter import Angles, EncounterSettings, geometry, rule_19, signed
from alerts.plotting.sheet import Frame, ManualPlot, Value
from alerts.plotting.terms import Encounter, Passing
from daemon.words import bearing, fine_bearing

CAUTION = (
    "An aid to look-out, never a substitute: small craft, buoys and wood may not be seen by radar at all. "
    "The COLREGs, local rules and licensed practice decide."
)

Json = float | int | str | bool | None | list["Json"] | dict[str, "Json"]


def clock(at_s: float) -> str:
    """HH:MM, with seconds where there are any."""
    seconds = round(at_s) % 86_400
    text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}"
    return text if seconds % 60 == 0 else f"{text}:{seconds % 60:02d}"


def angle(plot: ManualPlot, angle_deg: float) -> str:
    """True where the plot is true, R (off the bow) where it is not."""
    return bearing(angle_deg) if plot.frame == Frame.TRUE else f"R {round(angle_deg) % 360:03d}°"


def plus(number: float, places: int) -> str:
    """With its sign, and none for nothing."""
    text = f"{number:+.{places}f}"
    return text if float(text) else text[1:]


def limits(value: Value, form: str = ".2f") -> str:
    """95 % limits in the format of the value."""
    return f"95 %: {value.low:{form}} to {value.high:{form}}"


def spread(value: Value) -> str:
    """Half the width of the 95 % limits of an angle; beyond a right angle it means nothing."""
    half = (value.high - value.low) / 2
    return f"± {half:.0f}°" if half < 90 else "direction not known"


def text(plot: ManualPlot) -> str:
    """The whole answer, a line for each thing that a plotting sheet is asked."""
    return "\n".join([*_points(plot), "", *_answers(plot), *_warned(plot), "", CAUTION])


def _points(plot: ManualPlot) -> Iterator[str]:
    span = f"{clock(plot.first_s)} to {clock(plot.last_s)}"
    yield f"Manual plot: {len(plot.residuals)} points, {span}"
    for number, residual in enumerate(plot.residuals, start=1):
        off = ""
        if residual.fits is not None:
            by = f"{plus(residual.range_residual_nm, 2)} NM, {plus(residual.bearing_residual_deg, 1)}°"
            off = f"   off the line {by}{'' if residual.fits else '   DOES NOT FIT'}"
        seen = f"{fine_bearing(residual.bearing_deg)}{'T' if plot.frame == Frame.TRUE else 'R'}"
        yield f"  {number}  {clock(residual.at_s):8}  {seen}  {residual.range_nm:.2f} NM{off}"


def _answers(plot: ManualPlot) -> Iterator[str]:
    movement = plot.movement
    if movement.course is None:
        yield "Relative movement  none"
    else:
        yield (
            f"Relative movement  DRM {angle(plot, movement.course.best)} {spread(movement.course)}, "
            f"SRM {movement.speed.best:.1f} kn ({limits(movement.speed, '.1f')})"
        )
    side = f", bearing {angle(plot, movement.cpa_bearing.best)}" if movement.cpa_bearing else ""
    yield f"CPA                {movement.cpa.best:.2f} NM ({limits(movement.cpa)}){side}"
    if movement.tcpa_min is not None:
        when = _until(movement.tcpa_min.best)
        yield f"TCPA               {when} ({limits(movement.tcpa_min, '.1f')}){_at(plot, movement.tcpa_min.best)}"
    yield from _target(plot)
    yield f"Bearing            {_bearing(plot)}"
    yield f"Passing            {_passing(plot)}"
    yield from _encounter(plot)


def _at(plot: ManualPlot, after_min: float) -> str:
    """The clock time of a moment after the last point; nothing beyond a day, where it would be another day's."""
    return f", at {clock(plot.last_s + 60 * after_min)}" if abs(after_min) < 1440 else ""


def _until(tcpa_min: float) -> str:
    if tcpa_min <= 0:
        return f"past, {-tcpa_min:.1f} min before the last point: it is opening"
    return f"{tcpa_min:.1f} min after the last point"


def _target(plot: ManualPlot) -> Iterator[str]:
    target = plot.target
    if target is None:
        yield "Target             course, speed and aspect need own course and speed (--course, --speed)"
        return
    speed = f"speed {target.speed.best:.1f} kn ({limits(target.speed, '.1f')})"
    if target.course is None or target.aspect_deg is None:
        yield f"Target             stopped, or nearly: {speed}"
        return
    yield f"Target             course {bearing(target.course.best)} {spread(target.course)}, {speed}"
    colour = "red" if target.aspect_deg < 0 else "green"
    side = "port" if target.aspect_deg < 0 else "starboard"
    yield f"Aspect             {colour} {abs(target.aspect_deg):.0f}°: we are on her {side} side"


def _bearing(plot: ManualPlot) -> str:
    rate, drift = plot.movement.bearing_rate, plot.movement.drift
    total = drift.best * (plot.last_s - plot.first_s) / 60
    way = "clockwise" if total > 0 else "anticlockwise"
    trend = plot.bearing_trend.value if plot.bearing_trend else f"not steady, drawing {way}"
    return f"{trend}: {total:+.1f}° over the plot, {rate.best:+.2f}°/min at the last point ({limits(rate, '+.2f')})"


def _passing(plot: ManualPlot) -> str:
    if plot.passing is None:
        return "ahead or astern needs own course or heading"
    words = {
        Passing.AHEAD: "ahead of us",
        Passing.ASTERN: "astern of us",
        Passing.COLLISION_COURSE: "collision course",
        Passing.OPENING: "opening",
        Passing.UNSETTLED: "unsettled",
    }
    said = words[plot.passing]
    if plot.bow_crossing_nm is not None and plot.bow_crossing_min is not None:
        said += f"; crosses our heading line {plot.bow_crossing_nm:.2f} NM ahead{_at(plot, plot.bow_crossing_min)}"
    return said


def _encounter(plot: ManualPlot) -> Iterator[str]:
    """The sector in words and rule numbers, for vessels in sight and not in sight of one another."""
    target = plot.target
    if target is None or target.course is None or target.aspect_deg is None or plot.heading_deg is None:
        return
    if plot.passing in (Passing.OPENING, Passing.UNSETTLED):
        return
    rules = EncounterSettings()
    bow = signed(plot.bearing_deg - plot.heading_deg)
    angles = Angles(bow, 0.0, target.aspect_deg, target.course.sd)
    word = geometry(angles, rules)
    if word == Encounter.UNSETTLED:
        return
    fog = rule_19(angles, word, rules)
    yield f"Geometry           in sight: {word} (Rule {rule_number(word)}); in restricted visibility: {fog}"


def _warned(plot: ManualPlot) -> Iterator[str]:
    if plot.warnings:
        yield ""
        yield from (f"Warning: {warning}" for warning in plot.warnings)


# --------------------------------------------------------------------------------------------------- JSON


def as_json(plot: ManualPlot) -> dict[str, Json]:
    """The keys of the manual plot's JSON, None where own course and speed would be needed and were not given.

    Angles off the bow are not true ones: without a heading the true directions are None.
    """
    movement, target = plot.movement, plot.target
    is_true = plot.frame == Frame.TRUE
    tcpa = movement.tcpa_min
    aspect = target.aspect_deg if target else None
    return {
        "relative_course_deg": _degrees(movement.course) if is_true else None,
        "relative_speed_kn": round(movement.speed.best, 2),
        "cpa_nm": round(movement.cpa.best, 3),
        "cpa_sd_nm": round(movement.cpa.sd, 3),
        "cpa_bearing_deg": _degrees(movement.cpa_bearing) if is_true else None,
        "tcpa_min": round(tcpa.best, 2) if tcpa else None,
        "tcpa_time": _clock_seconds(plot.last_s + 60 * tcpa.best) if tcpa else None,
        "course_deg": _degrees(target.course) if target else None,
        "speed_kn": round(target.speed.best, 2) if target else None,
        "aspect_deg": None if aspect is None else round(abs(aspect), 1),
        "aspect_side": None if aspect is None else ("port" if aspect < 0 else "starboard"),
        "bearing_rate_deg_min": round(movement.bearing_rate.best, 3),
        "bearing_trend": plot.bearing_trend,
        "passing": plot.passing,
        "residuals": _residuals(plot),
    }


def limits_json(plot: ManualPlot) -> dict[str, Json]:
    """What `--limits` adds: the 95 % limits of every answer, and the warnings."""
    movement, target = plot.movement, plot.target
    values = {
        "relative_course_deg": movement.course if plot.frame == Frame.TRUE else None,
        "relative_speed_kn": movement.speed,
        "cpa_nm": movement.cpa,
        "tcpa_min": movement.tcpa_min,
        "course_deg": target.course if target else None,
        "speed_kn": target.speed if target else None,
        "bearing_rate_deg_min": movement.bearing_rate,
    }
    pairs: dict[str, Json] = {
        name: [round(value.low, 3), round(value.high, 3)] if value else None for name, value in values.items()
    }
    return {"limits": pairs, "warnings": list(plot.warnings)}


def _residuals(plot: ManualPlot) -> list[Json]:
    return [
        {
            "time": _clock_seconds(residual.at_s),
            "range_nm": round(residual.range_residual_nm, 4),
            "bearing_deg": round(residual.bearing_residual_deg, 3),
            "fits": residual.fits,
        }
        for residual in plot.residuals
    ]


def _degrees(value: Value | None) -> float | None:
    return None if value is None else round(value.best % 360, 2) % 360


def _clock_seconds(at_s: float) -> str:
    seconds = round(at_s) % 86_400
    return f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"
