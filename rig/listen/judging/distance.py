"""How far a sound's bands are from those of others that begin alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.listen.measures.span import LAG_FRAMES
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


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
        The difference frame by frame, from `rig.listen.judging.baseline.SKIP_FRAMES` after the press on.
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


def _mean_over_bands(difference: np.ndarray) -> np.ndarray:
    """Give the mean over the last axis; much faster than `mean` on a short one."""
    return difference @ np.full(difference.shape[-1], 1 / difference.shape[-1], np.float32)


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
        at = LAG_FRAMES + lag
        error = _mean_over_bands(np.abs(stack[:, at : at + length] - mine))
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
