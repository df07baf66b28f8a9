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


@dataclass(frozen=True, kw_only=True)
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
        make=talker.make_talker, chips=talker.TalkerChips, pins=talker.pins,
        inside=talker.inside, chip_hz=talker.CHIP_HZ,
        path=frozenset({"dac", "amp", "spk"}), heard=(), sources=("dac",), capacitors=("osc",),
    ),
    "keyboard": Kind(
        make=keyboard.make_keyboard, chips=keyboard.KeyboardChips, pins=keyboard.pins,
        inside=keyboard.inside, chip_hz=keyboard.CHIP_HZ,
        path=frozenset({"q", "mix", "env", "tone", "amp", "spk"}), heard=("amp", "mix"),
        sources=("tone",), capacitors=("osc", "env"),
    ),
    "sampler": Kind(
        make=sampler.make_sampler, chips=sampler.SamplerChips, pins=sampler.pins,
        inside=sampler.inside, chip_hz=sampler.CHIP_HZ,
        path=frozenset({"b", "l", "filt", "amp", "spk"}), heard=("amp",), sources=("b", "filt"),
        capacitors=("osc", "filt"),
    ),
}  # fmt: skip
