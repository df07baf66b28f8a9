"""Pieces of sound in another order, or of another phrase."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.manner import Manner
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


@dataclass(frozen=True)
class _Found:
    """Where the pieces of a sound are in another one.

    Parameters
    ----------
    places : ndarray of int, shape (pieces,)
        The frames at which they fit best.
    apart_db : ndarray, shape (pieces,)
        How far they are from what is there.
    own_db : ndarray, shape (pieces,)
        How far from what is in their own place; inf where that is silent.
    """

    places: np.ndarray
    apart_db: np.ndarray
    own_db: np.ndarray


def find_order(pair: Compared, begins: int) -> Manner | None:
    """Look for the pieces of a sound all over the clean one, and in the toy's other phrases.

    Parameters
    ----------
    pair : Compared
    begins : int
        The frame from which on the sound is changed.
    """
    floor = pair.room + T.heard_db
    mine, starts = _pieces(pair.mel[begins:], floor, T.block_step_frames)
    if len(mine) < T.words_pieces:
        return None
    starts = starts + begins
    own = _looked_for(mine, starts, pair.clean_mel, floor)
    if own is None:
        return None
    if own.apart_db.mean() > T.other_place_db:
        others = [one for other in pair.others if (one := _looked_for(mine, starts, other, floor))]
        if found := _other_words(starts, own, others):
            return found
    return _scrambled(starts, own)


def _looked_for(
    mine: np.ndarray, starts: np.ndarray, mel: np.ndarray, floor: float
) -> _Found | None:
    """Find each piece where it fits best in another sound."""
    theirs, places = _pieces(mel, floor, 1)
    if not len(theirs):
        return None
    apart = scipy.spatial.distance.cdist(mine, theirs, "cityblock") / mine.shape[1]
    near = np.abs(places[None, :] - starts[:, None]) <= 2
    own_db = np.where(near, apart, np.inf).min(axis=1)
    return _Found(places[apart.argmin(axis=1)], apart.min(axis=1), own_db)


def _pieces(mel: np.ndarray, floor: float, step: int) -> tuple[np.ndarray, np.ndarray]:
    """Give the pieces of a sound that aren't silent, flattened, and the frames they begin at."""
    size = T.block_frames * mel.shape[1]
    if len(mel) < T.block_frames:
        return np.zeros((0, size)), np.zeros(0, int)
    views = np.lib.stride_tricks.sliding_window_view(np.maximum(mel, floor), T.block_frames, axis=0)
    views = views[::step]
    sounds = (views > floor).any(axis=1).mean(axis=1) > T.piece_sounding
    return views[sounds].reshape(int(sounds.sum()), size), np.flatnonzero(sounds) * step


def _runs(starts: np.ndarray, found: _Found) -> list[tuple[int, int, int]]:
    """Give offset, first place and number of pieces of each stretch that stands elsewhere as a whole."""
    runs: list[list[int]] = []
    offsets = found.places - starts
    for i, offset in enumerate(offsets):
        stays = abs(offset) < T.other_place_frames
        if found.apart_db[i] > T.same_piece_db:
            continue
        if not stays and found.own_db[i] < found.apart_db[i] + T.moved_db:
            continue
        if runs and abs(runs[-1][0] - offset) <= 1 and runs[-1][3] == i - 1:
            runs[-1][2] += 1
            runs[-1][3] = i
        else:
            runs.append([int(offset), int(found.places[i]), 1, i])
    return [(offset, place, count) for offset, place, count, _ in runs if count >= T.run_pieces]


def _scrambled(starts: np.ndarray, own: _Found) -> Manner | None:
    """Say whether stretches of the clean sound stand in another order: both ahead and back."""
    runs = _runs(starts, own)
    moved = [one for one in runs if abs(one[0]) >= T.other_place_frames]
    part = sum(count for _, _, count in moved) / len(starts)
    if part < T.scrambled_part or len({offset for offset, _, _ in moved}) < T.scrambled_runs:
        return None
    places = [place for _, place, _ in runs]
    jumps = np.diff(places)
    if not (jumps < -T.other_place_frames).any():
        return None
    return Manner("scrambled", fit=part)


def _other_words(starts: np.ndarray, own: _Found, others: list[_Found]) -> Manner | None:
    """Say whether what follows is a stretch of another phrase, far nearer than any of its own."""
    own_db = float(own.apart_db.mean())
    fits = [0.0]
    for other in others:
        other_db = float(other.apart_db.mean())
        if other_db < T.same_words_db and own_db > other_db + T.other_place_db:
            longest = max((count for _, _, count in _runs(starts, other)), default=0)
            fits.append(longest / len(starts))
    return Manner("other words", fit=max(fits)) if max(fits) >= T.words_part else None
