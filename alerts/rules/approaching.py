"""The rules on an approaching target: closest_approach, and what it holds back, steady_bearing and bow_crossing."""

from collections.abc import Callable

from alerts.events import Plot
from alerts.rules import approach, wording
from alerts.rules.approach import DriftLimits, Figures
from alerts.rules.board import Board, Case
from alerts.rules.findings import Key, Phase, Value
from alerts.rules.followed import Followed
from alerts.rules.latch import Latch, advance
from alerts.settings import Basis, BowCrossing, ClosestApproach, Condition, Rule, SteadyBearing

BY_HAND = "mark-"
"""How the targets are named that an operator plots with EBL and VRM."""


def see_approach(board: Board, followed: Followed, at_s: float) -> None:
    """Move the three latches by the latest plot and settle what is told: one situation, one alert."""
    plot, limits, rules = followed.plot, board.condition, board.settings
    f = approach.figures(plot)
    by_hand = plot.target.startswith(BY_HAND)
    move_closest(followed.closest, at_s, f, limits, rules.closest_approach, by_hand)
    move_steady(followed.steady, at_s, f, limits, rules.steady_bearing, by_hand)
    move_bow(followed.bow, at_s, f, limits, rules.bow_crossing, by_hand)
    on = board.is_on("closest_approach")
    closest = followed.closest.is_set and on
    # While it is being held it is about to tell the same situation: nothing else begins to.
    pending = followed.closest.is_inside and on
    why = "past its CPA" if plot.tcpa_min is not None and plot.tcpa_min < 0 else "beyond the limits"
    _settle_closest(board, followed, closest, why)
    _settle_held(board, followed, "steady_bearing", followed.steady, steady_case, closest, pending, why)
    _settle_held(board, followed, "bow_crossing", followed.bow, bow_case, closest, pending, why)


def _settle_held(
    board: Board,
    followed: Followed,
    rule: str,
    latch: Latch,
    compose: Callable[[Plot, Board], Case],
    closest: bool,
    pending: bool,
    why: str,
) -> None:
    """What was held back comes up only if it is true now, not while it is on its way to be cleared."""
    plot = followed.plot
    key: Key = (rule, plot.target, "")
    told = key in board.told
    holder = "closest_approach" if closest or (pending and not told) else ""
    wanted = latch.is_set and board.is_on(rule) and (latch.is_inside or told)
    board.settle(key, wanted, lambda: compose(plot, board), reason=why, held_by=holder)


# --------------------------------------------------------------------------------------- moving the latches


def move_closest(
    latch: Latch, at_s: float, f: Figures, limits: Condition, rule: ClosestApproach, by_hand: bool = False
) -> None:
    """Moves the latch of `closest_approach` by one plot at `at_s`. `by_hand`: without a hold."""
    enter = bool(approach.closest_enter(f, limits.cpa_nm, limits.tcpa_min, rule.probability, rule.basis))
    stay = latch.is_open and approach.closest_stay(f, limits.cpa_nm, limits.tcpa_min, rule.clear_ratio, rule.basis)
    advance(latch, at_s, enter, bool(stay), _hold_s(rule, by_hand), rule.clear_hold_s)


def _hold_s(rule: Rule, by_hand: bool) -> float:
    """A plot by hand is a line through three marks or more, minutes apart: what it says has held for as long."""
    return 0.0 if by_hand else rule.hold_s


def drift_limits(limits: Condition, rule: SteadyBearing) -> DriftLimits:
    """What a drift is held against in this condition, for one plot."""
    return DriftLimits(rule.pass_ratio * limits.cpa_nm, rule.tcpa_min, rule.range_nm, limits.close_nm, rule.doubt)


def move_steady(
    latch: Latch, at_s: float, f: Figures, limits: Condition, rule: SteadyBearing, by_hand: bool = False
) -> None:
    """The same for `steady_bearing`."""
    is_open, enter, stay = latch.is_open, False, False
    if is_open or f.tcpa_min > 0:  # a target that does not approach can't enter
        drift = drift_limits(limits, rule)
        enter = bool(approach.steady_enter(f, drift))
        stay = is_open and bool(approach.steady_stay(f, drift, rule.clear_ratio))
    advance(latch, at_s, enter, stay, _hold_s(rule, by_hand), rule.clear_hold_s)


def move_bow(
    latch: Latch, at_s: float, f: Figures, limits: Condition, rule: BowCrossing, by_hand: bool = False
) -> None:
    """The same for `bow_crossing`."""
    enter = bool(approach.bow_enter(f, limits.bow_crossing_nm, limits.bow_crossing_min))
    stay = latch.is_open and approach.bow_stay(f, limits.bow_crossing_nm, limits.bow_crossing_min, rule.clear_ratio)
    advance(latch, at_s, enter, bool(stay), _hold_s(rule, by_hand), rule.clear_hold_s)


# ------------------------------------------------------------------------------------- telling of the danger


