"""Levels and changes of sign of each frame, from sums over hops: frames overlap, hops don't."""

from __future__ import annotations

import numpy as np


def frame_levels(
    sound: np.ndarray, count: int, hop: int, size: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Measure each frame's power, peak and changes of sign.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
        Full scale 1.0; n at least (count + (size - 1) // hop)·hop.
    count, hop, size : int
        Number of frames, samples from one to the next and in one.

    Returns
    -------
    mean_square, peak : ndarray of float32, shape (count,)
    crossings : ndarray of int32, shape (count,)
        Changes of sign between neighbours within the frame; zero counts as positive.
    """
    whole = (size - 1) // hop
    rest = size - whole * hop
    hops = sound[: (count + whole) * hop].reshape(-1, hop)
    energy = np.einsum("ij,ij->i", hops, hops)
    mean_square = np.einsum("ij,ij->i", hops[whole:, :rest], hops[whole:, :rest])
    magnitude = np.abs(hops)
    highest = magnitude.max(axis=1)
    peak = magnitude[whole:, :rest].max(axis=1, initial=0.0)
    for step in range(whole):
        mean_square += energy[step : step + count]
        np.maximum(peak, highest[step : step + count], out=peak)
    mean_square /= size
    # Of each hop those from its second sample to the next hop's first.
    negative = hops.ravel() < 0.0
    changes = np.zeros(hops.shape, np.float32)
    np.not_equal(negative[1:], negative[:-1], out=changes.ravel()[:-1], casting="unsafe")
    crossings = changes[whole:, : rest - 1].sum(axis=1)
    by_hop = changes.sum(axis=1)
    for step in range(whole):
        crossings += by_hop[step : step + count]
    return mean_square, peak, crossings.astype(np.int32)
