"""Picture quality: rhythm and misses, scatter, what a setting did, and what is chance. Invented pictures."""

from collections.abc import Sequence
from math import atan2, cos, degrees, hypot, radians, sin

import numpy as np
import pytest
from msgspec import structs

from alerts.plotting.compare import FALSE_SHARE, LEVELS, is_about_the_set, teaching
from alerts.plotting.kinematics import Estimate, Look, OwnMotion
from alerts.plotting.quality import Quality, QualitySettings, Remark, RemarkKind
from alerts.plotting.scatter import BANDS_NM, Echo, band_of, block_of
from alerts.plotting.terms import TrackState
from parsers.observations import MotionReference

ZERO = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
SETTLED = Estimate(0, 0, 0, 0, 0, ZERO, TrackState.STEADY, True, 50)
SETTLING = structs.replace(SETTLED, settled=False, state=TrackState.SETTLING)
NOTE_S = 300.0


def look_at(at_s: float, rng: np.random.Generator | None, size: float = 1.0, turn: bool = False, i: int = 0) -> Look:
    """A vessel at some 4 NM seen from own ship under way: 20 m and 0.5° of noise times `size`."""
    own_course = 0.5 * at_s if turn else 0.0  # own ship going round in a circle, or straight
    own = OwnMotion(
        at_s,
        0.3 * (1 - cos(radians(own_course))),
        0.3 * sin(radians(own_course)) if turn else 8 * at_s / 3600,
        0.0,
        8.0,
        0.1,
        MotionReference.GROUND,
        own_course % 360,
        0.5,
    )
    east, north = 3 - 0.5 * i + 10 * at_s / 3600 - own.east_nm, 2.5 + 0.3 * i - 6 * at_s / 3600 - own.north_nm
    noise = rng.standard_normal(2) if rng else (0.0, 0.0)
    range_nm = hypot(east, north) + size * 20 / 1852 * noise[0]
    return Look(at_s, range_nm, (degrees(atan2(east, north)) + size * 0.5 * noise[1]) % 360, own)


def run(
    quality: Quality,
    targets: int,
    rng: np.random.Generator,
    size: float = 1.0,
    loss: float = 0.0,
    note: str = "gain down",
    lost_after: Sequence[float] = (),
) -> list[Remark]:
    """Five minutes, the note, and three more minutes with the change; some targets lost so long after the note."""
    told: list[Remark] = []
    for second in range(int(NOTE_S) + 185):
        if second == NOTE_S:
            told += quality.note(NOTE_S, note)
        for i in range(targets):
            gone_s = NOTE_S + lost_after[i] if i < len(lost_after) else None
            if gone_s is not None and second >= gone_s:
                if second == int(gone_s):
                    quality.lose(f"radar-{i:02d}", float(second))
                continue
            if second % 3 == i % 3 and not (second > NOTE_S and rng.random() < loss):
                look = look_at(float(second), rng, size if second > NOTE_S else 1.0, i=i)
                quality.see(f"radar-{i:02d}", look, SETTLED)
        told += quality.tick(float(second))
    return told


def test_scatter_is_that_of_the_noise() -> None:
    """20 m and 0.5° put in come out within a tenth, own ship straight or turning, in the band of the target's range."""
    for turn in (False, True):
        rng, echo = np.random.default_rng(1), Echo(0.0)
        for k in range(400):
            echo.see(look_at(3.0 * k, rng, turn=turn), steady=True)
        scatter = echo.scatter(band=band_of(4.0))

        assert scatter.range_m == pytest.approx(20, rel=0.1)
        assert scatter.bearing_deg == pytest.approx(0.5, rel=0.1)
        assert scatter.range_correlation < 0.2


def test_an_honest_track_has_no_scatter_of_its_own() -> None:
    """Exact reports of a straight course from a moving ship: centimetres."""
    block = block_of([look_at(3.0 * k, None) for k in range(10)])

    assert block.range_m2**0.5 < 0.05
    assert block.bearing_deg2**0.5 < 1e-3


