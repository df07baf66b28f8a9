"""What a multimeter shows of each control, before its last wire goes onto the board."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import ceil, floor, log10

from rig.build.content import MeterRow
from rig.build.fitting import Control
from rig.build.pieces import fitted, tag_of
from rig.build.series import TOLERANCE
from rig.choose.picks import Pick
from rig.words import ohms

POT_TOLERANCE = 0.2
"""Of potentiometers (common practice, no source)."""
POT_END_SHARE = 0.02
"""What a potentiometer may keep at its end, of its value (common practice, no source)."""
BRIGHT_OHM = 10_000.0
"""A photocell in light has a few kohm: less than this (common practice, no source)."""
DARK_OHM = 200_000.0
"""A photocell in the dark has about 1 Mohm: more than this (common practice, no source)."""

OPEN = "open: as with the tips apart"

NOTES = (
    ("Cells out. Measure from pad to the free end of the wire, while that end isn't on the board yet: "
    "once both are, the toy's own resistance lies beside it."),
    ("Limits are sums of tolerances: resistors 5 %, potentiometers 20 %, and what a potentiometer may "
    "keep at its end (the last two are common practice, no source). Where the rig's leads stay as "
    "wires, up to 15 % more is right."),
)


def limits(low_ohm: float, high_ohm: float) -> str:
    """Say a range in three figures, its ends rounded outwards.

    Parameters
    ----------
    low_ohm, high_ohm : float
        Above 0.
    """
    return f"{ohms(_figures(low_ohm, floor))} to {ohms(_figures(high_ohm, ceil))}"


def _figures(ohm: float, rounded: Callable[[float], int]) -> float:
    step = 10.0 ** (floor(log10(ohm)) - 2)
    return float(f"{rounded(ohm / step + (-1e-9 if rounded is ceil else 1e-9)) * step:.6g}")


def resistor_limits(ohm: float) -> tuple[float, float]:
    """Give the least and the most that a resistor on the sheet may have, ohms."""
    return ohm * (1 - TOLERANCE), ohm * (1 + TOLERANCE)


def knob_limits(fixed_ohm: float, pot_ohm: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """Give the limits of a potentiometer with its resistor, turned to the least and to the most.

    Each is the sum of both parts' limits, ohms.
    """
    low, high = resistor_limits(fixed_ohm)
    least = low, high + POT_END_SHARE * pot_ohm * (1 + POT_TOLERANCE)
    most = low + pot_ohm * (1 - POT_TOLERANCE), high + pot_ohm * (1 + POT_TOLERANCE)
    return least, most


def meter(picks: Sequence[Pick], controls: Sequence[Control]) -> tuple[MeterRow, ...]:
    """Give what is measured of each control, off and on, and of the supply, before and after."""
    rows = [MeterRow(None, "battery plus to minus", "before any work", "")]
    for one in fitted(picks, controls):
        pair = " to ".join(one.pick.pads)
        rows += [
            MeterRow(tag_of(one.number), pair, state, expected)
            for state, expected in states(one.control)
        ]
    rows.append(MeterRow(None, "battery plus to minus", "all built, controls off", "unchanged"))
    rows.append(MeterRow(None, "battery plus to board plus", "reset at rest", "less than 1 Ω"))
    rows.append(MeterRow(None, "battery plus to board plus", "reset pressed", OPEN))
    return tuple(rows)


def states(control: Control) -> list[tuple[str, str]]:
    """Give the states of a control that is fitted, and what a meter shows in each."""
    fixed_ohm = control.fixed_ohm
    if fixed_ohm is None:
        return []
    if control.positions:
        return [("off", OPEN)] + [
            (f"position {n}", limits(*resistor_limits(ohm)))
            for n, (ohm, _) in enumerate(control.resistors, 2)
        ]
    low, high = resistor_limits(fixed_ohm)
    if control.pot_ohm:
        least, most = knob_limits(fixed_ohm, control.pot_ohm)
        left, right = (most, least) if control.lowers else (least, most)
        return [("fully left", limits(*left)), ("fully right", limits(*right))]
    if control.kind == "photocell":
        return [("covered", f"more than {ohms(DARK_OHM + low)}"), ("in light", limits(low, high + BRIGHT_OHM))]
    on = "domes joined by a wire" if control.kind == "body contacts" else "on"
    if control.stops:
        return [("let go", OPEN), ("pressed", limits(low, high))]
    return [("off", OPEN), (on, limits(low, high))]
