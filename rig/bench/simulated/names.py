"""Invented names for simulated toys, their keys, and what a person sees at each pad."""

from __future__ import annotations

import numpy as np

_HEADS = ("Bo", "Wim", "Tol", "Nub", "Pli", "Gra", "Mor", "Kef", "Zul", "Dop", "Fen", "Yab")
_TAILS = ("lo", "ko", "bin", "mu", "del", "wik", "pas", "rin", "tto", "gle", "nou", "vel")
_CREATURES = (
    "Hedgehog", "Owl", "Robot", "Snail", "Parrot", "Walrus", "Otter", "Beetle", "Teapot",
    "Lighthouse", "Cactus", "Moose",
)
KEY_NAMES = (
    "star", "moon", "drum", "fish", "leaf", "bell", "boat", "kite", "shoe", "cloud",
)

_NOTES = (
    "leg of R{n}", "other leg of R{n}", "leg of C{n}", "bare dot near C{n}", "via beside R{n}",
    "edge of the blob, {n} from the left", "pin {n} of the long row", "end of jumper J{n}",
    "ribbon strip, track {n}", "test dot {n}", "corner of the blob, track {n}",
    "leg of the small can, Q{n}", "solder blob by hole {n}", "track end by screw {n}",
)


def toy_name(rng: np.random.Generator, does: str) -> str:
    """Make up a toy's name; `does` is what it is called for, such as "Talking"."""
    head, tail = rng.choice(_HEADS), rng.choice(_TAILS)
    return f"{head}{tail} the {does} {rng.choice(_CREATURES)}"


def pad_notes(rng: np.random.Generator, count: int) -> list[str]:
    """Give `count` different notes that say where a pad is and never what it does."""
    every = [note.format(n=n) for n in range(1, 10) for note in _NOTES]
    return [every[i] for i in rng.permutation(len(every))[:count]]


def letters(count: int) -> list[str]:
    """Give the pads' letters in order: A to Z, then AA, AB and on."""
    found = []
    for i in range(count):
        found.append(chr(65 + i) if i < 26 else chr(64 + i // 26) + chr(65 + i % 26))
    return found