def test_a_set_that_smooths_is_seen_to_smooth() -> None:
    """Noise of 20 m whose neighbours are alike (0.7): nearly all of it comes out (the parabolas leave 12 m)."""
    rng, echo = np.random.default_rng(2), Echo(0.0)
    error = np.zeros(2)
    for k in range(400):
        error = 0.7 * error + 0.51**0.5 * rng.standard_normal(2)
        exact = look_at(3.0 * k, None)
        echo.see(structs.replace(exact, range_nm=exact.range_nm + 20 / 1852 * error[0]), steady=True)

    assert echo.scatter().range_correlation == pytest.approx(0.7, abs=0.15)
    assert echo.scatter().range_m == pytest.approx(20, rel=0.2)


def test_a_manoeuvre_is_not_scatter() -> None:
    """While the track is said to manoeuvre its reports are received and no more."""
    echo = Echo(0.0)
    for k in range(60):
        echo.see(look_at(3.0 * k, np.random.default_rng(k), size=20 if 20 <= k < 40 else 0), steady=not 20 <= k < 40)

    assert echo.reports == 60
    assert echo.scatter().range_m == pytest.approx(0, abs=0.05)


@pytest.mark.parametrize("loss", [0.0, 0.3, 0.5])
@pytest.mark.parametrize("period_s", [2.4, 3.0, 12.0])
def test_rhythm_is_the_targets_own_whatever_is_missed(period_s: float, loss: float) -> None:
    """Reports every 2.4, 3 or 12 s with a jitter of 4 %: the rhythm is found, and so is the share received."""
    rng, echo = np.random.default_rng(4), Echo(0.0)
    for k in range(120):
        if rng.random() >= loss:
            echo.times.append(period_s * (k + rng.uniform(-0.04, 0.04)))
    end_s = 120 * period_s
    rhythm_s = echo.rhythm_s(end_s)
    assert rhythm_s is not None
    assert rhythm_s == pytest.approx(period_s, rel=0.03)

    slots = echo.slots(0.0, end_s, rhythm_s)
    assert len(slots) == pytest.approx(120, abs=3)
    assert sum(slots) == len(echo.times)
    assert sum(slots) / len(slots) == pytest.approx(1 - loss, abs=0.1)


def test_target_and_picture_are_told() -> None:
    """Held, gained and lost in the last minute; expected and received; the share of acquisitions that settled."""
    quality, rng = Quality(), np.random.default_rng(6)
    for k in range(100):
        for i in range(3):
            if i < 2 or k >= 90:  # the third is acquired 30 s before the end
                estimate = SETTLED if i == 0 and k > 20 else SETTLING
                quality.see(f"radar-{i:02d}", look_at(3.0 * k, rng, i=i), estimate)
    quality.lose("radar-01", 295.0)
    picture = quality.picture(300.0)
    told = quality.target("radar-00", 297.0)

    assert (picture.held, picture.gained, picture.lost, picture.acquisitions) == (2, 1, 1, 3)
    assert picture.settled_share == 0.5  # one settled, one was lost before it had; the third has time yet
    assert told is not None
    assert told.rhythm_s == pytest.approx(3.0)
    assert told.received == told.expected == 60
    assert told.scatter.range_m is not None
    assert len(told.bands) == len(picture.bands) == len(BANDS_NM) + 1
    assert quality.target("radar-77", 300.0) is None


def test_four_targets_lost_after_a_note() -> None:
    """Four of eight lost within 40 s of the note, in a picture that had lost none for five minutes: said, with why."""
    told = run(Quality(), 8, np.random.default_rng(8), note="sea clutter up", lost_after=(12, 20, 31, 38))
    lost = [one for one in told if one.kind == RemarkKind.LOST]

    assert [one.text for one in lost] == [
        'four targets lost within 38 s of the note "sea clutter up": too much of it removes real echoes too'
    ]
    assert lost[0].found
    assert lost[0].values["lost_before"] == 0


