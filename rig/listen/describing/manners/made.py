"""What may have been done to the clean sound itself: it is done to it here, and held beside.

Steps of few bits, a low sample rate, a carrier, clipping: each with a few values.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
import scipy

from rig.listen.describing.manners.fitting import Fitting
from rig.listen.describing.manners.manner import Manner
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def find_crushed(fitting: Fitting) -> Manner | None:
    """Find the steps of few bits: all levels are rounded to a few."""
    def rounded(bits: float) -> np.ndarray:
        step = 2.0 * fitting.peak / 2.0**bits
        return step * np.round(fitting.theirs / step)

    bits, fit = _best(fitting, rounded, T.bits)
    return Manner("crushed", bits, "bit", fit) if fit >= T.crushed_fit else None


def find_distorted(fitting: Fitting) -> Manner | None:
    """Find clipping: harmonics that weren't there, from the loud parts."""
    def driven(gain_db: float) -> np.ndarray:
        peak = fitting.peak
        return np.clip(fitting.theirs * 10.0 ** (gain_db / 20.0), -peak, peak)

    gain_db, fit = _best(fitting, driven, T.clip_db)
    return Manner("distorted", gain_db, "dB", fit) if fit >= T.distorted_fit else None


def find_carried(fitting: Fitting) -> Manner | None:
    """Find images around a carrier: of a low sample rate all of them, of a ring one on either side."""
    carriers, width_hz = _carriers(fitting)
    rate_hz = fitting.pair.rate_hz
    time_s = np.arange(len(fitting.theirs)) / rate_hz

    def ring(hz: float) -> np.ndarray:
        return fitting.theirs * np.cos(2.0 * np.pi * hz * time_s)

    def held(hz: float) -> np.ndarray:
        last = np.floor(np.floor(time_s * hz) / hz * rate_hz).astype(int)
        return fitting.theirs[np.minimum(last, len(last) - 1)]

    found = []
    for name, made, least, low_hz, high_hz in (
        ("metallic", ring, T.ring_fit, T.carrier_least_hz, T.ring_most_hz),
        ("coarse", held, T.coarse_fit, T.hold_least_hz, T.carrier_most_hz),
    ):
        several = carriers if made is ring else [hz / n for hz in carriers for n in (1, 2)]
        tried = [hz for hz in dict.fromkeys(several) if low_hz <= hz <= high_hz]
        hz, fit = _best(fitting, made, tried)
        if tried and fit >= 0.6 * least:
            near = (hz - width_hz / 2, hz - width_hz / 4, hz + width_hz / 4, hz + width_hz / 2)
            hz, fit = max([(hz, fit), _best(fitting, made, near)], key=lambda one: one[1])
        if fit >= least:
            found.append(Manner(name, round(hz), "Hz", fit))
    return max(found, key=lambda one: one.fit, default=None)


def _best(
    fitting: Fitting, made: Callable[[float], np.ndarray], values: Iterable[float]
) -> tuple[float, float]:
    """Give the value with which what is made explains most, and how much."""
    fits = {value: fitting.explained(made(value)) for value in values}
    best = max(fits, key=lambda value: fits[value], default=0.0)
    return best, fits.get(best, 0.0)


def _carriers(fitting: Fitting) -> tuple[list[float], float]:
    """Give the likeliest carriers, Hz, best first, and how near they are told, Hz.

    The spectrum of a sound with images is the clean one's, both its sides, moved by the carrier.
    So the two are correlated along frequency, all frames at once.
    """
    pair = fitting.pair
    size = 1 << round(np.log2(0.043 * pair.rate_hz))
    mine, theirs = (_magnitudes(one, size, size // 2) for one in (pair.mine, fitting.theirs))
    count = min(len(mine), len(theirs))
    mine, theirs = mine[:count], theirs[:count]
    both = np.concatenate([theirs[:, :0:-1], theirs], axis=1)  # from -half to half the rate
    long = 2 * size
    turned = np.conj(scipy.fft.rfft(both, long, axis=1))
    cross, own = (
        np.einsum("ij,ij->j", scipy.fft.rfft(one, long, axis=1), turned) for one in (mine, theirs)
    )
    # Moved by k: element k - (size / 2) of the circular correlation.
    zero = mine.shape[1] - 1
    moved, usual = (np.roll(scipy.fft.irfft(one, long), zero) for one in (cross, own))
    width_hz = pair.rate_hz / size
    least, most = (round(hz / width_hz) for hz in (T.carrier_least_hz, T.carrier_most_hz))
    most = min(most, mine.shape[1] - 1)
    gained = moved[: most + 2] / max(float(moved[:2].max()), 1e-9)
    gained -= usual[: most + 2] / max(float(usual[:2].max()), 1e-9)
    peaks, _ = scipy.signal.find_peaks(gained)
    peaks = peaks[(peaks >= least) & (peaks <= most)]
    best = sorted(peaks, key=lambda at: -gained[at])[: T.carriers]
    return [float(at * width_hz) for at in best], width_hz


def _magnitudes(samples: np.ndarray, size: int, hop: int) -> np.ndarray:
    """Give each frame's spectrum about its mean, in powers of a half so that soft parts count."""
    if len(samples) < size:
        samples = np.pad(samples, (0, size - len(samples)))
    views = np.lib.stride_tricks.sliding_window_view(np.asarray(samples, np.float32), size)[::hop]
    spectrum = np.sqrt(np.abs(scipy.fft.rfft(views * np.hanning(size).astype(np.float32), axis=1)))
    return spectrum - spectrum.mean(axis=1, keepdims=True)
