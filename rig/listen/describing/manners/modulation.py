"""A level that isn't the clean sound's any more: gated, pulsing, dying away sooner or not at all."""

from __future__ import annotations

import numpy as np

from rig.listen.describing.excerpts import Compared
from rig.listen.describing.manners.courses import best_rate, straight
from rig.listen.describing.manners.manner import Manner
from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners


def find_pulses(pair: Compared) -> Manner | None:
    """Find a gain that goes up and down at one rate: on and off, or smoothly.

    Parameters
    ----------
    pair : Compared
        From where the change begins.
    """
    at_s, gain_db, _ = _gain(pair)
    if len(at_s) < T.least_frames:
        return None
    low_db, high_db = np.percentile(gain_db, [10, 90])
    if high_db - low_db < T.pulse_db:
        return None
    rate_hz, fit, _ = best_rate(at_s, gain_db, T.pulse_least_hz, T.pulse_most_hz)
    if fit < T.pulse_fit or rate_hz * (at_s[-1] - at_s[0]) < T.pulse_least:
        return None
    quarter = 0.25 * (high_db - low_db)
    between = np.mean((gain_db > low_db + quarter) & (gain_db < high_db - quarter))
    most = T.deep_gate_between if high_db - low_db >= T.deep_gate_db else T.gate_between
    if high_db - low_db >= T.gate_db and between <= most:
        return Manner("chopped", round(rate_hz, 1), "Hz", fit)
    if rate_hz > T.motorboat_most_hz:
        return None
    return Manner("motorboating", round(rate_hz, 1), "Hz", fit)


def find_slope(pair: Compared) -> Manner | None:
    """Find a gain that falls or rises steadily: the sound dies away sooner, or not at all."""
    at_s, gain_db, heard = _gain(pair)
    at_s, gain_db = at_s[heard], gain_db[heard]
    if len(at_s) < T.slope_frames:
        return None
    slope, fit = straight(at_s, gain_db)
    if fit < T.slope_fit or abs(slope) * (at_s[-1] - at_s[0]) < T.slope_db:
        return None
    if T.dies_slope < slope < T.sustains_slope:
        return None
    return Manner("dies sooner" if slope < 0 else "sustains", round(slope, 1), "dB/s", fit)


def _gain(pair: Compared) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Follow the gain, dB, where the clean sound is well heard; when, s; and where the sound is heard."""
    clean = pair.clean_level
    where = clean > max(pair.room + T.over_room_db, float(clean.max(initial=-np.inf)) - T.within_db)
    gain_db = np.clip(
        np.maximum(pair.level, pair.room)[where] - clean[where], T.gain_least_db, T.gain_most_db)
    return np.flatnonzero(where) * HOP_S, gain_db, pair.sounding[where]
