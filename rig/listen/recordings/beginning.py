"""Where a recording's sound begins, over the noise of the room it was made in."""

from __future__ import annotations

import numpy as np

from rig.listen.measures.features import BANDS, HOP_S, SILENCE_DB, Frames, frames
from rig.listen.measures.levels import mean_db
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.recordings

DEAD_DB = SILENCE_DB + 10 * np.log10(BANDS) + T.dead_margin_db
"""Frames below this level hold only zeros: a sound card that hadn't started yet, or an edit."""


def room_db(sound: Frames) -> np.ndarray:
    """Measure the room's noise in a recording of which nothing is known.

    Parameters
    ----------
    sound : Frames

    Returns
    -------
    ndarray of float32, shape (BANDS,)
        Mean power of each band in the quietest 0.1 s, dB re full scale.
    """
    width = min(T.room_frames, len(sound))
    dead = sound.level_db < DEAD_DB
    power = np.where(dead, np.inf, 10.0 ** (sound.level_db / 10.0))
    means = np.lib.stride_tricks.sliding_window_view(power, width).mean(axis=1)
    at = int(np.argmin(means))
    if np.isinf(means[at]) or (
        dead.any() and 10 * np.log10(means[at]) > sound.level_db.max() - T.well_below_db
    ):
        return np.full(BANDS, SILENCE_DB, np.float32)
    return mean_db(sound.mel_db[at : at + width])


def sounding(sound: Frames, room: np.ndarray) -> np.ndarray:
    """Say of each frame if it holds more than the room; shape (frames,) of bool."""
    return np.maximum(sound.mel_db - room, 0.0).mean(axis=1) > T.excess_db


def first_frame(sound: Frames) -> tuple[int | None, np.ndarray]:
    """Find the frame in which a recording's sound begins.

    Parameters
    ----------
    sound : Frames
        At least `begins_among_frames` of them.

    Returns
    -------
    frame : int or None
        None where nothing stands above the room for long enough.
    room : ndarray of float32, shape (BANDS,)
        The room's noise, dB re full scale: that before the beginning, where there is some.
    """
    room = room_db(sound)
    sounds = sounding(sound, room)
    at = _first(sounds)
    if at is not None and at >= T.room_frames + T.skirt_frames:
        before = slice(0, at - T.skirt_frames)
        only_room = (sound.level_db[before] >= DEAD_DB) & ~sounds[before]
        if np.count_nonzero(only_room) >= T.room_frames:
            room = mean_db(sound.mel_db[before][only_room])
            at = _first(sounding(sound, room))
    return at, room


def _first(sounds: np.ndarray) -> int | None:
    among = T.begins_among_frames
    lasting = np.convolve(sounds, np.ones(among, int))[among - 1 :] >= T.begins_frames
    at = np.flatnonzero(lasting & sounds)
    return int(at[0]) if len(at) else None


def onset(samples: np.ndarray, rate_hz: int) -> int | None:
    """Find where the sound of a recording begins, over that recording's own room noise.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
        Full scale 1.0, mono; at least 0.1 s. It may begin with the sound itself.
    rate_hz : int
        8000 or more.

    Returns
    -------
    int or None
        The sample, good to about 10 ms; None where nothing but the room is heard.
    """
    sound = frames(samples, rate_hz)
    if len(sound) < T.begins_among_frames:
        return None
    at, _ = first_frame(sound)
    if at is None:
        return None
    hop = round(HOP_S * rate_hz)
    return at * hop + _rise(np.asarray(samples[max(0, at - 5) * hop : (at + 3) * hop], float),
                            min(at, 5) * hop, rate_hz)


def _rise(near: np.ndarray, first: int, rate_hz: int) -> int:
    """Give how many samples after `first` the power rises to half its way up, in dB."""
    block = max(1, rate_hz // 500)
    steps = np.diff(near, prepend=near[:1])  # hum hardly counts
    power = np.convolve(steps**2, np.ones(block) / block, mode="same")
    after = power[first:]
    before = np.median(power[:first]) if first else 0.0
    threshold = np.sqrt(max(before, 1e-6 * after.max()) * after.max())
    return int(np.argmax(after >= threshold)) if after.max() > 0.0 else 0
