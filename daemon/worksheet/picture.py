"""A manual plot drawn on the plotting sheet: points, relative track, CPA and its 95 % ellipse."""

from pathlib import Path

import numpy as np

from alerts.plotting.sheet import Frame, ManualPlot
from daemon import words
from daemon.pictures.drawing import Drawing
from daemon.pictures.files import write
from daemon.pictures.sheet import Ellipse, Mark, SheetTrack, plotting_sheet
from daemon.worksheet.words import clock

ELLIPSE_SDS = 2.4477
"""Half axes of a 95 % ellipse in standard deviations: the root of the chi-squared quantile, two degrees of freedom."""


def draw(path: Path, plot: ManualPlot) -> None:
    """Into an .svg or .png file. UserError where it cannot be written."""
    write(drawing(plot), path)


def drawing(plot: ManualPlot) -> Drawing:
    points = [Mark(one.range_nm, one.bearing_deg, clock(one.at_s)) for one in plot.residuals]
    tcpa = plot.movement.tcpa_min
    opening = tcpa is None or tcpa.best <= 0
    cpa = None if opening or tcpa is None else _place(plot, tcpa.best / 60)
    if cpa is not None and tcpa is not None:
        label = f"CPA {plot.movement.cpa.best:.2f} NM at {clock(plot.last_s + 60 * tcpa.best)}"
        cpa = Mark(cpa.range_nm, cpa.bearing_deg, label)
    track = SheetTrack(
        name="",
        points=points,
        then=cpa,
        cpa=cpa,
        ellipse=None if cpa is None or tcpa is None else _ellipse(plot, tcpa.best / 60, cpa),
    )
    is_true = plot.frame == Frame.TRUE
    span = f"{clock(plot.first_s)} to {clock(plot.last_s)}"
    return plotting_sheet(
        [track],
        title=f"Manual plot, {len(points)} points, {span}",
        description="Own ship in the middle; the relative track as plotted and, dashed, as it leads on to the CPA.",
        true=is_true,
        heading_deg=plot.heading_deg if is_true else 0.0,
        foot=(f"Manual plot, {span}. Dashed: as it leads on, if nobody alters.", *words.CAUTIONS),
    )


def _place(plot: ManualPlot, hours: float) -> Mark:
    east, north = plot.state[0] + plot.state[2] * hours, plot.state[1] + plot.state[3] * hours
    return Mark(float(np.hypot(east, north)), float(np.degrees(np.arctan2(east, north)) % 360))


def _ellipse(plot: ManualPlot, hours: float, at: Mark) -> Ellipse:
    """Where the target may be at the time of the CPA."""
    full = np.zeros((4, 4))
    full[np.triu_indices(4)] = plot.covariance
    full = full + np.triu(full, 1).T
    onward = np.hstack([np.eye(2), hours * np.eye(2)])
    values, axes = np.linalg.eigh(onward @ full @ onward.T)
    across, along = (ELLIPSE_SDS * np.sqrt(np.maximum(values, 0.0))).tolist()
    direction = float(np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 360)
    return Ellipse(at.range_nm, at.bearing_deg, along, across, direction)
