"""The command line itself: a slip of the finger is told in one line, with what was meant."""

import pytest

from daemon.main import main


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["wach"], "secondplot: there is no command 'wach' (did you mean 'watch'?): see secondplot --help\n"),
        (
            ["watch", "--nmae", "radar"],
            "secondplot watch: there is no option '--nmae' (did you mean '--name'?): see secondplot watch --help\n",
        ),
        (["status", "now"], "secondplot status: one word too many, 'now': see secondplot status --help\n"),
        (
            ["--verson"],
            "secondplot: there is no option '--verson' (did you mean '--version'?): see secondplot --help\n",
        ),
    ],
)
def test_a_slip_is_told_in_one_line(words: list[str], said: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(words) == 2
    assert capsys.readouterr() == ("", said)


def test_options_are_not_abbreviated(capsys: pytest.CaptureFixture[str]) -> None:
    """What a script abbreviates today would be another option tomorrow."""
    assert main(["replay", "fog.nmea", "--arch", "fog.sqlite"]) == 2
    assert "did you mean '--archive'?" in capsys.readouterr().err


def test_the_words_that_a_key_may_hold_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["watch", "--feed", "udp:10110", "--set", "alerts.closest_approach.basis=radar"]) == 2
    assert "'radar' is none of recomputed, reported, either" in capsys.readouterr().err
