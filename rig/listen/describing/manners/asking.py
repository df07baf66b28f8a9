"""Which manner a change has: each is asked for in turn, and at most one is given."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np

from rig.listen.describing.excerpts import Compared, Description
from rig.listen.describing.manners.after import find_after
from rig.listen.describing.manners.balance import find_balance
from rig.listen.describing.manners.beside import find_crackle, find_static, find_tone
from rig.listen.describing.manners.fitting import Fitting
from rig.listen.describing.manners.made import find_carried, find_crushed, find_distorted
from rig.listen.describing.manners.manner import Manner
from rig.listen.describing.manners.modulation import find_pulses, find_slope
from rig.listen.describing.manners.order import find_order
from rig.listen.describing.manners.tempo import find_tempo
from rig.listen.measures.features import HOP_S
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.manners
DESCRIBING = THRESHOLDS.describing

Look = Callable[[Fitting], Manner | None]


def find_manner(pair: Compared, begins: int, told: Description) -> Manner | None:
    """Give the manner of a change, or None where none is sure.

    Parameters
    ----------
    pair : Compared
    begins : int
        The frame from which on the sound is changed.
    told : Description
        Its word, with what was measured on the way.
    """
    since = pair.since(begins)
    look = _LOOKS.get(told.sound)
    return look(pair, since, begins, told) if look else None


def _of_cut(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    slope = find_slope(since)
    if slope and slope.name == "dies sooner":
        return slope
    if told.unit == "s" and told.amount > 0.0 and _is_clean_until(pair, told.amount):
        return Manner("stops early", told.amount, "s")
    return find_balance(Fitting(since))


def _is_clean_until(pair: Compared, cut_s: float) -> bool:
    """Say whether a sound is the clean one until it stops."""
    before = slice(max(1, round(cut_s / HOP_S) - 3))
    heard = pair.either[before]
    return bool(heard.any() and np.median(pair.error()[before][heard]) < DESCRIBING.changed_db)


def _of_loop(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    """A loop of a short piece is a stutter, if it's neither a tone that lasts nor gated as a whole."""
    if found := find_tone(pair, begins) or find_pulses(since):
        return found
    if told.amount > T.stutter_s:
        return None
    return Manner("stutter", round(1.0 / told.amount, 1), "Hz")


def _of_drone(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    if found := find_tone(pair, begins):
        return found
    if told.unit == "dB":
        loud = told.amount >= T.static_db
        return Manner("static", told.amount, "dB") if loud else None
    if told.amount is None and (found := find_static(pair, begins)):
        return found
    return find_after(pair) or _of_spectrum(
        Fitting(since), (find_crushed, find_carried, find_balance))


def _of_pitch(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    return (
        find_tempo(since, told.amount) or find_tone(pair, begins) or find_order(pair, begins)
        or _of_spectrum(Fitting(since), (find_crushed, find_carried, find_distorted))
    )


def _of_level(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    found, slope = _of_gain(pair, begins, find_pulses(since)), find_slope(since)
    if found or (slope and slope.fit >= T.slope_sure):
        return found or slope
    return _of_spectrum(Fitting(since), (find_distorted, find_balance)) or slope


def _of_timbre(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    """What is surest when it is found comes first."""
    found = find_tempo(since, float(told.measures.get("pitch_cents", 0.0)))
    found = found or find_tempo(since, _by_length_cents(since))
    found = found or _of_gain(pair, begins, find_pulses(since) or find_slope(since))
    if found:
        return found
    clicks, made = find_crackle(since), _of_spectrum(Fitting(since))
    return made if made and (clicks is None or made.fit >= T.over_clicks) else clicks


def _of_blip(pair: Compared, since: Compared, begins: int, told: Description) -> Manner | None:
    """Where highs are gone from a drum its attack alone is another one."""
    return _of_spectrum(Fitting(since), (find_balance,))


def _of_gain(pair: Compared, begins: int, gain: Manner | None) -> Manner | None:
    return find_tone(pair, begins) or gain or find_after(pair) or find_order(pair, begins)


def _by_length_cents(since: Compared) -> float:
    """Give by how much the clock runs faster if all of the difference in length is its doing."""
    if not (since.sounding.any() and since.clean_sounding.any()):
        return 0.0
    lasts = [
        np.flatnonzero(one > one.max() - T.length_db) for one in (since.level, since.clean_level)]
    mine, theirs = (int(one[-1]) + 1 for one in lasts)
    return float(1200.0 * np.log2(theirs / mine))


def _of_spectrum(
    fitting: Fitting,
    looks: Iterable[Look] = (find_crushed, find_carried, find_distorted, find_balance),
) -> Manner | None:
    """Give what explains most of the difference: bits, rate, carrier, clipping, balance."""
    if fitting.misfit_db < T.least_misfit_db:
        return None
    found = [one for look in looks if (one := look(fitting))]
    found.sort(key=lambda one: -one.fit)
    if not found or (len(found) > 1 and found[0].fit < found[1].fit + T.better_fit):
        return None
    return found[0]


_LOOKS: dict[str, Callable[..., Manner | None]] = {
    "cut": _of_cut, "loop": _of_loop, "drone": _of_drone, "pitch": _of_pitch, "level": _of_level,
    "timbre": _of_timbre, "blip": _of_blip,
}
"""What may be beside each word."""
