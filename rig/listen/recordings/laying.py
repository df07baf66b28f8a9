"""A recording laid under another, by the first piece whose waveform is in both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from rig.listen.judging.align import shifted
from rig.listen.judging.distance import Distance, compare
from rig.listen.measures.features import HOP_S, Frames, frames
from rig.listen.measures.span import LAG_FRAMES
from rig.listen.recordings.recording import Recording
from rig.listen.thresholds import THRESHOLDS

JUDGING = THRESHOLDS.judging
RECORDINGS = THRESHOLDS.recordings


@dataclass(frozen=True)
class Laid:
    """A clean recording laid under another."""

    samples: np.ndarray
    frames: Frames
    distance: Distance
    alike: bool

    @property
    def same_for_s(self) -> float:
        """How long the two are the same from the beginning on, in steps of 0.1 s."""
        trace_db = self.distance.trace_db
        window = min(JUDGING.local_frames, len(trace_db))
        local_db = np.convolve(trace_db, np.ones(window) / window, mode="valid")
        differs = np.flatnonzero(local_db > JUDGING.same_phrase_db)
        frame = int(differs[0]) if len(differs) else len(trace_db)
        return frame // 10 / 10


def lay(mine: Recording, clean: Recording, rate_hz: int) -> Laid:
    """Lay a clean recording under another, and measure how far they are apart.

    Parameters
    ----------
    mine, clean : Recording
    rate_hz : int
        Of both.
    """
    shift, alike = _shift(mine.samples, clean.samples, rate_hz)
    theirs = shifted(clean.samples, shift)
    a, b = frames(mine.samples, rate_hz), frames(theirs, rate_hz)
    floor = np.maximum(mine.room_db, clean.room_db) + JUDGING.floor_over_noise_db
    floor = floor.astype(np.float32)
    start = RECORDINGS.ahead_frames - round(0.05 / HOP_S)
    length = compared(mine, len(a), clean, len(b)) - start
    lag_frames = 1 if alike else LAG_FRAMES
    worst, mean, lag, trace = compare(
        _floored(b, floor, start - LAG_FRAMES, length + 2 * LAG_FRAMES)[None],
        _floored(a, floor, start, length), lag_frames,
    )
    distance = Distance(float(worst[0]), float(mean[0]), 0, int(lag[0]), trace[0])
    return Laid(theirs, b, distance, alike)


def compared(mine: Recording, my_length: int, clean: Recording, clean_length: int) -> int:
    """Give how many frames can be compared: what ended quietly would have stayed quiet."""
    ends = [
        length for one, length in ((mine, my_length), (clean, clean_length)) if not one.ends_quiet
    ]
    return max(RECORDINGS.ahead_frames + 1, min(ends, default=max(my_length, clean_length)))


def _floored(sound: Frames, floor: np.ndarray, start: int, length: int) -> np.ndarray:
    """Give frames from a start on, not below the floor, with silence after the end."""
    out = np.tile(floor, (length, 1))
    body = sound.mel_db[start : start + length]
    out[: len(body)] = np.maximum(body, floor)
    return out


def _shift(mine: np.ndarray, theirs: np.ndarray, rate_hz: int) -> tuple[int, bool]:
    """Give by how many samples the other sound is later, and if it has the same waveform.

    Pieces of this sound, from its beginning on, are looked for in the other; the first one that
    is there decides, since of a loop's later passes each is found somewhere else. 0 where none is.
    """
    down = max(1, rate_hz // JUDGING.align_rate_hz)
    a, b = (_slower(one, down) for one in (mine, theirs))
    rate = rate_hz / down
    piece, most = round(RECORDINGS.piece_s * rate), round(RECORDINGS.most_shift_s * rate)
    begins = round(RECORDINGS.ahead_frames * HOP_S * rate)
    for i in range(RECORDINGS.pieces):
        at = begins + i * piece * 4 // 5
        part = a[at : at + piece]
        if len(part) < piece or not np.any(part):
            break
        around = np.zeros(piece + 2 * most)
        low = max(0, at - most)
        there = b[low : at + piece + most]
        around[low - (at - most) :][: len(there)] = there
        likeness = _correlation(part, around)
        best = int(np.argmax(likeness))
        if likeness[best] >= RECORDINGS.same_piece:
            return (best - most) * down, True
    return 0, False


def _slower(samples: np.ndarray, down: int) -> np.ndarray:
    """Give a sound at a lower rate, its hum weakened."""
    part = samples[: len(samples) // down * down].reshape(-1, down).mean(axis=1)
    return np.diff(part.astype(np.float64), prepend=0.0)


def _correlation(part: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Give the normalised correlation of a piece with each place of a longer one."""
    size = scipy.fft.next_fast_len(len(around), real=True)
    whole, sought = scipy.fft.rfft(around, size), scipy.fft.rfft(part, size)
    products = scipy.fft.irfft(whole * np.conj(sought), size)
    products = products[: len(around) - len(part) + 1]
    upto = np.concatenate([[0.0], np.cumsum(around**2)])
    energy = upto[len(part) :] - upto[: -len(part)]
    norm = np.sqrt(np.maximum(energy, 1e-3 * energy.max()) * np.sum(part**2))
    return products / np.maximum(norm, 1e-12)
