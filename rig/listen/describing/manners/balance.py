"""Highs or lows that are gone, the rest being what it was."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.manners.fitting import Fitting
from rig.listen.describing.manners.manner import Manner
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def find_balance(fitting: Fitting) -> Manner | None:
    """Say whether a level for each band explains the change, and which bands are the weaker ones.

    Parameters
    ----------
    fitting : Fitting
    """
    pair, floor = fitting.pair, fitting.floor
    mine, clean = np.maximum(pair.mel, floor), np.maximum(pair.clean_mel, floor)
    heard = clean > floor + T.heard_db
    told = np.flatnonzero(heard.sum(axis=0) >= T.band_frames)
    if len(told) < 6:
        return None
    gain_db = np.zeros(mine.shape[1])
    gain_db[told] = [float(np.median((mine - clean)[heard[:, band], band])) for band in told]
    fit = fitting.explained_by_bands(pair.clean_mel + gain_db)
    if fit < T.balance_fit:
        return None
    quarter, half = len(told) // 4, len(told) // 2
    lowest, highs, lows, highest = (
        float(np.mean(gain_db[part]))
        for part in (told[:quarter], told[-half:], told[:half], told[-quarter:]))
    if highs <= lowest - T.tilt_db and lowest >= T.kept_db:
        return Manner("muffled", round(lowest - highs, 1), "dB", fit)
    if lows <= highest - T.tilt_db and highest >= T.kept_db:
        return Manner("thin", round(highest - lows, 1), "dB", fit)
    return None
