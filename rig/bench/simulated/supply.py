"""The toy's supply: cells or bench supply behind a switch, a capacitor, and a bleed."""

from __future__ import annotations

import math
from dataclasses import dataclass

RAIL_FARAD = 220e-6
SOURCE_OHM = 2.0
BLEED_OHM = 330.0

RUNS_ABOVE = 0.6
"""Fraction of the nominal voltage above which the chips run."""

FORGETS_BELOW_V = 0.5
"""Rail voltage below which they lose their state."""


@dataclass
class Supply:
    """The rail's voltage over time.

    Parameters
    ----------
    volts : float
        Of the cells.
    """

    volts: float
    on: bool = False
    rail_v: float = 0.0

    def advance(self, seconds: float) -> None:
        """Let the rail charge or bleed: v = aim + (v0 - aim) e^(-t/RC)."""
        aim = self.volts if self.on else 0.0
        ohm = SOURCE_OHM if self.on else BLEED_OHM
        self.rail_v = aim + (self.rail_v - aim) * math.exp(-seconds / (ohm * RAIL_FARAD))
        if abs(self.rail_v - aim) < 1e-4:
            self.rail_v = aim

    @property
    def steady(self) -> bool:
        """Whether nothing changes any more."""
        return self.rail_v == (self.volts if self.on else 0.0)

    @property
    def runs(self) -> bool:
        """Whether the chips run."""
        return self.rail_v > RUNS_ABOVE * self.volts

    @property
    def forgets(self) -> bool:
        """Whether the chips have lost their state."""
        return self.rail_v < FORGETS_BELOW_V
