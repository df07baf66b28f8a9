"""Whether what a bridge brings forth is what another of the toy's keys does."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rig.listen.judging.anchor import first_begins
from rig.listen.judging.baseline import Aligned, Baseline
from rig.listen.measures.features import frames
from rig.listen.measures.span import Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.judging


@dataclass(frozen=True)
class Sounding:
    """What a key brings forth.

    Parameters
    ----------
    mel_db : ndarray, shape (frames, BANDS)
        From where it begins to sound.
    after_press : int
        Frames from the press to there.
    """

    mel_db: np.ndarray
    after_press: int


def sounding(samples: np.ndarray, span: Span, rate_hz: int) -> Sounding | None:
    """Give what a press with nothing bridged brings forth; None for silence."""
    begins = first_begins(samples, round(span.press), rate_hz)
    if begins is None:
        return None
    return Sounding(frames(samples, rate_hz).mel_db[begins:], begins - span.press)


def like_key(others: dict[str, Sounding], take: Aligned, baseline: Baseline) -> str | None:
    """Name the key that does what is heard from a touch's closing on; None where none does.

    Its sound begins as soon after the closing as it does after its press, or up to the key's own
    lateness later, and must be far nearer to it than any clean take of the key that was pressed.

    Parameters
    ----------
    others : dict of str to Sounding
        What the other keys bring forth.
    take : Aligned
    baseline : Baseline
        Of the key that was pressed.
    """
    mine = np.maximum(take.frames.mel_db[take.span.close :], baseline.floor_db)
    found = {
        key: apart_db for key, one in others.items()
        if (apart_db := _apart_db(mine, one, baseline)) is not None
    }
    nearest = min(found, key=lambda key: found[key], default=None)
    if nearest is None or found[nearest] > T.like_key_db:
        return None
    own = [
        _apart_db(mine, Sounding(one.frames.mel_db[one.span.press :], 0), baseline)
        for one in baseline.takes
    ]
    own_db = min((apart_db for apart_db in own if apart_db is not None), default=np.inf)
    return nearest if own_db >= T.other_key_times * found[nearest] else None


def _apart_db(mine: np.ndarray, other: Sounding, baseline: Baseline) -> float | None:
    """Give how far a sound is from a key's, dB, where that fits best; None where it is too short."""
    theirs = np.maximum(other.mel_db, baseline.floor_db)
    heard = np.flatnonzero((theirs > baseline.floor_db).mean(axis=1) > T.heard_part)
    theirs = theirs[: heard[-1] + 1] if len(heard) else theirs[:0]
    latest = max(other.after_press, baseline.anchor.latest) + T.like_key_late_frames
    apart_db = []
    for at in range(min(latest, len(mine))):
        length = min(len(theirs), len(mine) - at)
        if length < T.like_key_frames:
            break
        apart_db.append(float(np.abs(mine[at : at + length] - theirs[:length]).mean()))
    return min(apart_db, default=None)
