"""Diodes between nets: those that protect a chip's pin, and those of a key matrix.

A diode follows Shockley's equation i = Is (e^(v / n Vt) - 1), as SPICE's `D` model does
without its series resistance. What the rest of the circuit is to the diodes is linear: open
voltages and the resistances seen between them. The diodes' currents then minimise a convex
function (Millar's co-content), whose least value a projected Newton's method with a line search
finds (Bertsekas, 1982).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

THERMAL_V = 1.380649e-23 * 300.15 / 1.602176634e-19
"""k T / q at 27 degrees Celsius, SPICE's default: 25.9 mV."""

_UNSEEN_V = 1e-6
_EXACT_V = 1e-9
_MOST_STEPS = 200


@dataclass(frozen=True)
class Diode:
    """A junction between two nets.

    Parameters
    ----------
    anode, cathode : int
        Net numbers; either may be a fixed net.
    saturation_a : float
        Is, amperes; the default and an emission of 1 are SPICE's: 0.66 V at 1 mA.
    emission : float
        n, 1 to 2.
    """

    anode: int
    cathode: int
    saturation_a: float = 1e-14
    emission: float = 1.0


def protection(net: int, ground: int, rail: int) -> tuple[Diode, Diode]:
    """Give the two diodes that hold a chip's pin between the chip's own rails."""
    return Diode(ground, net), Diode(net, rail)


def conduct(
    open_v: np.ndarray, seen_ohm: np.ndarray, diodes: Sequence[Diode]
) -> tuple[np.ndarray, np.ndarray] | None:
    """Find the currents of diodes in a linear circuit.

    Parameters
    ----------
    open_v : ndarray, shape (d,)
        Anode over cathode with no diode conducting, volts.
    seen_ohm : ndarray, shape (d, d)
        Volts that an ampere through diode j takes away from diode i; positive semidefinite.
    diodes : sequence of d Diode

    Returns
    -------
    amps : ndarray, shape (d,)
    dynamic_ohm : ndarray, shape (d,)
        Small-signal resistance of each at its current, n Vt / (i + Is).
    None where all currents together would move nothing by a microvolt.
    """
    leak_a = np.array([d.saturation_a for d in diodes])
    step_v = np.array([d.emission for d in diodes]) * THERMAL_V
    most_a = leak_a * np.exp(np.clip(open_v / step_v, 0.0, 50.0))
    if (np.abs(seen_ohm) @ most_a < _UNSEEN_V).all():
        return None

    # the unknowns are i + Is, which are above zero whatever the voltage
    def value(passed_a: np.ndarray) -> tuple[float, float]:
        """Give the function and the size of its parts, which rounding goes by."""
        amps = passed_a - leak_a
        linear = amps * (0.5 * (seen_ohm @ amps) - open_v)
        entropy = step_v * (passed_a * np.log(passed_a / leak_a) - amps)
        size = np.abs(amps) @ (np.abs(seen_ohm) @ np.abs(amps)) + np.abs(linear).sum()
        return float((linear + entropy).sum()), float(size + np.abs(entropy).sum())

    # below its floor a reversed diode's current differs from -Is by nothing that moves a net
    floor_a = np.minimum(1e-9 * leak_a, _EXACT_V / np.abs(seen_ohm).max(axis=0))
    passed_a = np.maximum(floor_a, (open_v - 0.6) / np.maximum(np.diag(seen_ohm), 1e-3))
    now, _ = value(passed_a)
    for _ in range(_MOST_STEPS):
        amps = passed_a - leak_a
        dynamic_ohm = step_v / passed_a
        error_v = seen_ohm @ amps - open_v + step_v * np.log(passed_a / leak_a)
        # through a net that floats, large voltages cancel
        rounding_v = 4e-14 * (np.abs(seen_ohm) @ np.abs(amps))
        shut = (passed_a <= floor_a) & (error_v > 0)
        if (shut | (np.abs(error_v) < _EXACT_V + rounding_v)).all():
            return amps, dynamic_ohm
        way = np.zeros_like(amps)
        loop_ohm = seen_ohm + np.diag(dynamic_ohm)
        way[~shut] = -np.linalg.solve(loop_ohm[~shut][:, ~shut], error_v[~shut])
        size = 1.0
        while size > 1e-12:
            tried_a = np.maximum(floor_a, passed_a + size * way)
            then, parts = value(tried_a)
            wanted = 1e-4 * float(error_v @ (tried_a - passed_a))
            if then <= now + wanted + 1e-14 * parts:
                break
            size /= 2
        else:
            return amps, dynamic_ohm  # no better value can be represented
        passed_a, now = tried_a, then
    raise ArithmeticError(f"{len(diodes)} diodes found no operating point")
