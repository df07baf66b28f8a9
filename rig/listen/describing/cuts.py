"""What is gone: the sound falls silent, or nearly, where the clean one goes on."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import CHANGED_DB, Compared, Description, rounded
from rig.listen.describing.repitch import LEAST_CENTS, SURE_FIT, find_repitch
from rig.listen.measures.features import HOP_S

CUT_DB = -20.0
"""At least this much quieter for the rest of the phrase is a cut."""
LEAST_CUT_DB = -10.0
"""A cut takes at least this much of the power while the connection is closed, however short what
is left sounds."""
LATE_CUT_S = 0.1
"""Silence that comes later than this is told by its time, not by how much quieter it is."""
LATE_CUT_FRAMES = 8
LATE_CUT_PART = 0.15
"""A cut that comes late takes at least so many frames, and such a part, of what would sound."""
FALL_FRAMES, FADED_DB = 8, 18.0
"""What stood no higher above the room in so many frames before its end has died away."""
FASTER_S = 0.1
"""What is gone before that isn't looked at any more for having been played faster."""


def find_cut(pair: Compared, begins: int, measures: dict) -> Description | None:
    """Find silence or strong attenuation where the clean phrase goes on.

    Parameters are those of `rig.listen.describing.drones.find_noise`.
    """
    where = pair.clean_sounding.copy()
    where[:3] = False  # the phrase dies away and the analysis window reaches back
    if np.count_nonzero(where) < 5:
        return None
    measures["level_db"] = rounded(_power_db(pair, where))
    gone = (pair.level - pair.clean_level < CUT_DB) | ~pair.sounding
    down = gone[where]
    measures["silenced"] = rounded(down.mean())
    # The last of the sounding frames must be silent, or nearly all: a blip comes back.
    mostly = down.mean() > (0.7 if down[-5:].mean() > 0.7 else 0.85)
    mostly = mostly and _power_db(pair, where & (np.arange(len(where)) < pair.dwell)) < LEAST_CUT_DB
    if not mostly and not _cuts_late(pair, where, gone):
        return None
    up = np.flatnonzero(where & ~gone)
    measures["cut_s"] = round((int(up[-1]) + 1 if len(up) else 0) * HOP_S, 3)
    if measures["cut_s"] >= FASTER_S and _ran_faster(pair):
        return None
    measures["cut_db"] = rounded(
        np.median((np.maximum(pair.level, pair.room) - pair.clean_level)[where & gone])
    )
    if measures["cut_s"] >= LATE_CUT_S and pair.sounding[where & gone].mean() < 0.1:
        return Description("cut", measures["cut_s"], "s")
    return Description("cut", measures["cut_db"], "dB")


def _power_db(pair: Compared, where: np.ndarray) -> float:
    """Give how much louder the sound is than the clean one over some frames, dB; 0 over none."""
    if not where.any():
        return 0.0
    mine, theirs = (np.sum(10.0 ** (one[where] / 10)) for one in (pair.level, pair.clean_level))
    return float(10.0 * np.log10(mine / theirs))


def _ran_faster(pair: Compared) -> bool:
    """Say whether a sound that ends too soon is the whole clean one, played faster."""
    repitch = find_repitch(pair.mine, pair.theirs, pair.room, pair.rate_hz)
    return repitch.cents > LEAST_CENTS and repitch.fit > SURE_FIT


def _cuts_late(pair: Compared, where: np.ndarray, gone: np.ndarray) -> bool:
    """Say whether the sound is the clean one for a while and then silent for good.

    A sound that merely runs faster ends sooner too, but isn't the clean one before.
    """
    up = np.flatnonzero(~gone & pair.either)
    if not len(up):
        return True
    at = int(up[-1]) + 1
    lost = np.count_nonzero(where[at:])
    if lost < max(LATE_CUT_FRAMES, LATE_CUT_PART * np.count_nonzero(where)):
        return False
    if pair.level[max(0, at - FALL_FRAMES) : at].max() < pair.room + FADED_DB:
        return False
    before = pair.either[: at - 3]
    return bool(before.sum() >= 5 and pair.error()[: at - 3][before].mean() < CHANGED_DB)
