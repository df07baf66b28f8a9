"""The fundamental of a sound, frame by frame or where it is steady."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import scipy

from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.measuring


def pitch_track(
    samples: np.ndarray, rate_hz: int, low_hz: float = 60.0, high_hz: float = 2000.0
) -> tuple[np.ndarray, np.ndarray]:
    """Follow the fundamental frame by frame with the YIN difference function [1]_.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
    rate_hz : int
    low_hz, high_hz : float
        Range searched, Hz.

    Returns
    -------
    f0_hz : ndarray, shape (frames,)
        Fundamental, NaN where the frame is not voiced.
    aperiodicity : ndarray, shape (frames,)
        0 (periodic) to about 1 (noise).

    References
    ----------
    .. [1] A. de Cheveigné and H. Kawahara, YIN, J. Acoust. Soc. Am. 111(4), 2002.
    """
    longest = int(np.ceil(rate_hz / low_hz))
    shortest = max(2, int(rate_hz / high_hz))
    width = 2 * longest
    hop = round(HOP_S * rate_hz)
    samples = np.asarray(samples, dtype=np.float64)
    if len(samples) < width + longest:
        samples = np.pad(samples, (0, width + longest - len(samples)))
    views = np.lib.stride_tricks.sliding_window_view(samples, width)[::hop]
    half = width - longest
    n_fft = 1 << (2 * width - 1).bit_length()
    head = views[:, :half]
    whole, begun = (scipy.fft.rfft(one, n_fft, axis=1) for one in (views, head))
    correlation = scipy.fft.irfft(whole * np.conj(begun), n_fft, axis=1)[:, : longest + 1]
    squares = np.concatenate([np.zeros((len(views), 1)), np.cumsum(views**2, axis=1)], axis=1)
    energy = squares[:, half : half + longest + 1] - squares[:, : longest + 1]
    difference = np.maximum(energy[:, :1] + energy - 2.0 * correlation, 0.0)
    lags = np.arange(1, longest + 1)
    mean = np.cumsum(difference[:, 1:], axis=1) / lags
    normal = difference[:, 1:] / np.maximum(mean, 1e-12)
    normal = np.concatenate([np.ones((len(views), 1)), normal], axis=1)

    inside = normal[:, shortest:longest]
    dips = (inside < T.yin_dip) & (inside <= normal[:, shortest + 1 : longest + 1])
    first = np.where(dips.any(axis=1), dips.argmax(axis=1), inside.argmin(axis=1)) + shortest
    row = np.arange(len(views))
    lowest = normal[row, first]
    left, right = normal[row, first - 1], normal[row, np.minimum(first + 1, longest)]
    curve = left - 2.0 * lowest + right
    shift = np.where(curve > 1e-12, 0.5 * (left - right) / np.maximum(curve, 1e-12), 0.0)
    f0 = rate_hz / (first + np.clip(shift, -0.5, 0.5))
    loud = energy[:, 0] > 1e-9 * half
    return np.where((lowest < T.yin_voiced) & loud, f0, np.nan), lowest


def fundamental(sound: np.ndarray, rate_hz: int) -> np.ndarray:
    """Follow the fundamental, Hz, `HOP_S` apart, at a rate that is enough for a toy's voice."""
    return pitch_track(*_voice_band(sound, rate_hz))[0]


def steady_tone(sound: np.ndarray, rate_hz: int) -> float | None:
    """Give the frequency, Hz, of a sound that doesn't change; None where it has none.

    Parameters
    ----------
    sound : ndarray of float, shape (n,)
    rate_hz : int
    """
    part, rate = _voice_band(sound, rate_hz)
    f0, _ = pitch_track(part, rate)
    voiced = f0[np.isfinite(f0)]
    if len(voiced) <= 0.5 * len(f0):
        return None
    shape = autocorrelation(part)
    period, found = rate / float(np.median(voiced)), None
    for times in (1, 2, 3, 4):
        at = times * period
        low, high = int(0.97 * at), int(np.ceil(1.03 * at)) + 1
        if high + 1 >= len(shape) or low < 1:
            break
        top = low + int(np.argmax(shape[low:high]))
        left, middle, right = shape[top - 1 : top + 2]
        curve = left - 2.0 * middle + right
        place = top + (0.5 * (left - right) / curve if curve < -1e-12 else 0.0)
        # A held sample may hold two periods of a voice that differ a little.
        differs = 1.0 - middle
        if found is None or (found[1] > T.repeats_least and differs < T.repeats_better * found[1]):
            found = place, differs
    return float(rate / (found[0] if found else period))


def autocorrelation(sound: np.ndarray) -> np.ndarray:
    """Give a sound's correlation with itself at each lag, 1: the same, shape (n,)."""
    sound = sound.astype(np.float64)
    size = scipy.fft.next_fast_len(2 * len(sound), real=True)
    spectrum = scipy.fft.rfft(sound, size)
    products = scipy.fft.irfft(spectrum.real**2 + spectrum.imag**2, size)[: len(sound)]
    upto = np.concatenate([[0.0], np.cumsum(sound**2)])
    lags = np.arange(len(sound))
    energy = np.sqrt(upto[len(sound) - lags] * (upto[-1] - upto[lags]))
    return products / np.maximum(energy, max(1e-3 * upto[-1], 1e-12))


def _voice_band(sound: np.ndarray, rate_hz: int) -> tuple[np.ndarray, int]:
    """Give a sound without what is too high for a fundamental, at a lower rate.

    Periods are whole samples to the follower of pitch: high partials would hide the short ones.
    """
    slower = max(1, rate_hz // T.voice_rate_hz)
    while round(HOP_S * rate_hz) % slower:
        slower -= 1
    taps, delay = _low_pass(slower, rate_hz)
    part = scipy.signal.upfirdn(taps, sound, down=slower)[delay : delay + -(-len(sound) // slower)]
    return part, rate_hz // slower


@lru_cache(maxsize=8)
def _low_pass(slower: int, rate_hz: int) -> tuple[np.ndarray, int]:
    """Give the taps of the low pass, and its delay at the lower rate."""
    taps = scipy.signal.firwin(10 * slower + 31, T.voice_band_hz, fs=rate_hz)
    delay = (len(taps) - 1) // 2
    ahead = -delay % slower
    return np.concatenate([np.zeros(ahead), taps]), (delay + ahead) // slower
