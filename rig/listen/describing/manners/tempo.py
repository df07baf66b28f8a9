"""A clock that runs otherwise: slower or faster, sliding, to and fro."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.courses import best_rate, one_way
from rig.listen.describing.manners.manner import Manner
from rig.listen.measures.features import HOP_S, SILENCE_DB, frames, log_spectrogram
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners
DESCRIBING = THRESHOLDS.describing
SIZE = 1024
"""Points of the correlation: twice those of a spectrum at least."""


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


def find_course(pair: Compared, begins: int) -> Manner | None:
    """Find a pitch that slides away, or goes to and fro, frame by frame, the level's course staying.

    Parameters
    ----------
    pair : Compared
    begins : int
        The frame from which on the sound is changed; a slide begins before that.
    """
    ahead = min(begins, T.course_ahead_frames)
    near = pair.since(begins - ahead)
    if _level_wavers_db(near) > T.same_course_db:
        return None
    course = _shifts(near)
    if course is None:
        return None
    at_s, cents = course
    went, fit, between = one_way(at_s, cents)
    if fit >= T.glide_fit and abs(went) >= T.glide_cents and between >= T.glide_between:
        return Manner("glide", round(went), "cents", fit)
    later = at_s >= ahead * HOP_S
    at_s, cents = at_s[later], cents[later]
    if len(at_s) < T.shift_frames:
        return None
    rate_hz, fit, size = best_rate(at_s, cents, T.warble_least_hz, T.warble_most_hz)
    often = rate_hz * float(at_s[-1] - at_s[0])
    if fit >= T.warble_fit and size >= T.warble_cents and often >= T.warble_least:
        return Manner("warble", round(rate_hz, 1), "Hz", fit)
    return None


def _level_wavers_db(pair: Compared) -> float:
    both = pair.sounding & pair.clean_sounding
    either = int(np.count_nonzero(pair.either))
    if np.count_nonzero(both) < T.same_sounding * either:
        return np.inf
    gain_db = (pair.level - pair.clean_level)[both]
    return float(np.abs(gain_db - np.median(gain_db)).mean())


def _shifts(pair: Compared) -> tuple[np.ndarray, np.ndarray] | None:
    """Give the shift of the spectrum, cents, at each frame that is the clean one shifted, and when, s.

    None where too few are, or where nothing moves.
    """
    high_hz = min(9000.0, 0.45 * pair.rate_hz)
    a, b = (log_spectrogram(one, pair.rate_hz, high_hz=high_hz) for one in (pair.mine, pair.theirs))
    count = min(len(a), len(b))
    a, b = a[:count], b[:count]
    floor_db = max(a.max(), b.max()) - T.shift_range_db
    a, b = np.maximum(a - floor_db, 0.0), np.maximum(b - floor_db, 0.0)
    a, b = (np.maximum(one - uniform_filter1d(one, T.shift_around, axis=1), 0.0) for one in (a, b))
    mine, theirs = np.einsum("ij,ij->i", a, a), np.einsum("ij,ij->i", b, b)
    loud = (mine > T.shift_energy * np.percentile(mine, 90))
    loud &= theirs > T.shift_energy * np.percentile(theirs, 90)
    where = np.flatnonzero(loud & (mine > 0) & (theirs > 0))
    if len(where) < T.shift_frames:
        return None
    norm = np.sqrt(mine[where] * theirs[where])
    still = np.einsum("ij,ij->i", a[where], b[where]) / norm
    if still.mean() > T.shift_still:
        return None
    most = round(T.shift_cents / 1200.0 * DESCRIBING.per_octave)
    crossed = np.fft.rfft(a[where], SIZE) * np.conj(np.fft.rfft(b[where], SIZE))
    around = np.fft.irfft(crossed, SIZE)
    around = np.concatenate([around[:, -most:], around[:, : most + 1]], axis=1) / norm[:, None]
    best = around.argmax(axis=1)
    likeness = around[np.arange(len(where)), best]
    sure = likeness > T.shift_likeness
    both = np.count_nonzero(pair.sounding & pair.clean_sounding)
    if np.count_nonzero(sure) < max(T.shift_frames, T.shift_part * both):
        return None
    return where[sure] * HOP_S, (best[sure] - most) * 1200.0 / DESCRIBING.per_octave
