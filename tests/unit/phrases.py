"""Phrases made here, and takes of them as a rig makes them."""

import numpy as np

from rig.listen import Span

RATE_HZ = 48_000
BEFORE_S, LEAD_IN_S, DWELL_S, TAIL_S = 0.06, 0.24, 1.2, 0.5
CLOSE_S = BEFORE_S + LEAD_IN_S
LENGTH_S = CLOSE_S + DWELL_S + TAIL_S
SPAN = Span.from_seconds(BEFORE_S, CLOSE_S, CLOSE_S + DWELL_S, LENGTH_S)


def phrase(which: int, speed: float = 1.0, start_s: float = 0.0) -> np.ndarray:
    """Sing a phrase of syllables, each with its own pitch, colour and length."""
    rng = np.random.default_rng(which)
    out = []
    for _ in range(7):
        length = int(rng.uniform(0.11, 0.2) * RATE_HZ / speed)
        t = np.arange(length) / RATE_HZ * speed
        f0 = rng.uniform(110, 280)
        colour = rng.uniform(0.3, 1.0, 14)
        wave = sum(c * np.sin(2 * np.pi * f0 * (k + 1) * t) for k, c in enumerate(colour))
        out.append(0.03 * wave * np.hanning(length) ** 0.3)
    return np.concatenate(out)[int(start_s * RATE_HZ) :]


def take(sound: np.ndarray, rng, noise_dbfs: float = -62.0, jitter_s: float = 0.01):
    """Place a sound after the press, at a level that varies a little, and add the room."""
    out = rng.normal(0, 10 ** (noise_dbfs / 20), int(LENGTH_S * RATE_HZ))
    at = int((BEFORE_S + rng.uniform(0, jitter_s)) * RATE_HZ)
    sound = sound[: len(out) - at]
    out[at : at + len(sound)] += sound * 10 ** (rng.normal(0, 0.4) / 20)
    return out.astype(np.float32)


def bent(sound: np.ndarray, change) -> np.ndarray:
    """Change a phrase from the closing on: change(all that follows) gives the new rest."""
    at = int(LEAD_IN_S * RATE_HZ)
    return np.concatenate([sound[:at], change(sound[at:])])


def loop(period_s: float):
    """Give the change that plays the beginning again and again."""

    def change(rest):
        piece = rest[: int(period_s * RATE_HZ)]
        return np.tile(piece, 12)[: int(1.7 * RATE_HZ)]

    return change


def held(rest: np.ndarray) -> np.ndarray:
    """Give a tone instead of the rest."""
    t = np.arange(int(1.6 * RATE_HZ)) / RATE_HZ
    return 0.06 * sum(np.sin(2 * np.pi * 180 * k * t) for k in (1, 2, 3, 5))
