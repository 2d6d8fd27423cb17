"""Encounters: sectors of Rules 13, 14, 15 and 19, with their doubt, their memory and what they refuse to say.

The rules' text: 33 CFR 83.13 to 83.19 (same numbering as the international rules). Angles of doubt and hysteresis are
the program's own (no source).
"""

from itertools import pairwise
from math import cos, hypot, radians, sin

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec import Struct

from alerts.plotting.colregs import rule_number, rule_text
from alerts.plotting.encounter import (
    Angles,
    Encounters,
    EncounterSettings,
    aspect_deg,
    geometry,
    range_rate,
    signed,
)
from alerts.plotting.kinematics import Estimate, OwnMotion
from alerts.plotting.terms import Encounter, TrackState
from parsers.observations import MotionReference

RULES = EncounterSettings()


class Told(Struct):
    """The part of an answer that is read: made from exact geometry here, by the motion module in the program."""

    bearing_deg: float | None
    relative_bearing_deg: float | None
    course_deg: float | None
    speed_kn: float | None


class Meeting(Struct, kw_only=True):
    """Two vessels at one moment; hers is the relative bearing, range, true course and speed."""

    relative_deg: float
    course_deg: float
    speed_kn: float = 10.0
    range_nm: float = 4.0
    own_course_deg: float = 0.0
    own_speed_kn: float = 10.0
    at_s: float = 0.0
    velocity_sd_kn: float = 0.0
    settled: bool = True
    frame: MotionReference = MotionReference.GROUND

    def own(self) -> OwnMotion:
        course = radians(self.own_course_deg)
        east, north = self.own_speed_kn * sin(course), self.own_speed_kn * cos(course)
        return OwnMotion(self.at_s, 0, 0, east, north, 0.0, self.frame, self.own_course_deg, 0.0)

    def estimate(self) -> Estimate:
        bearing, course = radians(self.own_course_deg + self.relative_deg), radians(self.course_deg)
        variance = self.velocity_sd_kn**2
        return Estimate(
            at_s=self.at_s,
            east_nm=self.range_nm * sin(bearing),
            north_nm=self.range_nm * cos(bearing),
            east_kn=self.speed_kn * sin(course),
            north_kn=self.speed_kn * cos(course),
            covariance=(0, 0, 0, 0, 0, 0, 0, variance, 0, variance),
            state=TrackState.STEADY,
            settled=self.settled,
            observations=60,
        )

    def told(self) -> Told:
        return Told(
            (self.own_course_deg + self.relative_deg) % 360, signed(self.relative_deg), self.course_deg, self.speed_kn
        )

    def word(
        self, encounters: Encounters | None = None, restricted: bool = False, heading_deg: float | None = None
    ) -> Encounter:
        encounters = encounters or Encounters(EncounterSettings(heading_from_course_sd_deg=0))
        return encounters.classify("radar-01", self.estimate(), self.told(), self.own(), restricted, heading_deg)


def exactly(relative: float, aspect: float, before: Encounter = Encounter.UNSETTLED) -> Encounter:
    return geometry(Angles(relative, 0.0, aspect, 0.0), RULES, before)


@pytest.mark.parametrize(
    ("relative", "aspect", "word"),
    [
        # Rule 13(b): MORE than 22.5° abaft the beam. At 112.5 exactly it is not yet overtaking.
        (112.5, 10, Encounter.CROSSING_FROM_STARBOARD),
        (112.6, 10, Encounter.OVERTAKING_US),
        (-112.5, -10, Encounter.CROSSING_FROM_PORT),
        (-112.6, -10, Encounter.OVERTAKING_US),
        (10, -112.5, Encounter.CROSSING_FROM_STARBOARD),
        (10, -112.6, Encounter.BEING_OVERTAKEN),
        (-10, 112.6, Encounter.BEING_OVERTAKEN),
        (0, 180, Encounter.BEING_OVERTAKEN),
        (180, 0, Encounter.OVERTAKING_US),
        # Rule 14: half a point called head-on, a point in doubt.
        (0, 0, Encounter.HEAD_ON),
        (5.6, -5.6, Encounter.HEAD_ON),
        (5.7, -5, Encounter.IN_DOUBT_HEAD_ON),
        (11, 11, Encounter.IN_DOUBT_HEAD_ON),
        (12, -12, Encounter.CROSSING_FROM_STARBOARD),
        # Rule 15, by the side on which we have her.
        (45, -45, Encounter.CROSSING_FROM_STARBOARD),
        (-45, 45, Encounter.CROSSING_FROM_PORT),
        (0, -90, Encounter.CROSSING_FROM_STARBOARD),  # right ahead, showing her red: she comes from starboard
        (0, 90, Encounter.CROSSING_FROM_PORT),
        # Closing stern to stern: no rule's picture.
        (150, 150, Encounter.UNSETTLED),
    ],
)
def test_sectors_are_exact(relative: float, aspect: float, word: Encounter) -> None:
    """Exact angles give exact sectors (33 CFR 83.13(b), 83.14, 83.15; limits of reference-values 3)."""
    assert exactly(relative, aspect) == word


