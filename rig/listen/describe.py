"""What a touch did to the sound, in one word with its amount.

Several words may fit; the first in the order cut, loop, drone, pitch, timbre, level, blip
is given, and every amount measured is kept beside it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rig.listen.baseline import LAG_FRAMES, Span
from rig.listen.drones import find_drone, find_noise
from rig.listen.excerpts import CHANGED_DB, Description, Excerpt, Pair, rounded
from rig.listen.features import HOP_S, Frames
from rig.listen.loops import find_loop
from rig.listen.repitch import find_repitch, voice_shift

CUT_DB = -20.0
"""At least this much quieter for the rest of the phrase is a cut."""
LASTING_FRAMES = 10
"""A change has come once most of so many frames have changed."""
LATE_CUT_S = 0.1
"""Silence that comes later than this is told by its time, not by how much quieter it is."""
LATE_CUT_FRAMES = 8
LATE_CUT_PART = 0.15
"""A cut that comes late takes at least so many frames, and such a part, of what would sound."""
RANGE_DB = 40.0
LEAST_CENTS = 40.0
LEAST_FIT, SURE_FIT = 0.45, 0.6
"""How much of the difference a re-pitching must explain: at least, and where another word
would do as well."""
FASTER_S = 0.1
"""What is gone before that isn't looked at any more for having been played faster."""


def describe(
    samples: np.ndarray, take: Frames, span: Span,
    clean_samples: np.ndarray, clean: Frames, clean_span: Span,
    noise_level_db: float, rate_hz: int,
) -> Description:
    """Describe how a take differs from the clean one that it began as.

    Parameters
    ----------
    samples, clean_samples : ndarray of float, shape (n,)
        Both takes, full scale 1.0.
    take, clean : Frames
        Their frames.
    span, clean_span : Span
        Where their steps lie.
    noise_level_db : float
        Level of the room with the toy silent, dB re full scale.
    rate_hz : int

    Returns
    -------
    Description
    """
    start = span.close
    lag = _best_lag(take, span, clean, clean_span)
    clean_start = clean_span.press + (span.close - span.press) + lag
    return describe_excerpts(
        Excerpt(samples, take, start), Excerpt(clean_samples, clean, clean_start),
        span.open - start, noise_level_db, rate_hz,
    )


def describe_excerpts(
    sound: Excerpt, clean: Excerpt, dwell: int, noise_level_db: float, rate_hz: int
) -> Description:
    """Describe how a sound differs from a clean one, both from the same moment on.

    Parameters
    ----------
    sound, clean : Excerpt
    dwell : int
        Frames for which whatever changes the sound is there.
    noise_level_db : float
        Level of the room with the toy silent, dB re full scale.
    rate_hz : int

    Returns
    -------
    Description
    """
    length = min(len(sound.frames) - sound.start, len(clean.frames) - clean.start)
    hop = round(HOP_S * rate_hz)
    mine, theirs = (slice(one.start, one.start + length) for one in (sound, clean))
    pair = Pair(
        sound.frames.mel_db[mine], clean.frames.mel_db[theirs],
        sound.frames.level_db[mine], clean.frames.level_db[theirs],
        sound.samples[sound.start * hop :],
        clean.samples[clean.start * hop : (clean.start + length) * hop],
        min(dwell, length), noise_level_db, rate_hz,
    )
    measures: dict = {}
    begins = _beginning(pair)
    for look in (_cut, _loop, find_noise, find_drone):
        told = look(pair, begins, measures)
        if told and not (told.sound == "cut" and _ran_faster(pair, measures)):
            return replace(told, measures=measures)
    return replace(_steady_change(pair, begins, measures), measures=measures)


def _beginning(pair: Pair) -> int:
    """Give the frame from which on the sound is changed for long."""
    changed = (pair.error() > CHANGED_DB) & pair.either
    length = min(LASTING_FRAMES, len(changed))
    if not length:
        return 0
    lasting = np.convolve(changed, np.ones(length), mode="full")[length - 1 :] > 0.6 * length
    at = np.flatnonzero(lasting & changed)
    return int(at[0]) if len(at) else 0


def _best_lag(take: Frames, span: Span, clean: Frames, clean_span: Span) -> int:
    """Give the frames by which the clean take is shifted against this one, from the lead-in."""
    length = max(4, span.close - span.press)
    mine = take.mel_db[span.press : span.press + length]
    best, least = 0, np.inf
    for lag in range(-2 * LAG_FRAMES, 2 * LAG_FRAMES + 1):
        at = clean_span.press + lag
        if at < 0 or at + length > len(clean):
            continue
        error = np.abs(clean.mel_db[at : at + length] - mine).mean()
        if error < least:
            best, least = lag, float(error)
    return best

def _cut(pair: Pair, begins: int, measures: dict) -> Description | None:
    """Silence or strong attenuation where the clean phrase goes on."""
    where = pair.clean_sounding.copy()
    where[:3] = False  # the phrase dies away and the analysis window reaches back
    if np.count_nonzero(where) < 5:
        return None
    power = np.mean(10 ** (pair.level[where] / 10))
    clean_power = np.mean(10 ** (pair.clean_level[where] / 10))
    measures["level_db"] = rounded(10 * np.log10(power / clean_power))
    gone = (pair.level - pair.clean_level < CUT_DB) | ~pair.sounding
    down = gone[where]
    measures["silenced"] = rounded(down.mean())
    # The last of the sounding frames must be silent, or nearly all: a blip comes back.
    mostly = down.mean() > (0.7 if down[-5:].mean() > 0.7 else 0.85)
    if not mostly and not _cuts_late(pair, where, gone):
        return None
    up = np.flatnonzero(where & ~gone)
    measures["cut_s"] = round((int(up[-1]) + 1 if len(up) else 0) * HOP_S, 3)
    measures["cut_db"] = rounded(
        np.median((np.maximum(pair.level, pair.room) - pair.clean_level)[where & gone])
    )
    if measures["cut_s"] >= LATE_CUT_S and pair.sounding[where & gone].mean() < 0.1:
        return Description("cut", measures["cut_s"], "s")
    return Description("cut", measures["cut_db"], "dB")


