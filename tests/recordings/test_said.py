"""What the program says of each passage, as recordings/README.md promises it: replayed with the built-in settings."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from daemon.main import main

FOLDER = Path(__file__).resolve().parent.parent.parent / "recordings"

Event = dict[str, Any]
Replay = Callable[..., list[Event]]


@pytest.fixture(scope="module")
def replay(tmp_path_factory: pytest.TempPathFactory) -> Replay:
    """Replays a passage with `closest_approach` and the rest as they come, and gives its events."""

    def run(name: str, *words: str) -> list[Event]:
        out = tmp_path_factory.mktemp("events") / f"{name}.jsonl"
        assert main(["replay", str(FOLDER / f"{name}.nmea.gz"), "--events", str(out), "--json", *words]) == 0
        return [json.loads(line) for line in out.read_text(encoding="utf-8").splitlines()]

    return run


def minute(event: Event, begin: str) -> float:
    """Minutes from the start, hh:mm, of the passage."""
    hours, minutes, seconds = (float(part) for part in event["time"][11:-1].split(":"))
    start = sum(int(part) * unit for part, unit in zip(begin.split(":"), (60, 1), strict=True))
    return (hours * 60 + minutes + seconds / 60 - start) % 1440


def raised(events: list[Event], rule: str) -> list[Event]:
    """The first event of each alert of a rule."""
    first: dict[int, Event] = {}
    for event in events:
        if event["event"] == "alert" and event["rule"] == rule:
            first.setdefault(event["id"], event)
    return list(first.values())


def who(events: list[Event], rule: str) -> set[str]:
    """The targets of whom a rule was raised."""
    return {event["target"] for event in raised(events, rule)}


def plots(events: list[Event], target: str) -> list[Event]:
    return [event for event in events if event["event"] == "plot" and event["target"] == target]


def test_fog_crossing(replay: Replay) -> None:
    """One alarm, 12 to 10 minutes before the CPA at 08:18; Little Egret lost and found; the range change told."""
    events = replay("fog-crossing")
    (alarm,) = raised(events, "closest_approach")
    (lost,) = raised(events, "lost_target")

    assert alarm["target"] == "radar-01"
    assert 6.0 <= minute(alarm, "08:00") <= 8.0
    assert lost["target"] == "radar-05"
    assert 9 < minute(lost, "08:00") < 10
    assert [minute(event, "08:00") for event in raised(events, "picture_changed")] == pytest.approx([12], abs=0.1)
    assert len(plots(events, "radar-05")) > 500, "found again, the same vessel goes on"


def test_harbour_approach(replay: Replay) -> None:
    """The ferry, which comes out at minute 10, and the buoy ahead of us; nobody else of sixteen."""
    events = replay("harbour-approach", "--condition", "harbour")
    alarms = raised(events, "closest_approach")

    assert who(events, "closest_approach") == {"radar-15", "radar-16"}
    assert 10 < minute(next(alarm for alarm in alarms if alarm["target"] == "radar-16"), "14:00") < 12
    assert len({event["target"] for event in events if event["event"] == "plot"}) == 16


def test_night_overtaking(replay: Replay) -> None:
    """The coaster overtakes us and comes close; the set's water reference is named from the stream."""
    events = replay("night-overtaking")
    causes = {event["check_cause"] for event in events if event["event"] == "plot" and event["check_cause"]}

    assert who(events, "closest_approach") == {"radar-01"}
    assert {event["encounter"] for event in plots(events, "radar-01") if 3 < minute(event, "23:30") < 10} == {
        "overtaking us"
    }
    assert any("water" in cause or "stream" in cause or "drift" in cause for cause in causes)


def test_head_up_no_heading(replay: Replay) -> None:
    """Course over ground stands in and is said to; the one on a collision course is found all the same."""
    events = replay("head-up-no-heading")
    (lost,) = raised(events, "heading_lost")

    assert "course over ground stands in" in lost["text"]
    assert who(events, "closest_approach") == {"radar-03"}


