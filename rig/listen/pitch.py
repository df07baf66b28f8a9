"""The fundamental of each frame, and how periodic the frame is."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft
from scipy.signal import firwin, resample_poly

HIGH_HZ = 2000.0
"""The highest fundamental looked for; the lowest has a period of two hops."""
LEAST_RATE_HZ = 22_000
"""Periods are looked for at the lowest rate above this that divides the hop."""
PASS_HZ = 5000.0
"""What lies above isn't needed for that, and falls away before the rate is lowered."""
DIP = np.float32(0.1)
"""The first dip below this is the period; without one it's the deepest."""
VOICED = np.float32(0.3)
"""A frame with a dip below this is voiced."""
LEAST_POWER = 1e-9
"""A frame quieter than this mean square (-90 dB re 1.0) isn't voiced."""
NOTHING = np.float32(1e-20)
"""Least difference to divide by; constant sounds have only rounding errors."""
BATCH = 64
"""Frames worked on at a time, so few that their arrays stay in the processor's cache."""


def fundamentals(
    sound: np.ndarray, count: int, hop: int, rate_hz: int
) -> tuple[np.ndarray, np.ndarray]:
    """Measure the fundamental of each frame by YIN's normalised difference function [1]_.

    Two hops (20 ms) from the frame's start on are compared with what follows up to two hops
    later; the period is refined by a parabola through the dip and its neighbours.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
        What is missing at its end counts as silence.
    count, hop : int
        Number of frames, and samples from one to the next.
    rate_hz : int

    Returns
    -------
    f0_hz : ndarray of float32, shape (count,)
        NaN where a frame isn't voiced: no dip below `VOICED`, or quieter than `LEAST_POWER`.
    aperiodicity : ndarray of float32, shape (count,)
        The dip's height: 0 (periodic) to about 1 (noise); 1 where a frame is that quiet.

    References
    ----------
    .. [1] A. de Cheveigné and H. Kawahara, YIN, J. Acoust. Soc. Am. 111(4), 2002, steps 1
       to 5.
    """
    down = divider(hop, rate_hz)
    if down > 1:
        sound = resample_poly(sound, 1, down, window=_low_pass(down, rate_hz))
        hop, rate_hz = hop // down, rate_hz / down
    sound = sound[: (count + 3) * hop]
    sound = np.pad(sound, (0, (count + 3) * hop - len(sound)))
    # The energy of two hops from each sample on; in float32 the differences of such sums
    # would drown the dips.
    upto = np.zeros(len(sound) + 1)
    np.cumsum(np.square(sound, dtype=np.float64), out=upto[1:])
    energy = (upto[2 * hop :] - upto[: -2 * hop]).astype(np.float32)
    energy = np.lib.stride_tricks.sliding_window_view(energy, 2 * hop + 1)[::hop]
    shortest = int(rate_hz / HIGH_HZ)
    lag = np.arange(shortest, 2 * hop + 1, dtype=np.float32)
    periods, heights = np.zeros(count, np.float32), np.zeros(count, np.float32)
    for first in range(0, count, BATCH):
        batch = slice(first, min(first + BATCH, count))
        difference = -2.0 * _correlations(sound[first * hop :], batch.stop - first, hop)
        difference += energy[batch, 1:]
        difference += energy[batch, :1]
        mean = np.cumsum(difference, axis=1)[:, shortest - 1 :]
        normal = difference[:, shortest - 1 :]
        normal *= lag
        normal /= np.maximum(mean, NOTHING, out=mean)
        periods[batch], heights[batch] = _first_dip(normal)
    heights[energy[:count, 0] <= LEAST_POWER * 2 * hop] = 1.0
    f0_hz = np.float32(rate_hz) / (shortest + periods)
    f0_hz[heights >= VOICED] = np.nan
    return f0_hz, heights


def divider(hop: int, rate_hz: int) -> int:
    """Give by how much the rate is lowered before periods are looked for."""
    return next(d for d in range(max(1, rate_hz // LEAST_RATE_HZ), 0, -1) if hop % d == 0)


@lru_cache(maxsize=8)
def _low_pass(down: int, rate_hz: int) -> np.ndarray:
    return firwin(10 * down + 1, PASS_HZ, fs=rate_hz).astype(np.float32)


def _correlations(sound: np.ndarray, count: int, hop: int) -> np.ndarray:
    """Give each frame's correlation with what comes 1 sample to two hops later.

    That of each hop is needed for two frames and made once. The transform wraps around only
    at lags that nobody looks at.
    """
    blocks = np.lib.stride_tricks.sliding_window_view(sound, 3 * hop)[::hop][: count + 1]
    n_fft = next_fast_len(3 * hop, real=True)
    spectrum = rfft(blocks, n_fft, axis=1)
    spectrum *= np.conj(rfft(blocks[:, :hop], n_fft, axis=1))
    by_hop = irfft(spectrum, n_fft, axis=1, overwrite_x=True)[:, 1 : 2 * hop + 1]
    return by_hop[:-1] + by_hop[1:]


def _first_dip(normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the place of each row's first dip below `DIP`, or else of its lowest, with the
    fraction that a parabola through it and its neighbours adds, and its height."""
    falls = np.diff(normal, axis=1) < 0.0
    dips = normal < DIP
    dips[:, 1:] &= falls
    dips[:, :-1] &= ~falls
    at = np.where(dips.any(axis=1), dips.argmax(axis=1), normal.argmin(axis=1))
    inside = np.clip(at, 1, normal.shape[1] - 2)
    row = np.arange(len(normal))
    left, middle, right = (normal[row, inside + step] for step in (-1, 0, 1))
    curve, slope = left + right - 2.0 * middle, 0.5 * (right - left)
    good = (at == inside) & (np.abs(slope) < np.abs(curve))
    shift = np.divide(-slope, curve, out=np.zeros_like(curve), where=good)
    return at + shift, normal[row, at]
