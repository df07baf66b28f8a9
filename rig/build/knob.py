"""Which potentiometer: its value, its taper, and how much of its turn does something."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

import numpy as np

from rig.build.drawer import ANY, POT_TOLERANCE, Drawer
from rig.build.series import TOLERANCE, pot_for

Taper = Literal["linear", "logarithmic", "reverse logarithmic"]
LOG_BASE = 81.0
"""A logarithmic potentiometer has a tenth of its resistance at half its turn (common practice, no
source): (81^x - 1) / 80 at the share x of the turn."""
TURNS = np.linspace(0.0, 1.0, 101)
ENOUGH = 0.75
"""A knob that stays within the range is taken where its turn does so much of what the best one's does."""
MOST_SHARE = 0.9
"""What lies between the first and the last twentieth of the movement is what is felt of it."""


@dataclass(frozen=True)
class Knob:
    """A potentiometer with a resistor in series.

    Parameters
    ----------
    fixed_ohm, pot_ohm : float
    taper : str
    lowers : bool
        Turning clockwise lowers the resistance.
    """

    fixed_ohm: float
    pot_ohm: float
    taper: Taper
    lowers: bool = True

    def path_ohm(self, turn: float | np.ndarray, pot_ohm: float | None = None) -> np.ndarray:
        """Give the path at a share of the turn, clockwise from 0 to 1, ohms.

        Parameters
        ----------
        turn : float or ndarray
        pot_ohm : float or None
            What this one part really has; None: what is written on it.
        """
        share = 1.0 - np.asarray(turn) if self.lowers else np.asarray(turn)
        if self.taper != "linear":
            share = (LOG_BASE**share - 1.0) / (LOG_BASE - 1.0)
        return self.fixed_ohm + (self.pot_ohm if pot_ohm is None else pot_ohm) * share


def moving_share(knob: Knob, track: Sequence[tuple[float, float]]) -> float:
    """Give the share of a knob's turn over which a sound moves, less where it doesn't reach all of it.

    Parameters
    ----------
    knob : Knob
    track : sequence of (path_ohm, value)
        How far the sound has moved over each path, ascending, two at least; between them it is taken
        to go straight over the logarithm of the path, and nowhere beyond.
    """
    paths, values = np.array(track).T
    along = np.interp(np.log(knob.path_ohm(TURNS)), np.log(paths), values)
    whole = float(np.max(values) - np.min(values))
    reached = float(np.max(along) - np.min(along))
    if whole <= 0 or reached <= 0:
        return 0.0
    moved = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(along)))))
    edges = (1 - MOST_SHARE) / 2 * moved[-1], (1 + MOST_SHARE) / 2 * moved[-1]
    first, last = np.interp(edges, moved, TURNS)
    return float(last - first) * reached / whole


def choose(
    *, low: float, high: float, kept: float, track: Sequence[tuple[float, float]] = (),
    drawer: Drawer = ANY,
) -> Knob:
    """Choose resistor, potentiometer and taper.

    None of its positions lies below `low`, whatever its parts have; its travel goes through the kept
    path, also of one that has 20 % less than is written on it. Of those the one whose turn does the
    most, where it is known how the sound moves, one that stays within the range first; else the
    largest that does.

    Parameters
    ----------
    low, high : float
        The range of the sound, ohms.
    kept : float
        The path that was kept, ohms.
    track : sequence of (path_ohm, value)
        As for `moving_share`; fewer than three: it isn't known.
    drawer : Drawer
    """
    fixed = drawer.least(low, max(kept, low))
    reach = (kept * (1 - TOLERANCE) - fixed) / (1 - POT_TOLERANCE)
    pots = [one for one in drawer.pots() if one >= reach] or [pot_for(max(reach, 1.0))]
    lowers = _does_more_below(track)
    curved: Taper = "reverse logarithmic" if lowers else "logarithmic"
    if len(track) < 3:
        within = [one for one in pots if one <= (high - fixed) * (1 + TOLERANCE)]
        taper: Taper = curved if np.log10(high / low) >= 0.9 else "linear"
        return Knob(fixed, within[-1] if within else pots[0], taper, lowers)
    tapers: tuple[Taper, ...] = ("linear", curved)
    knobs = [Knob(fixed, pot, taper, lowers) for pot, taper in product(pots, tapers)]
    share = {one: round(moving_share(one, track), 3) for one in knobs}
    ending = [one for one in knobs if one.pot_ohm <= (high - fixed) * (1 + TOLERANCE)]
    best = max(knobs, key=share.__getitem__)
    best_within = max(ending, key=share.__getitem__, default=best)
    return best_within if share[best_within] >= ENOUGH * share[best] else best


def _does_more_below(track: Sequence[tuple[float, float]]) -> bool:
    """Say whether a sound has moved farther over low paths; so it is where that isn't known."""
    return len(track) < 2 or abs(track[0][1]) >= abs(track[-1][1])
