"""Levels over several frames."""

from __future__ import annotations

import numpy as np

from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.measuring


def mean_db(mel_db: np.ndarray) -> np.ndarray:
    """Give the mean power of each band over some frames, dB."""
    return (10.0 * np.log10(np.mean(10.0 ** (mel_db / 10.0), axis=0))).astype(np.float32)


def loud_level_db(level_db: np.ndarray) -> float:
    """Give the level that the louder frames reach, dB re full scale.

    A quiet room stays below its own most of the time.

    Parameters
    ----------
    level_db : ndarray, shape (frames,)
        `Frames.level_db` of a take, or of the room with the toy silent.
    """
    return float(np.percentile(level_db, T.loud_percentile))
