"""One vessel, two tracks, through the whole lookout: one line, one alert, and what radar and AIS tell of each other."""

from collections.abc import Iterable, Sequence

import pytest

from alerts.events import Alert, AnyEvent, Pair, Plot
from alerts.lookout import Lookout
from alerts.plotting.terms import AlertState, PairState
from parsers import observations as seen
from tests.alerts.ais_air import AIS, Own, Vessel, run
from tests.alerts.watch import START_MS, moment, notes

OWN = Own(course_deg=0, speed_kn=8)
COMING = Vessel(44, 2.6, 260, 10, 219000123)
CLEAR = Vessel(300, 3.0, 10, 12, 219000124)
Lines = list[tuple[float, seen.Observation]]


def at_s(event: AnyEvent) -> float:
    return (event.time.utc_ms - START_MS) / 1000


def ais(vessel: Vessel, seconds: Iterable[int]) -> Lines:
    return [(second + 0.3, vessel.reports(second + 0.3)) for second in seconds]


def radar(vessel: Vessel, number: int, seconds: Iterable[int], bias_deg: float = 0.0) -> Lines:
    return [(second + 0.6, vessel.echo(second + 0.6, OWN, number, bias_deg)) for second in seconds]


def named(vessel: Vessel, name: str) -> Lines:
    return [(4.0, seen.AisStatic(at_s=4.0, source=AIS, mmsi=vessel.mmsi, name=name))]


def ids(said: Sequence[AnyEvent], rule: str = "closest_approach") -> list[int]:
    return sorted({event.id for event in said if isinstance(event, Alert) and event.rule == rule})


def pairs(said: Sequence[AnyEvent]) -> list[tuple[str, str | None]]:
    return [(event.state, event.speaks) for event in said if isinstance(event, Pair)]


def test_one_name_for_both() -> None:
    """Joined soon after radar has settled; radar's plots then carry the AIS name, or her number if she has none."""
    said = run(
        Lookout(),
        OWN,
        [
            *ais(COMING, range(5, 90, 10)),
            *radar(COMING, 1, range(3, 90, 3)),
            *named(COMING, "SHELDUCK"),
            *ais(CLEAR, range(5, 90, 10)),
            *radar(CLEAR, 2, range(3, 90, 3)),
        ],
        (0, 90),
    )
    last = {event.target: event.name for event in said if isinstance(event, Plot)}
    joined = [event for event in said if isinstance(event, Pair)]

    assert last == {
        "radar-01": "SHELDUCK",
        "ais-219000123": "SHELDUCK",
        "radar-02": "ais-219000124",
        "ais-219000124": "",
    }
    assert sorted((event.target, event.ais, event.state, event.speaks) for event in joined) == [
        ("radar-01", "ais-219000123", PairState.JOINED, "radar-01"),
        ("radar-02", "ais-219000124", PairState.JOINED, "radar-02"),
    ]
    assert all(event.time.utc_ms < 1_800_000_075_000 for event in joined)


def test_never_two_alerts_for_one_vessel() -> None:
    """AIS is heard first and alarmed of; when radar is joined, the alarm goes on under radar's track with its id, and
    the state that the watchkeeper has put it in."""
    lookout = Lookout()
    said = run(lookout, OWN, ais(COMING, range(5, 60, 10)), (0, 60))
    (first,) = ids(said)
    lookout.acknowledge(moment(59.9), first)
    later = run(lookout, OWN, [*ais(COMING, range(65, 200, 10)), *radar(COMING, 1, range(61, 200, 3))], (60, 200))
    alerts = [event for event in later if isinstance(event, Alert) and event.rule == "closest_approach"]

    assert {event.id for event in alerts} == {first}
    assert alerts[-1].target == "radar-01"
    assert alerts[-1].state is AlertState.ACTIVE_ACKNOWLEDGED
    standing = lookout.judging.alerts.standing(moment(200.0))
    assert len([alert for alert in standing if alert.rule == "closest_approach"]) == 1


def test_change_over_raises_nothing_anew() -> None:
    """Radar loses her; AIS speaks, the same alarm goes on acknowledged, and no loss is told. Radar has her again, and
    speaks again: still the one alarm."""
    lookout = Lookout()
    lines = [*ais(COMING, range(5, 300, 10)), *radar(COMING, 1, [*range(3, 90, 3), *range(150, 300, 3)])]
    said = run(lookout, OWN, [line for line in lines if line[0] < 80], (0, 80))
    held = {alert.id for alert in lookout.judging.alerts.standing(moment(80.0)) if alert.rule == "closest_approach"}
    lookout.acknowledge(moment(79.9))
    later = run(lookout, OWN, [line for line in lines if line[0] >= 80], (80, 300))
    alerts = [event for event in later if isinstance(event, Alert) and event.rule == "closest_approach"]

    assert ids(said)
    assert len(held) == 1
    assert {alert.id for alert in alerts} == held
    assert [alert.target for alert in alerts if "is" in str(alert.values["change"])][-2:] == [
        "ais-219000123",
        "radar-01",
    ]
    assert {alert.state for alert in alerts} <= {AlertState.ACTIVE_ACKNOWLEDGED, AlertState.NORMAL}
    assert not ids(later, "lost_target")
    assert pairs(later) == [("joined", "ais-219000123"), ("joined", "radar-01")]
    back = next(event for event in later if isinstance(event, Pair) and event.speaks == "radar-01")
    settled = next(
        event
        for event in later
        if isinstance(event, Plot) and event.target == "radar-01" and event.cpa_nm is not None and at_s(event) > 150
    )
    assert 10 <= at_s(back) - at_s(settled) <= 12, "radar speaks again when it has been settled for ten seconds"


