"""The sounds themselves: samples, and the WAV file that holds them.

Alarm: three short tones. Warning: two longer, lower ones. Caution: silent (IEC 62923-1, from memory). Frequencies
lie between 200 and 2,500 Hz (A.1021(26), from memory). Tones rise and fall over 10 ms, so that they do not click.
"""

import io
import wave

import numpy as np
import numpy.typing as npt
from msgspec import Struct

from alerts.annunciators.settings import Sound
from alerts.plotting.terms import Priority

RATE_HZ = 44_100
RAMP_S = 0.010
LEAD_S = 0.05
"""Silence before the first tone: a sleeping sound card swallows the beginning."""

Samples = npt.NDArray[np.float64]


class Pattern(Struct, frozen=True):
    """So many tones of one frequency, each so long, so far apart."""

    tones: int
    frequency_hz: float
    tone_s: float
    gap_s: float


def pattern_of(priority: Priority, settings: Sound) -> Pattern | None:
    """The pattern of a priority; None for the silent one."""
    if priority is Priority.ALARM:
        return Pattern(3, settings.alarm_hz, 0.16, 0.12)
    if priority is Priority.WARNING:
        return Pattern(2, settings.warning_hz, 0.32, 0.20)
    return None


def samples_of(pattern: Pattern, volume: float) -> Samples:
    """The sound, (N,), within -volume to volume, at RATE_HZ."""
    seconds = np.arange(round(pattern.tone_s * RATE_HZ)) / RATE_HZ
    ramp = np.minimum(1.0, np.minimum(seconds, seconds[::-1]) / RAMP_S)
    smooth = 0.5 - 0.5 * np.cos(np.pi * ramp)
    tone = volume * smooth * np.sin(2 * np.pi * pattern.frequency_hz * seconds)
    gap = np.zeros(round(pattern.gap_s * RATE_HZ))
    parts = [np.zeros(round(LEAD_S * RATE_HZ)), tone]
    for _ in range(pattern.tones - 1):
        parts += [gap, tone]
    return np.concatenate([*parts, gap])


def wav_of(samples: Samples) -> bytes:
    """A WAV file: one channel, 16 bits."""
    out = io.BytesIO()
    with wave.open(out, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(np.round(samples * 32767).astype("<i2").tobytes())
    return out.getvalue()
