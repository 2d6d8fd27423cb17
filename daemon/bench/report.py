"""The bench's answer: all figures together, for the table, CSV, JSON and the page alike."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from msgspec import Struct

from daemon.bench.choosing import Choice, Difference, Wish, choose, differences, front
from daemon.bench.confidence import Confidence, Limits
from daemon.bench.encounters import Encounter
from daemon.bench.figures import Bootstrap, DrawnBy, Figures, Pool, figures, pool
from daemon.bench.grid import Grid
from daemon.bench.outcome import Outcome

PROMISE = (
    "Past traffic is no guarantee: these figures hold for the passages that were recorded, the vessels in them, that"
    " sea and that set's tuning. What was never on the plot is in no figure. A close pass in the record is rare by"
    " nature; few of them make wide limits. Nobody acknowledged, and nobody acted on these alerts: where somebody"
    " altered, the encounter that would have been is not known. An aid to look-out, never a substitute."
)

FEW = 10
"""With fewer close passes than this a 10th percentile is all but the worst one."""


class Part(Struct, frozen=True):
    """The figures of some of it: of all, of one condition, of one recording."""

    name: str
    pooled: Pool
    figures: Figures


class Report(Struct, frozen=True, kw_only=True):
    """Everything. `front` are the settings that no other betters, by nuisance."""

    grid: Grid
    outcomes: tuple[Outcome, ...]
    whole: Part
    conditions: tuple[Part, ...]
    passages: tuple[Part, ...]
    bootstrap: Bootstrap
    confidence: Confidence
    front: tuple[int, ...]
    wish: Wish
    choice: Choice
    pair: tuple[int, int] | None
    differences: tuple[Difference, ...]
    late_min: float
    is_partial: bool
    planned: int
    failed: tuple[str, ...]

    def shown(self) -> list[int]:
        """The settings that a short table shows: as configured, recommended, and the front."""
        chosen = [0] if self.choice.setting is None else [0, self.choice.setting]
        if self.choice.nearest is not None:
            chosen.append(self.choice.nearest)
        return list(dict.fromkeys([*chosen, *(self.pair or ()), *self.front]))

    def limits(self, setting: int) -> Limits:
        """95 % limits of the figures of one setting."""
        return self.confidence.of(setting)

    def unjudged(self) -> dict[str, int]:
        """Why encounters could not be judged, and how many for each reason."""
        why: dict[str, int] = {}
        for one in self.whole.pooled.encounters:
            if one.verdict == "cannot be judged":
                reason = "passed too near to the limit to tell" if one.why.startswith("passed at") else one.why
                why[reason] = why.get(reason, 0) + 1
        return dict(sorted(why.items()))


def report_of(
    grid: Grid,
    outcomes: Sequence[Outcome],
    *,
    wish: Wish,
    late_min: float,
    pair: tuple[int, int] | None = None,
    by: DrawnBy | None = None,
    seed: int,
    is_partial: bool,
    planned: int,
    failed: Sequence[str] = (),
) -> Report:
    """Works out everything from what the workers found. There must be one outcome at least."""
    whole = _part("all", outcomes, None, late_min)
    names = sorted({name for one in outcomes for name in one.hours})
    choice = choose(whole.figures, wish)
    bootstrap = Bootstrap(whole.pooled, by, seed=seed)
    pair = pair or ((0, choice.setting) if choice.setting else None)
    return Report(
        grid=grid,
        outcomes=tuple(outcomes),
        whole=whole,
        conditions=tuple(_part(name, outcomes, name, late_min) for name in names),
        passages=tuple(_part(one.name, [one], None, late_min) for one in outcomes),
        bootstrap=bootstrap,
        confidence=Confidence(bootstrap, whole.figures, late_min),
        front=tuple(int(setting) for setting in front(whole.figures)),
        wish=wish,
        choice=choice,
        pair=pair,
        differences=tuple(differences(bootstrap, whole.figures, *pair)) if pair else (),
        late_min=late_min,
        is_partial=is_partial,
        planned=planned,
        failed=tuple(failed),
    )


def _part(name: str, outcomes: Sequence[Outcome], condition: str | None, late_min: float) -> Part:
    pooled = pool(outcomes, condition)
    return Part(name, pooled, figures(pooled, late_min))


COLUMNS = (
    "caught",
    "late",
    "missed",
    "warning_median_min",
    "warning_low_min",
    "warning_worst_min",
    "nuisance",
    "nuisance_clear_nm",
    "nuisance_per_h",
    "alerts",
    "alerts_per_h",
    "again",
    "alarm_share",
)


def row(part: Figures, setting: int) -> dict[str, float | None]:
    """One setting's figures by name; None where a figure does not exist."""
    return {name: plain(float(getattr(part, name)[setting])) for name in COLUMNS}


