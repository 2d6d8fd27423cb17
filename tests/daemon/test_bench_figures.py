"""Figures, confidence limits, the front and the choice, on encounters whose answer can be worked out by hand."""

from collections.abc import Sequence

import numpy as np
import pytest
from msgspec import structs

from daemon.bench.choosing import Wish, choose, differences, front, minutes, per_hour
from daemon.bench.confidence import LIMITED, Confidence
from daemon.bench.encounters import Verdict
from daemon.bench.figures import Bootstrap, DrawnBy, figures, limits_of, pool
from daemon.bench.outcome import Outcome
from daemon.errors import UserError
from tests.daemon.bench_makers import encounter

NAN = float("nan")


def outcome(warned: Sequence[Sequence[float]], nuisance: Sequence[int], hours: float = 4.0) -> Outcome:
    """Settings by close passes, and for each setting how many nuisance alerts a passing-clear encounter brought."""
    close = len(warned[0])
    table = np.array([[*row, NAN] for row in warned])
    told = np.array([[0] * close + [count] for count in nuisance], dtype=np.int32)
    return Outcome(
        name="one",
        hours={"open water": hours},
        lines=1,
        is_whole=True,
        has_truth=True,
        untracked=(),
        encounters=(*[encounter(Verdict.CLOSE, cpa_nm=0.2)] * close, encounter(Verdict.CLEAR, cpa_nm=1.3)),
        warned_min=table,
        raised=told + ~np.isnan(table),
        nuisance=told,
        again=np.zeros_like(told),
        alarm_s=np.zeros(table.shape),
        elsewhere=np.zeros(len(warned), dtype=np.int32),
        in_alarm_s=np.full(len(warned), 360.0),
    )


ONE = outcome([[12.0, 10.0, 3.0, 8.0], [15.0, 14.0, 6.0, 9.0], [NAN, 10.0, 2.0, 8.0]], [2, 8, 2])


def test_figures_are_those_worked_out_by_hand() -> None:
    """Four close passes, one that passed clear by 0.8 NM, four hours; late is under five minutes."""
    given = figures(pool([ONE]), 5.0)

    assert (given.close, given.clear, given.unjudged, given.hours) == (4, 1, 0, 4.0)
    assert given.caught.tolist() == [4, 4, 3]
    assert given.late.tolist() == [1, 0, 1]
    assert given.missed.tolist() == [0, 0, 1]
    assert given.warning_median_min.tolist() == [9.0, 11.5, 5.0]
    assert given.warning_worst_min.tolist() == [3.0, 6.0, 0.0]
    # The 10th percentile of 3, 8, 10, 12: three tenths of the way from the first to the second.
    assert given.warning_low_min.tolist() == pytest.approx([4.5, 6.9, 0.6])
    assert given.nuisance_per_h.tolist() == [0.5, 2.0, 0.5]
    assert given.alerts.tolist() == [6, 12, 5]
    assert given.nuisance_clear_nm.tolist() == pytest.approx([0.8, 0.8, 0.8])
    assert given.alarm_share.tolist() == pytest.approx([0.025, 0.025, 0.025])


def test_conditions_are_told_apart() -> None:
    """Encounters go with the condition in force at the closest approach, rates by the hours that it was in force."""
    import msgspec

    last = msgspec.structs.replace(ONE.encounters[-1], condition="harbour")
    two = msgspec.structs.replace(
        ONE, encounters=(*ONE.encounters[:-1], last), hours={"open water": 3.0, "harbour": 1.0}
    )
    open_water, harbour = (figures(pool([two], name), 5.0) for name in ("open water", "harbour"))

    assert (open_water.close, open_water.clear, open_water.hours) == (4, 0, 3.0)
    assert (harbour.close, harbour.clear, harbour.hours) == (0, 1, 1.0)
    assert open_water.nuisance_per_h.tolist() == [0.0, 0.0, 0.0]
    assert harbour.nuisance_per_h.tolist() == [2.0, 8.0, 2.0]


def test_the_front_holds_what_no_other_betters() -> None:
    """The third setting costs as much as the first and warns later: it is not on the front."""
    assert front(figures(pool([ONE]), 5.0)).tolist() == [0, 1]


def test_a_wish_is_met_with_the_least_nuisance_or_not_at_all() -> None:
    given = figures(pool([ONE]), 5.0)

    assert choose(given, Wish(4.0, 1.0)).setting == 0
    assert choose(given, Wish(6.0, None)).setting == 1
    assert choose(given, Wish(None, 3.0)).setting == 1
    none = choose(given, Wish(6.0, 1.0))
    assert none.setting is None
    assert none.why.startswith("no setting does")
    assert none.nearest == 0


def test_without_close_passes_nothing_is_recommended() -> None:
    """An evening with no danger in it proves nothing about limits."""
    quiet = figures(pool([outcome([[], []], [0, 3])]), 5.0)

    choice = choose(quiet, Wish(4.0, 1.0))

    assert choice.setting is None
    assert "no close pass" in choice.why
    assert front(quiet).size == 0


def test_limits_by_bootstrap_hold_a_known_answer() -> None:
    """Of 400 close passes, 300 caught: the limits are those of a binomial share, 0.75 ± 1.96 sqrt(0.75 0.25 / 400).

    The formula: any text on statistics, normal approximation. To 0.01.
    """
    rows = [[10.0] * 300 + [NAN] * 100, [20.0] * 400]
    boot = Bootstrap(pool([outcome(rows, [0, 1])]))

    low, high = limits_of(boot.caught_share(0))

    assert (low, high) == pytest.approx((0.7076, 0.7924), abs=0.01)
    assert limits_of(boot.caught_share(1)) == (1.0, 1.0)


