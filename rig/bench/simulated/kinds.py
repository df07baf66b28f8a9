"""The kinds of simulated toys.

A kind is a generator of random boards and the chips that run on them. Everything that a
person or a bench has to do with a toy is the same for every kind: `parts.Board` says what
is on the board, `toy.SimulatedToy` plays it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from rig.bench.simulated import keyboard, sampler, talker
from rig.bench.simulated.chips import Chips
from rig.bench.simulated.parts import Board, Net
from rig.bench.simulated.wiring import Wiring


@dataclass(frozen=True)
class Kind:
    """One kind of toy.

    Parameters
    ----------
    make : callable
        Makes a board of a seed and a number of pads.
    chips : callable
        Makes a board's chips, given the board, its wiring, and a seed of their chance.
    pins : callable
        Gives the nets of the chips' pins at their usual values, given the bits of a code.
    inside : callable
        Makes what only the chips know of, given chance, the bits of a code, the board's
        capacitors, and the resistors that empty them; gives it with the longest phrase, s, and
        how long a key is held, ms.
    chip_hz : float
        The clock that the chips are made for.
    path : frozenset of str
        Roles of the sound path, without their numbers.
    heard : tuple of str
        Roles whose levels make the sound.
    sources : tuple of str
        Roles, without their numbers, from which resistors must lead to the amplifier's input.
    capacitors : tuple of str
        Roles that may have a capacitor to ground.
    """

    make: Callable[[int, int], Board]
    chips: Callable[[Board, Wiring, int], Chips]
    pins: Callable[[int], list[Net]]
    inside: Callable[
        [np.random.Generator, int, dict[str, float], dict[str, float]], tuple[object, float, int]
    ]
    chip_hz: float
    path: frozenset[str]
    heard: tuple[str, ...]
    sources: tuple[str, ...]
    capacitors: tuple[str, ...]


KINDS = {
    "talker": Kind(
        talker.make_talker, talker.TalkerChips, talker.pins, talker.inside, talker.CHIP_HZ,
        frozenset({"dac", "amp", "spk"}), (), ("dac",), ("osc",),
    ),
    "keyboard": Kind(
        keyboard.make_keyboard, keyboard.KeyboardChips, keyboard.pins, keyboard.inside,
        keyboard.CHIP_HZ, frozenset({"q", "mix", "env", "tone", "amp", "spk"}),
        ("amp", "mix"), ("tone",), ("osc", "env"),
    ),
    "sampler": Kind(
        sampler.make_sampler, sampler.SamplerChips, sampler.pins, sampler.inside,
        sampler.CHIP_HZ, frozenset({"b", "l", "filt", "amp", "spk"}), ("amp",), ("b", "filt"),
        ("osc", "filt"),
    ),
}  # fmt: skip