def test_in_doubt_whether_we_overtake_we_assume_it() -> None:
    """Rule 13(c): aspect 110° known within 2° may be over 112.5°."""
    assert geometry(Angles(20, 0, -110, 2.0), RULES) == Encounter.IN_DOUBT_OVERTAKING


def test_in_doubt_whether_she_overtakes_us_she_is_not_trusted_to_keep_clear() -> None:
    """13(c) speaks to the overtaking vessel. From ours, 114° on the starboard quarter within 2° may be crossing."""
    assert geometry(Angles(114, 2.0, -20, 0), RULES) == Encounter.CROSSING_FROM_STARBOARD


def test_in_doubt_head_on_where_her_heading_is_poorly_known() -> None:
    """Rule 14(c): aspect 20° known within 10° may be nearly reciprocal."""
    assert geometry(Angles(3, 0, 20, 10.0), RULES) == Encounter.IN_DOUBT_HEAD_ON
    assert geometry(Angles(3, 0, 20, 0.0), RULES) == Encounter.CROSSING_FROM_PORT


def test_a_word_does_not_flicker_at_its_limit() -> None:
    """A target on a sector's limit, jittering by 2°, keeps the word that it had (hysteresis 3°)."""
    for limit, aspect, kept in (
        (RULES.head_on_deg, 0.0, Encounter.HEAD_ON),
        (RULES.head_on_doubt_deg, 0.0, Encounter.IN_DOUBT_HEAD_ON),
        (112.5, -20.0, Encounter.OVERTAKING_US),
    ):
        words = []
        before = Encounter.UNSETTLED
        for step in range(40):
            before = exactly(limit + (1 if step % 2 else -1), aspect, before)
            words.append(before)

        changes = sum(a != b for a, b in pairwise(words))
        assert changes <= 1
        assert words[-1] is kept


def test_overtaking_holds_until_past_and_clear() -> None:
    """Rule 13(d): a vessel that came up from our quarter is overtaking still when she is on our beam and closes."""
    encounters = Encounters()
    assert Meeting(relative_deg=130, course_deg=350, speed_kn=18).word(encounters) == Encounter.OVERTAKING_US

    abeam = Meeting(relative_deg=85, course_deg=300, speed_kn=18, range_nm=1.0, at_s=600)
    assert abeam.word(encounters) == Encounter.OVERTAKING_US
    assert abeam.word() == Encounter.CROSSING_FROM_STARBOARD  # what she would be without her past

    for second in range(0, 60, 20):  # opening for less than a minute is not past and clear
        wavering = Meeting(relative_deg=20, course_deg=10, speed_kn=18, range_nm=2, at_s=700 + second)
        assert wavering.word(encounters) == Encounter.OPENING
    abeam_again = Meeting(relative_deg=85, course_deg=300, speed_kn=18, range_nm=1.0, at_s=760)
    assert abeam_again.word(encounters) == Encounter.OVERTAKING_US

    for minute in range(3):
        gone = Meeting(relative_deg=20, course_deg=10, speed_kn=18, range_nm=2, at_s=900 + 60 * minute)
        assert gone.word(encounters) == Encounter.OPENING
    again = Meeting(relative_deg=60, course_deg=270, speed_kn=18, at_s=1800)
    assert again.word(encounters) == Encounter.CROSSING_FROM_STARBOARD


