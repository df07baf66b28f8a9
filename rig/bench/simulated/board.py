"""Where the boards of simulated toys come from: a seed and a kind, or a board file."""

from __future__ import annotations

from dataclasses import replace

from rig.bench.simulated.boardfile import load_board
from rig.bench.simulated.clock import with_lead
from rig.bench.simulated.kinds import KINDS
from rig.bench.simulated.parts import MAX_PADS, MIN_PADS, Board, Net, Pad
from rig.bench.simulated.supply import make_power
from rig.errors import ConfigError

__all__ = ["KINDS", "MAX_PADS", "MIN_PADS", "Board", "Net", "Pad", "load_board", "make_board"]


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
    made = KINDS[kind].make(seed, pads)
    return replace(
        made, power=make_power(seed, made.volts), clock=with_lead(made.clock, seed)
    )
