"""Sound that is too loud for its input: is it cut off, and how far would it have gone?"""

from __future__ import annotations

import numpy as np

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.measuring


def is_clipped(samples: np.ndarray) -> bool:
    """Say whether a sound touches full scale more often than chance would."""
    return bool(np.count_nonzero(np.abs(samples) >= T.clip_level) > T.clip_samples)


def peak_dbfs(samples: np.ndarray) -> float:
    """Give a sound's highest peak, dB re full scale."""
    return float(20 * np.log10(max(np.max(np.abs(samples), initial=0.0), 1e-6)))


def over_db(samples: np.ndarray) -> float:
    """Estimate how far a clipped sound's peaks would have gone above full scale, dB.

    What was cut off is bridged by the cubic that goes through the samples beside it with the
    slopes found there; the highest of these bridges counts. Of a clipped sine whose flanks
    take a few samples that is at most 2.1 dB too little, of speech and of music up to 20 dB
    too loud 4 dB too little to 6 dB too much. A square wave shows nothing of it: 0 dB.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        Full scale 1.0.

    Returns
    -------
    float
        0 or more.
    """
    sound = np.asarray(samples, dtype=np.float64)
    side = np.sign(sound) * (np.abs(sound) >= T.clip_level)
    inner = side[2:-2]
    first = np.flatnonzero((inner != 0) & (inner != side[1:-3])) + 2
    last = np.flatnonzero((inner != 0) & (inner != side[3:-1])) + 2
    if len(first) and len(last):  # whole stretches alone
        last = last[last >= first[0]]
        first = first[: len(last)]
    if not len(first) or not len(last):
        return 0.0
    side = side[first]
    before, after = side * sound[first - 1], side * sound[last + 1]
    rises = np.maximum(before - side * sound[first - 2], 0.0)
    falls = np.maximum(after - side * sound[last + 2], 0.0)
    peaks = (before + after) / 2 + (last - first + 2) * (rises + falls) / 8
    return float(20 * np.log10(max(peaks.max(), 1.0)))