def _settle_closest(board: Board, followed: Followed, wanted: bool, why: str) -> None:
    key = ("closest_approach", followed.plot.target, "")
    was_told = key in board.told
    board.settle(key, wanted, lambda: closest_case(followed, board), reason=why)
    if not wanted:
        followed.told_cpa_nm, followed.told_again = None, False
    elif was_told:
        _tell_worse(board, followed)
    else:
        followed.told_cpa_nm = followed.plot.cpa_nm
        followed.told_again = _is_near(board, followed.plot)


def _is_near(board: Board, plot: Plot) -> bool:
    return plot.tcpa_min is not None and plot.tcpa_min <= board.settings.closest_approach.again_min


def _tell_worse(board: Board, followed: Followed) -> None:
    """Say so when the CPA has fallen by a further step, and once when the time is short."""
    plot, rule = followed.plot, board.settings.closest_approach
    if plot.tcpa_min is None or plot.tcpa_min < 0:
        return  # what is past gets no worse
    told, why = followed.told_cpa_nm, ""
    if plot.cpa_nm is not None and (told is None or plot.cpa_nm <= told - rule.worse_nm):
        followed.told_cpa_nm = plot.cpa_nm
        why = "" if told is None else f"CPA down from {told:.2f} NM"
    if not followed.told_again and _is_near(board, plot):
        followed.told_again = True
        why = why or f"TCPA down to {rule.again_min:g} min"
    if why:
        board.say(("closest_approach", plot.target, ""), Phase.WORSENED, closest_case(followed, board), why)


# --------------------------------------------------------------------------------------- texts and values


def closest_case(followed: Followed, board: Board) -> Case:
    """What the alert says; in `values` the state of the rules that it holds back."""
    plot, limits, rule = followed.plot, board.condition, board.settings.closest_approach
    theirs = "" if rule.basis is Basis.RECOMPUTED else wording.reported(plot)
    text = wording.sentence(plot, wording.approach(plot), wording.passing(plot), wording.bearing(plot), theirs)
    values: dict[str, Value] = {
        **_measured(plot),
        "inside_probability": plot.inside_probability,
        "reported_cpa_nm": plot.reported_cpa_nm,
        "reported_tcpa_min": plot.reported_tcpa_min,
        "cpa_limit_nm": limits.cpa_nm,
        "tcpa_limit_min": limits.tcpa_min,
        "probability_limit": rule.probability,
        "basis": str(rule.basis),
        "condition": board.condition_name,
        "steady_bearing": followed.steady.is_set,
        "bow_crossing": followed.bow.is_set,
    }
    return Case(text, values)


def _measured(plot: Plot) -> dict[str, Value]:
    return {
        "range_nm": plot.range_nm,
        "bearing_deg": plot.bearing_deg,
        "cpa_nm": plot.cpa_nm,
        "cpa_low_nm": plot.cpa_low_nm,
        "cpa_high_nm": plot.cpa_high_nm,
        "tcpa_min": plot.tcpa_min,
    }


def steady_case(plot: Plot, board: Board) -> Case:
    """What the alert says, with the drift and the limit of this range in degrees a minute."""
    rule, limits = board.settings.steady_bearing, board.condition
    rate, sd = plot.bearing_rate_deg_min, plot.bearing_rate_sd_deg_min
    limit = None
    if plot.cpa_nm is not None and plot.tcpa_min is not None:
        pass_nm = rule.pass_ratio * limits.cpa_nm
        limit = round(float(approach.drift_limit_deg_min(plot.range_nm, plot.cpa_nm, plot.tcpa_min, pass_nm)), 3)
    drift = "" if rate is None or sd is None else f"drift {rate:+.1f} ± {sd:.1f}°/min"
    close = "range decreasing (Rule 7(d)(i))"
    if plot.range_nm <= limits.close_nm:
        close = "at close range (Rule 7(d)(ii))"
    elif drift and limit is not None:
        drift += f", limit {limit:.1f}"
    where = f"{plot.range_nm:.2f} NM, {close}"
    text = wording.sentence(plot, wording.bearing(plot), drift, where, wording.approach(plot))
    values: dict[str, Value] = {
        **_measured(plot),
        "bearing_rate_deg_min": rate,
        "bearing_rate_sd_deg_min": sd,
        "bearing_rate_limit_deg_min": limit,
        "range_limit_nm": rule.range_nm,
        "tcpa_limit_min": rule.tcpa_min,
        "close_limit_nm": limits.close_nm,
        "condition": board.condition_name,
    }
    return Case(text, values)


def bow_case(plot: Plot, board: Board) -> Case:
    """What the alert says: where and when the target crosses ahead."""
    limits = board.condition
    crossing = "no longer crosses ahead"
    if plot.bow_crossing_nm is not None and plot.bow_crossing_min is not None:
        crossing = f"crosses ahead at {plot.bow_crossing_nm:.2f} NM in {plot.bow_crossing_min:.1f} min"
    text = wording.sentence(plot, crossing, wording.approach(plot), wording.bearing(plot))
    values: dict[str, Value] = {
        **_measured(plot),
        "bow_crossing_nm": plot.bow_crossing_nm,
        "bow_crossing_min": plot.bow_crossing_min,
        "bow_crossing_limit_nm": limits.bow_crossing_nm,
        "bow_crossing_limit_min": limits.bow_crossing_min,
        "condition": board.condition_name,
    }
    return Case(text, values)