def _ran_faster(pair: Pair, measures: dict) -> bool:
    """Say whether a sound that ends too soon is the whole clean one, played faster."""
    if measures["cut_s"] < FASTER_S:
        return False
    repitch = find_repitch(pair.mine, pair.theirs, pair.room, pair.rate_hz)
    return repitch.cents > LEAST_CENTS and repitch.fit > SURE_FIT


def _cuts_late(pair: Pair, where: np.ndarray, gone: np.ndarray) -> bool:
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
    before = pair.either[: at - 3]
    return bool(before.sum() >= 5 and pair.error()[: at - 3][before].mean() < CHANGED_DB)


def _loop(pair: Pair, begins: int, measures: dict) -> Description | None:
    """A pattern that repeats, first while the change is there, then whenever."""
    floor = pair.room + 3.0
    for stop in dict.fromkeys((pair.dwell, len(pair.mel))):
        found = find_loop(
            np.maximum(pair.mel[3:stop], floor), pair.sounding[3:stop],
            np.maximum(pair.clean_mel[3:], floor), pair.clean_sounding[3:],
            pair.mine[3 * pair.hop :], pair.rate_hz,
        )
        if found is not None and not _was_one_before(pair, floor, found.period_s):
            measures["loop_s"] = round(found.period_s, 4)
            measures["loop_likeness"] = rounded(found.likeness)
            measures["loop_passes"] = round(found.passes, 1)
            return Description("loop", measures["loop_s"], "s")
    return None


def _was_one_before(pair: Pair, floor: float, period_s: float) -> bool:
    """Say whether a loop is the clean sound's own, played faster or slower."""
    clean, nothing = np.maximum(pair.clean_mel, floor), np.zeros((0, pair.mel.shape[1]))
    own = find_loop(
        clean, pair.clean_sounding, nothing, np.zeros(0, bool), pair.theirs, pair.rate_hz
    )
    if own is None:
        return False
    repitch = find_repitch(pair.mine, pair.theirs, pair.room, pair.rate_hz)
    expected_s = own.period_s * 2.0 ** (-repitch.cents / 1200.0)
    return repitch.fit > SURE_FIT and abs(period_s - expected_s) < 0.03 * expected_s


def _steady_change(pair: Pair, begins: int, measures: dict) -> Description:
    """Pitch, level, timbre, or a blip where the change ends by itself."""
    error, both = pair.error(), pair.either
    changed = (error > CHANGED_DB) & both
    where = np.flatnonzero(changed)
    if len(where):
        measures["first_change_s"] = round(float(where[0] * HOP_S), 3)
        measures["changed"] = rounded(changed.sum() / max(1, both.sum()))
    blip = _is_blip(changed, both, pair.dwell)
    since = pair.since(begins)

    repitch = find_repitch(since.mine, since.theirs, pair.room, pair.rate_hz)
    measures["pitch_cents"] = round(repitch.cents, 0)
    measures["pitch_fit"] = rounded(repitch.fit)
    if abs(repitch.cents) >= LEAST_CENTS and repitch.fit > (SURE_FIT if blip else LEAST_FIT):
        return Description("pitch", measures["pitch_cents"], "cents")
    if not blip:
        heard = (since.sounding & since.clean_sounding)[: since.dwell]
        voice = voice_shift(since.mine, since.theirs, heard, pair.rate_hz)
        if voice is not None:
            measures["voice_cents"] = round(voice, 0)
            if abs(voice) >= 80:
                return Description("pitch", measures["voice_cents"], "cents")
    if blip:
        measures["blip_db"] = rounded(error[changed].mean())
        return Description("blip", measures["blip_db"], "dB")

    sounding = since.sounding & since.clean_sounding
    if sounding.sum() >= 5:
        bands = since.clean_mel[sounding] > pair.room + 6
        difference = (since.mel[sounding] - since.clean_mel[sounding])[bands]
        level = float(np.median(difference))
        rest = float(np.median(np.abs(difference - level)))
        measures["level_db"] = rounded(level)
        measures["timbre_db"] = rounded(rest)
        if abs(level) > 2.0 and rest < 0.4 * abs(level):
            return Description("level", measures["level_db"], "dB")
    measures["timbre_db"] = rounded(_timbre(since))
    return Description("timbre", measures["timbre_db"], "dB")


def _timbre(pair: Pair) -> float:
    """Give by how much the bands differ on average, dB, where one of the two can be heard.

    What lies far below the loudest band counts as silent: it would hang on the room alone.
    """
    floor = max(pair.room, float(pair.clean_mel.max()) - RANGE_DB)
    mine, theirs = np.maximum(pair.mel, floor), np.maximum(pair.clean_mel, floor)
    heard = np.maximum(mine, theirs) > floor
    return float(np.abs(mine - theirs)[heard].mean()) if heard.any() else 0.0


def _is_blip(changed: np.ndarray, both: np.ndarray, dwell: int) -> bool:
    """Say whether the change is over well before the connection opens."""
    where = np.flatnonzero(changed)
    inside = np.flatnonzero(both[:dwell])
    if len(where) == 0 or len(inside) < 10:
        return False
    last = inside[-1]
    return where[-1] < last - 15 and len(where) < 0.5 * len(inside)
