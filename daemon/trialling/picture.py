"""A trial manoeuvre drawn: relative tracks under the trial against holding on; the table as a chart. All say TRIAL."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from alerts.events import Instant
from alerts.plotting.trial import Cell, Trial, TrialLeg, place_at
from daemon import words
from daemon.errors import UserError
from daemon.pictures.drawing import Drawing
from daemon.pictures.files import write
from daemon.pictures.sheet import Mark, SheetTrack, foot_height, footing, plotting_sheet
from daemon.trialling.moment import Held, Situation
from daemon.trialling.words import late_s, leg_text

LONGEST_MIN = 30.0
"""A track is drawn to its CPA, at most so far."""

STEP_MIN = 0.25
_CELL = (64.0, 12.0)
FOOT_WIDTH = 440.0  # of the longest caution, in pixels


def draw(path: Path, situation: Situation, trial: Trial, legs: Sequence[TrialLeg]) -> None:
    """Solid: the target's relative track under the trial, to its CPA. Dashed: to its CPA if we hold on."""
    _refuse_empty(path, situation)
    tracks = []
    for i, held in enumerate(situation.targets):
        minutes = min(trial.trial[i].tcpa_min, LONGEST_MIN)
        count = max(2, int(minutes / STEP_MIN) + 1)
        points = [_mark(held, situation, trial, at) for at in np.linspace(0.0, minutes, count).tolist()]
        cpa = points[-1] if 0 < trial.trial[i].tcpa_min <= LONGEST_MIN else None
        label = f"TRIAL CPA {trial.trial[i].cpa_nm:.2f} NM, {words.clean(held.target, 12)}"
        tracks.append(
            SheetTrack(
                name=_name(held),
                points=points,
                cpa=Mark(cpa.range_nm, cpa.bearing_deg, label) if cpa else None,
            )
        )
        tracks.append(SheetTrack(name="", points=points[:1], then=_holding(held, situation, trial.hold_on[i].tcpa_min)))
    sheet = plotting_sheet(
        tracks,
        title="TRIAL manoeuvre",
        description="Relative tracks under the trial, and dashed if we hold on. Targets are assumed to hold on.",
        heading_deg=situation.own.heading_deg,
        size=620.0,
        foot=_foot(situation),
    )
    sheet.text((8, 16), f"TRIAL  {'; '.join(leg_text(leg) for leg in legs)}", "b")
    sheet.text((8, 30), f"{words.clock(Instant(situation.utc_ms))} UTC. Dashed: holding on. Targets hold on.", "s")
    write(sheet, path)


def _name(held: Held) -> str:
    silent_s = late_s(held)
    name = words.clean(held.target, 24)
    return name if silent_s is None else f"{name}, NOT UPDATED for {words.age(silent_s)}"


def _foot(situation: Situation) -> list[str]:
    """What is not on the picture, and the cautions: it may be looked at alone."""
    left_out = [f"NOT tried: {words.clean(target, 24)}: {why}" for target, why in situation.left_out.items()]
    more = [f"NOT tried: {len(left_out) - MOST_NAMED} more"] if len(left_out) > MOST_NAMED else []
    return [*left_out[:MOST_NAMED], *more, *words.CAUTIONS]


MOST_NAMED = 6


def _refuse_empty(path: Path, situation: Situation) -> None:
    """A sheet without a target would look like a clear sea."""
    if not situation.targets:
        raise UserError(f"--plot {path}: no target's motion is known, so there is nothing to draw")


def _mark(held: Held, situation: Situation, trial: Trial, minutes: float) -> Mark:
    return _at(*place_at(held.estimate, situation.own, trial.path, minutes / 60))


def _holding(held: Held, situation: Situation, tcpa_min: float) -> Mark:
    one, own, hours = held.estimate, situation.own, min(tcpa_min, LONGEST_MIN) / 60
    return _at(
        one.east_nm - own.east_nm + (one.east_kn - own.east_kn) * hours,
        one.north_nm - own.north_nm + (one.north_kn - own.north_kn) * hours,
    )


def _at(east_nm: float, north_nm: float) -> Mark:
    return Mark(float(np.hypot(east_nm, north_nm)), float(np.degrees(np.arctan2(east_nm, north_nm)) % 360))


def draw_table(path: Path, situation: Situation, rows: Sequence[Sequence[Cell]]) -> None:
    """A cell for each course and speed: its figure the probability in per cent, shaded where that is 95 or more."""
    _refuse_empty(path, situation)
    wide, high = _CELL
    courses = [cell.course_deg for cell in rows[0]]
    foot, below = _foot(situation), 64 + high * len(courses)
    drawing = Drawing(
        max(70 + wide * len(rows), FOOT_WIDTH),
        below + foot_height(foot),
        "TRIAL: which alterations clear all",
        f"Probability that all targets keep outside {situation.limit_nm:g} NM; filled: 95 % or more.",
    )
    drawing.text((8, 16), f"TRIAL  all outside {situation.limit_nm:g} NM, per cent", "b")
    drawing.text((8, 30), f"{words.clock(Instant(situation.utc_ms))} UTC. Shaded: 95 or more. Targets hold on.", "s")
    for column, row in enumerate(rows):
        left = 60 + wide * column
        drawing.text((left + wide / 2, 46), f"{row[0].speed_kn:.1f} kn", "s", "middle")
        for line, cell in enumerate(row):
            top = 52 + high * line
            hint = (
                f"TRIAL {words.bearing(cell.course_deg)} {cell.speed_kn:.1f} kn: least CPA {cell.least_cpa_nm:.2f} NM"
            )
            drawing.rectangle((left, top), wide - 2, high - 2, "band" if cell.is_clear else "hair", hint)
            drawing.text((left + wide / 2, top + 8), f"{int(100 * cell.all_clear_probability)}", "s", "middle")
    for line, course in enumerate(courses):
        drawing.text((8, 60 + high * line), words.bearing(course), "s")
    footing(drawing, foot, below)
    write(drawing, path)
