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
    coarse, fine = _Misfit(a, b, COARSE), _Misfit(a, b, 1)
    most = T.most_octaves * T.per_octave
    looked_at = [
        coarse.least(points, _offsets(2.0 ** (points / T.per_octave)))
        for points in range(-most, most + 1, 2)
    ]
    _, points, offset = min(looked_at, key=lambda one: one[0])
    for reach, stride in ((4, 2), (1, 1)):
        offsets = range(offset - reach, offset + reach + 1, stride)
        around = [fine.least(p, offsets) for p in range(points - 2, points + 3)]
        _, points, offset = min(around, key=lambda one: one[0])

    def misfit(points: int, offset: int) -> float:
        return float(fine.at(points, np.array([offset]))[0])

    zero = misfit(0, 0)
    left, mid, right = (misfit(points + step, offset) for step in (-1, 0, 1))
    curve = left - 2 * mid + right
    shift = 0.5 * (left - right) / curve if np.isfinite(curve) and curve > 1e-9 else 0.0
    cents = (points + float(np.clip(shift, -0.5, 0.5))) * 1200.0 / T.per_octave
    fit = float(max(0.0, 1.0 - mid / max(zero, 1e-6)))
    return Repitch(_by_voice(voices or Voices(mine, theirs, rate_hz), cents, offset), fit)


class _Misfit:
    """The part of two spectra that differs, 0 to 1: common silence counts for nothing.

    Parameters
    ----------
    mine, theirs : ndarray of float32, shape (frames, points)
        Spectra of the sound and of the clean one, not below 0.
    step : int
        Every so many frames and points are looked at.
    """

    def __init__(self, mine: np.ndarray, theirs: np.ndarray, step: int):
        self._step = step
        self._rows = np.arange(0, len(mine), step)
        self._theirs_frames = len(theirs)
        self._points = mine.shape[1]
        self._mine, self._theirs = _Grid(mine[::step], step), _Grid(theirs, step)

    def at(self, points: int, offsets: np.ndarray) -> np.ndarray:
        """Give it for the clean one played so many points higher, from each of some frames on.

        Parameters
        ----------
        points : int
            Steps of `per_octave`.
        offsets : ndarray of int, shape (n,)

        Returns
        -------
        ndarray of float, shape (n,)
            Infinite where too little of both lies over each other.
        """
        speed = 2.0 ** (points / T.per_octave)
        place = (self._rows * speed).round().astype(int) + offsets[:, None]
        inside = (place >= 0) & (place < self._theirs_frames)
        count = self._points - abs(points)
        mine, mine_sum = self._mine.part(slice(None), max(points, 0), count)
        theirs, their_sum = self._theirs.part(
            np.maximum(np.minimum(place, self._theirs_frames - 1), 0), max(-points, 0), count
        )
        theirs -= mine
        apart = (np.abs(theirs, out=theirs).sum(axis=2) * inside).sum(axis=1, dtype=float)
        total = ((mine_sum + their_sum) * inside).sum(axis=1)
        misfit = np.where(total > 0, apart / np.where(total > 0, total, 1.0), 1.0)
        misfit[np.count_nonzero(inside, axis=1) * self._step < 10] = np.inf
        return misfit

    def least(self, points: int, offsets: range) -> tuple[float, int, int]:
        """Give the least over some frames to begin from, with its points and its frame."""
        of = self.at(points, np.array(offsets))
        best = int(np.argmin(of))
        return float(of[best]), points, offsets[best]


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

    def part(self, rows: slice | np.ndarray, low: int, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Give some frames' points, of so many from `low` on, and each frame's sum."""
        first, which = divmod(low, self._step)
        end = first - (-count // self._step)
        upto = self._upto[which]
        total = upto[rows, end - 1]
        if first:
            total = total - upto[rows, first - 1]
        return self._from[which][rows, first:end], total


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
