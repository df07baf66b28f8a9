"""What a touch did to the sound, in one word with its amount, and its manner where that is sure.

Several words may fit; the first in the order cut, loop, drone, pitch, timbre, level, blip
is given, and every amount measured is kept beside it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rig.listen.describing.cuts import find_cut
from rig.listen.describing.drones import find_drone, find_noise
from rig.listen.describing.excerpts import Compared, Description, Excerpt, Take, rounded
from rig.listen.describing.loops import find_loop
from rig.listen.describing.manners.asking import find_manner
from rig.listen.describing.repitch import Voices, find_repitch, voice_shift
from rig.listen.measures.features import HOP_S, Frames
from rig.listen.measures.span import LAG_FRAMES, Span
from rig.listen.thresholds import THRESHOLDS

T = THRESHOLDS.describing


def describe(
    take: Take, clean: Take, noise_level_db: float, rate_hz: int,
    others: tuple[np.ndarray, ...] = (),
) -> Description:
    """Describe how a take differs from the clean one that it began as.

    Parameters
    ----------
    take, clean : Take
    noise_level_db : float
        Level of the room with the toy silent, dB re full scale.
    rate_hz : int
    others : tuple of ndarray, shape (frames, bands) each
        The toy's other phrases, dB re full scale, one take of each.

    Returns
    -------
    Description
    """
    span = take.span
    lag = _best_lag(take.frames, span, clean.frames, clean.span)
    clean_start = clean.span.press + (span.close - span.press) + lag
    return describe_excerpts(
        Excerpt(take.samples, take.frames, span.close),
        Excerpt(clean.samples, clean.frames, clean_start),
        span.open - span.close, noise_level_db, rate_hz, others,
    )


def describe_excerpts(
    sound: Excerpt, clean: Excerpt, dwell: int, noise_level_db: float, rate_hz: int,
    others: tuple[np.ndarray, ...] = (),
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
    others : tuple of ndarray, shape (frames, bands) each
        As of `describe`.

    Returns
    -------
    Description
        Its measures hold the manner as well; see `Manner.measures`.
    """
    length = min(len(sound.frames) - sound.start, len(clean.frames) - clean.start)
    hop = round(HOP_S * rate_hz)
    mine, theirs = (slice(one.start, one.start + length) for one in (sound, clean))
    pair = Compared(
        mel=sound.frames.mel_db[mine], clean_mel=clean.frames.mel_db[theirs],
        level=sound.frames.level_db[mine], clean_level=clean.frames.level_db[theirs],
        mine=sound.samples[sound.start * hop :],
        theirs=clean.samples[clean.start * hop : (clean.start + length) * hop],
        dwell=min(dwell, length), room=noise_level_db, rate_hz=rate_hz,
        others=others,
    )
    begins = _beginning(pair)
    told = _word(pair, begins)
    manner = find_manner(pair, begins, told)
    return told if manner is None else replace(told, measures=told.measures | manner.measures)


def _word(pair: Compared, begins: int) -> Description:
    """Give the first word that fits."""
    measures: dict = {}
    for look in (find_cut, _loop, find_noise, find_drone):
        told = look(pair, begins, measures)
        if told:
            return replace(told, measures=measures)
    return replace(_steady_change(pair, begins, measures), measures=measures)


def _beginning(pair: Compared) -> int:
    """Give the frame from which on the sound is changed for long."""
    changed = (pair.error() > T.changed_db) & pair.either
    length = min(T.change_frames, len(changed))
    if not length:
        return 0
    count = np.convolve(changed, np.ones(length), mode="full")[length - 1 :]
    lasting = count > T.change_part * length
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


def _loop(pair: Compared, begins: int, measures: dict) -> Description | None:
    """A pattern that repeats, first while the change is there, then whenever."""
    floor = pair.room + 3.0
    for stop in dict.fromkeys((pair.dwell, len(pair.mel))):
        found = find_loop(
            np.maximum(pair.mel[3:stop], floor), pair.sounding[3:stop],
            clean_mel_db=np.maximum(pair.clean_mel[3:], floor),
            clean_sounding=pair.clean_sounding[3:],
            samples=pair.mine[3 * pair.hop :], rate_hz=pair.rate_hz,
        )
        if found is not None and not _was_one_before(pair, floor, found.period_s):
            measures["loop_s"] = round(found.period_s, 4)
            measures["loop_likeness"] = rounded(found.likeness)
            measures["loop_passes"] = round(found.passes, 1)
            return Description("loop", measures["loop_s"], "s")
    return None


