"""What only goes on: a steady tone in place of the sound, or a steady noise under it."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import CHANGED_DB, Compared, Description, rounded
from rig.listen.measures.features import HOP_S
from rig.listen.measures.pitch import steady_tone

STEADY_DB = 2.5
"""Frames of a drone differ by less than this from one to the next and from their mean."""
OWN_TONE_FRAMES, OWN_STEP_FRAMES, OWN_STEP_DB = 50, 5, 2.5
"""Where the clean sound holds a tone for so long, another one is no drone. A note that dies away is
held, as long as its bands differ from one step to the next by less than this."""
PAUSE_FRAMES = 8
"""Noise under the sound is looked for where the clean sound pauses for at least so long."""
LASTING = 0.8
"""Part of the pauses in which it must be heard."""
WIDE = 0.3
"""Part of the bands that it must raise: less is a tone."""
BAND_BELOW_DB = 9.0
"""A band's share of the room is at least this far below the whole room's level."""
TONE_FRAMES = 10
OWN_DB = 6.0
VOICE_RANGE_DB = 20.0
"""Frames this much below the loudest one don't count for the level of a voice."""


def find_noise(pair: Compared, begins: int, measures: dict) -> Description | None:
    """Find a steady noise under the sound: heard in its pauses, the sound itself still there.

    Parameters
    ----------
    pair : Compared
    begins : int
        The frame from which on the sound is changed.
    measures : dict
        What is measured is put in here.
    """
    loud = pair.clean_sounding
    pauses = ~np.convolve(loud, np.ones(5), mode="same").astype(bool)
    pauses[: begins + 2] = False
    if pauses.sum() < PAUSE_FRAMES or loud.sum() < 5:
        return None
    noise, clean = pair.mel[pauses], pair.clean_mel[pauses]
    middle = np.median(noise, axis=0)
    added = middle > np.maximum(np.median(clean, axis=0), pair.room - BAND_BELOW_DB) + CHANGED_DB
    if pair.sounding[pauses].mean() < LASTING or added.mean() < WIDE:
        return None
    first, last = np.array_split(noise, 2)
    if np.abs(np.median(first, axis=0) - np.median(last, axis=0)).mean() > STEADY_DB:
        return None
    # Where the clean sound is well above the noise, it must still be there.
    own = pair.clean_mel > np.maximum(middle, pair.room) + OWN_DB
    own &= (loud & (np.arange(len(loud)) > begins))[:, None]
    if own.sum() < 20 or np.median(np.abs(pair.mel - pair.clean_mel)[own]) > CHANGED_DB:
        return None
    voice = pair.clean_level[pair.clean_level > pair.clean_level.max() - VOICE_RANGE_DB]
    level_db, voice_db = (
        10.0 * np.log10(np.mean(10.0 ** (one.astype(float) / 10.0)))
        for one in (pair.level[pauses], voice)
    )
    measures["noise_db"] = rounded(level_db - voice_db)
    measures["noise_from_s"] = round(begins * HOP_S, 3)
    tone_hz = _tone(pair, pauses)
    if tone_hz is not None:
        measures["drone_hz"] = round(tone_hz, 1)
        return Description("drone", measures["drone_hz"], "Hz")
    return Description("drone", measures["noise_db"], "dB")


def _tone(pair: Compared, pauses: np.ndarray) -> float | None:
    """Give the frequency of what is heard in the longest pause, Hz, if it has one."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], pauses.astype(np.int8), [0]])))
    first, last = max(zip(edges[::2], edges[1::2], strict=True), key=lambda one: one[1] - one[0])
    if last - first < TONE_FRAMES:
        return None
    return steady_tone(pair.mine[first * pair.hop : last * pair.hop], pair.rate_hz)


def find_drone(pair: Compared, begins: int, measures: dict) -> Description | None:
    """Find the longest steady stretch, where the clean phrase has none as long.

    Parameters are those of `find_noise`.
    """
    first, length = _steady_frames(pair.mel, pair.sounding)
    _, usual = _steady_frames(pair.clean_mel, pair.clean_sounding)
    measures["steady_s"] = round(length * HOP_S, 3)
    if length * HOP_S < 0.35 or length < usual + 15 or _held_frames(pair) >= OWN_TONE_FRAMES:
        return None
    tone_hz = steady_tone(pair.mine[first * pair.hop : (first + length) * pair.hop], pair.rate_hz)
    if tone_hz is None:
        return Description("drone")
    measures["drone_hz"] = round(tone_hz, 1)
    return Description("drone", measures["drone_hz"], "Hz")


def _held_frames(pair: Compared) -> int:
    """Give the longest stretch for which the clean sound holds one sound, dying away or not."""
    count = len(pair.clean_mel) // OWN_STEP_FRAMES
    power = 10.0 ** (pair.clean_mel[: count * OWN_STEP_FRAMES] / 10.0)
    mel = 10.0 * np.log10(power.reshape(count, OWN_STEP_FRAMES, -1).mean(axis=1))
    mel = np.maximum(mel, pair.room)
    heard = np.maximum(mel[1:], mel[:-1]) > pair.room
    bands = np.maximum(heard.sum(axis=1), 1)
    held = (np.abs(np.diff(mel, axis=0)).sum(axis=1) < OWN_STEP_DB * bands) & heard.any(axis=1)
    ends = np.flatnonzero(~np.concatenate([[False], held, [False]]))
    return int(np.diff(ends).max() - 1) * OWN_STEP_FRAMES


def _steady_frames(mel: np.ndarray, sounding: np.ndarray) -> tuple[int, int]:
    """Give first frame and length of the longest stretch that sounds and doesn't change."""
    best = (0, 0)
    step = np.abs(np.diff(mel, axis=0, prepend=mel[:1])).mean(axis=1)
    calm = sounding & (step < 2 * STEADY_DB)
    start, total = 0, np.zeros(mel.shape[1])
    for i in range(len(mel)):
        inside = calm[i] and i > start
        if inside and i - start > 1:
            inside = np.abs(mel[i] - total / (i - start)).mean() < STEADY_DB
        if not inside:
            start, total = i, np.zeros(mel.shape[1])
            if not sounding[i]:
                start = i + 1
                continue
        total += mel[i]
        if i + 1 - start > best[1]:
            best = (start, i + 1 - start)
    return best
