"""Loudness as people hear it, after ITU-R BS.1770 [1]_, of one channel.

References
----------
.. [1] ITU-R BS.1770-4, Algorithms to measure audio programme loudness, 2015.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.signal import sosfilt

BLOCKS_PER_S = 10
BLOCK = 4
"""A block is 0.4 s: four steps of 0.1 s."""
PART = 64
"""Samples that are filtered at once, by a matrix product."""
FORGOTTEN = 1e-12
"""What is left of a filter's state once it is as small as this doesn't count."""
ABSOLUTE_GATE_LKFS = -70.0
RELATIVE_GATE_LU = -10.0
LEAST_POWER = 1e-12
"""Weighted mean squares below this count as silence (-120.69 LKFS)."""


@lru_cache(maxsize=8)
def k_weighting(rate_hz: int) -> np.ndarray:
    """Give the two second-order sections of the K weighting for any sample rate.

    The standard prints coefficients for 48 kHz only; they are those of a high shelf and a
    high pass, mapped by the bilinear transform, whose analogue parameters were found by
    De Man [1]_.

    Returns
    -------
    ndarray, shape (2, 6)
        Rows b0, b1, b2, 1, a1, a2.

    References
    ----------
    .. [1] B. De Man, Evaluation of implementations of the EBU R128 loudness measurement,
       AES Convention e-Brief 514, 2019.
    """
    k, q = np.tan(np.pi * 1681.9744509555319 / rate_hz), 0.7071752369554193
    high = 10.0 ** (3.99984385397 / 20.0)
    middle = high**0.499666774155
    b = np.array([high + middle * k / q + k * k, 2 * (k * k - high), high - middle * k / q + k * k])
    a = np.array([1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k])
    shelf = [*(b / a[0]), *(a / a[0])]
    k, q = np.tan(np.pi * 38.13547087613982 / rate_hz), 0.5003270373253953
    a = np.array([1 + k / q + k * k, 2 * (k * k - 1), 1 - k / q + k * k])
    return np.array([shelf, [1.0, -2.0, 1.0, *(a / a[0])]])


@lru_cache(maxsize=8)
def _by_parts(rate_hz: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Give what the K weighting makes of `PART` samples: results and state after them, of each
    sample alone, and of each number of the state before."""
    sections = k_weighting(rate_hz)
    states = 2 * len(sections)
    before = np.zeros((PART + states, states))
    before[PART:] = np.eye(states)
    by_section = before.reshape(-1, len(sections), 2).transpose(1, 0, 2)
    results, after = sosfilt(sections, np.eye(PART + states, PART), axis=1, zi=by_section)
    after = after.transpose(1, 0, 2).reshape(-1, states)
    results = results.astype(np.float32)
    return results[:PART], results[PART:], after[:PART], after[PART:]


def _weighted(samples: np.ndarray, rate_hz: int) -> np.ndarray:
    """Give the K-weighted samples.

    Going from sample to sample takes far longer. The states between the parts follow from
    sums over ever longer stretches, until what came before is forgotten.
    """
    results, results_of_state, after, after_state = _by_parts(rate_hz)
    parts = np.zeros((-(-len(samples) // PART), PART), np.float32)
    parts.ravel()[: len(samples)] = samples
    state = parts.astype(np.float64) @ after
    far = 1
    while far < len(state) and np.abs(after_state).max() > FORGOTTEN:
        state[far:] += state[:-far] @ after_state
        after_state = after_state @ after_state
        far *= 2
    weighted = parts @ results
    weighted[1:] += state[:-1].astype(np.float32) @ results_of_state
    return weighted.ravel()[: len(samples)]


def loudness(samples: np.ndarray, rate_hz: int) -> tuple[np.ndarray, float]:
    """Measure the loudness of every block, and of the whole with both gates.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        One channel, full scale 1.0.
    rate_hz : int

    Returns
    -------
    momentary_lkfs : ndarray of float32, shape (blocks,)
        Of every 0.4 s, 0.1 s apart; only whole blocks.
    integrated_lkfs : float
        NaN where no block is above the absolute gate, or there is none.
    """
    edges = np.arange(len(samples) * BLOCKS_PER_S // rate_hz + 1) * rate_hz // BLOCKS_PER_S
    if len(edges) <= BLOCK:
        return np.zeros(0, np.float32), float("nan")
    weighted = _weighted(samples[: edges[-1]], rate_hz)
    steps = np.add.reduceat(np.square(weighted, out=weighted), edges[:-1]).astype(np.float64)
    upto = np.concatenate([[0.0], np.cumsum(steps)])
    power = (upto[BLOCK:] - upto[:-BLOCK]) * (BLOCKS_PER_S / (BLOCK * rate_hz))
    momentary = _lkfs(np.maximum(power, LEAST_POWER))
    loud = momentary >= ABSOLUTE_GATE_LKFS
    if not loud.any():
        return momentary.astype(np.float32), float("nan")
    gate = _lkfs(power[loud].mean()) + RELATIVE_GATE_LU
    return momentary.astype(np.float32), float(_lkfs(power[loud & (momentary > gate)].mean()))


def _lkfs(power):
    return -0.691 + 10.0 * np.log10(power)
