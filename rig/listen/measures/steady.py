"""What sounds all the time, whatever the toy does: a hum, noise, or not even that."""

from __future__ import annotations

import numpy as np
import scipy

from rig.listen.measures.features import BAND_HIGH_HZ, BAND_LOW_HZ
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.measuring


def is_silent(samples: np.ndarray) -> bool:
    """Say whether an input gives nothing at all: any that is open has some noise."""
    return len(samples) == 0 or float(np.ptp(samples)) == 0.0


def tone_hz(samples: np.ndarray, rate_hz: int) -> float | None:
    """Give the frequency of the steady tone or hum that covers a recording, if there is one.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        With the toy or without; half a second or more.
    rate_hz : int

    Returns
    -------
    float or None
        Of its strongest part, to about 1 Hz; None where noise is steadier, or all is short.
    """
    size = round(T.steady_window_s * rate_hz)
    if len(samples) < 2 * size:
        return None
    window = np.hanning(size + 1)[:-1]
    views = np.lib.stride_tricks.sliding_window_view(np.asarray(samples, float), size)
    power = np.abs(scipy.fft.rfft(views[:: size // 2] * window, axis=1)) ** 2
    steady = np.quantile(power, T.quiet_quantile, axis=0)
    tones = steady > T.tone_over_floor * scipy.ndimage.median_filter(steady, T.floor_bins)
    wide = np.convolve(tones, np.ones(2 * T.skirt_bins + 1), "same") > 0
    hz = scipy.fft.rfftfreq(size, 1 / rate_hz)
    heard = (hz >= BAND_LOW_HZ) & (hz <= BAND_HIGH_HZ)
    if steady[heard & wide].sum() <= T.steady_mostly * steady[heard].sum():
        return None
    at = int(np.argmax(np.where(tones & (hz > 0), steady, 0.0)))
    left, middle, right = np.log(np.maximum(steady[at - 1 : at + 2], 1e-30))
    return float((at + 0.5 * (left - right) / (left - 2 * middle + right)) / T.steady_window_s)