def test_wrong_speed_input(replay: Replay) -> None:
    """Within three minutes the cross-check names the set's speed input, with the vector; no collision alarm."""
    events = replay("wrong-speed-input")
    first = raised(events, "cross_check")[0]

    assert minute(first, "09:00") < 3
    causes = {event["check_cause"] for event in events if event["event"] == "plot" and event["check_cause"]}
    assert any("speed input" in cause and "five targets" in cause for cause in causes)
    assert not raised(events, "closest_approach")


def test_numbers_reused(replay: Replay) -> None:
    """Number 1 on another vessel is another track; after the swap no track is on the wrong vessel; no alarm."""
    events = replay("numbers-reused")
    second = plots(events, "radar-01.2")
    later = [event for event in events if event["event"] == "plot" and minute(event, "11:00") > 12]

    assert minute(plots(events, "radar-01")[-1], "11:00") < minute(second[0], "11:00")
    assert abs(second[0]["bearing_deg"] - plots(events, "radar-01")[-1]["bearing_deg"]) > 90
    for number, way in (("2", 190), ("3", 10)):  # as the set has them now: exchanged
        mine = [
            e["course_deg"] for e in later if e["target"].startswith(f"radar-0{number}") and e["course_deg"] is not None
        ]
        assert sum(abs((course - way + 180) % 360 - 180) < 10 for course in mine) > 0.9 * len(mine) > 50
    assert not raised(events, "closest_approach")


def test_sensor_failures(replay: Replay) -> None:
    """Heading and position lost and there again, each once; the collision course is alarmed of through it all."""
    events = replay("sensor-failures")
    (heading,) = raised(events, "heading_lost")
    (position,) = raised(events, "position_lost")
    ended = {e["rule"]: minute(e, "16:20") for e in events if e["event"] == "alert" and "clear" in str(e["values"])}

    assert 4 < minute(heading, "16:20") < 4.6
    assert 8 < minute(position, "16:20") < 8.6
    assert 6 < ended["heading_lost"] < 6.5
    assert 9.5 < ended["position_lost"] < 10
    assert who(events, "closest_approach") == {"radar-01"}


def test_late_turn(replay: Replay) -> None:
    """The turn is seen soon after minute 7, then the alarm; the other two stay quiet."""
    events = replay("late-turn")
    turned = next(event for event in raised(events, "target_manoeuvre") if event["target"] == "radar-01")
    (alarm,) = raised(events, "closest_approach")

    assert 7 < minute(turned, "07:45") < 8.5
    assert alarm["target"] == "radar-01"
    assert minute(turned, "07:45") < minute(alarm, "07:45") < 9.5


def test_heavy_traffic(replay: Replay) -> None:
    """A hundred tracks, three alarms: for those on their way to pass within 0.3 NM."""
    events = replay("heavy-traffic")
    (summary,) = [event for event in events if event["event"] == "summary"]

    assert summary["targets"] == 100
    assert len(who(events, "closest_approach")) == 3


def test_ebl_vrm_only(replay: Replay) -> None:
    """Two marks become targets; the first is on a steady bearing and alarmed of."""
    events = replay("ebl-vrm-only")

    assert {event["target"] for event in events if event["event"] == "plot"} == {"mark-1", "mark-2"}
    assert who(events, "closest_approach") == {"mark-1"}


def test_ais_beside_radar(replay: Replay) -> None:
    """Three pairs joined, the heading error named, Dunlin's place and Knot's missing echo told; nothing comes close."""
    events = replay("ais-beside-radar")
    notes = [event["text"] for event in events if event["event"] == "note"]
    joined = {event["name"] for event in events if event["event"] == "pair" and event["state"] == "joined"}
    (alike,) = [text for text in notes if "differ alike" in text]
    radar = {event["target"] for event in events if event["event"] == "plot" and event["target"].startswith("radar-")}

    assert len(radar) == 6
    assert joined == {"REDSHANK", "TURNSTONE", "SANDERLING"}
    assert abs(float(alike.split("bearings ")[1].split("°")[0]) - 2.0) <= 0.3
    assert [text for text in notes if "DUNLIN" in text and "not joined" in text]
    assert [text for text in notes if "KNOT" in text and "no tracked radar target" in text]
    assert not raised(events, "closest_approach")
