"""What is in the sampler's memory: short invented sounds in codes of a few bits.

Code 0 is no sample but the mark at a sound's end.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ADDRESS_BITS = 15
SIZE = 1 << ADDRESS_BITS
SAMPLE_HZ = 6400.0
"""Samples a second at the clock's nominal frequency."""

_RMS = 0.35


@dataclass(frozen=True)
class Sounds:
    """A filled memory.

    Parameters
    ----------
    codes : ndarray of int, shape (SIZE,)
    bits : int
        Of each code, 4 to 8.
    starts : tuple of int
        Where the sound of each key begins.
    longest_s : float
        At the nominal clock.
    """

    codes: np.ndarray
    bits: int
    starts: tuple[int, ...]
    longest_s: float


def _bell(rng: np.random.Generator, at: np.ndarray) -> np.ndarray:
    hz = rng.uniform(350, 800)
    wobble = np.sin(2 * np.pi * hz * rng.choice((1.4, 2.76, 3.5)) * at) * 2.5 * np.exp(-at * 4)
    return np.sin(2 * np.pi * hz * at + wobble) * np.exp(-at * 2.2)


def _drums(rng: np.random.Generator, at: np.ndarray) -> np.ndarray:
    step_s = rng.uniform(0.16, 0.26)
    beat = (at / step_s).astype(int) % 4
    since = at % step_s
    low = np.sin(2 * np.pi * (70 * since + 14 * (1 - np.exp(-since * 30)))) * np.exp(-since * 14)
    snare = rng.standard_normal(len(at)) * np.exp(-since * 22) * 0.5
    return np.where(rng.permutation([0, 1, 0, 1])[beat] == 0, low, snare)


def _call(rng: np.random.Generator, at: np.ndarray) -> np.ndarray:
    """An animal's call: a buzzing source through two resonances, gliding."""
    whole_s = at[-1] + at[1]
    hz = rng.uniform(110, 320) * (1 + rng.uniform(-0.4, 0.4) * at / whole_s)
    phase = np.cumsum(hz) / SAMPLE_HZ
    first, second = rng.uniform(400, 900), rng.uniform(1100, 2300)
    sound = np.zeros(len(at))
    for k in range(1, 13):
        near = 1 / (1 + ((k * hz - first) / 150) ** 2) + 0.6 / (1 + ((k * hz - second) / 250) ** 2)
        sound += np.where(k * hz < SAMPLE_HZ / 2, (near + 0.03) * np.sin(2 * np.pi * k * phase), 0)
    return sound * np.sin(np.pi * at / whole_s) ** 0.5


def _siren(rng: np.random.Generator, at: np.ndarray) -> np.ndarray:
    turn = np.sin(2 * np.pi * rng.uniform(1.5, 5.0) * at)
    phase = np.cumsum(rng.uniform(450, 900) * 2 ** (0.4 * turn)) / SAMPLE_HZ
    return np.tanh(3 * np.sin(2 * np.pi * phase)) * 0.7


_MAKERS = (_bell, _drums, _call, _siren)


def make_sounds(rng: np.random.Generator, keys: int, bits: int) -> Sounds:
    """Fill a memory with a sound of 0.9 to 1.2 s for each key.

    Parameters
    ----------
    keys : int, 1 to 4
    bits : int, 4 to 8
    """
    codes = np.zeros(SIZE, np.int64)
    starts, at, longest = [], 0, 0
    for maker in rng.permutation(len(_MAKERS))[:keys]:
        count = int(rng.uniform(0.9, 1.2) * SAMPLE_HZ)
        sound = _MAKERS[maker](rng, np.arange(count) / SAMPLE_HZ)
        sound = sound * min(1 / np.abs(sound).max(), _RMS / np.sqrt(np.mean(sound**2)))
        middle = 1 << (bits - 1)
        codes[at : at + count] = np.clip(np.rint(middle + sound * (middle - 1)), 1, None)
        starts.append(at)
        longest = max(longest, count)
        # one code as the mark, and the next sound on a boundary of 64
        at = (at + count + 1 + 63) // 64 * 64
    # the rest repeats the beginning, as a part too large for its job is often filled
    codes[at:] = np.resize(codes[:at], SIZE - at)
    return Sounds(codes, bits, tuple(starts), longest / SAMPLE_HZ)