def test_one_target_lost_is_no_finding() -> None:
    """Targets are lost without a cause; one after a note proves nothing."""
    told = run(Quality(), 8, np.random.default_rng(9), lost_after=(25,))

    assert not any(one.kind == RemarkKind.LOST for one in told)


def test_doubled_scatter_and_lost_reports_are_found() -> None:
    """Either change is found within 180 s, named with its test; the other measure is not dragged in."""
    doubled = run(Quality(), 4, np.random.default_rng(10), size=2.0)
    thinned = run(Quality(), 4, np.random.default_rng(11), loss=0.3)

    assert {one.kind for one in doubled if one.found} == {RemarkKind.SCATTER, RemarkKind.COMPARED}
    assert {one.kind for one in thinned if one.found} == {RemarkKind.REPORTS, RemarkKind.COMPARED}
    assert any("scatter of range grew from 2" in one.text and "log-variance test" in one.text for one in doubled)
    assert any("reports received fell from 100 %" in one.text and "Fisher" in one.text for one in thinned)
    assert all(one.at_s <= NOTE_S + 180 for one in doubled + thinned)


def test_false_findings_are_few() -> None:
    """Sixty pictures in which nothing changed: at most three findings (stated: one in twenty pictures)."""
    rng = np.random.default_rng(12)
    false = sum(any(one.found for one in run(Quality(), 2, rng)) for _ in range(60))

    assert false <= 3
    assert 4 * sum(LEVELS) == pytest.approx(FALSE_SHARE)


def test_no_more_than_chance_is_said_so() -> None:
    """The comparison ends with its figures whatever they are."""
    told = run(Quality(), 2, np.random.default_rng(13))

    assert [one.kind for one in told] == [RemarkKind.COMPARED]
    assert 'the note "gain down", no more than chance: reports received 100 % before, 100 % after' in told[0].text


def test_a_range_change_opens_a_comparison_and_its_new_rhythm_is_no_loss() -> None:
    """On the new range the set reports every 5 s in place of 3: nothing is missed. Targets beyond it are not lost."""
    quality, rng, told = Quality(), np.random.default_rng(14), []
    quality.radar(0.0, 12.0)
    for second in range(485):
        if second == 300:
            told += quality.radar(300.0, 3.0)
        if second % (3 if second <= 300 else 5) == 0:
            near = structs.replace(look_at(float(second), rng), range_nm=2.0)
            quality.see("radar-01", near, SETTLED)
            if second <= 300:
                quality.see("radar-02", look_at(float(second), rng), SETTLED)
        if second == 330:
            quality.lose("radar-02", 330.0)
        told += quality.tick(float(second))

    assert quality.picture(340.0).lost == 0
    compared = [one for one in told if one.kind == RemarkKind.COMPARED]
    assert "the range change from 12 to 3 NM" in compared[0].text
    assert not any(one.kind in (RemarkKind.REPORTS, RemarkKind.LOST) for one in told)


def test_changes_close_together_are_not_compared_as_if_alone() -> None:
    """The second note comes 20 s after the first: neither has an equal time before and after, and it is said."""
    quality, rng, told = Quality(), np.random.default_rng(15), []
    for second in range(600):
        if second % 3 == 0:
            quality.see("radar-01", look_at(float(second), rng), SETTLED)
        if second in (300, 320):
            told += quality.note(float(second), "gain up" if second == 300 else "gain down")
        told += quality.tick(float(second))

    assert [one.text for one in told] == ['the note "gain down": the picture had changed just before, not compared']


