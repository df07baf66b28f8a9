"""How two noise-free sounds of one toy differ: by how much, and in what way.

Both are of the same moments, from the closing of a touch on. Levels are taken in third
octaves from 100 Hz to 5 kHz in windows of 100 ms every 50 ms, within 40 dB of the toy's own
loudest; a window differs by the root mean square of its bands' differences. Nothing here
knows how the ear of the sweep judges, so that one can be held against the other.
"""

from __future__ import annotations

import numpy as np

from rig.bench.simulated.sound import RATE_HZ

LIMIT_DB = 3.0
RANGE_DB = 40.0
WINDOW = RATE_HZ // 10
HOP = RATE_HZ // 20
HOP_S = HOP / RATE_HZ

CUT_DB = 15.0
"""Power lost in what differs while closed, from which it is a cut."""

BLIP_S = 0.3
"""What differs no longer than this, and ends before the opening, is a blip."""

STEADY_DB, STEADY_S = 2.0, 0.5
"""A drone's windows stay so close to the one before for so long."""

LOOP_S = (0.1, 0.7)
LOOP_DB = 2.0
PITCH_CENTS = 40.0
_PER_OCTAVE = 24
_LEVEL_SHARE = 0.5


def band_levels_db(sound: np.ndarray) -> np.ndarray:
    """Give third-octave levels, 100 Hz to 5 kHz, dB re full scale.

    Parameters
    ----------
    sound : ndarray, shape (n,), at 48 kHz

    Returns
    -------
    ndarray, shape (windows, 18)
    """
    count = max(0, (len(sound) - WINDOW) // HOP + 1)
    at = np.arange(count)[:, None] * HOP + np.arange(WINDOW)
    hann = np.hanning(WINDOW)
    power = np.abs(np.fft.rfft(sound[at] * hann, axis=1)) ** 2
    power *= 2.0 / (np.sum(hann**2) * WINDOW)
    centres = 1000.0 * 2.0 ** (np.arange(-10, 8) / 3.0)
    hz = np.fft.rfftfreq(WINDOW, 1 / RATE_HZ)
    edges = np.searchsorted(hz, [*(centres * 2 ** (-1 / 6)), centres[-1] * 2 ** (1 / 6)])
    sums = np.concatenate((np.zeros((count, 1)), np.cumsum(power, axis=1)), axis=1)
    bands = sums[:, edges[1:]] - sums[:, edges[:-1]]
    return 10 * np.log10(np.maximum(bands, 1e-20))


def window_differences_db(levels: np.ndarray, other: np.ndarray) -> np.ndarray:
    """Give how far the windows of two sounds are apart, dB, shape (windows,).

    Parameters
    ----------
    levels, other : ndarray, shape (windows, bands)
        `band_levels_db` of the toy's own sound and of the changed one.
    """
    floor_db = float(np.max(levels)) - RANGE_DB
    apart = np.maximum(other, floor_db) - np.maximum(levels, floor_db)
    return np.sqrt(np.mean(apart**2, axis=1))


def difference_db(levels: np.ndarray, other: np.ndarray) -> float:
    """Give the difference that two successive windows reach, dB.

    Parameters
    ----------
    levels, other : ndarray, shape (windows, bands)
        `band_levels_db` of the toy's own sound and of the changed one.
    """
    window_db = window_differences_db(levels, other)
    return float(np.max(np.minimum(window_db[1:], window_db[:-1]), initial=0.0))


def change(
    reference: np.ndarray,
    sound: np.ndarray,
    closed_s: float,
    levels: np.ndarray,
    other: np.ndarray,
) -> str:
    """Name what was done to a sound, in the words of a touch.

    Parameters
    ----------
    reference, sound : ndarray, shape (n,), at 48 kHz, from the closing on
    closed_s : float
        After so long it was opened again.
    levels, other : ndarray, shape (windows, bands)
        `band_levels_db` of both.

    Returns
    -------
    str
        "cut", "loop", "drone", "pitch", "timbre", "level" or "blip"; where several fit, the
        first, except that what is over soon is a blip whatever it was.
    """
    apart = window_differences_db(levels, other) > LIMIT_DB
    closed = slice(0, max(2, round(closed_s / HOP_S) - 1))
    differing = np.flatnonzero(apart)
    over = not apart[closed.stop - 2 :].any()
    if len(differing) and over and len(differing) * HOP_S <= BLIP_S:
        return "blip"
    where = apart[closed]
    where = where if where.any() else np.ones_like(where)
    power, left = (np.sum(10 ** (bands[closed][where] / 10)) for bands in (levels, other))
    if left < power * 10 ** (-CUT_DB / 10):
        return "cut"
    floor_db = float(np.max(levels)) - RANGE_DB
    heard, own = (np.maximum(bands, floor_db) for bands in (other[closed], levels[closed]))
    drones, own_drones = _steady_s(heard, floor_db), _steady_s(own, floor_db)
    if _repeats(heard, floor_db) and not _repeats(own, floor_db) and drones < STEADY_S:
        return "loop"
    if drones >= STEADY_S > own_drones:
        return "drone"
    stop = round(closed_s * RATE_HZ)
    if abs(shift_cents(reference[:stop], sound[:stop])) >= PITCH_CENTS:
        return "pitch"
    # bands that lie on the floor in either say nothing of how much was added or taken
    there = np.minimum(heard, own) > floor_db
    step = np.ma.array(heard - own, mask=~there)[where]
    spread = np.ma.mean(np.ma.std(step, axis=1))
    size = np.ma.mean(np.ma.sqrt(np.ma.mean(step**2, axis=1)))
    return "level" if there[where].any() and spread < _LEVEL_SHARE * size else "timbre"


def _steady_s(levels: np.ndarray, floor_db: float) -> float:
    """Give the longest time for which a sound above the floor stays as it is, s."""
    step = np.sqrt(np.mean(np.diff(levels, axis=0) ** 2, axis=1))
    still = (step < STEADY_DB) & (np.max(levels[1:], axis=1) > floor_db + 6.0)
    longest = run = 0
    for one in still:
        run = run + 1 if one else 0
        longest = max(longest, run)
    return longest * HOP_S


def _repeats(levels: np.ndarray, floor_db: float) -> bool:
    """Whether most of the windows come back a fixed time later, though the sound moves."""
    if not np.max(levels, initial=-np.inf) > floor_db + 6.0:
        return False
    for lag in range(round(LOOP_S[0] / HOP_S), round(LOOP_S[1] / HOP_S) + 1):
        if 2 * lag >= len(levels):
            break
        again = np.sqrt(np.mean((levels[lag:] - levels[:-lag]) ** 2, axis=1))
        moved = np.sqrt(np.mean((levels[lag // 2 :] - levels[: len(levels) - lag // 2]) ** 2, 1))
        if np.mean(again < LOOP_DB) > 0.7 and np.median(moved) > 2 * LOOP_DB:
            return True
    return False


def shift_cents(reference: np.ndarray, sound: np.ndarray) -> float:
    """Give by how many cents a sound's spectrum has moved; 0 where it hasn't merely moved."""
    one, two = (_log_spectrum_db(part) for part in (reference, sound))
    one, two = one - np.mean(one), two - np.mean(two)
    most = 2 * _PER_OCTAVE
    rest = float(np.sum((one - two) ** 2)) / len(one)
    best, at = np.inf, 0
    for shift in range(-most, most + 1):
        a = one[max(0, -shift) : len(one) - max(0, shift)]
        b = two[max(0, shift) : len(two) - max(0, -shift)]
        left = float(np.mean((a - b) ** 2))
        if left < best:
            best, at = left, shift
    return at * 1200.0 / _PER_OCTAVE if best < 0.4 * rest else 0.0


def _log_spectrum_db(sound: np.ndarray) -> np.ndarray:
    power = np.abs(np.fft.rfft(sound * np.hanning(len(sound)))) ** 2
    hz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    edges = 110.0 * 2 ** (np.arange(5 * _PER_OCTAVE + 1) / _PER_OCTAVE)
    places = np.searchsorted(hz, edges)
    sums = np.concatenate(([0.0], np.cumsum(power)))
    bands = sums[places[1:]] - sums[places[:-1]]
    levels = 10 * np.log10(np.maximum(bands, 1e-20))
    return np.maximum(levels, np.max(levels) - RANGE_DB)
