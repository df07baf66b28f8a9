"""What sounds besides: tones that last, and clicks."""

from __future__ import annotations

import numpy as np
import scipy

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.manner import Manner
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def find_tone(pair: Compared, begins: int) -> Manner | None:
    """Find a tone that lasts, and wasn't there: high and loud, high and soft, or low and harsh.

    Parameters
    ----------
    pair : Compared
    begins : int
        The frame from which on the sound is changed.
    """
    lasting = np.quantile(pair.mel[begins:], T.tone_quantile, axis=0)
    usual = np.quantile(pair.clean_mel, T.tone_quantile, axis=0)
    if not (lasting > usual + T.tone_band_db).any():
        return None
    size = 1 << round(np.log2(T.tone_window_s * pair.rate_hz))
    count = len(pair.level) * pair.hop
    mine = _power_db(pair.mine[begins * pair.hop : count], size)
    theirs = _power_db(pair.theirs[:count], size)
    if len(mine) < 4 or len(theirs) < 1:
        return None
    lasting = np.quantile(mine, T.tone_quantile, axis=0)
    usual = np.quantile(theirs, T.usual_quantile, axis=0)
    over = lasting - scipy.ndimage.median_filter(lasting, T.tone_bins)
    peak = (lasting >= np.roll(lasting, 1)) & (lasting >= np.roll(lasting, -1))
    tones = np.flatnonzero(peak & (over > T.tone_over_db) & (lasting > usual + T.tone_new_db))
    tones = tones[(tones > 2) & (tones < len(lasting) - 2)]
    if not len(tones):
        return None
    width_hz = pair.rate_hz / size
    strongest = int(tones[np.argmax(lasting[tones])])
    hz = _refined(lasting, strongest) * width_hz
    told_hz = np.array([_refined(lasting, int(at)) * width_hz for at in tones])
    low_hz = float(told_hz.min())
    if low_hz <= T.low_tone_hz:
        times = np.round(told_hz / low_hz)
        multiples = np.abs(told_hz / low_hz - times) < 0.04 * np.sqrt(times)
        several = len(set(times[multiples].tolist())) >= T.harmonics
        return Manner("buzz", round(low_hz, 1), "Hz") if several else None
    if hz < T.high_tone_hz or len(tones) > T.harmonics:
        return None
    power = (10.0 ** (theirs / 10.0)).sum(axis=1)
    voice = float(power[power > power.max() * 10.0 ** (-T.loud_db / 10.0)].mean())
    tone = float(np.sum(10.0 ** (lasting[strongest - 2 : strongest + 3] / 10.0)))
    level_db = 10.0 * np.log10(tone / max(voice, 1e-12))
    return Manner("squeal" if level_db >= T.squeal_db else "whine", round(hz), "Hz")


def _power_db(samples: np.ndarray, size: int) -> np.ndarray:
    """Give the power of each bin, dB, in windows that overlap by half, shape (windows, bins)."""
    if len(samples) < size:
        return np.zeros((0, size // 2 + 1))
    views = np.lib.stride_tricks.sliding_window_view(np.asarray(samples, np.float32), size)
    views = views[:: size // 2] * np.hanning(size).astype(np.float32)
    return 20.0 * np.log10(np.abs(scipy.fft.rfft(views, axis=1)) + 1e-6)


def _refined(level: np.ndarray, at: int) -> float:
    """Give the place of a peak between the bins, by a parabola."""
    left, middle, right = level[at - 1 : at + 2]
    curve = left - 2.0 * middle + right
    return at + (0.5 * (left - right) / curve if curve < -1e-9 else 0.0)


def find_static(pair: Compared, begins: int) -> Manner | None:
    """Find noise that lasts in most bands: none of them is ever as soft as the clean sound's.

    Parameters are those of `find_tone`.
    """
    power, clean = (10.0 ** (one.astype(float) / 10.0) for one in (pair.mel[begins:], pair.clean_mel))
    lasting, usual = (np.quantile(one, T.tone_quantile, axis=0) for one in (power, clean))
    if np.mean(lasting > usual * 10.0 ** (T.tone_band_db / 10.0)) < T.static_wide:
        return None
    loud = clean.sum(axis=1)
    voice = float(loud[loud > loud.max() * 10.0 ** (-T.loud_db / 10.0)].mean())
    level_db = float(10.0 * np.log10(lasting.sum() / max(voice, 1e-12)))
    return Manner("static", round(level_db, 1), "dB") if level_db >= T.static_db else None


def find_crackle(pair: Compared) -> Manner | None:
    """Find clicks that the clean sound hasn't got, by how many there are in a second."""
    seconds = len(pair.level) * pair.hop / pair.rate_hz
    mine, theirs = (
        _clicks(one[: len(pair.level) * pair.hop], pair.rate_hz) for one in (pair.mine, pair.theirs))
    if mine <= 3 * theirs:
        return None
    per_s = (mine - theirs) / max(seconds, 0.1)
    return Manner("crackle", round(per_s, 1), "1/s") if per_s >= T.click_rate else None


def _clicks(samples: np.ndarray, rate_hz: int) -> int:
    """Count what is far above all around it for no longer than a click."""
    ms = rate_hz // 1000
    sections = scipy.signal.butter(2, T.click_high_hz, "highpass", fs=rate_hz, output="sos")
    high = scipy.signal.sosfilt(sections, samples)
    count = len(high) // ms
    if count < T.click_around_ms:
        return 0
    peaks = np.abs(high[: count * ms].reshape(count, ms)).max(axis=1)
    around = np.maximum(scipy.ndimage.median_filter(peaks, T.click_around_ms), 1e-6)
    above = peaks > T.click_times * around
    edges = np.flatnonzero(np.diff(np.concatenate([[0], above.astype(np.int8), [0]])))
    return int(np.count_nonzero(edges[1::2] - edges[::2] <= T.click_ms))
