"""Sound in 16-bit steps: what a take on the disk holds, and what is judged."""

from __future__ import annotations

import numpy as np

FULL_SCALE = 32768


def to_pcm(samples: np.ndarray) -> np.ndarray:
    """Round samples to the 16-bit steps that a take holds.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        Full scale is 1.0; what lies beyond is clipped.

    Returns
    -------
    ndarray of int16, shape (n,)
        `from_pcm` gives each back within half a step (1/65536), exactly if on a step.
    """
    scaled = np.rint(np.asarray(samples, dtype=np.float32) * np.float32(FULL_SCALE))
    return np.clip(scaled, -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


def from_pcm(pcm: np.ndarray) -> np.ndarray:
    """Give 16-bit samples back as float32, full scale 1.0."""
    return pcm.astype(np.float32) / np.float32(FULL_SCALE)


def packed(samples: np.ndarray) -> np.ndarray:
    """Give samples in the least room that holds them exactly, int16 or float32; see `unpacked`."""
    samples = np.asarray(samples, dtype=np.float32)
    pcm = to_pcm(samples)
    return pcm if np.array_equal(from_pcm(pcm), samples) else samples


def unpacked(held: np.ndarray) -> np.ndarray:
    """Give what was `packed` as float32, full scale 1.0."""
    return from_pcm(held) if held.dtype == np.int16 else held