def test_her_heading_decides_where_it_is_known() -> None:
    """Set sideways by the stream, her course says crossing and her heading that we are well abaft her beam."""
    meeting = Meeting(relative_deg=0, course_deg=290, speed_kn=2, own_speed_kn=12)

    assert meeting.word() == Encounter.CROSSING_FROM_STARBOARD
    assert meeting.word(heading_deg=340.0) == Encounter.BEING_OVERTAKEN


def test_what_cannot_be_told_is_unsettled() -> None:
    """No settled track, no own motion, or a velocity too uncertain to have a direction: no word."""
    known = Meeting(relative_deg=30, course_deg=250)

    assert known.word() == Encounter.CROSSING_FROM_STARBOARD
    assert Meeting(relative_deg=30, course_deg=250, settled=False).word() == Encounter.UNSETTLED
    assert Meeting(relative_deg=30, course_deg=250, frame=MotionReference.UNKNOWN).word() == Encounter.UNSETTLED
    assert Meeting(relative_deg=30, course_deg=250, speed_kn=4, velocity_sd_kn=4).word() == Encounter.UNSETTLED
    told = Told(30.0, None, 250.0, 10.0)
    assert (
        Encounters().classify("radar-01", known.estimate(), told, known.own(), False) == Encounter.UNSETTLED
    )  # own heading not known


def test_stationary_needs_to_be_known() -> None:
    """0.5 kn is stationary when it is known within 0.3 kn, and unsettled when it may as well be 6 kn."""
    assert Meeting(relative_deg=10, course_deg=90, speed_kn=0.5, velocity_sd_kn=0.3).word() == Encounter.STATIONARY
    assert Meeting(relative_deg=10, course_deg=90, speed_kn=0.5, velocity_sd_kn=3).word() == Encounter.UNSETTLED


def test_opening_does_not_flicker_for_a_vessel_in_company() -> None:
    """The same course and speed: the range rate's sign is noise, and the first word stays."""
    encounters = Encounters()
    words = {
        Meeting(relative_deg=150, course_deg=0, speed_kn=10 + 0.2 * (-1) ** k, velocity_sd_kn=0.5, at_s=3.0 * k).word(
            encounters
        )
        for k in range(30)
    }

    assert words == {Encounter.OVERTAKING_US}


@pytest.mark.parametrize(
    ("relative", "course", "word"),
    [
        (89.9, 300, Encounter.RULE_19_FORWARD),
        (90.0, 300, Encounter.RULE_19_ABAFT),  # abeam is with abaft: 19(d)(ii)
        (-120.0, 40, Encounter.RULE_19_ABAFT),
        (0.0, 5, Encounter.RULE_19_OVERTAKEN),  # 19(d)(i): other than for a vessel being overtaken
        (0.0, 180, Encounter.RULE_19_FORWARD),
    ],
)
def test_rule_19_stands_in_place_in_restricted_visibility(relative: float, course: float, word: Encounter) -> None:
    """Not in sight of one another there is no stand-on and no give-way vessel: 33 CFR 83.19(a), (d)."""
    speed = 4.0 if word == Encounter.RULE_19_OVERTAKEN else 16.0
    meeting = Meeting(relative_deg=relative, course_deg=course, speed_kn=speed)

    assert meeting.word(restricted=True) == word


def test_visibility_may_change_while_a_target_is_held() -> None:
    """Back in sight the word is that of Rules 13 to 15 again, and an overtaking vessel is one still."""
    encounters = Encounters()
    meeting = Meeting(relative_deg=0, course_deg=5, speed_kn=4)

    words = [meeting.word(encounters, restricted=fog) for fog in (False, True, False)]

    assert words == [Encounter.BEING_OVERTAKEN, Encounter.RULE_19_OVERTAKEN, Encounter.BEING_OVERTAKEN]


def test_memory_is_bounded() -> None:
    """Four thousand target names leave 3,500 memories."""
    encounters = Encounters()
    meeting = Meeting(relative_deg=30, course_deg=250)
    for number in range(4000):
        encounters.classify(f"ais-{number}", meeting.estimate(), meeting.told(), meeting.own(), False)

    assert len(encounters._memories) == 3500


