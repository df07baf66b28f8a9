"""The toy's voice: four bytes make a frame, a frame makes sound at the chip's own rate.

A source (pulses or shift-register noise) goes through three resonances. Every bit of
the four bytes is used, so a bit that a bridge turned over is heard for what it is.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.signal import lfilter

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
    energy: int, voiced: bool, period_code: int, f1: int, f2: int, f3: int,
    width: int = 0, stop: bool = False, tilt: int = 0, rasp: int = 0,
) -> bytes:
    """Pack a frame into its four bytes; all fields are codes within their bits."""
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
_FILTERS: dict[int, tuple[np.ndarray, float]] = {}


class Voice:
    """Turns frames into samples, keeping filter, pitch and noise going between them."""

    def __init__(self) -> None:
        self.reset()

    def reset(self) -> None:
        """Go quiet."""
        self._state = np.zeros(6)
        self._energy = 0.0
        self._pulse_in = 0
        self._noise_at = 0

    def fork(self) -> Voice:
        """Copy this voice with all its state."""
        other = Voice.__new__(Voice)
        other.__dict__.update(self.__dict__)
        other._state = self._state.copy()
        return other

    @staticmethod
    def _filter(code: int) -> tuple[np.ndarray, float]:
        found = _FILTERS.get(code)
        if found is None:
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
            answer = lfilter(_ONE, poles, impulse)
            found = _FILTERS[code] = (poles, 1.0 / math.sqrt(float(np.dot(answer, answer))))
        return found

    def frame(self, data: tuple[int, int, int, int] | None, transpose: int = 0) -> np.ndarray:
        """Make one frame's samples.

        Parameters
        ----------
        data : four byte values, or None for silence that lets the resonances ring out
        transpose : int
            Added to the pitch code, clipped to 0..63.

        Returns
        -------
        ndarray of float32, shape (FRAME_SAMPLES,), within -1..1
        """
        if data is None:
            if self._energy == 0.0 and not self._state.any():
                return _SILENCE
            energy, voiced, code, period, rasp, tilt = 0.0, True, 0, 80, 0, 0
        else:
            b0, b1, b2, b3 = data
            # the fourth byte repeats the energy's upper bits: the chip takes the mean of both
            energy = energy_amplitude(((b0 >> 3 & 15) + ((b3 & 7) << 1) + 1) >> 1)
            voiced, tilt, rasp = bool(b0 & 4), b0 & 3, b1 >> 6
            period = pitch_period(min(63, max(0, (b1 & 63) + transpose)))
            code = (b2 << 5) | (b3 >> 3)
        poles, gain = self._filter(code & 0x1FFF)
        if voiced:
            source = np.zeros(FRAME_SAMPLES)
            at = min(self._pulse_in, period)
            source[at::period] = math.sqrt(period)
            if rasp & 1:
                source[(at + period // 2) % period :: period] -= 0.8 * math.sqrt(period)
            if rasp & 2:
                source += 0.5 * _NOISE[self._noise_at : self._noise_at + FRAME_SAMPLES]
            self._pulse_in = (at - FRAME_SAMPLES) % period
        else:
            source = _NOISE[self._noise_at : self._noise_at + FRAME_SAMPLES]
        if tilt:
            source = source + (0.35 * tilt) * np.concatenate(([0.0], -source[:-1]))
        self._noise_at = (self._noise_at + FRAME_SAMPLES) % 8191
        source = source * ((self._energy + (energy - self._energy) * _RAMP) * gain)
        self._energy = energy
        sound, self._state = lfilter(_ONE, poles, source, zi=self._state)
        sound = np.rint(np.clip(sound, -1.0, 1.0) * _DAC_STEPS) / _DAC_STEPS
        if energy == 0.0 and np.abs(self._state).max() < 1e-3:
            self._state = np.zeros(6)
        return sound.astype(np.float32)


_SILENCE = np.zeros(FRAME_SAMPLES, np.float32)
