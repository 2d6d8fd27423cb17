"""Each kind of mistake in the configuration is refused with the key, the line and what was meant."""

import argparse
from pathlib import Path

import pytest

from daemon.commands import shared, watch
from daemon.config import Config, load
from daemon.errors import CANNOT_OPEN, WRONG_USAGE, UserError
from daemon.main import main
from daemon.toml_lines import line_of


def refusal(tmp_path: Path, text: str) -> UserError:
    path = tmp_path / "secondplot.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(UserError) as caught:
        load(path)
    return caught.value


def test_a_condition_of_one_key_keeps_the_other_defaults(tmp_path: Path) -> None:
    """A user who changes the CPA limit of one condition has not thrown the rest away."""
    path = tmp_path / "secondplot.toml"
    path.write_text('condition = "harbour"\n[conditions.harbour]\ncpa_nm = 0.15\n', encoding="utf-8")
    config = load(path)

    assert config.conditions["harbour"].cpa_nm == 0.15
    assert config.conditions["harbour"].tcpa_min == Config().conditions["harbour"].tcpa_min
    assert set(config.conditions) == set(Config().conditions)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('condition = "opne water"', ["line 1", "condition", "'open water'"]),
        ('[conditions."open water"]\ncpa = 0.5\n', ["line 2", 'conditions."open water".cpa', "no such key", "cpa_nm"]),
        ("[alerts.lost_target]\nhold_s = true\n", ["line 2", "alerts.lost_target.hold_s", "a number"]),
        ("[conditions.mine]\n\ncpa_nm = -1\n", ["line 3", "conditions.mine.cpa_nm", "> 0"]),
        ("[alerts.lost_targt]\n", ["alerts.lost_targt", "did you mean", "lost_target"]),
        ('[feeds.radar]\nurl = "udp:10110"\n', ["feeds.radar", "uri"]),
        ("condition = open water", ["not valid TOML", "line 1"]),
    ],
    ids=[
        "unknown condition",
        "unknown key",
        "wrong type",
        "impossible limit",
        "unknown rule",
        "missing key",
        "no TOML",
    ],
)
def test_a_mistake_is_named_with_its_place(tmp_path: Path, text: str, words: list[str]) -> None:
    """The message is what a skipper needs to mend the file."""
    error = refusal(tmp_path, text)

    assert error.code == WRONG_USAGE
    assert all(word in str(error) for word in words), str(error)


def test_files_that_cannot_be_settings(tmp_path: Path) -> None:
    """A missing file, a folder, a binary file and a huge one each give their own words and code 3."""
    (tmp_path / "binary.toml").write_bytes(b"\xff\xfe\x00\x01")
    (tmp_path / "huge.toml").write_bytes(b"#" * (1 << 20) + b"\n")
    for name, words in {
        "missing.toml": "No such file",
        ".": "folder",
        "binary.toml": "UTF-8",
        "huge.toml": "MiB",
    }.items():
        with pytest.raises(UserError, match=words) as caught:
            load(tmp_path / name)

        assert caught.value.code == CANNOT_OPEN


def test_set_overrides_the_file() -> None:
    """`--set` takes any key; bare words are text; a wrong one is refused with the same words."""
    assert load(None, ["condition=harbour"]).condition == "harbour"
    assert load(None, ["conditions.mine.cpa_nm=1", "condition=mine"]).conditions["mine"].cpa_nm == 1.0
    with pytest.raises(UserError, match="KEY=VALUE"):
        load(None, ["harbour"])


def test_line_of_finds_quoted_and_dotted_keys() -> None:
    """Headers with quotes and assignments with dots are found; what is not there falls to the nearest table."""
    text = '# a comment\n[conditions."open water"]\ncpa_nm = 1\n[alerts]\nlost_target.hold_s = 3\n'

    assert line_of(text, ("conditions", "open water", "cpa_nm")) == 3
    assert line_of(text, ("alerts", "lost_target", "hold_s")) == 5
    assert line_of(text, ("conditions", "open water", "tcpa_min")) == 2
    assert line_of(text, ("feeds",)) is None


def test_a_feed_that_cannot_be_meant_is_no_good_configuration(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """`config --check` reads the feeds' URIs as a watch would, and names the line."""
    path = tmp_path / "boat.toml"
    path.write_text('condition = "coastal"\n[feeds.radar]\nuri = "serial:/dev/ttyUSB0@4801"\n', encoding="utf-8")

    assert main(["config", "--check", str(path)]) == 2
    assert f"{path}, line 3: feeds.radar.uri: feed 'serial:/dev/ttyUSB0@4801'" in capsys.readouterr().err


def test_the_written_configuration_shows_feeds_and_zones_and_takes_them(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Commented out, every key of them; an empty table in their place would refuse the one that is added below."""
    assert main(["config"]) == 0
    text = capsys.readouterr().out
    for shown in (
        "# [feeds.NAME]\n# uri = ",
        "# silent_after_s = 10",
        "# [alerts.guard_zone.zones.NAME]\n# from_nm = 0",
    ):
        assert shown in text
    path = tmp_path / "boat.toml"
    added = '[feeds.radar]\nuri = "udp:10110"\n[alerts.guard_zone.zones.bow]\nto_nm = 2\n'
    path.write_text(text + added + "[alerts.lost_target.except_zones.mast]\nto_nm = 3\n", encoding="utf-8")
    config = load(path)

    assert config.feeds["radar"].uri == "udp:10110"
    assert config.alerts.guard_zone.zones["bow"].to_nm == 2
    assert list(config.alerts.lost_target.except_zones) == ["mast"]


@pytest.mark.parametrize("words", [["--condition", "fog"], ["--set", "condition=fog"]])
def test_a_mistake_on_the_command_line_is_not_blamed_on_the_file(
    tmp_path: Path, words: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "boat.toml"
    path.write_text('condition = "coastal"\n', encoding="utf-8")

    assert main(["replay", "passage.nmea", "--config", str(path), *words]) == 2
    assert capsys.readouterr().err.startswith("secondplot replay: command line: condition: 'fog' is none of")


def test_what_the_archive_keeps_is_asked_for_on_the_command_line_too(tmp_path: Path) -> None:
    """`--keep-days` and `--keep-mib` are laid over the file, and bounded like it."""
    path = tmp_path / "secondplot.toml"
    path.write_text("[archive]\nkeep_days = 30\nkeep_mib = 500\n", encoding="utf-8")
    parser = argparse.ArgumentParser()
    watch.add_arguments(parser)
    chosen = load(path, shared.overrides(parser.parse_args(["--keep-mib", "100.5"]))).archive

    assert (chosen.keep_days, chosen.keep_mib) == (30, 100.5)
    with pytest.raises(UserError, match=r"archive\.keep_days: expected a number > 0"):
        load(path, shared.overrides(parser.parse_args(["--keep-days", "0"])))


def test_a_condition_of_your_own_is_named_when_a_file_is_checked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One that was only misspelt would be good TOML, and never in force."""
    path = tmp_path / "boat.toml"
    path.write_text("[conditions.harbor]\ncpa_nm = 0.2\n")

    assert main(["config", "--check", str(path)]) == 0
    assert "Conditions of your own: 'harbor' (not 'harbour'?)." in capsys.readouterr().out


def test_text_without_quotes_is_told_by_its_quotes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "boat.toml"
    path.write_text("condition = harbour\n")

    assert main(["config", "--check", str(path)]) == 2
    assert "line 1" in (said := capsys.readouterr().err)
    assert "text stands in quotes" in said
