"""A clock that runs otherwise: slower or faster, its tempo with its pitch."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.manner import Manner
from rig.listen.measures.features import SILENCE_DB, frames
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners
DESCRIBING = THRESHOLDS.describing


def find_tempo(pair: Compared, cents: float) -> Manner | None:
    """Say whether a sound is the clean one played slower or faster: its tempo went with its pitch.

    That must explain more than a tempo or a pitch of its own does.

    Parameters
    ----------
    pair : Compared
        From where the change begins.
    cents : float
        By which its pitch has moved.
    """
    if not T.tied_cents <= abs(cents) <= DESCRIBING.most_octaves * 1200:
        return None
    speed = 2.0 ** (cents / 1200.0)
    place = np.arange(int(len(pair.theirs) / speed)) * speed
    played = np.interp(place, np.arange(len(pair.theirs)), pair.theirs)
    moved = frames(played, pair.rate_hz).mel_db
    fit = _explained(pair, moved)
    if fit < T.tied_fit:
        return None
    at = np.arange(len(pair.mel))
    tempo_alone = _explained(pair, _at(pair.clean_mel, at * speed))
    pitch_alone = _explained(pair, _at(moved, at / speed))
    if fit < max(tempo_alone, pitch_alone) + T.tied_better:
        return None
    return Manner("slowed" if cents < 0 else "sped", round(100.0 * speed, 1), "%", fit)


def _at(mel: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Give the frames at some places, silence beyond the last."""
    at = places.round().astype(int)
    there = mel[np.minimum(at, len(mel) - 1)].copy()
    there[at >= len(mel)] = SILENCE_DB
    return there


def _explained(pair: Compared, mel: np.ndarray) -> float:
    """Give the part of the difference that other bands take away, well laid; silence follows them."""
    floor = pair.room + T.floor_db
    count, most = len(pair.mel), T.tied_lag_frames
    padded = np.full((count + 2 * most, mel.shape[1]), SILENCE_DB)
    there = mel[: count + most]
    padded[most : most + len(there)] = there
    padded[:most] = mel[0]
    mine, clean = np.maximum(pair.mel, floor), np.maximum(pair.clean_mel[:count], floor)
    least = floor + T.heard_db
    fits = []
    for lag in range(2 * most + 1):
        theirs = np.maximum(padded[lag : lag + count], floor)
        heard = np.maximum(np.maximum(mine, theirs), clean) > least
        before = np.abs(mine - clean)[heard].sum()
        fits.append(1.0 - float(np.abs(mine - theirs)[heard].sum() / max(before, 1e-6)))
    return max(fits)
