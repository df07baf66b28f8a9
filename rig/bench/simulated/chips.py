"""What every kind's chips are to the toy around them."""

from __future__ import annotations

from typing import Protocol

import numpy as np

from rig.bench.simulated.wiring import Wiring


class Chips(Protocol):
    """The chips of one board: they write driver states to their wiring, read its levels
    back, and give the signal at the amplifier's input.

    The toy asks for samples only while the rail carries the chips, and tells them when it
    has been down so long that they start anew.
    """

    @property
    def speaking(self) -> bool:
        """Whether they sound, so that the amplifier draws its current."""

    @property
    def busy(self) -> bool:
        """Whether what a press began goes on, in its rests too."""

    def set_pace(self, pace: float) -> None:
        """Let the clock run at a share of its frequency, as its supply falls."""

    def power_on(self) -> None:
        """Start as after the supply has been away."""

    def rewired(self) -> None:
        """Take notice of changed closures or keys."""

    def run(self, samples: int) -> np.ndarray | None:
        """Let time pass.

        Returns
        -------
        ndarray of float32, shape (samples,), or None
            The signal at the amplifier's input, its full scale within -1..1; None where
            the amplifier is muted all the time.
        """

    def settle(self) -> None:
        """Put on every line the level that it rests at now, for measuring."""

    def fork(self, wiring: Wiring) -> Chips:
        """Copy the chips with all their state onto a copy of the wiring."""
