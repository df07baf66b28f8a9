"""How much of a change some other sound explains: one made from the clean one, say."""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property

import numpy as np
import scipy

from rig.listen.describing.excerpts import Compared
from rig.listen.measures.features import frames
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def _loudest(pair: Compared) -> Compared:
    """Give the stretch of `T.fitted_frames` in which the clean sound is loudest, at the least rate that will do."""
    size = min(T.fitted_frames, len(pair.clean_level))
    level = np.maximum(pair.clean_level, pair.room)
    at = int(np.argmax(np.convolve(level, np.ones(size), mode="valid"))) if size else 0
    frames_, samples = slice(at, at + size), slice(at * pair.hop, (at + size + 2) * pair.hop)
    step = max(1, pair.rate_hz // T.fitted_rate_hz)
    while pair.hop % step:
        step -= 1
    return replace(
        pair, mel=pair.mel[frames_], clean_mel=pair.clean_mel[frames_],
        level=pair.level[frames_], clean_level=pair.clean_level[frames_],
        mine=_slower(pair.mine[samples], step), theirs=_slower(pair.theirs[samples], step),
        rate_hz=pair.rate_hz // step,
    )


def _slower(samples: np.ndarray, step: int) -> np.ndarray:
    """Give every so many samples, without what they can't hold."""
    return samples if step == 1 else scipy.signal.resample_poly(samples, 1, step)


class Fitting:
    """A sound beside others of its length, over the bands of the frames that one is heard in.

    It is the stretch in which the clean sound is loudest: some tenths of a second tell it.

    Parameters
    ----------
    pair : Compared
    """

    def __init__(self, pair: Compared):
        self.pair = pair = _loudest(pair)
        self.floor = pair.room + T.floor_db
        self._mine = np.maximum(pair.mel, self.floor)
        self._span = pair.mel.shape[0]

    @cached_property
    def peak(self) -> float:
        """The clean sound's peak."""
        return float(np.percentile(np.abs(self.theirs), T.peak_percentile)) or 1e-9

    @cached_property
    def theirs(self) -> np.ndarray:
        """The clean sound, as far as it is compared."""
        return self.pair.theirs.astype(np.float64)

    @cached_property
    def misfit_db(self) -> float:
        """By how much the bands of the clean sound differ, its level made the same, dB."""
        return self.apart_db(self.pair.clean_mel)

    def explained(self, samples: np.ndarray) -> float:
        """Give the part of the difference that isn't there any more with this in place of the clean one.

        Parameters
        ----------
        samples : ndarray of float, shape (n,)
            As long as the clean sound and laid over it.
        """
        padded = np.concatenate([samples, np.zeros(4 * self.pair.hop)])
        return self.explained_by_bands(frames(padded, self.pair.rate_hz).mel_db[: self._span])

    def explained_by_bands(self, mel: np.ndarray) -> float:
        """Give the same of bands, dB, shape (frames, bands)."""
        return 1.0 - self.apart_db(mel) / max(self.misfit_db, 1e-6)

    def apart_db(self, mel: np.ndarray) -> float:
        """Give the mean difference of the bands, dB, at the same level and as well laid as can be."""
        return min(self._apart(mel, lag) for lag in (-1, 0, 1))

    def _apart(self, mel: np.ndarray, lag: int) -> float:
        count = min(len(self._mine), len(mel))
        mine = self._mine[max(0, -lag) : count - max(0, lag)]
        theirs = np.maximum(mel[max(0, lag) : count - max(0, -lag)], self.floor)
        least = self.floor + T.heard_db
        both = (mine > least) & (theirs > least)
        if np.count_nonzero(both) > 5:
            theirs = np.maximum(theirs + np.median((mine - theirs)[both]), self.floor)
        heard = np.maximum(mine, theirs) > least
        return float(np.abs(mine - theirs)[heard].mean()) if heard.any() else 0.0
