"""The limits of closest_approach of all settings as columns: what the vectorised sweep holds plots against."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.rules.board import Board
from alerts.settings import Basis
from daemon.bench.grid import CLOSEST, Limits

Floats = npt.NDArray[np.float64]

CHANCE_MARGIN = 0.05
"""Chances at two limits are worked out each for itself, to 0.01; this much is left between 'may be' and 'is'."""


class Columns(Struct, frozen=True):
    """S settings, C conditions. `cpa_at` says at which of the distinct `cpas` a setting's limit stands."""

    conditions: tuple[str, ...]
    cpas: Floats
    cpa_nm: Floats  # (C, S)
    cpa_at: npt.NDArray[np.intp]  # (C, S)
    tcpa_min: Floats  # (C, S)
    probability: Floats  # (S,)
    clear_ratio: Floats  # (S,)
    hold_s: Floats  # (S,)
    clear_hold_s: Floats  # (S,)
    bases: tuple[Basis, ...]
    is_on: npt.NDArray[np.bool_]  # (C,): the same for all settings


class Loosest(Struct, frozen=True):
    """By condition (C,): beyond these no setting raises, and none stays. Chance, hold and bases over all settings."""

    cpa_nm: Floats
    cpa_at: npt.NDArray[np.intp]
    tcpa_min: Floats
    stay_cpa_nm: Floats
    stay_tcpa_min: Floats
    probability: float
    clear_hold_s: float
    ours: bool
    theirs: bool


def columns_of(settings: Sequence[Limits]) -> Columns:
    """The columns of settings that differ in the swept keys of closest_approach alone."""
    names = tuple(settings[0].conditions)
    rules = [one.alerts.closest_approach for one in settings]
    cpa_nm = np.array([[one.conditions[name].cpa_nm for one in settings] for name in names])
    cpas, cpa_at = np.unique(cpa_nm, return_inverse=True)
    first = settings[0]
    return Columns(
        conditions=names,
        cpas=cpas,
        cpa_nm=cpa_nm,
        cpa_at=cpa_at.reshape(cpa_nm.shape),
        tcpa_min=np.array([[one.conditions[name].tcpa_min for one in settings] for name in names]),
        probability=np.array([rule.probability for rule in rules]),
        clear_ratio=np.array([rule.clear_ratio for rule in rules]),
        hold_s=np.array([rule.hold_s for rule in rules]),
        clear_hold_s=np.array([rule.clear_hold_s for rule in rules]),
        bases=tuple(rule.basis for rule in rules),
        is_on=np.array([Board(first.alerts, first.conditions, name).is_on(CLOSEST) for name in names]),
    )


def loosest_of(columns: Columns) -> Loosest:
    """The bounds of all settings together."""
    return Loosest(
        cpa_nm=columns.cpa_nm.max(axis=1),
        cpa_at=columns.cpa_at.max(axis=1),
        tcpa_min=columns.tcpa_min.max(axis=1),
        stay_cpa_nm=(columns.cpa_nm * columns.clear_ratio).max(axis=1),
        stay_tcpa_min=(columns.tcpa_min * columns.clear_ratio).max(axis=1),
        probability=float(columns.probability.min()) - CHANCE_MARGIN,
        clear_hold_s=float(columns.clear_hold_s.max()),
        ours=any(basis is not Basis.REPORTED for basis in columns.bases),
        theirs=any(basis is not Basis.RECOMPUTED for basis in columns.bases),
    )
