"""A trial manoeuvre for people and scripts. Every line says TRIAL, so that none can be taken for how things are."""

from collections.abc import Iterator, Sequence

from alerts.events import Instant
from alerts.plotting.cautions import Caution
from alerts.plotting.terms import Passing, TrackState
from alerts.plotting.trial import HORIZON_MIN, Cell, Outcome, Trial, TrialLeg, own_course_speed
from daemon import words
from daemon.trialling.moment import Held, Situation

ASSUMPTION = "assumes that every target holds its course and speed; it is geometry, not advice"

Json = float | int | str | bool | None | list["Json"] | dict[str, "Json"]


def text(situation: Situation, legs: Sequence[TrialLeg], trial: Trial, told: Sequence[Caution]) -> str:
    """The answer for a person, TRIAL on every line."""
    return "\n".join(f"TRIAL  {line}" for line in _lines(situation, legs, trial, told))


def _lines(situation: Situation, legs: Sequence[TrialLeg], trial: Trial, told: Sequence[Caution]) -> Iterator[str]:
    yield from _head(situation)
    yield from (f"alteration: {leg_text(leg)}" for leg in legs)
    yield ASSUMPTION
    yield f"inside: how likely it is that she comes inside {situation.limit_nm:g} NM within {HORIZON_MIN:.0f} min"
    yield ""
    yield f"{'target':16} {'':9} {'CPA, 95 % limits':26} {'TCPA':>9}  {'inside':>8}  passing"
    order = sorted(
        range(len(situation.targets)), key=lambda i: (-trial.trial[i].inside_probability, trial.trial[i].cpa_nm)
    )
    for i in order:
        held = situation.targets[i]
        name = words.clean(f"{held.target} {held.name}".strip(), 16)
        yield f"{name:16} {'holding':9} {_outcome(trial.hold_on[i])}"
        yield f"{'':16} {'trial':9} {_outcome(trial.trial[i])}"
        if (silent_s := late_s(held)) is not None:
            yield f"{'':16} NOT UPDATED for {words.age(silent_s)}: carried on as she was going"
    if not situation.targets:
        yield "no target whose motion is known"
    yield from _left_out(situation)
    yield ""
    yield _all_clear(situation, words.percent(trial.all_clear_probability))
    yield from (f"caution, Rule {one.rule}: {f'{one.target}: ' if one.target else ''}{one.text}" for one in told)
    yield from words.CAUTIONS


def _head(situation: Situation) -> Iterator[str]:
    course, speed = own_course_speed(situation.own)
    now = Instant(situation.utc_ms)
    yield f"at {words.date(now)} {words.clock(now)} UTC, condition {words.clean(situation.condition)}"
    yield f"own ship {words.bearing(course)} {words.knots(speed)} ({situation.own.frame.value})"


def late_s(held: Held) -> float | None:
    """How long a target has said nothing that is only carried on; None for one that is seen."""
    estimate = held.estimate
    if estimate.state is not TrackState.COASTING or estimate.last_change_s is None:
        return None
    return max(0.0, estimate.at_s - estimate.last_change_s)


def _all_clear(situation: Situation, probable: str) -> str:
    """Of whom the figure speaks. Where nobody's motion is known there is none: 'all' of none would be certain."""
    kept = f"outside {situation.limit_nm:g} NM for {HORIZON_MIN:.0f} min"
    if not situation.targets:
        return f"whether all keep {kept} CANNOT BE SAID: no target's motion is known"
    missing = f"; NOT in this figure: {', '.join(map(words.clean, situation.left_out))}" if situation.left_out else ""
    return f"all {len(situation.targets)} tried {kept}: {probable} probable{missing}"


def _left_out(situation: Situation) -> Iterator[str]:
    for target, why in situation.left_out.items():
        yield f"{words.clean(target, 16):16} not tried: {why}"


def leg_text(leg: TrialLeg) -> str:
    """An alteration in words: course, speed, and after how many minutes."""
    parts = []
    if leg.course_deg is not None:
        parts.append(f"course {words.bearing(leg.course_deg)}")
    if leg.speed_kn is not None:
        parts.append(f"speed {words.knots(leg.speed_kn)}")
    when = f" after {leg.after_min:g} min" if leg.after_min else " at once"
    return " and ".join(parts) + when


def _outcome(one: Outcome) -> str:
    cpa = f"{one.cpa_nm:5.2f} NM ({words.limits(one.cpa_low_nm, one.cpa_high_nm)})"
    inside = words.percent(one.inside_probability)
    return f"{cpa:26} {words.minutes(one.tcpa_min):>9}  {inside:>8}  {passing_text(one)}"


