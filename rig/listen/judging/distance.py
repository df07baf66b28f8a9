"""How far a sound's bands are from those of others that begin alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.listen.measures.span import LAG_FRAMES
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging

AT_A_TIME = 5
"""Sounds compared at once: a take's bands are 20 KB."""


@dataclass(frozen=True)
class Distance:
    """How far a take is from its nearest baseline take.

    Parameters
    ----------
    local_db, mean_db : float
        Mean difference over the bands, dB: in the worst 0.15 s, and over the whole take.
    nearest : int
        Index of the nearest baseline take.
    lag : int
        Frames by which that one must be shifted to fit.
    trace_db : ndarray, shape (frames,)
        The difference frame by frame, from `skip_frames` after the press on.
    """

    local_db: float
    mean_db: float
    nearest: int
    lag: int
    trace_db: np.ndarray

    @property
    def both_db(self) -> float:
        """The one figure that is calibrated."""
        return both(self.local_db, self.mean_db)


def both(local_db, mean_db):
    """Give the worst 0.15 s plus twice the mean: short and slight lasting changes both show."""
    return local_db + T.mean_weight * mean_db


def _apart_db(stack: np.ndarray, mine: np.ndarray, at: int) -> np.ndarray:
    """Give the mean difference over the bands frame by frame, shape (sounds, frames).

    A few sounds at a time are worked on in one small array, which stays in the processor's cache.
    """
    length, bands = mine.shape
    # A product with equal weights is much faster than `mean` over a short axis.
    weights = np.full(bands, 1 / bands, np.float32)
    out = np.empty((len(stack), length), np.float32)
    work = np.empty((min(AT_A_TIME, len(stack)), length, bands), np.float32)
    for first in range(0, len(stack), AT_A_TIME):
        others = stack[first : first + AT_A_TIME, at : at + length]
        part = work[: len(others)]
        np.subtract(others, mine, out=part)
        np.abs(part, out=part)
        np.matmul(part, weights, out=out[first : first + len(others)])
    return out


def compare(
    stack: np.ndarray, mine: np.ndarray, lag_frames: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Compare a sound's bands with those of several others, shifted by a few frames or not.

    Parameters
    ----------
    stack : ndarray, shape (sounds, frames + 2 * LAG_FRAMES, bands)
        The others, from `LAG_FRAMES` ahead.
    mine : ndarray, shape (frames, bands)
    lag_frames : int
        The most that they are shifted by, either way; at most `LAG_FRAMES`.

    Returns
    -------
    worst, mean : ndarray, shape (sounds,)
        Mean difference over the bands, dB: in the worst 0.15 s, and over all frames.
    lag : ndarray of int, shape (sounds,)
    traces : ndarray, shape (sounds, frames)
        The difference frame by frame.
    """
    length = len(mine)
    window = min(T.local_frames, length)
    best = None
    for lag in range(-lag_frames, lag_frames + 1):
        error = _apart_db(stack, mine, LAG_FRAMES + lag)
        total = np.cumsum(error, axis=1)
        local = total[:, window - 1 :].copy()
        local[:, 1:] -= total[:, :-window]
        worst, mean = local.max(axis=1) / window, total[:, -1] / length
        if best is None:
            best = worst, mean, np.full(len(worst), lag), error
            continue
        closer = both(worst, mean) < both(*best[:2])
        for old, new in zip(best, (worst, mean, lag, error), strict=True):
            old[closer] = new if np.ndim(new) == 0 else new[closer]
    assert best is not None
    return best


def mean_apart_db(stack: np.ndarray, mine: np.ndarray, lag_frames: int) -> np.ndarray:
    """Give the mean difference alone, dB, over frames and bands; shape (sounds,).

    Parameters and shifts are those of `compare`; what the others have beyond `mine` is left out.
    """
    length = len(mine)
    return np.min([
        np.abs(stack[:, at : at + length] - mine).mean(axis=(1, 2))
        for at in range(LAG_FRAMES - lag_frames, LAG_FRAMES + lag_frames + 1)
    ], axis=0)
