"""One recording, brought to a common rate and cut where its sound begins."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy

from rig.listen.judging.align import shifted
from rig.listen.measures.features import HOP_S, frames
from rig.listen.recordings.beginning import first_frame, sounding
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.recordings


def common_rate_hz(rates_hz: Sequence[int]) -> int:
    """Give the rate at which recordings can be compared: no higher than any of them.

    Parameters
    ----------
    rates_hz : sequence of int
        At least one, each `least_rate_hz` or more.

    Returns
    -------
    int
        A multiple of 100, so that a hop is a whole number of samples.

    Raises
    ------
    ValueError
        When one is lower.
    """
    if min(rates_hz) < T.least_rate_hz:
        raise ValueError(f"a rate of {min(rates_hz)} Hz is too low; {T.least_rate_hz} are needed")
    return min(T.most_rate_hz, min(rates_hz) // 100 * 100)


def resampled(samples: np.ndarray, rate_hz: int, wanted_hz: int) -> np.ndarray:
    """Give a sound at another rate, as float32, without its direct voltage."""
    samples = samples - samples.mean(dtype=np.float64)
    if rate_hz != wanted_hz:
        common = int(np.gcd(rate_hz, wanted_hz))
        samples = scipy.signal.resample_poly(samples, wanted_hz // common, rate_hz // common)
    return np.asarray(samples, dtype=np.float32)


@dataclass(frozen=True, kw_only=True)
class Recording:
    """A recording, cut so that its sound begins at frame `ahead_frames`.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
    begins_s : float
        Where the sound begins in the recording itself, s.
    room_db : ndarray, shape (BANDS,)
        The room's noise, dB re full scale.
    sounds : bool
        Whether anything but the room is heard.
    ends_quiet : bool
    level_db : float
        Mean level of what sounds (of everything, where nothing does), dB re full scale.
    """

    samples: np.ndarray
    begins_s: float
    room_db: np.ndarray
    sounds: bool
    ends_quiet: bool
    level_db: float

    @property
    def room_level_db(self) -> float:
        return float(10 * np.log10(np.sum(10 ** (self.room_db / 10))))

    @property
    def over_room_db(self) -> float:
        """How far what sounds stands above the room."""
        return self.level_db - self.room_level_db


def prepared(
    samples: np.ndarray, rate_hz: int, clean: Sequence[Recording] = ()
) -> Recording:
    """Find where a recording's sound begins, and cut it there.

    Parameters
    ----------
    samples : ndarray of float, shape (n,)
    rate_hz : int
    clean : sequence of Recording
        The clean ones, where it isn't one: a sound that never pauses shows only against
        their rooms.
    """
    whole = frames(samples, rate_hz)
    at, room = first_frame(whole)
    if clean:
        loudest = np.max([one.room_db for one in clean], axis=0)
        margin = 10 * np.log10(np.sum(10 ** (room / 10)) / np.sum(10 ** (loudest / 10)))
        unheard = at is None or at < T.room_frames + T.skirt_frames
        if unheard and margin > T.louder_room_db:
            room, at = loudest, 0
    sounds = sounding(whole, room)
    hop = round(HOP_S * rate_hz)
    first = (at or 0) * hop - T.ahead_frames * hop
    power = 10.0 ** (whole.level_db[sounds if sounds.any() else slice(None)] / 10.0)
    return Recording(
        samples=shifted(np.asarray(samples, np.float32), first),
        begins_s=(at or 0) * HOP_S, room_db=room, sounds=at is not None,
        ends_quiet=not sounds[-T.quiet_end_frames:].any(),
        level_db=float(10 * np.log10(power.mean())),
    )
