"""The toy's voice: four bytes make a frame, a frame makes sound at the chip's own rate.

A source (pulses or shift-register noise) goes through three resonances. Every bit of
the four bytes is used, so a bit that a bridge turned over is heard for what it is.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
import scipy

CHIP_RATE_HZ = 8000.0
"""Samples per second of the voice at the clock's nominal frequency."""

FRAME_SAMPLES = 160
"""Chip samples of one frame: 20 ms at the nominal clock."""

F1_HZ = np.linspace(220.0, 880.0, 16)
F2_HZ = np.geomspace(700.0, 2500.0, 16)
F3_HZ = np.linspace(2150.0, 3500.0, 8)
BANDWIDTH_FACTOR = (1.0, 1.6, 2.6, 5.0)

_DAC_STEPS = 127.0


def energy_amplitude(code: int) -> float:
    """Give the RMS amplitude of an energy code 0..15: 2 dB a step, 0 is silence."""
    return 0.0 if code == 0 else 0.22 * 10 ** (-(15 - code) * 2.0 / 20.0)


def pitch_period(code: int) -> int:
    """Give the period in chip samples of a pitch code 0..63: 20 to 146, 400 Hz down to 55 Hz."""
    return 20 + 2 * code


def pack_frame(
    energy: int, voiced: bool, period_code: int, formants: tuple[int, int, int], *,
    width: int = 0, stop: bool = False, tilt: int = 0, rasp: int = 0,
) -> bytes:
    """Pack a frame into its four bytes; all fields are codes within their bits."""
    f1, f2, f3 = formants
    return bytes((
        (stop << 7) | (energy << 3) | (voiced << 2) | tilt,
        (rasp << 6) | period_code,
        (f1 << 4) | f2,
        (f3 << 5) | (width << 3) | (energy >> 1),
    ))


def _noise_bits() -> np.ndarray:
    register, bits = 0x1ACE, np.empty(8191)
    for i in range(len(bits)):
        bits[i] = 1.0 if register & 1 else -1.0
        # taps of a maximal 13-bit register: x^13 + x^4 + x^3 + x + 1
        new = (register ^ (register >> 1) ^ (register >> 3) ^ (register >> 4)) & 1
        register = (register >> 1) | (new << 12)
    return np.tile(bits, 2)


_NOISE = _noise_bits()
_RAMP = np.arange(1, FRAME_SAMPLES + 1) / FRAME_SAMPLES
_ONE = np.ones(1)
_MOST_MOMENTS = 20_000


@lru_cache(maxsize=8192)
def _filter(code: int) -> tuple[np.ndarray, float]:
    """Give the poles of a filter code, and the gain that makes its noise gain 1."""
    factor = BANDWIDTH_FACTOR[code & 3]
    poles = np.ones(1)
    bands = (
        (F1_HZ[code >> 9 & 15], 70.0),
        (F2_HZ[code >> 5 & 15], 100.0),
        (F3_HZ[code >> 2 & 7], 160.0),
    )
    for centre_hz, width_hz in bands:
        radius = math.exp(-math.pi * width_hz * factor / CHIP_RATE_HZ)
        angle = 2 * math.pi * centre_hz / CHIP_RATE_HZ
        poles = np.convolve(poles, [1.0, -2 * radius * math.cos(angle), radius * radius])
    impulse = np.zeros(512)
    impulse[0] = 1.0
    answer = scipy.signal.lfilter(_ONE, poles, impulse)
    return poles, 1.0 / math.sqrt(float(np.dot(answer, answer)))


class _Moment:
    """The voice's whole state after some frame, the frame's samples, and what followed it.

    A phrase is said thousands of times from the same silence: each of its frames is
    worked out once and then found again by walking these.
    """

    __slots__ = ("energy", "next", "noise_at", "pulse_in", "samples", "state")

    def __init__(self) -> None:
        self.samples: np.ndarray | None = None
        self.state = np.zeros(6)
        self.energy = 0.0
        self.pulse_in = 0
        self.noise_at = 0
        self.next: dict[tuple[Frame | None, int], _Moment] = {}


Frame = tuple[int, int, int, int]
_SILENCE = _Moment()
_made = 0


class Voice:
    """Turns frames into samples, keeping filter, pitch and noise going between them."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Go quiet."""
        self._now = _SILENCE

    def fork(self) -> Voice:
        """Copy this voice with all its state."""
        other = Voice()
        other._now = self._now
        return other

    def frame(self, data: Frame | None, transpose: int = 0) -> np.ndarray | None:
        """Make one frame's samples.

        Parameters
        ----------
        data : four byte values, or None for silence that lets the resonances ring out
        transpose : int
            Added to the pitch code, clipped to 0..63.

        Returns
        -------
        ndarray of float32, shape (FRAME_SAMPLES,), within -1..1; None for silence
        """
        if data is None:
            if self._now is _SILENCE:
                return None
            transpose = 0
        known = self._now.next.get((data, transpose))
        if known is None:
            global _made
            _made += 1
            if _made > _MOST_MOMENTS:
                _made = 0
                _SILENCE.next.clear()
                self._now.next.clear()
            known = self._now.next[data, transpose] = _follow(self._now, data, transpose)
        self._now = known
        return known.samples


def _follow(before: _Moment, data: Frame | None, transpose: int) -> _Moment:
    if data is None:
        energy, voiced, code, period, rasp, tilt = 0.0, True, 0, 80, 0, 0
    else:
        b0, b1, b2, b3 = data
        # the fourth byte repeats the energy's upper bits: the chip takes the mean of both
        energy = energy_amplitude(((b0 >> 3 & 15) + ((b3 & 7) << 1) + 1) >> 1)
        voiced, tilt, rasp = bool(b0 & 4), b0 & 3, b1 >> 6
        period = pitch_period(min(63, max(0, (b1 & 63) + transpose)))
        code = (b2 << 5) | (b3 >> 3)
    poles, gain = _filter(code)
    after = _Moment()
    noise = _NOISE[before.noise_at : before.noise_at + FRAME_SAMPLES]
    if voiced:
        source = np.zeros(FRAME_SAMPLES)
        at = min(before.pulse_in, period)
        source[at::period] = math.sqrt(period)
        if rasp & 1:
            source[(at + period // 2) % period :: period] -= 0.8 * math.sqrt(period)
        if rasp & 2:
            source += 0.5 * noise
        after.pulse_in = (at - FRAME_SAMPLES) % period
    else:
        source = noise
    if tilt:
        source = source - (0.35 * tilt) * np.concatenate(([0.0], source[:-1]))
    after.noise_at = (before.noise_at + FRAME_SAMPLES) % 8191
    source = source * ((before.energy + (energy - before.energy) * _RAMP) * gain)
    after.energy = energy
    sound, after.state = scipy.signal.lfilter(_ONE, poles, source, zi=before.state)
    sound = np.rint(np.clip(sound, -1.0, 1.0) * _DAC_STEPS) / _DAC_STEPS
    if sound.any():
        after.samples = sound.astype(np.float32)
    elif energy == 0.0 and np.abs(after.state).max() < 1e-3:
        return _SILENCE
    return after
