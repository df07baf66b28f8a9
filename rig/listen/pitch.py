"""The fundamental of each frame, and how periodic the frame is."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.fft import irfft, rfft
from scipy.signal import firwin

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
ROW = 32
"""Samples at the lower rate that one row of a matrix product gives."""
BATCH = 128
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
        sound = _lowered(sound, down, rate_hz)
        hop, rate_hz = hop // down, rate_hz / down  # type: ignore[assignment]  # a part of a Hz
    hops = padded(sound, (count + 3) * hop).reshape(-1, hop)
    shortest = int(rate_hz / HIGH_HZ)
    lag = np.arange(shortest, 2 * hop + 1, dtype=np.float32)
    periods, heights = np.zeros(count, np.float32), np.zeros(count, np.float32)
    for first in range(0, count, BATCH):
        batch = slice(first, min(first + BATCH, count))
        difference, power = _differences(hops[first : batch.stop + 3])
        mean = _running_sums(difference)[:, shortest - 1 :]
        normal = difference[:, shortest - 1 :]
        normal *= lag
        normal /= np.maximum(mean, NOTHING, out=mean)
        periods[batch], heights[batch] = _first_dip(normal)
        heights[batch][power <= LEAST_POWER] = 1.0
    f0_hz = np.float32(rate_hz) / (shortest + periods)
    f0_hz[heights >= VOICED] = np.nan
    return f0_hz, heights


def padded(sound: np.ndarray, length: int) -> np.ndarray:
    """Give the first `length` samples of a sound, silence where it has fewer."""
    if len(sound) >= length:
        return sound[:length]
    out = np.zeros(length, sound.dtype)
    out[: len(sound)] = sound
    return out


def divider(hop: int, rate_hz: int) -> int:
    """Give by how much the rate is lowered before periods are looked for."""
    return next(d for d in range(max(1, rate_hz // LEAST_RATE_HZ), 0, -1) if hop % d == 0)


@lru_cache(maxsize=8)
def _low_pass(down: int, rate_hz: int) -> np.ndarray:
    """Give the low pass as a matrix: `ROW` results from the samples that they need."""
    taps = firwin(10 * down + 1, PASS_HZ, fs=rate_hz)
    matrix = np.zeros(((ROW - 1) * down + len(taps), ROW), np.float32)
    for column in range(ROW):
        matrix[column * down : column * down + len(taps), column] = taps
    return matrix


def _lowered(sound: np.ndarray, down: int, rate_hz: int) -> np.ndarray:
    """Give every `down`-th sample of a sound after the low pass."""
    matrix = _low_pass(down, rate_hz)
    count = -(-len(sound) // down)
    rows = -(-count // ROW)
    around = np.zeros((rows - 1) * ROW * down + len(matrix), np.float32)
    around[5 * down :][: len(sound)] = sound[: len(around) - 5 * down]
    needed = np.lib.stride_tricks.sliding_window_view(around, len(matrix))[:: ROW * down]
    return (np.ascontiguousarray(needed) @ matrix).ravel()[:count]


@lru_cache(maxsize=8)
def _later_by_a_hop(hop: int) -> np.ndarray:
    """Give what delaying by a hop does to a spectrum of three hops."""
    turns = np.arange(3 * hop // 2 + 1) % 3
    return np.exp(-2j * np.pi / 3 * np.arange(3))[turns].astype(np.complex64)


def _differences(hops: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give half of YIN's difference function of each frame, and its power.

    It is the energies of two hops from the frame's start and from the lag on, less their
    correlation. Energies are put together from sums within hops: the rounding of longer ones
    would drown the dips.

    Parameters
    ----------
    hops : ndarray of float32, shape (frames + 3, hop)

    Returns
    -------
    difference : ndarray of float32, shape (frames, 2·hop)
        At lags from 1 sample to two hops.
    power : ndarray of float32, shape (frames,)
    """
    count, hop = len(hops) - 3, hops.shape[1]
    within = _running_sums(np.square(hops) * np.float32(0.5))
    energy = within[:-1, -1] + within[1:, -1]  # half of that of two hops
    moved = within[2:] - within[:-2]
    by_hop = _correlations(hops)
    halves = np.empty((count, 2, hop), np.float32)
    np.add(moved[:-1], 2.0 * energy[:count, None], out=halves[:, 0])
    np.add(moved[1:], (energy[:count] + energy[1 : count + 1])[:, None], out=halves[:, 1])
    difference = halves.reshape(count, 2 * hop)
    difference -= by_hop[:-1]
    difference -= by_hop[1:]
    return difference, energy[:count] / hop


def _correlations(hops: np.ndarray) -> np.ndarray:
    """Give each hop's correlation with what comes 1 sample to two hops later.

    Each hop is transformed once; its three hops' spectrum is put together from theirs. The
    transform wraps around only at lags that nobody looks at.

    Parameters
    ----------
    hops : ndarray of float32, shape (n, hop)

    Returns
    -------
    ndarray of float32, shape (n - 2, 2·hop)
    """
    hop = hops.shape[1]
    spectra = rfft(hops, 3 * hop, axis=1)
    later = _later_by_a_hop(hop)
    together = later * spectra[2:]
    together += spectra[1:-1]
    together *= later
    together += spectra[:-2]
    together *= np.conj(spectra[:-2])
    return irfft(together, 3 * hop, axis=1, overwrite_x=True)[:, 1 : 2 * hop + 1]


def _running_sums(rows: np.ndarray) -> np.ndarray:
    """Give `np.cumsum(rows, axis=1)` for contiguous rows, by a matrix product over short parts.

    Sums that wait for the one before take far longer.
    """
    count, length = rows.shape
    part = next(n for n in range(min(32, length), 0, -1) if length % n == 0)
    sums = (rows.reshape(-1, part) @ _sums_upto(part, rows.dtype)).reshape(count, -1, part)
    sums[:, 1:] += np.cumsum(sums[:, :-1, -1], axis=1)[..., None]
    return sums.reshape(count, length)


@lru_cache(maxsize=8)
def _sums_upto(length: int, dtype: np.dtype) -> np.ndarray:
    return np.triu(np.ones((length, length), dtype))


def _first_dip(normal: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Give the place of each row's first dip below `DIP`, or else of its lowest, with the
    fraction that a parabola through it and its neighbours adds, and its height."""
    falls = normal[:, 1:] < normal[:, :-1]
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
