"""What is wrong with the sound input, and what to do about it, in a line each."""

from __future__ import annotations

from math import ceil

import numpy as np

from rig.errors import BadSound
from rig.listen import frames, is_silent, loud_level_db, over_db, tone_hz

ON = "then run `padsweep sweep` to continue"
NEEDED_DB = 12.0
"""A key's sound must stand this far above the room for the ear to work."""
NOTICED_DB = 3.0
"""Noise alone seems to stand so far above its own quiet moments."""
CHANGED_DB = 2.0
"""Less than this beyond the loudest or softest clean take is no other level."""
SPARE_DB = 6
"""Bends are up to about 6 dB louder than the toy itself (invented toys, seeds 8 and 21 to 23)."""
LITTLE_SPARE_DB = 3.0
COVERS_DBFS = -50.0
"""A steady sound from here on may cover a toy; below it the toy itself is not there."""
HIDES_DBFS = -30.0
"""From here on it hides one at the first press; below it a silent press may be one that was missed."""
LOUD_ROOM_DBFS = -40.0
"""By hand it is told from here on, before the toy is heard."""
SOFT_DBFS = -60.0
"""With peaks below this a take is heard through the input's own noise."""
QUIET_PERCENT = 5.0
"""So much of a take, at least, holds only the room, unless the toy never stops sounding."""
MAINS_HZ, HUM_WITHIN_HZ, HUM_BELOW_HZ = (50, 60), 2.0, 700.0
"""Hum is the mains and its lower multiples."""


def lost_words(measures: dict) -> str:
    """Say why a take can't be judged, from what the judge measured of it."""
    if "over_db" in measures:
        return loud_words(measures["over_db"])
    return measures["why"]


def loud_words(beyond_db: float) -> str:
    """Say how far a clipped take goes beyond the sound input's full scale."""
    return f"too loud for the sound input, by about {max(ceil(beyond_db), 1)} dB"


def down_db(beyond_db: float) -> int:
    """Give by how much to turn down what clips, so that louder bends fit too, dB."""
    return max(ceil(beyond_db), 1) + SPARE_DB


def too_loud(key: str, take: np.ndarray) -> BadSound:
    """Tell of a toy whose sound with nothing bridged is clipped from the start."""
    beyond_db = over_db(take)
    return BadSound(
        f"key {key!r} is {loud_words(beyond_db)} (estimated from the slopes of its clipped "
        f"peaks): turn the toy or the input down by {down_db(beyond_db)} dB, {SPARE_DB} of them for "
        f"louder bends, {ON}"
    )


def grown_loud(key: str, rise_db: float, lost: int) -> BadSound:
    """Tell of a toy that has become too loud since its baseline."""
    return BadSound(
        f"the toy has become too loud for the sound input: {lost} takes in a row were lost, "
        f"with nothing bridged as well, and key {key!r} is about {max(rise_db, 1):.0f} dB louder "
        f"than its baseline: set volume, input and microphone back as they were, {ON}"
    )


def changed(key: str, louder_db: float) -> BadSound:
    """Tell of a toy that answers, but at another level than its baseline."""
    than = "louder" if louder_db > 0 else "softer"
    return BadSound(
        f"key {key!r} is answered, but about {abs(louder_db):.0f} dB {than} than in its baseline: "
        f"set the toy's volume, the input and the microphone back as they were, {ON}"
    )


def moved_words(key: str, louder_db: float) -> str:
    """Tell of a toy that sounds as before at another level; its baseline follows."""
    than = "louder" if louder_db > 0 else "softer"
    return (
        f"key {key!r} sounds {abs(louder_db):.0f} dB {than} than before (was the toy, the input or the "
        "microphone moved?): its baseline is heard again at this level"
    )


def covered(key: str, louder_db: float, room: np.ndarray, rate_hz: int) -> BadSound:
    """Tell of a room that has become loud, heard with the toy off."""
    what, do = _steady(0.0, room, rate_hz, False)
    return BadSound(
        f"key {key!r} can't be heard any more: {what}, {louder_db:.0f} dB louder than it was for "
        f"the baseline, the toy being off: {do}, or set the input back as it was, {ON}"
    )


def nothing_comes() -> BadSound:
    """Tell of an input that gives only zeros."""
    return BadSound(
        "the sound input gives nothing at all, not even noise: it is muted, or `sound` in rig.yaml "
        f"names another input or channel than the toy's; put it right, {ON}"
    )


