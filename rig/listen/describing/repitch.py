"""By how much a sound is a clean one played faster or slower, or its voice higher or lower."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rig.listen.measures.features import log_spectrogram
from rig.listen.measures.pitch import fundamental
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing

COARSE = 4
"""First every so many frames and points are looked at."""


@dataclass(frozen=True)
class Repitch:
    """The best re-pitching: a clock that runs at another rate.

    Parameters
    ----------
    cents : float
        -2400 to +2400.
    fit : float
        Part of the difference that it explains, 0 to 1.
    """

    cents: float
    fit: float


class Voices:
    """The fundamentals of a sound and of the clean one, each followed once, when it is asked for.

    Parameters
    ----------
    mine, theirs : ndarray of float, shape (n,)
        The two sounds.
    rate_hz : int
    """

    def __init__(self, mine: np.ndarray, theirs: np.ndarray, rate_hz: int):
        self._mine, self._theirs, self._rate_hz = mine, theirs, rate_hz

    @cached_property
    def mine_hz(self) -> np.ndarray:
        """The fundamental of the sound, frame by frame, Hz."""
        return fundamental(self._mine, self._rate_hz)

    @cached_property
    def theirs_hz(self) -> np.ndarray:
        """That of the clean one."""
        return fundamental(self._theirs, self._rate_hz)


def find_repitch(
    mine: np.ndarray, theirs: np.ndarray, noise_level_db: float, rate_hz: int,
    voices: Voices | None = None,
) -> Repitch:
    """Fit the clean sound played faster or slower to this one.

    Parameters
    ----------
    mine, theirs : ndarray of float, shape (n,)
        The sound and the clean one, from where they part on.
    noise_level_db : float
        Level of the room, dB re full scale.
    rate_hz : int
    voices : Voices, optional
        Of the same two sounds, where others ask for them too.
    """
    high_hz = min(9000.0, 0.45 * rate_hz)
    a, b = (log_spectrogram(one, rate_hz, high_hz=high_hz) for one in (mine, theirs))
    n = min(len(a), len(b))
    if n < 10:
        return Repitch(0.0, 0.0)
    room_db = noise_level_db - 10.0 * np.log10(high_hz * 0.02) + 9.0
    floor_db = max(max(a.max(), b.max()) - T.pitch_range_db, room_db)
    a, b = np.maximum(a - floor_db, 0.0), np.maximum(b - floor_db, 0.0)
    grids = {step: (_Grid(a, step), _Grid(b, step)) for step in (1, COARSE)}

    def misfit(points: int, offset: int, step: int = 1) -> float:
        """Give the part of both that differs, 0 to 1: common silence counts for nothing."""
        speed = 2.0 ** (points / T.per_octave)
        place = (np.arange(0, len(a), step) * speed).round().astype(int) + offset
        first, end = np.searchsorted(place, (0, len(b)))
        if (end - first) * step < 10:
            return np.inf
        count = a.shape[1] - abs(points)
        mine, theirs = grids[step]
        rows = slice(first * step, end * step, step)
        mine_rows, mine_sum = mine.part(rows, max(points, 0), count)
        their_rows, their_sum = theirs.part(place[first:end], max(-points, 0), count)
        total = mine_sum + their_sum
        their_rows -= mine_rows
        return float(np.abs(their_rows, out=their_rows).sum()) / total if total else 1.0

    most = T.most_octaves * T.per_octave
    coarse = {
        (points, offset): misfit(points, offset, step=COARSE)
        for points in range(-most, most + 1, 2)
        for offset in _offsets(2.0 ** (points / T.per_octave))
    }
    points, offset = min(coarse, key=coarse.__getitem__)
    for reach, stride in ((4, 2), (1, 1)):
        fine = {
            (p, o): misfit(p, o)
            for p in range(points - 2, points + 3)
            for o in range(offset - reach, offset + reach + 1, stride)
        }
        points, offset = min(fine, key=fine.__getitem__)
    zero = misfit(0, 0)
    left, mid, right = (misfit(points + step, offset) for step in (-1, 0, 1))
    curve = left - 2 * mid + right
    shift = 0.5 * (left - right) / curve if np.isfinite(curve) and curve > 1e-9 else 0.0
    cents = (points + float(np.clip(shift, -0.5, 0.5))) * 1200.0 / T.per_octave
    fit = float(max(0.0, 1.0 - mid / max(zero, 1e-6)))
    return Repitch(_by_voice(voices or Voices(mine, theirs, rate_hz), cents, offset), fit)


class _Grid:
    """A spectrum of which every so many points are looked at, from any point on.

    Parameters
    ----------
    spectrum : ndarray of float32, shape (frames, points)
    step : int
    """

    def __init__(self, spectrum: np.ndarray, step: int):
        self._step = step
        self._from = [np.ascontiguousarray(spectrum[:, i::step]) for i in range(step)]
        self._upto = [np.cumsum(one, axis=1, dtype=np.float64) for one in self._from]

    def part(self, rows: slice | np.ndarray, low: int, count: int) -> tuple[np.ndarray, float]:
        """Give some frames' points, of so many from `low` on, and their sum."""
        first, which = divmod(low, self._step)
        end = first - (-count // self._step)
        upto = self._upto[which]
        total = upto[rows, end - 1].sum()
        if first:
            total -= upto[rows, first - 1].sum()
        return self._from[which][rows, first:end], float(total)


def _offsets(speed: float) -> range:
    """Give the frames by which the two may be apart where they are first seen to differ.

    A change is seen late where it came in a pause; by then the faster one is ahead.
    """
    ahead = round(T.seen_late_frames * (speed - 1.0))
    step = T.offset_frames
    return range(min(ahead, 0) - step, max(ahead, 0) + step + 1, step)


def _by_voice(voices: Voices, cents: float, offset: int) -> float:
    """Give the change by the fundamentals, where there is a voice; otherwise as it was."""
    f0, clean_f0 = voices.mine_hz, voices.theirs_hz
    place = (np.arange(len(f0)) * 2.0 ** (cents / 1200.0)).round().astype(int) + offset
    inside = (place >= 0) & (place < len(clean_f0))
    with np.errstate(invalid="ignore"):
        change = 1200.0 * np.log2(f0[inside] / clean_f0[place[inside]])
    change = change[np.isfinite(change)]
    close = change[np.abs(change - cents) < T.near_cents]
    if len(close) < T.least_voiced or len(close) < 0.5 * len(change):
        return cents
    return float(np.median(close))


def voice_shift(voices: Voices, both: np.ndarray) -> float | None:
    """Give the median change of the fundamental, cents, where it is one steady change.

    Parameters
    ----------
    voices : Voices
        Of two sounds that are aligned in time.
    both : ndarray of bool, shape (frames,)
        Frames in which both sound and that are to be looked at.
    """
    f0, clean_f0 = voices.mine_hz, voices.theirs_hz
    n = min(len(f0), len(clean_f0), len(both))
    with np.errstate(invalid="ignore"):
        cents = 1200.0 * np.log2(f0[:n] / clean_f0[:n])
    voiced = both[:n] & np.isfinite(clean_f0[:n])
    cents = cents[voiced & np.isfinite(cents)]
    if len(cents) < max(15, T.still_voiced * np.count_nonzero(voiced)):
        return None
    middle = float(np.median(cents))
    near = np.abs(cents - middle) < max(T.same_shift_cents, T.same_shift_part * abs(middle))
    return middle if near.mean() > T.voice_mostly and abs(middle) < T.most_octaves * 1200 else None