def test_every_figure_has_limits_and_lies_within_them() -> None:
    """Four close passes and one nuisance in four hours; what never happened goes by the rule of three."""
    one = structs.replace(ONE, alarm_s=np.where(ONE.raised > 0, 90.0, 0.0))
    pooled = pool([one, structs.replace(one, elsewhere=np.array([2, 0, 0], dtype=np.int32))])
    given = figures(pooled, 5.0)
    confidence = Confidence(Bootstrap(pooled), given, 5.0)

    for setting in range(3):
        limits = confidence.of(setting)
        assert tuple(limits) == LIMITED
        shares = {f"{name}_share": getattr(given, name)[setting] / 8 for name in ("caught", "late", "missed")}
        for name in LIMITED:
            low, high = limits[name]
            value = shares.get(name, getattr(given, name, given.again / given.hours)[setting])
            assert low - 1e-9 <= value <= high + 1e-9, (setting, name)
    assert confidence.of(0)["missed_share"] == (0.0, 3.0 / 8)
    assert confidence.of(1)["late_share"] == (0.0, 3.0 / 8)
    assert confidence.of(0)["again_per_h"] == (0.0, 3.0 / 8.0)


def test_time_in_alarm_is_drawn_by_the_passage() -> None:
    """Half of 40 passages of four hours were a tenth of an hour in alarm, the others not at all: as `caught` above."""
    quiet = structs.replace(ONE, in_alarm_s=np.zeros(3))
    boot = Bootstrap(pool([ONE, quiet] * 20))
    sd = 0.025 * (0.5 * 0.5 / 40) ** 0.5

    assert boot.by is DrawnBy.PASSAGES
    assert limits_of(boot.alarm_share(0)) == pytest.approx((0.0125 - 1.96 * sd, 0.0125 + 1.96 * sd), abs=0.0005)


def test_weighted_quantiles_are_numpys_on_the_encounters_drawn() -> None:
    """The quantile of a draw is that of its encounters written out one by one."""
    pooled = pool([outcome([[12.0, 10.0, 3.0, 8.0, NAN, 9.0]], [1])])
    boot = Bootstrap(pooled, draws=50)
    warned = np.nan_to_num(pooled.warned_min[0])

    for quantile in (0.1, 0.5):
        found = boot.warning_min(0, quantile)
        for draw, weights in enumerate(boot.weights):
            drawn = np.repeat(warned, weights.astype(int) * pooled.close)
            if len(drawn):
                assert found[draw] == pytest.approx(np.quantile(drawn, quantile))


def test_the_same_seed_gives_the_same_limits_and_passages_can_be_drawn() -> None:
    pooled = pool([ONE, outcome([[2.0], [4.0], [NAN]], [1, 1, 1], hours=1.0)] * 4)

    first, again = Bootstrap(pooled), Bootstrap(pooled)

    assert first.by is DrawnBy.PASSAGES
    assert limits_of(first.nuisance_per_h(0)) == limits_of(again.nuisance_per_h(0))
    assert limits_of(Bootstrap(pooled, DrawnBy.ENCOUNTERS).nuisance_per_h(0)) != limits_of(first.nuisance_per_h(0))


def test_a_difference_is_told_from_chance_on_the_same_encounters() -> None:
    """Three minutes more at each of thirty passes is no chance; three more here and three fewer there may be."""
    base = [float(number % 10 + 5) for number in range(30)]
    surely = [value + 3.0 for value in base]
    swings = [value + (3.0 if number % 2 else -3.0) for number, value in enumerate(base)]
    pooled = pool([outcome([base, surely, swings], [0, 0, 0])])
    boot, given = Bootstrap(pooled), figures(pooled, 5.0)

    median = {second: differences(boot, given, 0, second)[1] for second in (1, 2)}

    assert median[1].difference == pytest.approx(3.0)
    assert median[1].is_more_than_chance
    assert not median[2].is_more_than_chance


def test_a_few_encounters_that_agree_are_no_proof() -> None:
    """Five passes that all have three minutes more: that happens by chance (a sign test); six are enough."""
    for count, surely in ((5, False), (6, True)):
        base = [float(number + 5) for number in range(count)]
        pooled = pool([outcome([base, [value + 3.0 for value in base]], [0, 0])])
        told = differences(Bootstrap(pooled), figures(pooled, 5.0), 0, 1)

        assert told[1].low > 0.0
        assert told[1].differ_in == count
        assert told[1].is_more_than_chance is surely
        assert [one.judged() for one in told[2:]] == ["no difference"] * 3


def test_times_and_rates_are_read_as_people_write_them() -> None:
    assert [minutes(text, "--late") for text in ("10min", "90s", "0.5h", "7")] == [10.0, 1.5, 30.0, 7.0]
    assert [per_hour(text, "-") for text in ("1/h", "12/day", "0.1/min", "2")] == pytest.approx([1.0, 0.5, 6.0, 2.0])
    with pytest.raises(UserError, match="10min"):
        minutes("soon", "--late")
    with pytest.raises(UserError, match="1/h"):
        per_hour("-1/h", "--at-most-nuisance")