def test_the_radar_track_ends_for_good() -> None:
    """The number goes to another vessel: her AIS goes on for her, with her alarm."""
    lookout = Lookout()
    said = run(
        lookout,
        OWN,
        [
            *ais(COMING, range(5, 200, 10)),
            *radar(COMING, 1, range(3, 90, 3)),
            *radar(CLEAR, 1, range(93, 200, 3)),
        ],
        (0, 200),
    )
    standing = [alert for alert in lookout.judging.alerts.standing(moment(200.0)) if alert.rule == "closest_approach"]

    assert [alert.target for alert in standing] == ["ais-219000123"]
    assert not [event for event in said if isinstance(event, Alert) and event.values.get("lost")]
    assert ("parted", None) in pairs(said)


def test_what_is_lost_by_both_is_told_lost_once() -> None:
    """Radar and AIS both fall silent: a danger that is not seen any more is told, once, by one track."""
    lookout = Lookout()
    said = run(lookout, OWN, [*ais(COMING, range(5, 90, 10)), *radar(COMING, 1, range(3, 90, 3))], (0, 260))
    lost = {(event.id, event.rule) for event in said if isinstance(event, Alert) and event.values.get("lost")}

    assert len([one for one in lost if one[1] == "closest_approach"]) == 1


def test_a_heading_error_is_named_with_its_figures() -> None:
    """Three vessels, radar 2 degrees high: within 5 min to 0.3 degrees, and told once."""
    vessels = [COMING, CLEAR, Vessel(170, 4.0, 350, 14, 219000125)]
    lines = [line for i, vessel in enumerate(vessels) for line in radar(vessel, i + 1, range(3, 300, 3), 2.0)]
    lines += [line for vessel in vessels for line in ais(vessel, range(5, 300, 10))]
    told = [text for text in notes(run(Lookout(), OWN, lines, (0, 300))) if "alike" in text]

    assert len(told) == 1
    assert "in 3 pairs: radar bearings " in told[0]
    assert float(told[0].split("bearings ")[1].split("°")[0]) == pytest.approx(2.0, abs=0.3)
    assert "too high" in told[0]


def test_lone_tracks_close_by_are_told_once() -> None:
    """An AIS vessel without an echo and an echo without AIS, within 2 NM, beside a pair that shows both at work."""
    quiet, blind = Vessel(120, 1.2, 0, 8, 219000126), Vessel(220, 1.0, 0, 7)
    far = Vessel(90, 3.0, 0, 8, 219000127)
    lines = [
        *ais(CLEAR, range(5, 400, 10)),
        *radar(CLEAR, 1, range(3, 400, 3)),
        *ais(quiet, range(5, 400, 10)),
        *ais(far, range(5, 400, 10)),
        *radar(blind, 2, range(3, 400, 3)),
    ]
    told = [text for text in notes(run(Lookout(), OWN, lines, (0, 400))) if "AIS" in text]

    assert sorted(text.split(" NM")[0][:-1] for text in told) == ["ais-219000126: AIS 1.2", "radar-02: 1.0"]


def test_without_ais_nothing_is_said_or_done() -> None:
    said = run(Lookout(), OWN, radar(COMING, 1, range(3, 300, 3)), (0, 300))

    assert notes(said) == []
    assert pairs(said) == []


def test_flushing_seldom_changes_nothing() -> None:
    lines = [
        *ais(COMING, range(5, 200, 10)),
        *radar(COMING, 1, range(3, 120, 3)),
        *named(COMING, "SHELDUCK"),
        *ais(CLEAR, range(5, 200, 10)),
    ]

    often = run(Lookout(), OWN, list(lines), (0, 200))
    assert often == run(Lookout(), OWN, list(lines), (0, 200), flush_every=41)
    assert pairs(often)


def test_a_danger_by_radar_is_not_called_lost_when_the_vessel_is_first_heard_by_ais() -> None:
    """Nor is it told of twice while the two are found to be one: radar knew her first, and goes on to speak for her."""
    said = run(Lookout(), OWN, [*radar(COMING, 1, range(3, 150, 3)), *ais(COMING, range(80, 150, 10))], (0, 150))
    dangers = [event for event in said if isinstance(event, Alert) and event.rule == "closest_approach"]

    assert pairs(said) == [("joined", "radar-01")]
    assert {event.target for event in dangers} == {"radar-01"}
    assert not [event for event in dangers if "LOST" in event.text]
