"""A pattern that repeats: from which time on, and every how many seconds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.listen.measures.features import HOP_S
from rig.listen.measures.pitch import autocorrelation
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing


@dataclass(frozen=True)
class Loop:
    """A pattern that repeats.

    Parameters
    ----------
    period_s : float
    start_s : float
        From where on it repeats: the beginning of its first pass.
    passes : float
        How often it is heard.
    likeness : float
        How alike the passes are, 1: the same.
    """

    period_s: float
    start_s: float
    passes: float
    likeness: float


def find_loop(
    mel_db: np.ndarray, sounding: np.ndarray, *,
    clean_mel_db: np.ndarray, clean_sounding: np.ndarray,
    samples: np.ndarray, rate_hz: int,
) -> Loop | None:
    """Find the longest repetition of a sound that its clean take hasn't got.

    Parameters
    ----------
    mel_db, clean_mel_db : ndarray, shape (frames, bands) each
        Bands, not below the room's noise.
    sounding, clean_sounding : ndarray of bool, shape (frames,) each
    samples : ndarray of float, shape (n,)
        The sound whose frames these are.
    rate_hz : int
    """
    if len(mel_db) <= T.loop_shortest_frames:
        return None  # a guard that trips leaves some 10 ms
    best, spread_db, apart = None, _spread_db(mel_db), _Apart(mel_db)
    margin = T.loop_better * len(mel_db)
    longest = min(int(len(mel_db) / (1.0 + T.loop_passes)), T.loop_longest_frames)
    for lag in range(T.loop_shortest_frames, longest):
        # Twice the period repeats nearly as long: it must be clearly better to win.
        least = 0.0 if best is None else _worth(best[1]) + margin
        run = _longest_run(apart, sounding, spread_db, lag, least)
        if run is not None and _worth(run) > least:
            best = lag, run
    if best is None:
        return None
    lag, (first, last, likeness) = best
    around = range(max(T.loop_shortest_frames, lag - 2), lag + 3)
    clean_db = _spread_db(clean_mel_db) if len(clean_mel_db) else 1.0
    clean = _Apart(clean_mel_db)
    usual = [
        _longest_run(clean, clean_sounding, clean_db, other, loosely=True) for other in around
    ]
    if any(run is not None and run[1] - run[0] > T.loop_usual * (last - first) for run in usual):
        return None
    period_s, same_shape = _refined(samples, rate_hz, lag, first, last)
    if last - first < (T.loop_sure_passes - 1) * lag and not same_shape:
        return None
    passes = float((last - first) * HOP_S / period_s + 1.0)
    return Loop(float(period_s), float(first * HOP_S), passes, likeness)


def _worth(run: tuple[int, int, float]) -> float:
    first, last, likeness = run
    return (last - first) * likeness


class _Apart:
    """How far the frames of a sound are from those some frames later, dB: each lag is done once."""

    def __init__(self, mel_db: np.ndarray):
        self._mel_db = mel_db
        self._by_lag: dict[int, np.ndarray] = {}
        # A product with equal weights is much faster than `mean` over a short axis.
        self._weights = np.full(mel_db.shape[1], 1.0 / mel_db.shape[1], mel_db.dtype)

    def __len__(self) -> int:
        return len(self._mel_db)

    def by(self, lag: int) -> np.ndarray:
        """Give the mean difference over the bands, shape (frames - lag,)."""
        if lag not in self._by_lag:
            later = self._mel_db[lag:] - self._mel_db[:-lag]
            self._by_lag[lag] = np.abs(later, out=later) @ self._weights
        return self._by_lag[lag]

    def within(self, first: int, end: int, sounding: np.ndarray, lag: int) -> float:
        """Give the mean of it from one frame to another, where one of the two sounds."""
        heard = sounding[first:end]
        return float(self.by(lag)[first : end - lag][heard[lag:] | heard[:-lag]].mean())


def _spread_db(mel_db: np.ndarray) -> float:
    """Give by how much any two frames differ, about."""
    return max(float(2.0 * np.abs(mel_db - mel_db.mean(axis=0)).mean()), 1e-6)


def _longest_run(
    apart: _Apart, sounding: np.ndarray, spread_db: float, lag: int, least: float = 0.0,
    loosely: bool = False,
) -> tuple[int, int, float] | None:
    """Give first frame, end and likeness of the longest stretch that comes again after `lag`.

    None where it has no more than `least` frames.
    """
    if len(apart) < lag + T.loop_least_frames:
        return None
    width = T.loop_smooth_frames
    smooth = np.convolve(apart.by(lag), np.ones(width) / width, mode="same")
    alike = smooth < (1.0 - T.loop_alike) * spread_db
    if np.count_nonzero(alike) < T.loop_least_frames:
        return None
    best = None
    for first, last in _stretches(alike):
        either = sounding[first : last + lag]
        there = np.flatnonzero(either)
        if not len(there) or either.mean() < T.loop_sounding:
            continue
        last = min(last, first + int(there[-1]) + 1)
        length = last - first
        enough = T.loop_least_frames if loosely else _enough(lag)
        if length >= enough and (best is None or length > best[1] - best[0]):
            best = first, last
    if best is None or best[1] - best[0] <= least:
        return None
    first, last = best
    if loosely:
        return first, last, 1.0
    both = sounding[first:last] & sounding[first + lag : last + lag]
    if np.count_nonzero(both) < T.loop_least_frames / 2:
        return None
    at_lag = apart.within(first, last + lag, sounding, lag)
    between = max(
        apart.within(first, last + lag, sounding, other)
        for other in range(2, lag - 1, max(1, lag // 12))
    )
    likeness = 1.0 - at_lag / max(between, 1e-6)
    if between < at_lag + T.loop_contrast_db or likeness < T.loop_likeness:
        return None
    return first, last, likeness


def _enough(lag: int) -> float:
    """Give how many frames must come again for a pattern of `lag` frames."""
    enough = max(T.loop_passes * lag, T.loop_long_frames)
    return max(T.loop_least_frames, min(T.loop_short_passes * lag, enough))


def _stretches(alike: np.ndarray) -> list[tuple[int, int]]:
    edges = np.flatnonzero(np.diff(np.concatenate([[0], alike.astype(np.int8), [0]])))
    return list(zip(edges[::2], edges[1::2], strict=True))


def _refined(
    samples: np.ndarray, rate_hz: int, lag: int, first: int, last: int
) -> tuple[float, bool]:
    """Give the period, s, and if the waveform repeats too, by which it is exact then."""
    hop = round(HOP_S * rate_hz)
    part = np.diff(samples[first * hop : (last + lag) * hop].astype(np.float64))
    if not np.any(part):
        return lag * HOP_S, False
    shape = autocorrelation(part)

    def near(at: float, reach: float) -> int:
        low = max(1, round(at - reach))
        return low + int(np.argmax(shape[low : round(at + reach) + 1]))

    at = near(lag * hop, 1.5 * hop)
    if shape[at] < T.loop_same_shape:
        return lag * HOP_S, False
    for parts in range(int(at / (T.loop_shortest_s * rate_hz)), 1, -1):
        smaller = near(at / parts, 0.002 * rate_hz)
        if shape[smaller] > T.loop_submultiple * shape[at]:
            return smaller / rate_hz, True
    return at / rate_hz, True
