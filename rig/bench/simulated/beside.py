"""What a toy gives besides its speech: click, hiss and hum of its amplifier, and its whine."""

from __future__ import annotations

import math

import numpy as np

from rig.bench.simulated.habits import Habits
from rig.bench.simulated.sound import RATE_HZ

SPEECH_RMS = 0.1
"""Of a toy that speaks: what the levels are given re."""

_THUMP_HZ, _THUMP_S = 500.0, 0.004
_HUM_HZ = 400.0
_HUM_RMS = math.sqrt(0.5 - (2 / math.pi) ** 2)
"""Of a rectified sine of amplitude 1, without its mean."""

_SPEAKER_LOSS = 0.7
"""What speaker and amplifier leave of what is in their band, by amplitude."""

_NOISE_HZ = 8000.0
"""Values of the hiss in a second, so that it is in the speaker's band."""

_NOISE = np.random.Generator(np.random.PCG64(0xBE51)).standard_normal(1 << 14).astype(np.float32)


class Beside:
    """The noises of one board's amplifier.

    Parameters
    ----------
    habits : Habits
    """

    def __init__(self, habits: Habits):
        self._hiss = _amplitude(habits.hiss_before_db) if habits.hiss_before_ms else 0.0
        self._hum = _amplitude(habits.hum_db)
        self._thump = 0.0 if habits.thump_db is None else _amplitude(habits.thump_db)

    def noise(self, which: str, count: int, rate_hz: float, at: int) -> np.ndarray:
        """Give 20 ms of a noise at the amplifier's input.

        Parameters
        ----------
        which : str
            "thump" (with the hiss that begins with it), "hiss" or "hum".
        count : int
            Samples.
        rate_hz : float
            Of them.
        at : int
            Picks the piece of noise.
        """
        times = np.arange(count) / rate_hz
        if which == "hum":
            # rectified, so that it has overtones; 20 ms hold whole periods
            hum = np.abs(np.sin(math.pi * _HUM_HZ * times)) - 2 / math.pi
            return (hum * (self._hum / _HUM_RMS)).astype(np.float32)
        places = (times * _NOISE_HZ).astype(int)
        first = at * 7919 % (len(_NOISE) - int(places[-1]))
        sound: np.ndarray = self._hiss * _NOISE[first + places]
        if which == "thump" and self._thump:
            click = np.sin(2 * math.pi * _THUMP_HZ * times) * np.exp(-times / _THUMP_S)
            sound = sound + self._thump * click / np.abs(click).max()
        return sound.astype(np.float32)


def whine(habits: Habits, first: int, count: int) -> np.ndarray:
    """Give the tone of a supplied toy: `count` samples from the toy's sample `first` on."""
    assert habits.whine_hz is not None
    level = SPEECH_RMS * 10 ** (habits.whine_db / 20) * math.sqrt(2)
    # whole cycles are left out before the sine, which is exact only near zero
    turns = np.arange(first, first + count) * (habits.whine_hz / RATE_HZ) % 1.0
    return (level * np.sin(2 * math.pi * turns)).astype(np.float32)


def _amplitude(db: float) -> float:
    return SPEECH_RMS * 10 ** (db / 20) / _SPEAKER_LOSS