def test_range_rate_is_the_radial_part_of_relative_motion() -> None:
    """Head to head at 10 kn each: 20 kn closing; its error is the radial velocity error."""
    meeting = Meeting(relative_deg=0, course_deg=180, velocity_sd_kn=0.7)

    assert range_rate(meeting.estimate(), meeting.own()) == pytest.approx((-20.0, 0.7))


@settings(max_examples=200, derandomize=True)
@given(
    st.floats(-180, 180),
    st.floats(-180, 180),
    st.floats(0, 20),
    st.floats(0, 20),
    st.sampled_from(list(Encounter)),
)
def test_mirror_image(bow: float, aspect: float, bow_sd: float, aspect_sd: float, before: Encounter) -> None:
    """Port and starboard are treated alike: the mirrored picture gives the mirrored word."""
    mirror = {
        Encounter.CROSSING_FROM_PORT: Encounter.CROSSING_FROM_STARBOARD,
        Encounter.CROSSING_FROM_STARBOARD: Encounter.CROSSING_FROM_PORT,
    }
    if abs(bow) <= RULES.hysteresis_deg and aspect == 0:
        return  # right ahead and end on, there is no side to mirror
    word = geometry(Angles(bow, bow_sd, aspect, aspect_sd), RULES, before)
    other = geometry(Angles(-bow, bow_sd, -aspect, aspect_sd), RULES, mirror.get(before, before))

    assert other == mirror.get(word, word)


@pytest.mark.parametrize(("bearing", "heading", "aspect"), [(0, 180, 0), (0, 90, 90), (0, 270, -90), (45, 45, 180)])
def test_aspect(bearing: float, heading: float, aspect: float) -> None:
    """North of us and heading east she shows her starboard (green) side: aspect green 90 (common practice)."""
    assert aspect_deg(bearing, heading) == pytest.approx(aspect)


def test_every_word_of_a_rule_has_its_text_and_no_order() -> None:
    """Text by number for each geometry that a rule describes; none for stationary, opening and unsettled."""
    for word in Encounter:
        if word in (Encounter.STATIONARY, Encounter.OPENING, Encounter.UNSETTLED):
            assert rule_text(word) is None
            continue
        text, number = rule_text(word), rule_number(word)

        assert text is not None
        assert number is not None
        assert text.startswith(f"Rule {number}: ")
        assert "you" not in text.split()
        assert ("19" in number) == ("no vessel stands on" in text)


@pytest.mark.parametrize(
    ("word", "said"),
    [
        (Encounter.HEAD_ON, ("each alter to starboard", "passes on the port side")),
        (Encounter.IN_DOUBT_HEAD_ON, ("any doubt", "assumes that it does")),
        (Encounter.CROSSING_FROM_STARBOARD, ("target is on our starboard side", "crossing ahead", "give-way: Rule 16")),
        (
            Encounter.CROSSING_FROM_PORT,
            ("target is on our port side", "keeps her course and speed", "stand-on: Rule 17"),
        ),
        (Encounter.OVERTAKING_US, ("abaft our beam", "stand-on: Rule 17")),
        (Encounter.BEING_OVERTAKEN, ("abaft her beam", "give-way: Rule 16")),
        (Encounter.IN_DOUBT_OVERTAKING, ("any doubt", "assumes that she is, and keeps out of the way")),
        (Encounter.RULE_19_FORWARD, ("forward of the beam", "alteration to port is avoided")),
        (Encounter.RULE_19_OVERTAKEN, ("being overtaken", "does not extend to her")),
        (Encounter.RULE_19_ABAFT, ("abeam or abaft the beam", "alteration towards her is avoided")),
    ],
)
def test_each_text_says_whose_side_and_whose_duty(word: Encounter, said: tuple[str, ...]) -> None:
    """33 CFR 83.13 to 83.19, whose rules have the international numbers."""
    text = rule_text(word)

    assert text is not None
    assert [phrase for phrase in said if phrase not in text] == []


def test_helper_geometry_is_what_it_says() -> None:
    """The meeting's own range and bearing, so that the tests above rest on something."""
    estimate = Meeting(relative_deg=30, own_course_deg=350, course_deg=0, range_nm=4).estimate()

    assert hypot(estimate.east_nm, estimate.north_nm) == pytest.approx(4)
    assert estimate.east_nm == pytest.approx(4 * sin(radians(20)))
