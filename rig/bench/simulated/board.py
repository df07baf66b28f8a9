"""The kinds of simulated toys, and where their boards come from.

A kind is a generator of random boards and the chips that run on them. Everything that a
person or a bench has to do with a toy is the same for every kind: `parts.Board` says what
is on the board, `toy.SimulatedToy` plays it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rig.bench.simulated.chips import Chips
from rig.bench.simulated.keyboard import KeyboardChips, make_keyboard
from rig.bench.simulated.parts import MAX_PADS, MIN_PADS, Board, Net, Pad
from rig.bench.simulated.sampler import SamplerChips, make_sampler
from rig.bench.simulated.talker import TalkerChips, make_talker
from rig.bench.simulated.wiring import Wiring
from rig.errors import ConfigError

__all__ = ["KINDS", "MAX_PADS", "MIN_PADS", "Board", "Kind", "Net", "Pad", "make_board"]


@dataclass(frozen=True)
class Kind:
    """One kind of toy.

    Parameters
    ----------
    make : callable
        Makes a board of a seed and a number of pads.
    chips : callable
        Makes a board's chips, given the board, its wiring, and a seed of their chance.
    """

    make: Callable[[int, int], Board]
    chips: Callable[[Board, Wiring, int], Chips]


KINDS = {
    "talker": Kind(make_talker, TalkerChips),
    "keyboard": Kind(make_keyboard, KeyboardChips),
    "sampler": Kind(make_sampler, SamplerChips),
}


def make_board(seed: int, pads: int, kind: str = "talker") -> Board:
    """Make a board.

    Parameters
    ----------
    seed : int, 0 or more
    pads : int
        How many leads the person attached, 8 to 64.
    kind : str
        One of `KINDS`.

    Raises
    ------
    ConfigError
        The kind isn't known, or a number is out of range.
    """
    if kind not in KINDS:
        raise ConfigError(
            f"no simulated toy of the kind {kind!r}; the kinds are: {', '.join(KINDS)}"
        )
    if not MIN_PADS <= pads <= MAX_PADS:
        raise ConfigError(
            f"a simulated board has {MIN_PADS} to {MAX_PADS} pads, not {pads}; change pads"
        )
    if seed < 0:
        raise ConfigError(f"a board's seed is 0 or more, not {seed}; change seed")
    return KINDS[kind].make(seed, pads)