def passing_text(one: Outcome) -> str:
    """Ahead or astern, and on which side at the CPA."""
    if one.passing is Passing.OPENING:
        return "opening"
    if one.passing in (Passing.COLLISION_COURSE, Passing.UNSETTLED):
        return one.passing.value
    return f"{one.passing.value}, on our {one.side} side"


def table_text(situation: Situation, rows: Sequence[Sequence[Cell]]) -> str:
    """The table for a person, TRIAL on every line."""
    return "\n".join(f"TRIAL  {line}" for line in _table_lines(situation, rows))


def _table_lines(situation: Situation, rows: Sequence[Sequence[Cell]]) -> Iterator[str]:
    yield from _head(situation)
    yield f"which alterations keep all targets outside {situation.limit_nm:g} NM for {HORIZON_MIN:.0f} min"
    yield ASSUMPTION
    yield from _left_out(situation)
    yield ""
    if not situation.targets:
        yield _all_clear(situation, "")
        yield from words.CAUTIONS
        return
    of = f"all {len(situation.targets)} tried" if situation.left_out else "all"
    yield f"probability that {of} keep outside, in per cent; * 95 or more"
    yield f"{'course':8}" + "".join(f"{row[0].speed_kn:8.1f} kn" for row in rows)
    for cells in zip(*rows, strict=True):
        figures = "".join(f"{_per_cent(cell):>11}" for cell in cells)
        yield f"{words.bearing(cells[0].course_deg):8}{figures}"
    yield from words.CAUTIONS


def _per_cent(cell: Cell) -> str:
    """Rounded down: 94.9 is not 95."""
    return f"{int(100 * cell.all_clear_probability)}{'*' if cell.is_clear else ' '}"


# --------------------------------------------------------------------------------------------------- JSON


def as_json(situation: Situation, legs: Sequence[TrialLeg], trial: Trial, told: Sequence[Caution]) -> dict[str, Json]:
    """Everything says that it is a trial: the whole, and each target's outcome."""
    return {
        **_json_head(situation),
        "legs": [{"after_min": leg.after_min, "course_deg": leg.course_deg, "speed_kn": leg.speed_kn} for leg in legs],
        "targets": [
            {
                "trial": True,
                "target": held.target,
                "not_updated_s": None if (silent_s := late_s(held)) is None else round(silent_s, 1),
                "hold_on": _json(trial.hold_on[i]),
                "trial_manoeuvre": _json(trial.trial[i]),
            }
            for i, held in enumerate(situation.targets)
        ],
        "all_clear_probability": round(trial.all_clear_probability, 3) if situation.targets else None,
        "cautions": [{"trial": True, "rule": one.rule, "target": one.target, "text": one.text} for one in told],
    }


def table_json(situation: Situation, rows: Sequence[Sequence[Cell]]) -> dict[str, Json]:
    """The table as plain values; courses in degrees true, speeds in knots, probabilities 0 to 1."""
    return {
        **_json_head(situation),
        "table": [
            {
                "trial": True,
                "course_deg": round(cell.course_deg, 1),
                "speed_kn": round(cell.speed_kn, 1),
                "all_clear_probability": round(cell.all_clear_probability, 3) if situation.targets else None,
                "clear": cell.is_clear and bool(situation.targets),
                "least_cpa_nm": round(cell.least_cpa_nm, 3) if cell.nearest >= 0 else None,
                "nearest": situation.targets[cell.nearest].target if cell.nearest >= 0 else None,
            }
            for row in rows
            for cell in row
        ],
    }


def _json_head(situation: Situation) -> dict[str, Json]:
    course, speed = own_course_speed(situation.own)
    return {
        "trial": True,
        "time": str(Instant(situation.utc_ms)),
        "assumption": ASSUMPTION,
        "condition": situation.condition,
        "limit_nm": situation.limit_nm,
        "horizon_min": HORIZON_MIN,
        "own_course_deg": round(course, 1) % 360,
        "own_speed_kn": round(speed, 1),
        "own_frame": situation.own.frame.value,
        "not_tried": dict(situation.left_out),
    }


def _json(one: Outcome) -> dict[str, Json]:
    return {
        "cpa_nm": round(one.cpa_nm, 3),
        "cpa_sd_nm": round(one.cpa_sd_nm, 3),
        "cpa_low_nm": round(one.cpa_low_nm, 3),
        "cpa_high_nm": round(one.cpa_high_nm, 3),
        "tcpa_min": round(one.tcpa_min, 2),
        "tcpa_sd_min": round(one.tcpa_sd_min, 2),
        "inside_probability": round(one.inside_probability, 3),
        "passing": one.passing.value,
        "side": one.side or None,
    }
