"""The lookout with marks laid by hand, and with notes about the set: what is said in the stream."""

import pytest

from alerts.events import Note, Plot
from alerts.lookout import Lookout, LookoutSettings
from alerts.plotting.lays import MarkSettings
from alerts.plotting.quality import QualitySettings
from parsers import observations as seen
from tests.alerts.ais_air import GPS, TTM, Own, run
from tests.alerts.watch import notes

RSD = seen.Source(feed="radar", talker="RA", formatter="RSD")
OFF = seen.RangeAndBearing(None, None)
OWN = Own(course_deg=0, speed_kn=8)


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
    said = run(Lookout(), OWN, laid(), (0, 640))
    plots = [event for event in said if isinstance(event, Plot)]

    assert notes(said) == ["mark-1: EBL/VRM 1 laid on one echo 3 times: taken as a plot"]
    assert {plot.target for plot in plots} == {"mark-1"}
    assert plots[-1].name == "EBL/VRM 1"
    assert plots[-1].course_deg == pytest.approx(180, abs=3)
    assert plots[-1].speed_kn == pytest.approx(8, abs=0.3)
    assert plots[-1].reported_cpa_nm is None
    assert any(getattr(event, "rule", "") == "closest_approach" and event.target == "mark-1" for event in said)  # type: ignore[union-attr]


def test_a_mark_that_nobody_lays_again_is_let_go_quietly() -> None:
    """No lost_target for a plot by hand; after twelve minutes it is gone."""
    lookout = Lookout()
    said = run(lookout, OWN, [line for line in laid() if line[0] < 480], (0, 1500))

    assert "mark-1" not in lookout.judging.plots
    assert not any(getattr(event, "rule", "") == "lost_target" for event in said)


def test_marks_can_be_switched_off() -> None:
    """`marks.on = false`."""
    said = run(Lookout(LookoutSettings(marks=MarkSettings(on=False))), OWN, laid(), (0, 640))

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
    said = run(Lookout(), OWN, lines, (0, 500))
    answers = [event.text for event in said if isinstance(event, Note) and event.author == "secondplot"]

    assert any(
        text.startswith("four targets lost within") and "too much of it removes real echoes too" in text
        for text in answers
    )
    assert any('before and after the note "sea clutter up"' in text for text in answers)


def test_reminders_are_notes_where_they_are_asked_for() -> None:
    """Every five minutes, by the stream's own time."""
    asked = LookoutSettings(picture_quality=QualitySettings(look_again_every_min=5))
    said = run(Lookout(asked), OWN, [], (0, 620))

    assert notes(said) == ["5 min gone: look again on a longer and on a shorter range"] * 2