def hidden(
    key: str, *, quiet_db: float, stands_db: float, sound: np.ndarray, rate_hz: int, by_hand: bool
) -> BadSound:
    """Tell of a key that isn't heard, or hardly above what sounds all the time.

    Parameters
    ----------
    key : str
    quiet_db, stands_db : float
        Level of what is always there, dB re full scale, and how far the toy stands above it.
    sound : ndarray of float, shape (n,)
        Some of it, with the toy or without.
    rate_hz : int
    by_hand : bool
    """
    if is_silent(sound):
        return nothing_comes()
    if quiet_db < COVERS_DBFS and stands_db < NOTICED_DB:
        where = "its batteries" if by_hand else "its supply, the key's lead"
        other = ", and whether it is on the channel that `sound_channel` names" if by_hand else ""
        return BadSound(
            f"nothing is heard when key {key!r} is pressed, but noise at {quiet_db:.0f} dBFS: check "
            f"the toy's volume, {where} and the sound input's level{other}, {ON}"
        )
    what, do = _steady(quiet_db, sound, rate_hz, by_hand)
    if stands_db < NOTICED_DB:
        told = f"isn't heard above {what}: look whether the toy sounds at all"
    else:
        told = f"stands only {stands_db:.0f} dB above {what}, {NEEDED_DB:.0f} dB are needed"
    return BadSound(f"key {key!r} {told}; {do}, or turn the toy up, {ON}")


def room_words(level_db: float, room: np.ndarray, rate_hz: int) -> str:
    """Say what is worth knowing of a silent toy's room; empty where it is quiet."""
    if is_silent(room):
        return "the sound input gives nothing at all so far, not even noise: is it muted?"
    if level_db < LOUD_ROOM_DBFS:
        return ""
    what, do = _steady(level_db, room, rate_hz, True)
    return f"the room is loud: {what}, at {level_db:.0f} dBFS; if the toy isn't heard, {do}"


def _steady(
    level_db: float, sound: np.ndarray, rate_hz: int, by_hand: bool
) -> tuple[str, str]:
    """Name what is always there, and what to do about it."""
    hz = tone_hz(sound, rate_hz)
    if hz is not None and _is_hum(hz):
        look = "keep the microphone" if by_hand else "look at the sound lead's screen, keep all leads"
        return f"a steady hum of {hz:.0f} Hz", f"{look} away from mains cables"
    if hz is not None:
        return f"a steady tone of {hz:.0f} Hz", "turn off what makes it (the toy itself?)"
    if level_db < COVERS_DBFS:
        do = "turn the input up"
    elif by_hand:
        do = "bring the microphone closer, quieten the room"
    else:
        do = "look at the sound lead"
    return "the noise that is always there", do


def _is_hum(hz: float) -> bool:
    return hz < HUM_BELOW_HZ and any(abs(hz - m * round(hz / m)) < HUM_WITHIN_HZ for m in MAINS_HZ)


def loudness(take: np.ndarray, press: int, rate_hz: int) -> tuple[float, float]:
    """Measure what is always there in a take, and how far what follows the press stands above it.

    Parameters
    ----------
    take : ndarray of float, shape (n,)
    press : int
        Frame of the press.
    rate_hz : int

    Returns
    -------
    quiet_db, stands_db : float
        dB re full scale, and dB.
    """
    level_db = frames(take, rate_hz).level_db
    # The toy may still sound from before its press; somewhere in the take it is quiet.
    before = np.median(level_db[: max(1, press - 2)])
    quiet_db = float(min(before, np.percentile(level_db, QUIET_PERCENT)))
    return quiet_db, loud_level_db(level_db[press:]) - quiet_db


def fit_words(peak_dbfs: float) -> str:
    """Say what is worth knowing of a baseline's highest peak; empty where it fits well."""
    if peak_dbfs > -LITTLE_SPARE_DB:
        return (
            f"the toy comes within {max(ceil(-peak_dbfs), 1)} dB of the most that the sound input "
            "takes: bends louder than that can't be judged; "
            f"{ceil(SPARE_DB + peak_dbfs)} dB less would do for most"
        )
    if peak_dbfs < SOFT_DBFS:
        return (
            f"the toy is very soft at the sound input, with peaks at {peak_dbfs:.0f} dBFS: turn the "
            "input up, so that its own noise covers less"
        )
    return ""
