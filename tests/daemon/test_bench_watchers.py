"""The sweep by arrays against the rules themselves, on drawn traffic in which everything happens: gaps, losses, targets
let go, targets found to be one vessel in the middle of a danger, conditions that change."""

import numpy as np
import pytest
from msgspec import structs
from numpy.random import Generator, default_rng

from alerts.events import Instant, Moment, Plot
from alerts.lookout import LookoutSettings
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.motion import assess
from alerts.plotting.plot_event import plot_event, rounded
from alerts.plotting.terms import Check, Encounter, TrackState
from alerts.rules.latch import Latch, advance
from alerts.rules.situation import Situation, TargetHealth
from daemon.bench.abreast import Abreast
from daemon.bench.closest import told
from daemon.bench.grid import Grid, grid_of
from daemon.bench.latches import Latches
from daemon.bench.limits import columns_of
from daemon.bench.lives import Change
from daemon.bench.near import Near, What
from daemon.bench.observer import Watcher
from daemon.config import Config, from_values
from parsers.observations import MotionReference, Source, TargetReport

CONFIG = {
    "alerts": {
        "life": {"keep_rectified_min": 2, "keep_lost_min": 1, "flap_changes": 3, "flap_window_s": 200},
        "closest_approach": {"conditions": ["open water", "coastal"]},
    }
}
SWEEPS = (
    "cpa_nm=0.3,0.6,1.2",
    "tcpa_min=5,15",
    "probability=0.2,0.5,0.8",
    "basis=recomputed,reported,either",
    "hold_s=0,12",
    "clear_hold_s=0,30",
)
OWN = OwnMotion(0.0, 0.0, 0.0, 3.0, 4.0, 0.1, MotionReference.GROUND, 30.0, 0.5)
SECONDS = 500


class Traffic:
    """Four targets that wander about, each with a motion that is drawn anew now and then."""

    def __init__(self, seed: int, watchers: list[Watcher]) -> None:
        self.rng: Generator = default_rng(seed)
        self.watchers = watchers
        self.plots: dict[str, Plot] = {}
        self.seen_s: dict[str, float] = {}
        self.due_s = dict.fromkeys(("radar-01", "radar-02", "ais-03", "mark-1"), 1.0)
        self.states = {key: self._state() for key in self.due_s}

    def _state(self) -> np.ndarray:
        place = self.rng.normal(size=2) * 2.0
        return np.concatenate([place, -place * self.rng.uniform(2, 12) + self.rng.normal(size=2) * 3.0])

    def run(self) -> None:
        for second in range(1, SECONDS):
            self._tick(moment(float(second)))
            for key in list(self.due_s):
                if second + 0.25 >= self.due_s[key]:
                    self._plot(key, moment(second + 0.25))
            chance = self.rng.random()
            if chance < 0.012:
                self._carry(moment(second + 0.5))
            elif chance < 0.018:
                name = ("open water", "harbour", "coastal")[self.rng.integers(3)]
                for watcher in self.watchers:
                    watcher.moment = moment(second + 0.5)
                    watcher.set_condition(name)
        for watcher in self.watchers:
            watcher.close(moment(float(SECONDS)))

    def _plot(self, key: str, at: Moment) -> None:
        state = self.states[key]
        state[:2] += state[2:] * (at.at_s - self.seen_s.get(key, at.at_s)) / 3600 * 6  # six times as fast
        if self.rng.random() < 0.04:
            self.states[key] = state = self._state()
        east, north, ve, vn = state + np.concatenate([self.rng.normal(size=2) * 0.02, self.rng.normal(size=2) * 0.5])
        sd, spread = 0.0005, self.rng.uniform(0.05, 3.0)
        covariance = (sd, 0.0, 0.0, 0.0, sd, 0.0, 0.0, spread, 0.0, spread)
        estimate = Estimate(
            at.at_s, east, north, ve + 3, vn + 4, covariance, TrackState.STEADY, self.rng.random() > 0.1, 9
        )
        bearing = float(np.degrees(np.arctan2(east, north)) % 360.0)
        look = Look(at.at_s, float(np.hypot(east, north)), bearing, OWN)
        assessment = assess([estimate], [OWN], 0.5)
        answer, shown = assessment.rows()[0], rounded(assessment)[0]
        cpa, tcpa = float(self.rng.uniform(0, 1.5)), float(self.rng.uniform(-2, 16))
        report = TargetReport(
            at_s=at.at_s,
            source=Source("r", "RA", "TTM"),
            number=1,
            range_nm=1.0,
            bearing_deg=0.0,
            cpa_nm=cpa,
            tcpa_min=tcpa,
        )
        check = Check.SETTLING if self.rng.random() < 0.2 else Check.AGREES
        plot = plot_event(at, key, "", look, estimate, answer, shown, Encounter.UNSETTLED, (check, None), report)
        self.plots[key], self.seen_s[key] = plot, at.at_s
        self.due_s[key] = at.at_s + float(
            self.rng.choice([2.0, 3.0, 5.0, 25.0, 45.0, 90.0], p=[0.3, 0.3, 0.3, 0.06, 0.02, 0.02])
        )
        for watcher in self.watchers:
            watcher.look, watcher.estimate = look, estimate
            watcher.see_plot(at, plot)

    def _tick(self, at: Moment) -> None:
        for key in [key for key, seen_s in self.seen_s.items() if at.at_s - seen_s > 60.0]:
            del self.plots[key], self.seen_s[key]
        health = tuple(
            TargetHealth(key, TrackState.LOST if at.at_s - self.seen_s[key] > 20.0 else TrackState.STEADY, "r")
            for key in self.plots
        )
        for watcher in self.watchers:
            watcher.tick(at, Situation(targets=health))

    def _carry(self, at: Moment) -> None:
        old, new = self.rng.choice(sorted(self.due_s), size=2, replace=False).tolist()
        if old not in self.plots:
            return
        plot, seen_s = self.plots.pop(old), self.seen_s.pop(old)
        if new not in self.plots:
            self.plots[new], self.seen_s[new] = structs.replace(plot, target=new), seen_s
        for watcher in self.watchers:
            watcher.moment = at
            watcher.carry(old, new)


