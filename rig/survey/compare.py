"""Readings of now beside those of the last survey: leads that fell off, and leads that were swapped."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from statistics import mean

from rig.survey.nets import SAME_V, spread
from rig.survey.readings import Readings

NOTHING_V = 0.05
"""A pad without a lead reads nothing but the converter's own error (3 steps)."""
TELLS_V = 0.5
"""From so much on a voltage tells a lead that is on from one that is off."""

STEADY_V = 0.1


def steady_v(readings: Readings) -> dict[str, float]:
    """Give the pads that stand still at rest, and where, volts."""
    return {pad: mean(one.idle_v) for pad, one in readings.pads.items()
            if spread(one.idle_v) <= STEADY_V}  # fmt: skip


def telling(readings: Readings) -> list[str]:
    """Name the pads whose voltage at rest shows that their leads are on."""
    return [pad for pad, volts in steady_v(readings).items() if volts >= TELLS_V]


def changes(before: Readings, now_v: Mapping[str, float], rail_v: float) -> list[str]:
    """Say in words what has become of the leads since, a line each; none where all is as it was.

    Parameters
    ----------
    before : Readings
    now_v : mapping of str to float
        Pads at rest now, of those that the last survey read, volts.
    rail_v : float
        The supply's rail now, volts: a steady line follows it.
    """
    was = {pad: volts * rail_v / before.rail_v for pad, volts in steady_v(before).items()}
    same_v = 2 * SAME_V + 0.03 * rail_v
    moved = [pad for pad in now_v if pad in was and abs(was[pad] - now_v[pad]) > same_v]
    lines: list[str] = []
    told: set[str] = set()
    for one, other in combinations(moved, 2):
        if told.isdisjoint((one, other)) and abs(was[one] - now_v[other]) <= same_v and abs(
            was[other] - now_v[one]
        ) <= same_v:
            told |= {one, other}
            lines.append(
                f"{one} and {other} read what each other read on {_day(before)}: their leads are "
                "swapped, it seems"
            )
    for pad in moved:
        if pad in told:
            continue
        if now_v[pad] <= NOTHING_V and was[pad] >= TELLS_V:
            lines.append(
                f"{pad} reads nothing, {was[pad]:.2f} V on {_day(before)}: look at its lead and joint"
            )
        else:
            lines.append(f"{pad} reads {now_v[pad]:.2f} V at rest, {was[pad]:.2f} V on {_day(before)}")
    return lines


def parted(before: Readings, now: Readings) -> list[str]:
    """Say which leads no longer read anything against any pad of their net, the supply off."""
    lines = []
    for pad in before.pads:
        was = [name for name in before.ohm if pad in name.split("-")]
        gone = [name for name in was if name not in now.ohm]
        if was and len(gone) == len(was) and pad in now.pads:
            others = ", ".join(one for name in was for one in name.split("-") if one != pad)
            lines.append(
                f"{pad} is open against {others}, which it wasn't on {_day(before)}: look at its lead "
                "and joint"
            )
    return lines


def _day(readings: Readings) -> str:
    return readings.at[:10]
