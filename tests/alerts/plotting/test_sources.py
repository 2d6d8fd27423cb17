"""Which source of one quantity is in use."""

from alerts.plotting.sources import MOST_SOURCES, Choice
from parsers.observations import Source

GYRO = Source("bridge", "HE", "THS")
FLUXGATE = Source("bridge", "HC", "HDG")


def choice() -> Choice[float]:
    return Choice(fallback_s=3.0, return_s=10.0)


def test_the_first_source_is_used_at_once() -> None:
    """There is nothing better to wait for."""
    heading = choice()

    assert heading.take(0.0, FLUXGATE, 4, 81.0)
    assert heading.value(1.0, max_age_s=5.0) == 81.0


def test_a_better_source_waits_until_it_has_proved_steady() -> None:
    """It takes over after `return_s` without a break, not at its first word."""
    heading = choice()
    used = {}
    for second in range(20):
        heading.take(float(second), FLUXGATE, 4, 81.0)
        heading.take(float(second), GYRO, 0, 85.0)
        used[second] = heading.source

    assert used[9] == FLUXGATE
    assert used[10] == GYRO


def test_a_better_source_that_comes_and_goes_is_not_used() -> None:
    """Each break longer than `fallback_s` starts the wait anew."""
    heading = choice()
    for second in range(60):
        heading.take(float(second), FLUXGATE, 4, 81.0)
        if second % 8 < 4:
            heading.take(float(second), GYRO, 0, 85.0)

    assert heading.source == FLUXGATE


def test_a_silent_source_gives_way() -> None:
    """After `fallback_s` of silence the next best fresh source is used, without waiting for its next word."""
    heading = choice()
    heading.take(0.0, GYRO, 0, 85.0)
    heading.take(2.9, FLUXGATE, 4, 81.0)

    assert heading.value(3.0, max_age_s=5.0) == 85.0
    assert heading.value(3.1, max_age_s=5.0) == 81.0
    assert heading.source == FLUXGATE


def test_too_old_is_unknown() -> None:
    """A value past its age is None, never the last number."""
    heading = choice()
    heading.take(0.0, GYRO, 0, 85.0)

    assert heading.value(5.1, max_age_s=5.0) is None
    assert heading.age_s(5.1) == 5.1


def test_a_flood_of_sources_does_not_push_out_the_one_in_use() -> None:
    """Memory is bounded, and talkers made up by the hundred leave the good source where it is."""
    heading = choice()
    heading.take(0.0, GYRO, 0, 85.0)
    for number in range(1000):
        heading.take(0.001 * number, Source("udp", f"{number:02d}", "HDT"), 1, 10.0)

    assert len(heading._readings) <= MOST_SOURCES
    assert heading.value(1.0, max_age_s=5.0) == 85.0