def test_only_notes_of_the_set_open_a_comparison() -> None:
    """A note about the traffic is not a setting; hostile text is quoted bare and short."""
    quality = Quality()
    assert is_about_the_set("Sea-clutter up two steps")
    assert not is_about_the_set("tug with tow ahead, called on 13")
    assert teaching("rain clutter to auto") == "it thins all echoes, weak ones first"
    told = run(quality, 1, np.random.default_rng(16), note="gain \x1b[2J\x07 down " + "x" * 500)

    assert all("\x1b" not in one.text and len(one.text) < 500 for one in told)


def test_reminders_are_off_unless_asked_for() -> None:
    """Every N minutes where set; never by default."""
    silent, asked = Quality(), Quality(QualitySettings(look_again_every_min=10, tuning_every_min=30))
    quiet = [remark for second in range(7200) for remark in silent.tick(float(second))]
    told = [remark for second in range(3601) for remark in asked.tick(float(second))]

    assert quiet == []
    assert [one.at_s for one in told if "range" in one.text] == [600, 1200, 1800, 2400, 3000, 3600]
    assert [one.at_s for one in told if "tuning" in one.text] == [1800, 3600]


def test_memory_is_bounded() -> None:
    """Three thousand targets, and an hour of one: what is kept has a bound; what is not seen is let go."""
    quality = Quality()
    look = look_at(0.0, None)
    for i in range(3000):
        quality.see(f"radar-{i}", look, SETTLED)
    assert quality.picture(0.0).held == 1000

    quality.tick(1000.0)
    assert quality.picture(1000.0).held == 0
    echo = Echo(0.0)
    for k in range(2000):
        echo.see(structs.replace(look, at_s=3.0 * k), steady=True)
    assert len(echo.times) == 800
    assert len(echo.blocks) == 40


def test_a_long_watch_with_thousands_of_losses_compares_as_a_short_one() -> None:
    """Two thousand targets gone, each after fifty minutes, then five of eight within half a minute of a note: said."""
    quality, told = Quality(), []
    rng = np.random.default_rng(3)
    for n in range(2000):
        at_s = 3100.0 * (n - 2000)
        quality.see(f"gone-{n}", look_at(at_s, rng), SETTLED)
        quality.lose(f"gone-{n}", at_s + 3000.0)
    told += run(quality, 8, rng, lost_after=[10, 12, 15, 20, 25])

    (lost,) = [one for one in told if one.kind is RemarkKind.LOST]
    assert lost.found
    assert lost.values["lost_before"] == 2000


def test_a_window_longer_than_what_is_remembered_counts_no_misses_from_before() -> None:
    """One report a second for half an hour, looked back on for twenty minutes: none was missed."""
    quality = Quality(QualitySettings(window_s=1200))
    rng = np.random.default_rng(4)
    for second in range(1800):
        quality.see("radar-01", look_at(float(second), rng), SETTLED)
    steadiness = quality.target("radar-01", 1799.0)

    assert steadiness is not None
    assert steadiness.received == steadiness.expected >= 790


@pytest.mark.parametrize(("mute_s", "lost"), [(None, 1), (59.0, 0), (50.0, 1)])
def test_what_is_lost_with_its_feed_was_not_lost_by_the_radar(mute_s: float | None, lost: int) -> None:
    """A target that ends within two seconds of the feed's silence counts as no loss; one that ends later does."""
    quality = Quality()
    quality.see("radar-01", look_at(0.0, None), SETTLED)
    if mute_s is not None:
        quality.mute(mute_s)
    quality.lose("radar-01", 60.0)

    assert quality.picture(61.0).lost == lost


def test_a_silence_before_the_window_is_not_missed_in_it() -> None:
    """Silent from second 10 to 100: of a window of ten seconds nine reports are missed and one received."""
    echo = Echo(0.0)
    for second in (*range(11), 100):
        echo.see(look_at(float(second), None), steady=True)
    slots = echo.slots(90.0, 100.0, 1.0)

    assert sum(slots) == 1
    assert len(slots) == pytest.approx(10, abs=1)
