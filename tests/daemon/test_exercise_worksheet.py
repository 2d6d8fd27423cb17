"""What the answers of a plotting exercise say and draw, held against what each vessel was asked to do."""

import re

import pytest

from daemon.exercise import reading, worksheet
from daemon.exercise.passage import Passage
from daemon.exercise.plot_problem import problems

CROSSINGS = """
title = "four crossings"
start = 2027-01-15T08:00:00Z
duration_min = 30
place = {{ lat_deg = 50, lon_deg = -5 }}
own_ship = {{ course_deg = 350, speed_kn = 8 }}
sensors = {{ heading = {{}}, speed = {{}} }}
radar = {{ orientation = "{orientation}" }}
"""
TARGET = """
[[targets]]
name = "{side} {passes}"
speed_kn = 14
meets = {{ cpa_nm = 1.2, at = 25, passes = "{passes}", from_relative_deg = {relative} }}
"""
EACH = [("starboard", 50, "ahead"), ("starboard", 50, "astern"), ("port", -50, "ahead"), ("port", -50, "astern")]


def pages(orientation: str) -> tuple[dict[str, str], dict[str, str]]:
    """The sections of worksheet and answers by the target's name."""
    text = CROSSINGS.format(orientation=orientation)
    text += "".join(TARGET.format(side=side, relative=relative, passes=passes) for side, relative, passes in EACH)
    passage = Passage(reading.parse(text))
    asked = problems(passage, 3.0)
    made = worksheet.worksheet(passage, asked), worksheet.answers(passage, asked)
    found = [dict(re.findall(r"<section><h2>(.*?)</h2>(.*?)</section>", page, re.DOTALL)) for page in made]
    return found[0], found[1]


@pytest.mark.parametrize(("side", "relative", "passes"), EACH)
def test_the_answers_are_what_the_vessel_was_asked_to_do(side: str, relative: int, passes: str) -> None:
    """Who comes from starboard shows her port side, red; who passes ahead draws ahead, and crosses the bow there."""
    _, answers = pages("north-up")
    told = answers[f"{side} {passes}"]

    assert re.search(rf"<td>{'red' if side == 'starboard' else 'green'} \d\d\d°</td>", told)
    assert f"<td>drawing {'ahead' if passes == 'ahead' else 'aft'}, " in told
    assert re.search(rf"{passes} of us; crosses \d\.\d\d NM {passes}, \d+\.\d min", told)


def test_bearings_are_read_as_the_picture_shows_them() -> None:
    """True on a north-up picture; off the bow with their side, S or P, on a head-up one."""
    true, _ = pages("north-up")
    off_bow, _ = pages("head-up")

    assert re.search(r"<td>08:03</td><td>\d\.\d\d</td><td>03\d\.\d°</td>", true["starboard ahead"])
    assert re.search(r"<td>08:03</td><td>\d\.\d\d</td><td>S 05\d\.\d°</td>", off_bow["starboard astern"])
    assert re.search(r"<td>08:03</td><td>\d\.\d\d</td><td>P 05\d\.\d°</td>", off_bow["port astern"])


def test_the_triangle_is_drawn_as_it_is_worked() -> None:
    """O right and above the middle for a vessel to the north-east; W to O is own way, up and a little to the left."""
    _, answers = pages("north-up")

    def line(kind: str) -> tuple[float, ...]:
        found = re.search(
            rf'<line class="{kind}" x1="(.*?)" y1="(.*?)" x2="(.*?)" y2="(.*?)"', answers["starboard ahead"]
        )
        assert found is not None
        return tuple(float(value) for value in found.groups())

    relative, own, true = line("relative"), line("own"), line("true")
    o, a = relative[:2], relative[2:]
    assert o[0] > 360 > o[1]
    assert own[2:] == o
    assert true[2:] == a
    assert own[:2] == true[:2]
    assert own[2] < own[0]
    assert own[3] < own[1]
    assert (own[2] - own[0]) / (own[3] - own[1]) == pytest.approx(0.176, abs=0.01)  # the tangent of ten degrees
