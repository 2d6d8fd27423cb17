"""The sounds, by measuring their samples, and the player that plays them."""

import io
import sys
import wave
from pathlib import Path

import numpy as np
import pytest

from alerts.annunciators import tones
from alerts.annunciators.bell import Bell
from alerts.annunciators.face import AnnunciatorError
from alerts.annunciators.settings import Sound
from alerts.annunciators.sound import NO_PLAYER, PLAYERS, find_player
from alerts.annunciators.sound import Sound as SoundAnnunciator
from alerts.plotting.terms import Priority
from tests.alerts.test_annunciators import of


def heard(priority: Priority, settings: Sound | None = None) -> np.ndarray:
    """The samples of the WAV file itself, -1 to 1."""
    chosen = settings or Sound()
    pattern = tones.pattern_of(priority, chosen)
    assert pattern is not None
    with wave.open(io.BytesIO(tones.wav_of(tones.samples_of(pattern, chosen.volume)))) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, tones.RATE_HZ)
        return np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768


def bursts(samples: np.ndarray) -> list[tuple[float, float]]:
    """Start and length in seconds of each tone: where the loudness over 5 ms is more than a tenth of the peak."""
    window = tones.RATE_HZ // 200
    loud = (
        np.array([np.abs(samples[i : i + window]).max() for i in range(0, len(samples), window)])
        > 0.1 * np.abs(samples).max()
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(int), [0]])))
    return [(start * 0.005, (end - start) * 0.005) for start, end in zip(edges[::2], edges[1::2], strict=True)]


def pitch_hz(samples: np.ndarray) -> float:
    """The strongest frequency."""
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples))))
    return float(np.fft.rfftfreq(len(samples), 1 / tones.RATE_HZ)[spectrum.argmax()])


class TestSamples:
    @pytest.mark.parametrize(
        ("priority", "count", "length_s", "frequency_hz"), [("alarm", 3, 0.16, 1800), ("warning", 2, 0.32, 900)]
    )
    def test_count_length_and_pitch_of_the_tones(
        self, priority: str, count: int, length_s: float, frequency_hz: float
    ) -> None:
        """Alarm three short tones, warning two (IEC 62923-1, from memory); 200 to 2,500 Hz (A.1021(26), memory)."""
        samples = heard(Priority(priority))
        found = bursts(samples)

        assert [length for _, length in found] == pytest.approx([length_s] * count, abs=0.012)
        for start, length in found:
            burst = samples[round(start * tones.RATE_HZ) : round((start + length) * tones.RATE_HZ)]
            assert pitch_hz(burst) == pytest.approx(frequency_hz, abs=8)
        assert 200 <= pitch_hz(samples) <= 2500

    def test_a_caution_is_silent(self) -> None:
        assert tones.pattern_of(Priority.CAUTION, Sound()) is None

    @pytest.mark.parametrize("volume", [0.05, 0.7, 1.0])
    def test_volume_is_the_peak_and_nothing_clips(self, volume: float) -> None:
        samples = heard(Priority.ALARM, Sound(volume=volume))

        assert np.abs(samples).max() == pytest.approx(volume, rel=0.01)
        assert np.count_nonzero(np.abs(samples) >= 0.99996) <= len(samples) * 0.01  # no flat tops

    def test_tones_rise_and_fall_without_a_click(self) -> None:
        """No step between neighbouring samples is larger than the tone's own steepest."""
        samples = heard(Priority.ALARM, Sound(volume=1.0))
        steepest = 2 * np.pi * 1800 / tones.RATE_HZ

        assert np.abs(np.diff(samples)).max() <= steepest * 1.01
        assert samples[0] == samples[-1] == 0

    def test_energy_lies_in_the_tone(self) -> None:
        samples = heard(Priority.WARNING)
        power = np.abs(np.fft.rfft(samples)) ** 2
        frequencies = np.fft.rfftfreq(len(samples), 1 / tones.RATE_HZ)

        assert power[(frequencies > 800) & (frequencies < 1000)].sum() / power.sum() > 0.99

    def test_no_two_are_alike(self) -> None:
        """They differ in count and pitch; settings that would bring the pitches together are refused."""
        alarm, warning = heard(Priority.ALARM), heard(Priority.WARNING)

        assert len(bursts(alarm)) != len(bursts(warning))
        assert pitch_hz(alarm) / pitch_hz(warning) > 1.25
        with pytest.raises(ValueError, match="no two sounds alike"):
            Sound(alarm_hz=1000, warning_hz=1100)


RECORD = "import shutil, sys; shutil.copy(sys.argv[2], sys.argv[1])"


class TestPlayer:
    def test_the_first_that_is_there_is_taken(self) -> None:
        there = {"aplay": "/usr/bin/aplay", "play": "/usr/bin/play"}

        assert find_player("auto", which=there.get) == ("/usr/bin/aplay", "-q")
        assert find_player("auto", which={"play": "/usr/bin/play"}.get) == ("/usr/bin/play", "-q")
        assert find_player("auto", which=lambda name: None) == ()
        assert len({player[0] for player in PLAYERS}) == len(PLAYERS)

    def test_your_own_is_taken_with_its_arguments(self) -> None:
        which = {"my-player": "/opt/my-player"}.get

        assert find_player("my-player --card 'USB 2'", which=which) == ("/opt/my-player", "--card", "USB 2")

    def test_plays_the_file_of_the_priority(self, tmp_path: Path) -> None:
        copy = tmp_path / "copy.wav"
        settings = Sound(command=f'{sys.executable} -c "{RECORD}" {copy}')
        sound = SoundAnnunciator(settings, Bell(io.StringIO()))

        assert sound.tell([of(Priority.WARNING)])
        with wave.open(str(copy)) as file:
            samples = np.frombuffer(file.readframes(file.getnframes()), "<i2") / 32768
        assert pitch_hz(samples) == pytest.approx(900, abs=8)
        sound.close()

    def test_a_caution_is_not_played(self, tmp_path: Path) -> None:
        copy = tmp_path / "copy.wav"
        sound = SoundAnnunciator(Sound(command=f'{sys.executable} -c "{RECORD}" {copy}'), Bell(io.StringIO()))

        assert not sound.tell([of(Priority.CAUTION)])
        assert not copy.exists()
        sound.close()

    def test_without_a_player_the_bell_rings_and_it_is_said(self) -> None:
        terminal = io.StringIO()
        sound = SoundAnnunciator(Sound(command="/no/such/player"), Bell(terminal, apart_s=0.0))

        with pytest.raises(AnnunciatorError, match="the bell rings instead"):
            sound.tell([of(Priority.ALARM)])
        assert terminal.getvalue() == "\a\a\a"
        assert "the bell rings instead" in NO_PLAYER
        sound.close()

    def test_a_player_that_fails_is_said_and_the_bell_rings(self) -> None:
        terminal = io.StringIO()
        settings = Sound(command=f"{sys.executable} -c \"import sys; sys.exit('no card')\"")
        sound = SoundAnnunciator(settings, Bell(terminal, apart_s=0.0))

        with pytest.raises(AnnunciatorError, match="no card"):
            sound.tell([of(Priority.WARNING)])
        assert terminal.getvalue() == "\a\a"
        sound.close()