def plain(value: float) -> float | None:
    return None if np.isnan(value) else round(value, 4) + 0.0


def counted(part: Figures) -> dict[str, float | int | None]:
    """What is the same for all settings."""
    return {
        "hours": plain(part.hours),
        "encounters": part.close + part.clear + part.unjudged,
        "close_passes": part.close,
        "passed_clear": part.clear,
        "averted": part.averted,
        "unjudged": part.unjudged,
    }


def settings_row(report: Report, setting: int) -> dict[str, Any]:
    """The swept keys' values; of the configuration as it stands none, for they may differ by condition."""
    values = report.grid.settings[setting].values
    return dict(zip((axis.name for axis in report.grid.axes), values, strict=True)) if values else {}


def encounter_row(one: Encounter) -> dict[str, Any]:
    return {
        "recording": one.recording,
        "target": one.target,
        "keys": list(one.keys),
        "condition": one.condition,
        "cpa_nm": plain(one.cpa_nm),
        "cpa_sd_nm": plain(one.sd_nm),
        "close_nm": one.close_nm,
        "verdict": str(one.verdict),
        "why": one.why or None,
        "averted": one.averted,
    }


def as_json(report: Report) -> dict[str, Any]:
    """Everything as plain values, for `--json`."""
    every = range(len(report.grid.settings))
    chosen = report.choice.setting
    return {
        "partial": report.is_partial,
        "passages": [
            {
                "name": part.name,
                "lines": one.lines,
                "whole": one.is_whole,
                "truth": "exercise" if one.has_truth else "hindsight",
                "never_on_the_plot": list(one.untracked),
                **counted(part.figures),
            }
            for part, one in zip(report.passages, report.outcomes, strict=True)
        ],
        "passages_planned": report.planned,
        "failed": list(report.failed),
        "rules": list(report.grid.rules),
        "late_min": report.late_min,
        "limits_by": str(report.bootstrap.by),
        **counted(report.whole.figures),
        "unjudged_why": report.unjudged(),
        "settings": [
            {
                "name": report.grid.name(setting),
                "values": settings_row(report, setting),
                **row(report.whole.figures, setting),
                "limits": limits_row(report, setting),
                "by_condition": {part.name: row(part.figures, setting) for part in report.conditions}
                if len(report.conditions) > 1
                else None,
            }
            for setting in every
        ],
        "conditions": {part.name: counted(part.figures) for part in report.conditions},
        "front": list(report.front),
        "recommended": chosen,
        "why": report.choice.why,
        "nearest": report.choice.nearest,
        "compared": list(report.pair) if report.pair else None,
        "differences": [
            {
                "figure": one.figure,
                "unit": one.unit,
                "difference": plain(one.difference),
                "low": plain(one.low),
                "high": plain(one.high),
                "differ_in": one.differ_in,
                "more_than_chance": one.is_more_than_chance,
            }
            for one in report.differences
        ],
        "encounters_found": [encounter_row(one) for one in report.whole.pooled.encounters],
        "caution": PROMISE,
    }


def limits_row(report: Report, setting: int) -> dict[str, list[float | None]]:
    """95 % limits by the figure's name, low and high; None where there are none."""
    return {name: [plain(low), plain(high)] for name, (low, high) in report.limits(setting).items()}
