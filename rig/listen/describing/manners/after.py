"""What comes behind the phrase's end."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.manner import Manner
from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def find_after(pair: Compared) -> Manner | None:
    """Find sound that goes on behind the clean phrase's end, and changes meanwhile.

    Parameters
    ----------
    pair : Compared
    """
    own = np.flatnonzero(pair.clean_sounding)
    end = int(own[-1]) + 1 if len(own) else 0
    heard = np.flatnonzero(pair.sounding[end:])
    if not len(heard):
        return None
    lasts = int(heard[-1]) + 1
    if lasts * HOP_S < T.after_s or len(heard) < T.after_part * lasts:
        return None
    bands = np.maximum(pair.mel[end : end + lasts][pair.sounding[end : end + lasts]], pair.room)
    if bands.std(axis=0).mean() < T.evolves_db:
        return None
    return Manner("runs and evolves", round(lasts * HOP_S, 2), "s")
