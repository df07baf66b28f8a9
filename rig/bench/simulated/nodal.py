"""Nodal analysis: nets, what drives them, and the islands that resistors make of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

LEAK_SIEMENS = 1e-11
"""Leakage of every node to the reference, so that a floating net has a voltage (100 Gohm)."""

LOW, HIGH, OPEN, BIAS = 0, 1, 2, 3
"""What a net's driver does: pulls to ground, pulls to the rail, lets go, holds its bias."""


@dataclass(frozen=True)
class Drive:
    """How one net is driven and pulled.

    Parameters
    ----------
    low_ohm, high_ohm : float or None
        Output resistance of the driver towards its low and its high rail; None where
        nothing drives.
    pull : (ohm, fraction of the rail) or None
        A resistor that is always there.
    bias : (ohm, fraction of the rail) or None
        What the net is held at in the state `BIAS`.
    low, high : float
        The driver's own rails, fractions of the board's.
    """

    low_ohm: float | None = None
    high_ohm: float | None = None
    pull: tuple[float, float] | None = None
    bias: tuple[float, float] | None = None
    low: float = 0.0
    high: float = 1.0

    @property
    def bias_ohm(self) -> float:
        """Resistance through which the bias is held; only for nets that have one."""
        if self.bias is None:
            raise ValueError("a net without a bias is held through nothing")
        return self.bias[0]

    def sources(self, state: int) -> list[tuple[float, float]]:
        """Give the (ohm, fraction) sources of this net in a driver state."""
        found = []
        if self.pull is not None:
            found.append(self.pull)
        if state == LOW and self.low_ohm is not None:
            found.append((self.low_ohm, self.low))
        elif state == HIGH and self.high_ohm is not None:
            found.append((self.high_ohm, self.high))
        elif state == BIAS and self.bias is not None:
            found.append(self.bias)
        return found


class Island:
    """Nets that fixed resistors join, solved once for each state of their drivers.

    Most nets are an island of their own. An island is inverted once for each set of driver
    resistances; drivers that are as strong upwards as downwards never ask for another.

    Parameters
    ----------
    nets : sequence of int
    resistors : sequence of (net, net, ohm)
        Those with an end on the island.
    fixed : dict of net to fraction of the rail
    drives : sequence of Drive, one per net of the board
    """

    def __init__(
        self,
        nets: Sequence[int],
        resistors: Sequence[tuple[int, int, float]],
        fixed: dict[int, float],
        drives: Sequence[Drive],
    ):
        self.nets = tuple(nets)
        self._drives = [drives[net] for net in nets]
        place = {net: i for i, net in enumerate(nets)}
        self._siemens = np.diag(np.full(len(nets), LEAK_SIEMENS))
        self._amps = np.zeros(len(nets))
        add_resistors(self._siemens, self._amps, resistors, place, fixed)
        self._inverses: dict[tuple[float, ...], np.ndarray] = {}
        self._memo: dict[tuple[int, ...], tuple[np.ndarray, np.ndarray]] = {}

    def solved(self, states: tuple[int, ...]) -> tuple[np.ndarray, np.ndarray]:
        """Give the levels and impedances of the nets.

        Parameters
        ----------
        states : tuple of int
            Driver state of each of the island's nets.

        Returns
        -------
        levels : ndarray, shape (n,)
            Fractions of the rail.
        impedance_ohm : ndarray, shape (n, n)
        """
        found = self._memo.get(states)
        if found is None:
            amps, added = self._amps.copy(), [0.0] * len(states)
            for i, (drive, state) in enumerate(zip(self._drives, states, strict=True)):
                for ohm, fraction in drive.sources(state):
                    added[i] += 1.0 / ohm
                    amps[i] += fraction / ohm
            key = tuple(added)
            inverse = self._inverses.get(key)
            if inverse is None:
                inverse = self._inverses[key] = np.linalg.inv(self._siemens + np.diag(added))
            found = self._memo[states] = (inverse @ amps, inverse)
        return found


def add_resistors(
    siemens: np.ndarray,
    amps: np.ndarray,
    resistors: Sequence[tuple[int, int, float]],
    place: dict[int, int],
    fixed: dict[int, float],
) -> None:
    """Add resistors to a conductance matrix, and to its currents those from fixed nets."""
    for a, b, ohm in resistors:
        g = 1.0 / ohm
        for one, other in ((a, b), (b, a)):
            if one in fixed:
                continue
            siemens[place[one], place[one]] += g
            if other in fixed:
                amps[place[one]] += g * fixed[other]
            else:
                siemens[place[one], place[other]] -= g