def _was_one_before(pair: Compared, floor: float, period_s: float) -> bool:
    """Say whether a loop is the clean sound's own, played faster or slower."""
    clean, nothing = np.maximum(pair.clean_mel, floor), np.zeros((0, pair.mel.shape[1]))
    own = find_loop(
        clean, pair.clean_sounding,
        clean_mel_db=nothing, clean_sounding=np.zeros(0, bool),
        samples=pair.theirs, rate_hz=pair.rate_hz,
    )
    if own is None:
        return False
    repitch = find_repitch(pair.mine, pair.theirs, pair.room, pair.rate_hz)
    expected_s = own.period_s * 2.0 ** (-repitch.cents / 1200.0)
    return repitch.fit > T.sure_fit and abs(period_s - expected_s) < T.loop_own_part * expected_s


def _steady_change(pair: Compared, begins: int, measures: dict) -> Description:
    """Pitch, level, timbre, or a blip where the change ends by itself."""
    error, both = pair.error(), pair.either
    changed = (error > T.changed_db) & both
    where = np.flatnonzero(changed)
    if len(where):
        measures["first_change_s"] = round(float(where[0] * HOP_S), 3)
        measures["changed"] = rounded(changed.sum() / max(1, both.sum()))
    blip = _is_blip(changed, both, pair.dwell)
    since = pair.since(begins)

    voices = Voices(since.mine, since.theirs, pair.rate_hz)
    repitch = find_repitch(since.mine, since.theirs, pair.room, pair.rate_hz, voices)
    measures["pitch_cents"] = round(repitch.cents, 0)
    measures["pitch_fit"] = rounded(repitch.fit)
    if abs(repitch.cents) >= T.least_cents and repitch.fit > (T.sure_fit if blip else T.least_fit):
        return Description("pitch", measures["pitch_cents"], "cents")
    if not blip:
        heard = (since.sounding & since.clean_sounding)[: since.dwell]
        voice = voice_shift(voices, heard)
        if voice is not None:
            measures["voice_cents"] = round(voice, 0)
            if abs(voice) >= T.least_voice_cents:
                return Description("pitch", measures["voice_cents"], "cents")
    if blip:
        measures["blip_db"] = rounded(error[changed].mean())
        return Description("blip", measures["blip_db"], "dB")

    level_db = _level(since)
    if level_db is not None:
        measures["level_db"] = rounded(level_db)
        return Description("level", measures["level_db"], "dB")
    measures["timbre_db"] = rounded(_timbre(since))
    return Description("timbre", measures["timbre_db"], "dB")


def _level(pair: Compared) -> float | None:
    """Give by how much all bands are louder or softer alike, dB; None where they aren't.

    It needn't be as much in each frame.
    """
    both = pair.sounding & pair.clean_sounding
    heard = np.minimum(pair.mel, pair.clean_mel)[both] > pair.room
    if np.count_nonzero(heard.any(axis=1)) < 5:
        return None
    difference = np.ma.array((pair.mel - pair.clean_mel)[both], mask=~heard)
    size = np.ma.mean(np.ma.sqrt(np.ma.mean(difference**2, axis=1)))
    if np.ma.mean(np.ma.std(difference, axis=1)) >= T.level_part * size:
        return None
    by_frame = np.ma.median(difference, axis=1).compressed()
    # A note that no longer dies away is softer at first: what prevails counts.
    level_db = float(np.median(by_frame[by_frame * by_frame.sum() >= 0.0]))
    return level_db if abs(level_db) > T.least_level_db else None


def _timbre(pair: Compared) -> float:
    """Give by how much the bands differ on average, dB, where one of the two can be heard.

    What lies far below the loudest band counts as silent: it would hang on the room alone.
    """
    floor = max(pair.room, float(pair.clean_mel.max()) - T.timbre_range_db)
    mine, theirs = np.maximum(pair.mel, floor), np.maximum(pair.clean_mel, floor)
    heard = np.maximum(mine, theirs) > floor
    return float(np.abs(mine - theirs)[heard].mean()) if heard.any() else 0.0


def _is_blip(changed: np.ndarray, both: np.ndarray, dwell: int) -> bool:
    """Say whether the change is over well before the connection opens."""
    where = np.flatnonzero(changed)
    inside = np.flatnonzero(both[:dwell])
    if len(where) == 0 or len(inside) < 10:
        return False
    return where[-1] < inside[-1] - T.blip_ahead_frames and len(where) <= T.blip_frames
