"""The rules on a target's being there: guard_zone, new_target, lost_target, target_manoeuvre."""

from alerts.events import Plot
from alerts.plotting.terms import Passing, Priority, TrackState
from alerts.rules import wording, zones
from alerts.rules.board import Board, Case
from alerts.rules.findings import Value
from alerts.rules.followed import Followed
from alerts.rules.latch import Latch, advance
from alerts.settings import Condition, LostTarget, Zone


def see_zones(board: Board, followed: Followed, at_s: float, in_grace: bool) -> None:
    """Moves the latches of all guard zones; in grace, what is inside is only remembered."""
    rule, plot = board.settings.guard_zone, followed.plot
    for name, zone in rule.zones.items():
        latch = followed.zones.setdefault(name, Latch())
        bearing = zones.zone_bearing_deg(plot, zone)
        enter = bool(zones.zone_enter(plot.range_nm, bearing, zone))
        stay = bool(zones.zone_stay(plot.range_nm, bearing, zone, rule.clear_ratio, rule.clear_margin_deg))
        advance(latch, at_s, enter, stay, rule.hold_s, rule.clear_hold_s)
        if enter and in_grace:
            followed.in_grace.add(name)
        elif not (enter or stay):
            followed.in_grace.discard(name)
        _settle_zone(board, followed, name, latch)


def is_zone_on(board: Board, zone: Zone) -> bool:
    """Whether a guard zone is in force in the condition that is."""
    return board.is_on("guard_zone") and (not zone.conditions or board.condition_name in zone.conditions)


def _settle_zone(board: Board, followed: Followed, name: str, latch: Latch) -> None:
    zone = board.settings.guard_zone.zones[name]
    wanted = latch.is_set and is_zone_on(board, zone) and name not in followed.in_grace
    plot = followed.plot
    board.settle(("guard_zone", plot.target, name), wanted, lambda: zone_case(plot, name, zone), reason="left the zone")


def zone_case(plot: Plot, name: str, zone: Zone) -> Case:
    """What the alert says of a target in this zone."""
    text = wording.sentence(
        plot,
        f"in guard zone {wording.clean(name)}",
        f"{plot.range_nm:.2f} NM",
        wording.bearing(plot),
        wording.approach(plot) if plot.cpa_nm is not None else "",
    )
    values: dict[str, Value] = {
        "zone": name,
        "range_nm": plot.range_nm,
        "bearing_deg": plot.bearing_deg,
        "relative_bearing_deg": plot.relative_bearing_deg,
        "from_nm": zone.from_nm,
        "to_nm": zone.to_nm,
        "from_deg": zone.from_deg,
        "to_deg": zone.to_deg,
        "reference": str(zone.reference),
    }
    return Case(text, values)


def settle_grace(board: Board, followed: list[Followed]) -> None:
    """When the grace is over, name once, in a caution, those that were in a zone all along."""
    for name in board.settings.guard_zone.zones:
        inside = [one.plot.target for one in followed if name in one.in_grace]
        wanted = bool(inside) and board.is_on("guard_zone")
        _settle_grace_zone(board, name, inside, wanted)


def _settle_grace_zone(board: Board, zone: str, inside: list[str], wanted: bool) -> None:
    def case() -> Case:
        names = ", ".join(inside[:5]) + (" and others" if len(inside) > 5 else "")
        text = f"guard zone {wording.clean(zone)}: {len(inside)} inside since the start of the watch: {names}"
        return Case(text, {"zone": zone, "targets": len(inside)}, Priority.CAUTION)

    board.settle(("guard_zone", None, zone), wanted, case, reason="all have left")


# ------------------------------------------------------------------------------------- new, manoeuvre, lost


def see_new(board: Board, followed: Followed, at_s: float, there_at_start: bool) -> None:
    """A target first seen after the start, inside the range: told for `show_s`."""
    plot, rule = followed.plot, board.settings.new_target
    young = at_s - followed.first_s < rule.hold_s + rule.show_s
    enter = young and not there_at_start and plot.range_nm <= rule.range_nm
    advance(followed.new, at_s, enter, young, rule.hold_s, 0.0)
    wanted = followed.new.is_set and young and board.is_on("new_target")
    board.settle(("new_target", plot.target, ""), wanted, lambda: _new_case(plot), reason="shown")


def _new_case(plot: Plot) -> Case:
    text = wording.sentence(plot, "new target", f"{plot.range_nm:.2f} NM", wording.where(plot))
    return Case(text, {"range_nm": plot.range_nm, "bearing_deg": plot.bearing_deg})


def see_manoeuvre(board: Board, followed: Followed, at_s: float) -> None:
    """A target whose track manoeuvres, inside the range."""
    plot, rule = followed.plot, board.settings.target_manoeuvre
    altering = plot.track is TrackState.MANOEUVRING and plot.range_nm <= rule.range_nm
    advance(followed.manoeuvre, at_s, altering, altering, rule.hold_s, rule.clear_hold_s)
    wanted = followed.manoeuvre.is_set and board.is_on("target_manoeuvre")
    board.settle(
        ("target_manoeuvre", plot.target, ""),
        wanted,
        lambda: _manoeuvre_case(plot, rule.range_nm),
        reason="steady again",
    )


def _manoeuvre_case(plot: Plot, limit_nm: float) -> Case:
    text = wording.sentence(
        plot, "alters course or speed", f"{plot.range_nm:.2f} NM", wording.bearing(plot), wording.approach(plot)
    )
    return Case(text, {"range_nm": plot.range_nm, "bearing_deg": plot.bearing_deg, "range_limit_nm": limit_nm})


def settle_lost(board: Board, followed: Followed, scale_nm: float | None, holder: str) -> None:
    """A lost track, unless it left in a way that needs no alert, or `holder` tells it already."""
    plot = followed.plot
    rule = board.settings.lost_target
    wanted = followed.is_lost and board.is_on("lost_target") and not departure(plot, scale_nm, rule, board.condition)
    board.settle(
        ("lost_target", plot.target, ""), wanted, lambda: lost_case(plot), reason="found again", held_by=holder
    )


def departure(plot: Plot, scale_nm: float | None, rule: LostTarget, condition: Condition) -> str:
    """Why the loss of this target needs no alert; empty where it does. A pure function of its last plot."""
    opening = plot.passing is Passing.OPENING or (plot.tcpa_min is not None and plot.tcpa_min < 0)
    if plot.observations < rule.observations:
        return "no track yet"
    if plot.range_nm > rule.range_nm:
        return "left by range"
    if scale_nm is not None and (plot.range_nm > scale_nm or (opening and plot.range_nm > rule.edge_ratio * scale_nm)):
        return "left by range"
    for zone in rule.except_zones.values():
        if zones.zone_enter(plot.range_nm, zones.zone_bearing_deg(plot, zone), zone):
            return "left by zone"
    in_company = plot.cpa_high_nm is not None and plot.cpa_high_nm >= plot.range_nm  # whether it opens is not known
    if opening and not in_company and plot.range_nm > condition.cpa_nm:
        return "passed clear"
    return ""


def lost_case(plot: Plot) -> Case:
    """What the alert says of a lost target."""
    values: dict[str, Value] = {
        "range_nm": plot.range_nm,
        "bearing_deg": plot.bearing_deg,
        "cpa_nm": plot.cpa_nm,
        "tcpa_min": plot.tcpa_min,
        "last_seen": str(plot.time),
    }
    return Case(wording.lost(plot), values)