def moment(at_s: float) -> Moment:
    return Moment(at_s, Instant(round(at_s * 1000)))


def settings_of(config: Config) -> LookoutSettings:
    return LookoutSettings(alerts=config.alerts, conditions=config.conditions, condition=config.condition)


def both(seed: int, config: Config, grid: Grid) -> tuple[Near, Abreast]:
    every = [setting.limits for setting in grid.settings]
    near = Near(settings_of(config), columns_of(every))
    side_by_side = Abreast(settings_of(config), every, grid.rules)
    Traffic(seed, [near, side_by_side]).run()
    return near, side_by_side


def as_told(changes: list[Change]) -> list[tuple[int, str, str]]:
    return sorted((change.utc_ms, change.target, str(change.state)) for change in changes)


@pytest.mark.parametrize("seed", range(3))
def test_arrays_and_rules_tell_the_same(seed: int) -> None:
    """Each of the drawn settings, in a traffic where targets are lost, let go and carried while they are told."""
    config = from_values(CONFIG)
    grid = grid_of(config, SWEEPS)
    few = structs.replace(grid, settings=tuple(grid.settings[one] for one in default_rng(seed).choice(217, 25)))
    near, side_by_side = both(seed, config, few)
    found: list[list[Change]] = [[] for _ in few.settings]
    for one in told(near, config.alerts):
        for setting in one.settings:
            found[setting] += one.changes

    assert [as_told(one) for one in found] == [as_told(watch.changes.all) for watch in side_by_side.watches]
    # What the test is for did happen.
    assert {turn.what for turn in near.turns} >= {What.LOST, What.GONE, What.CARRIED}
    assert sum(bool(one) for one in found) > 15


def test_latches_moved_together_are_the_latch() -> None:
    """Plot by plot, hold and clear drawn for each of fifty settings: as one latch at a time."""
    rng = default_rng(4)
    hold, clear = rng.choice([0.0, 6.0, 20.0], 50), rng.choice([0.0, 20.0], 50)
    together, alone = Latches(50), [Latch() for _ in range(50)]
    at_s = 0.0
    for _ in range(300):
        at_s += float(rng.choice([2.5, 2.5, 2.5, 40.0]))
        enter, stay = rng.random(50) < 0.5, rng.random(50) < 0.5
        is_set = together.advance(at_s, enter, stay, hold, clear)
        for k, latch in enumerate(alone):
            advance(latch, at_s, bool(enter[k]), bool(stay[k]), float(hold[k]), float(clear[k]))

        assert is_set.tolist() == [latch.is_set for latch in alone]
