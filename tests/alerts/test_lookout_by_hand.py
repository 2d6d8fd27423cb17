"""The lookout with marks laid by hand, and with notes about the set: what is said in the stream."""

from collections.abc import Iterable

import pytest

from alerts.events import AnyEvent, Note, Plot
from alerts.lookout import Lookout, LookoutSettings, World
from alerts.plotting.lays import MarkSettings
from alerts.plotting.quality import QualitySettings
from parsers import observations as seen
from tests.alerts.watch import moment

GPS = seen.Source(feed="gps", talker="GP", formatter="RMC")
RSD = seen.Source(feed="radar", talker="RA", formatter="RSD")
TTM = seen.Source(feed="radar", talker="RA", formatter="TTM")
OFF = seen.RangeAndBearing(None, None)


def run(lookout: Lookout, seconds: int, lines: Iterable[tuple[float, seen.Observation]]) -> list[AnyEvent]:
    """Ticks once a second, own ship north at 8 kn on HDT, and the given observations in their places."""
    coming = sorted(lines, key=lambda line: line[0])
    said: list[AnyEvent] = []
    for second in range(seconds):
        at_s = float(second)
        lookout.tick(moment(at_s), World())
        own = (
            seen.GroundMotion(at_s=at_s, source=GPS, sog_kn=8.0, cog_deg=0.0),
            seen.Heading(at_s=at_s, source=GPS, heading_deg=0.0),
        )
        lookout.take(moment(at_s), own)
        while coming and coming[0][0] < second + 1:
            when, observation = coming.pop(0)
            lookout.take(moment(when), [observation])
        said += [event for _, event in lookout.flush()]
    return said


def settings_at(at_s: float, mark: seen.RangeAndBearing) -> seen.RadarSettings:
    return seen.RadarSettings(
        at_s=at_s,
        source=RSD,
        range_scale_nm=6.0,
        orientation=seen.Orientation.HEAD_UP,
        marks=(mark, OFF),
        origins=(OFF, OFF),
        cursor=OFF,
    )


def laid() -> list[tuple[float, seen.Observation]]:
    """RSD once in two seconds: a vessel right ahead, coming at 8 kn (16 kn relative), laid four times in 9 minutes."""
    lines: list[tuple[float, seen.Observation]] = []
    for second in range(0, 700, 2):
        step = (second - 60) // 180
        at_s = 60 + 180 * step
        mark = (
            seen.RangeAndBearing(5.0 - 16 * at_s / 3600, 1.0 + 0.1 * step)
            if step >= 0
            else seen.RangeAndBearing(1.0, 90.0)
        )
        lines.append((second + 0.5, settings_at(second + 0.5, mark)))
    return lines


def test_marks_become_a_target_that_is_judged_like_any_other() -> None:
    """A note says so; plots of `mark-1` carry CPA and course, and the closest approach is alerted."""
    said = run(Lookout(), 640, laid())
    notes = [event.text for event in said if isinstance(event, Note)]
    plots = [event for event in said if isinstance(event, Plot)]

    assert notes == ["mark-1: EBL/VRM 1 laid on one echo 3 times: taken as a plot"]
    assert {plot.target for plot in plots} == {"mark-1"}
    assert plots[-1].name == "EBL/VRM 1"
    assert plots[-1].course_deg == pytest.approx(180, abs=3)
    assert plots[-1].speed_kn == pytest.approx(8, abs=0.3)
    assert plots[-1].reported_cpa_nm is None
    assert any(getattr(event, "rule", "") == "closest_approach" and event.target == "mark-1" for event in said)  # type: ignore[union-attr]


def test_a_mark_that_nobody_lays_again_is_let_go_quietly() -> None:
    """No lost_target for a plot by hand; after twelve minutes it is gone."""
    lookout = Lookout()
    said = run(lookout, 1500, [line for line in laid() if line[0] < 480])

    assert "mark-1" not in lookout.judging.plots
    assert not any(getattr(event, "rule", "") == "lost_target" for event in said)


def test_marks_can_be_switched_off() -> None:
    """`marks.on = false`."""
    said = run(Lookout(LookoutSettings(marks=MarkSettings(on=False))), 640, laid())

    assert not any(isinstance(event, Plot) for event in said)


def tracked(at_s: float, number: int) -> seen.TargetReport:
    bearing = 40.0 * number + 3 * ((at_s * 7919 + number * 31) % 11 - 5) / 50
    return seen.TargetReport(
        at_s=at_s, source=TTM, number=number, range_nm=3.0 + 0.01 * ((int(at_s) * 7) % 3), bearing_deg=bearing % 360
    )


def test_a_note_about_the_set_is_answered_with_before_and_after() -> None:
    """Four of six targets vanish after "sea clutter up": lost is told with the teaching, and a comparison ends it."""
    lines: list[tuple[float, seen.Observation]] = []
    for number in range(1, 7):
        for k in range(220):
            at_s = 3.0 * k + 0.3 * number
            if at_s < 300 or number > 4:
                lines.append((at_s, tracked(at_s, number)))
    lines.append((300.5, seen.Note(at_s=300.5, source=GPS, text="sea clutter up", author="watch")))
    said = run(Lookout(), 500, lines)
    notes = [event for event in said if isinstance(event, Note) and event.author == "secondplot"]

    assert any(
        note.text.startswith("four targets lost within") and "too much of it removes real echoes too" in note.text
        for note in notes
    )
    assert any('before and after the note "sea clutter up"' in note.text for note in notes)


def test_reminders_are_notes_where_they_are_asked_for() -> None:
    """Every five minutes, by the stream's own time."""
    asked = LookoutSettings(picture_quality=QualitySettings(look_again_every_min=5))
    said = run(Lookout(asked), 620, [])

    texts = [event.text for event in said if isinstance(event, Note)]
    assert texts == ["5 min gone: look again on a longer and on a shorter range"] * 2
