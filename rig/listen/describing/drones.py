"""What only goes on: a steady tone in place of the sound, or a steady noise under it."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import Compared, Description, rounded
from rig.listen.measures.features import HOP_S
from rig.listen.measures.pitch import steady_tone
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing


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
    if pauses.sum() < T.pause_frames or loud.sum() < 5:
        return None
    noise, clean = pair.mel[pauses], pair.clean_mel[pauses]
    middle = np.median(noise, axis=0)
    usual = np.maximum(np.median(clean, axis=0), pair.room - T.band_below_db)
    added = middle > usual + T.changed_db
    if pair.sounding[pauses].mean() < T.noise_lasting or added.mean() < T.noise_wide:
        return None
    first, last = np.array_split(noise, 2)
    if np.abs(np.median(first, axis=0) - np.median(last, axis=0)).mean() > T.steady_db:
        return None
    # Where the clean sound is well above the noise, it must still be there.
    own = pair.clean_mel > np.maximum(middle, pair.room) + T.own_db
    own &= (loud & (np.arange(len(loud)) > begins))[:, None]
    if own.sum() < 20 or np.median(np.abs(pair.mel - pair.clean_mel)[own]) > T.changed_db:
        return None
    voice = pair.clean_level[pair.clean_level > pair.clean_level.max() - T.voice_range_db]
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
    if last - first < T.tone_frames:
        return None
    return steady_tone(pair.mine[first * pair.hop : last * pair.hop], pair.rate_hz)


def find_drone(pair: Compared, begins: int, measures: dict) -> Description | None:
    """Find the longest steady stretch, where the clean phrase has none as long.

    Parameters are those of `find_noise`.
    """
    first, length = _steady_frames(pair.mel, pair.sounding)
    _, usual = _steady_frames(pair.clean_mel, pair.clean_sounding)
    measures["steady_s"] = round(length * HOP_S, 3)
    short = length * HOP_S < T.drone_s or length < usual + T.drone_longer_frames
    if short or _held_frames(pair) >= T.own_tone_frames:
        return None
    tone_hz = steady_tone(pair.mine[first * pair.hop : (first + length) * pair.hop], pair.rate_hz)
    if tone_hz is None:
        return Description("drone")
    measures["drone_hz"] = round(tone_hz, 1)
    return Description("drone", measures["drone_hz"], "Hz")


def _held_frames(pair: Compared) -> int:
    """Give the longest stretch for which the clean sound holds one sound, dying away or not."""
    count = len(pair.clean_mel) // T.own_step_frames
    power = 10.0 ** (pair.clean_mel[: count * T.own_step_frames] / 10.0)
    mel = 10.0 * np.log10(power.reshape(count, T.own_step_frames, -1).mean(axis=1))
    mel = np.maximum(mel, pair.room)
    heard = np.maximum(mel[1:], mel[:-1]) > pair.room
    bands = np.maximum(heard.sum(axis=1), 1)
    held = (np.abs(np.diff(mel, axis=0)).sum(axis=1) < T.own_step_db * bands) & heard.any(axis=1)
    ends = np.flatnonzero(~np.concatenate([[False], held, [False]]))
    return int(np.diff(ends).max() - 1) * T.own_step_frames


def _steady_frames(mel: np.ndarray, sounding: np.ndarray) -> tuple[int, int]:
    """Give first frame and length of the longest stretch that sounds and doesn't change."""
    best = (0, 0)
    step = np.abs(np.diff(mel, axis=0, prepend=mel[:1])).mean(axis=1)
    calm = sounding & (step < 2 * T.steady_db)
    start, total = 0, np.zeros(mel.shape[1])
    for i in range(len(mel)):
        inside = calm[i] and i > start
        if inside and i - start > 1:
            inside = np.abs(mel[i] - total / (i - start)).mean() < T.steady_db
        if not inside:
            start, total = i, np.zeros(mel.shape[1])
            if not sounding[i]:
                start = i + 1
                continue
        total += mel[i]
        if i + 1 - start > best[1]:
            best = (start, i + 1 - start)
    return best
