"""What is measured of a sound: one short-time transform, and what is read from it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.measuring

HOP_S = T.hop_s
WINDOW_S = T.window_s
BANDS = T.bands
BAND_LOW_HZ = T.band_low_hz
BAND_HIGH_HZ = T.band_high_hz
SILENCE_DB = T.silence_db


@dataclass(frozen=True)
class Frames:
    """The log-mel frames of one take.

    Parameters
    ----------
    mel_db : ndarray of float32, shape (n, BANDS)
        Power in each band, dB re full scale, frame by frame, `HOP_S` apart.
    level_db : ndarray of float32, shape (n,)
        Power over all bands, dB re full scale.
    """

    mel_db: np.ndarray
    level_db: np.ndarray

    def __len__(self) -> int:
        return len(self.level_db)


def mel(hz):
    """Convert hertz to mel, 2595·log10(1 + f/700) [1]_.

    References
    ----------
    .. [1] D. O'Shaughnessy, Speech Communication, 1987.
    """
    return 2595.0 * np.log10(1.0 + np.asarray(hz) / 700.0)


@lru_cache(maxsize=8)
def _analysis(rate_hz: int) -> tuple[int, int, np.ndarray, np.ndarray]:
    """Give window length, hop (samples), window and band weights for a sample rate."""
    size = 1 << round(np.log2(WINDOW_S * rate_hz))
    hop = round(HOP_S * rate_hz)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    bins = mel(np.fft.rfftfreq(size, 1.0 / rate_hz))
    edges = np.linspace(mel(BAND_LOW_HZ), mel(BAND_HIGH_HZ), BANDS + 2)
    up = (bins[:, None] - edges[None, :-2]) / (edges[1] - edges[0])
    down = (edges[None, 2:] - bins[:, None]) / (edges[1] - edges[0])
    weights = np.clip(np.minimum(up, down), 0.0, None)
    # A full-scale sine reads 0 dB in the bands that share it.
    weights *= 4.0 / np.sum(window) ** 2
    return size, hop, window, weights.astype(np.float32)


def frames(samples: np.ndarray, rate_hz: int) -> Frames:
    """Measure the log-mel frames of a mono sound.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        Full scale is 1.0.
    rate_hz : int
        Sample rate, Hz.

    Returns
    -------
    Frames
        One frame every `HOP_S`, the first one starting at sample 0.
    """
    size, hop, window, weights = _analysis(rate_hz)
    samples = np.asarray(samples, dtype=np.float32)
    if len(samples) < size:
        samples = np.pad(samples, (0, size - len(samples)))
    views = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop]
    spectrum = scipy.fft.rfft(views * window, axis=1)
    bands = (spectrum.real**2 + spectrum.imag**2) @ weights
    floor = np.float32(10 ** (SILENCE_DB / 10))
    mel_db = 10.0 * np.log10(bands + floor)
    level_db = 10.0 * np.log10(bands.sum(axis=1) + floor)
    return Frames(mel_db.astype(np.float32), level_db.astype(np.float32))


def log_spectrogram(
    samples: np.ndarray, rate_hz: int, low_hz: float = 100.0, high_hz: float = 9000.0,
    per_octave: int = 48,
) -> np.ndarray:
    """Give the spectrum on a logarithmic frequency axis, on which re-pitching is a shift.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
    rate_hz : int
    low_hz, high_hz : float
        Range of the axis, Hz.
    per_octave : int
        Points in an octave.

    Returns
    -------
    ndarray of float32, shape (frames, points)
        dB re full scale, one frame every `HOP_S`.
    """
    size = round(0.032 * rate_hz)
    hop = round(HOP_S * rate_hz)
    samples = np.asarray(samples, dtype=np.float32)
    if len(samples) < size:
        samples = np.pad(samples, (0, size - len(samples)))
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    n_fft = 1 << (size - 1).bit_length()
    views = np.lib.stride_tricks.sliding_window_view(samples, size)[::hop]
    magnitude = np.abs(scipy.fft.rfft(views * window, n=n_fft, axis=1)) * (2.0 / window.sum())
    points = int(np.log2(high_hz / low_hz) * per_octave) + 1
    place = low_hz * 2.0 ** (np.arange(points) / per_octave) / (rate_hz / n_fft)
    below = np.floor(place).astype(int)
    part = (place - below).astype(np.float32)
    value = magnitude[:, below] * (1 - part) + magnitude[:, below + 1] * part
    return 20.0 * np.log10(value + 1e-6)
