"""What is gone: the sound falls silent, or nearly, where the clean one goes on."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import Compared, Description, rounded
from rig.listen.describing.repitch import find_repitch
from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing


def find_cut(pair: Compared, begins: int, measures: dict) -> Description | None:
    """Find silence or strong attenuation where the clean phrase goes on.

    Parameters are those of `rig.listen.describing.drones.find_noise`.
    """
    where = pair.clean_sounding.copy()
    where[:3] = False  # the phrase dies away and the analysis window reaches back
    if np.count_nonzero(where) < 5:
        return None
    measures["level_db"] = rounded(_power_db(pair, where))
    gone = (pair.level - pair.clean_level < T.cut_db) | ~pair.sounding
    down = gone[where]
    measures["silenced"] = rounded(down.mean())
    # The last of the sounding frames must be silent, or nearly all: a blip comes back.
    mostly = down.mean() > (T.cut_mostly if down[-5:].mean() > T.cut_mostly else T.cut_nearly)
    closed = where & (np.arange(len(where)) < pair.dwell)
    mostly = mostly and _power_db(pair, closed) < T.least_cut_db
    if not mostly and not _cuts_late(pair, where, gone):
        return None
    up = np.flatnonzero(where & ~gone)
    measures["cut_s"] = round((int(up[-1]) + 1 if len(up) else 0) * HOP_S, 3)
    if measures["cut_s"] >= T.faster_s and _ran_faster(pair):
        return None
    measures["cut_db"] = rounded(
        np.median((np.maximum(pair.level, pair.room) - pair.clean_level)[where & gone])
    )
    if measures["cut_s"] >= T.late_cut_s and pair.sounding[where & gone].mean() < 0.1:
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
    return repitch.cents > T.least_cents and repitch.fit > T.sure_fit


def _cuts_late(pair: Compared, where: np.ndarray, gone: np.ndarray) -> bool:
    """Say whether the sound is the clean one for a while and then silent for good.

    A sound that merely runs faster ends sooner too, but isn't the clean one before.
    """
    up = np.flatnonzero(~gone & pair.either)
    if not len(up):
        return True
    at = int(up[-1]) + 1
    lost = np.count_nonzero(where[at:])
    if lost < max(T.late_cut_frames, T.late_cut_part * np.count_nonzero(where)):
        return False
    if pair.level[max(0, at - T.fall_frames) : at].max() < pair.room + T.faded_db:
        return False
    before = pair.either[: at - 3]
    return bool(before.sum() >= 5 and pair.error()[: at - 3][before].mean() < T.changed_db)
