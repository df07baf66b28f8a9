"""The toy's RC clock: a capacitor charged through a resistor between two thresholds."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np


def charge_s(r_ohm: float, c_farad: float, aim_v: float, from_v: float, to_v: float) -> float:
    """Give the time a capacitor takes from one voltage to another on its way to a third.

    t = R C ln((V_aim - V_from) / (V_aim - V_to)), the solution of the RC charging
    equation; infinite where the aim is never passed.
    """
    if not aim_v > to_v:
        return math.inf
    return r_ohm * c_farad * math.log((aim_v - from_v) / (aim_v - to_v))


@dataclass(frozen=True)
class RcClock:
    """A relaxation oscillator: charged from outside, emptied by the chip.

    Parameters
    ----------
    r_ohm, c_farad : float
        The parts fitted.
    lower, upper : float
        The chip's thresholds, fractions of the rail.
    empty_s : float
        Time the chip takes to empty the capacitor, fixed.
    lead_farad : float
        What a bus of the rig adds to the capacitor when a lead is closed onto the node; next
        to nothing where the capacitor is large or the leads are short.
    """

    r_ohm: float
    c_farad: float
    lower: float = 1 / 3
    upper: float = 2 / 3
    empty_s: float = 4e-8
    lead_farad: float = 0.0

    def hz(self, aim: float, r_ohm: float, lead: bool = False) -> float:
        """Give the frequency for a node that would settle at `aim` through `r_ohm`; 0: stopped.

        `lead`: whether a lead is closed onto the node.
        """
        c_farad = self.c_farad + (self.lead_farad if lead else 0.0)
        charge = charge_s(r_ohm, c_farad, aim, self.lower, self.upper)
        return 0.0 if math.isinf(charge) else 1.0 / (charge + self.empty_s)

    def nominal_hz(self) -> float:
        """Give the frequency with nothing bridged."""
        return self.hz(1.0, self.r_ohm)


def with_lead(clock: RcClock, seed: int) -> RcClock:
    """Make one clock in four shift when a lead is merely closed onto it, by 3 to 12 %."""
    rng = np.random.Generator(np.random.PCG64([seed, 0x1EAD]))
    if rng.random() >= 0.25:
        return clock
    return replace(clock, lead_farad=float(clock.c_farad * rng.uniform(0.03, 0.12)))


def clock_of(r_ohm: float, hz: float) -> RcClock:
    """Give the clock of a resistor and a frequency: with the capacitor that makes it so."""
    empty_s = 4e-8
    c_farad = (1.0 / hz - empty_s) * RcClock(r_ohm, 1.0, empty_s=0.0).nominal_hz()
    return RcClock(r_ohm, c_farad, empty_s=empty_s)
