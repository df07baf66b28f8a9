"""What is read from a sound's short-time power spectrum."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.fft import rfft, rfftfreq
from scipy.signal.windows import hann

from rig.listen.features import BAND_HIGH_HZ, BAND_LOW_HZ, BANDS, mel

POWER_FLOOR = np.float32(1e-12)
"""Power that counts as silence, in a bin or a band: -120 dB re a full-scale sine."""
BATCH = 128
"""Frames worked on at a time, so few that their arrays stay in the processor's cache."""
GROUP = 16
"""Bins whose magnitudes are summed at once."""
ROLL_OFF = np.float32(0.85)
"""The part of the magnitudes that lies at or below the roll-off frequency."""


def mel_weights(size: int, rate_hz: int) -> np.ndarray:
    """Give the triangular weights of the mel bands [1]_.

    The corners are equally spaced in mel, 2595·log10(1 + f/700), from `BAND_LOW_HZ` to
    `BAND_HIGH_HZ` at any rate; the sides are straight over frequency and each peak is 1, so
    that neighbours add up to 1. A band above half the rate is empty.

    Parameters
    ----------
    size : int
        Length of the transform, samples.
    rate_hz : int

    Returns
    -------
    ndarray of float32, shape (size // 2 + 1, BANDS)

    References
    ----------
    .. [1] S. Davis and P. Mermelstein, IEEE Trans. ASSP 28(4), 1980.
    """
    corners_mel = np.linspace(mel(BAND_LOW_HZ), mel(BAND_HIGH_HZ), BANDS + 2)
    corners_hz = 700.0 * (10.0 ** (corners_mel / 2595.0) - 1.0)
    bins_hz = rfftfreq(size, 1.0 / rate_hz)[:, None]
    widths_hz = np.diff(corners_hz)
    rising = (bins_hz - corners_hz[:-2]) / widths_hz[:-1]
    falling = (corners_hz[2:] - bins_hz) / widths_hz[1:]
    return np.clip(np.minimum(rising, falling), 0.0, None).astype(np.float32)


@lru_cache(maxsize=8)
def _analysis(size: int, rate_hz: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Give window, band weights, and columns that sum magnitudes, their moments and groups.

    The window's scale makes the powers of a full-scale sine's bins add up to 1.
    """
    window = hann(size, sym=False)
    window *= 2.0 / np.sqrt(size * np.sum(window**2))
    bins_hz = rfftfreq(size, 1.0 / rate_hz)
    groups = np.arange(len(bins_hz)) // GROUP
    sums = np.column_stack([np.ones_like(bins_hz), bins_hz, np.eye(groups[-1] + 1)[groups]])
    weights = mel_weights(size, rate_hz)
    weights = weights[: np.flatnonzero(weights.any(axis=1))[-1] + 1]  # all above are zero
    return window, np.ascontiguousarray(weights), sums.astype(np.float32)


def spectral_measures(
    windows: np.ndarray, rate_hz: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Measure the spectra of some frames.

    Parameters
    ----------
    windows : ndarray of float32, shape (frames, size)
        The samples of each frame, full scale 1.0.
    rate_hz : int

    Returns
    -------
    mel_db : ndarray of float32, shape (frames, BANDS)
    centroid_hz, roll_off_hz, flatness : ndarray of float32, shape (frames,)
        As `rig.listen.measures.Measures` has them.
    """
    batches = [
        _spectra(windows[first : first + BATCH], rate_hz) for first in range(0, len(windows), BATCH)
    ]
    mel_db, centroid_hz, roll_off_hz, flatness = map(np.concatenate, zip(*batches, strict=True))
    return mel_db, centroid_hz, roll_off_hz, flatness


def _spectra(windows: np.ndarray, rate_hz: int) -> tuple[np.ndarray, ...]:
    """Do what `spectral_measures` does for at most `BATCH` frames."""
    size = windows.shape[1]
    window, weights, sums = _analysis(size, rate_hz)
    # In float64: the rounding of float32 would hide what lies 110 dB below a pure tone.
    magnitude = np.abs(rfft(windows * window, axis=1).astype(np.complex64))
    power = np.square(magnitude)
    mel_db = 10.0 * np.log10(np.maximum(power[:, : len(weights)] @ weights, POWER_FLOOR))
    np.maximum(power, POWER_FLOOR, out=power)
    arithmetic = power.mean(axis=1)
    flatness = np.exp(np.log(power, out=power).mean(axis=1)) / arithmetic

    summed = magnitude @ sums
    total, moment = summed[:, 0], summed[:, 1]
    some = total > 0.0
    centroid_hz = np.divide(moment, total, out=np.full_like(total, np.nan), where=some)
    bins = _reached(magnitude, summed[:, 2:])
    roll_off_hz = np.where(some, bins * (rate_hz / size), np.nan).astype(np.float32)
    return mel_db, centroid_hz, roll_off_hz, flatness


def _reached(magnitude: np.ndarray, by_group: np.ndarray) -> np.ndarray:
    """Give the bin of each row at which its sum reaches `ROLL_OFF` of the whole.

    First the group of `GROUP` bins is found, then the bin in it: most of them needn't be summed.
    """
    row = np.arange(len(magnitude))
    upto = np.cumsum(by_group, axis=1)
    limit = ROLL_OFF * upto[:, -1]
    group = np.argmin(upto < limit[:, None], axis=1)
    before = upto[row, group] - by_group[row, group]
    bins = np.minimum(GROUP * group[:, None] + np.arange(GROUP), magnitude.shape[1] - 1)
    inside = before[:, None] + np.cumsum(magnitude[row[:, None], bins], axis=1)
    return bins[row, np.minimum((inside < limit[:, None]).sum(axis=1), GROUP - 1)]


def onset_strength(mel_db: np.ndarray) -> np.ndarray:
    """Give how much the bands rise from each frame to the next, shape (frames,), dB.

    Falls count as 0; the mean is over all bands, and the first frame has 0.
    """
    onset_db = np.zeros(len(mel_db), np.float32)
    onset_db[1:] = np.maximum(np.diff(mel_db, axis=0), 0.0).mean(axis=1)
    return onset_db
