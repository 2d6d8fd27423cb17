"""Where the watch could have been quiet and wrong: data that is missing or old is said, and never reckoned with.

Vessels and places are invented.
"""

from math import atan2, degrees, hypot

import pytest

from alerts.events import AnyEvent, Plot
from alerts.lookout import Lookout, LookoutSettings, World
from parsers import encode
from parsers.decode import Decoder
from tests.alerts.watch import moment


class Bridge:
    """A lookout that hears sentences at whole seconds."""

    def __init__(self, settings: LookoutSettings | None = None) -> None:
        self.lookout = Lookout(settings)
        self.decoder = Decoder("bridge")
        self.said: list[AnyEvent] = []

    def second(self, at_s: int, *sentences: str) -> None:
        now = moment(float(at_s))
        self.lookout.tick(now, World())
        for sentence in sentences:
            self.lookout.take(now, self.decoder.decode_line(sentence.encode(), now.at_s).observations)
        self.said += [event for _, event in self.lookout.flush()]

    def plots(self) -> list[Plot]:
        return [event for event in self.said if isinstance(event, Plot)]


def own_ship(at_s: int, sog_kn: float, lat_deg: float = 50.0) -> str:
    return encode.rmc(at_s, "150127", lat_deg, 0.0, sog_kn=sog_kn, cog_deg=0.0 if sog_kn else None)


def test_without_own_speed_the_time_to_cpa_is_that_of_the_relative_motion() -> None:
    """End on at 10 kn each, and the receiver falls silent: she still comes at 20 kn, by the ranges alone."""
    bridge = Bridge()
    for at_s in range(400):
        own = [own_ship(at_s, 10.0)] if at_s < 200 else []
        east, north = 1.0, 12.0 - 20.0 * at_s / 3600.0
        target = [encode.ttm(7, hypot(east, north), degrees(atan2(east, north)))] if at_s % 3 == 0 else []
        bridge.second(at_s, *own, *target)
    last = bridge.plots()[-1]

    assert last.speed_kn is None
    assert last.tcpa_min == pytest.approx(60.0 * (12.0 - 20.0 * 399 / 3600.0) / 20.0, abs=0.5)


def test_a_position_of_a_target_is_seen_from_where_own_ship_is_now() -> None:
    """At 20 kn a fix that is twelve seconds old is a hundred metres astern."""
    bridge = Bridge()
    bridge.second(0, own_ship(0, 20.0))
    for at_s in range(1, 13):
        bridge.second(at_s)
    bridge.second(12, encode.tll(5, 50.1, 0.0))
    (plot,) = bridge.plots()

    assert plot.range_nm == pytest.approx(6.004 - 12 * 20 / 3600, abs=0.005)
