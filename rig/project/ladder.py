"""Whether the values that are swept can be made, and make a ladder of paths, from gentle to strong."""

from __future__ import annotations

import itertools

from rig.project import slips
from rig.project.electrical import path_ohm
from rig.project.models import Rig
from rig.project.side_by_side import channels, nearest_ohm
from rig.project.yaml_strict import Document
from rig.words import ohms

ONE_PATH = 0.05
"""Paths that differ by less are one: ordinary resistors are 5 % parts, and the two leads alone
may be as much off. Two such values double the touches and tell nothing."""

LEAST_REACH = 3.0
"""The highest path is at least so many times the lowest, or a pair's first touch is hardly
gentler than its last (our choice; the usual bank reaches 50 times)."""

HIGH_OHM = 200_000.0
"""With nothing below it only what fingertips can bend is found (our choice)."""

_IN_KILO_OHMS = 5_000.0
"""Larger values weren't written in kilo-ohms."""


def place(rig: Rig) -> tuple[str, ...]:
    """Give where in rig.yaml the values stand."""
    if rig.bench == "by-hand":
        return "by_hand", "path_ohm"
    return ("sweep", "series_ohm") if rig.sweep.series_ohm else ("series_ohm",)


def reach(rig: Rig) -> float:
    """Give how many times the lowest path the highest is."""
    paths = [path_ohm(rig, value) for value in rig.swept_ohm]
    return max(paths) / max(min(paths), 1e-9)


def slip(document: Document, rig: Rig) -> tuple[tuple, str] | None:
    """Find a value that can't be made, or two that make one path, and say what was probably meant.

    Parameters
    ----------
    document : Document
        rig.yaml.
    rig : Rig

    Returns
    -------
    (path, str) or None
        Of the value, of two the second, and the message.
    """
    values = list(rig.swept_ohm)
    for index, value in enumerate(rig.sweep.series_ohm or []):
        if channels(rig.series_ohm, value) is None:
            return (*place(rig), index), _not_made(rig, value)
    pair = _one_path(rig, values)
    if pair is None:
        return None
    one, other = sorted(pair, key=values.index)
    where = (*place(rig), values.index(other))
    if one == other:
        return (*place(rig), values.index(one, values.index(one) + 1)), (
            f"{one:g} ohm is there twice: take one out"
        )
    low, high = sorted((path_ohm(rig, one), path_ohm(rig, other)))
    told = f"{one:g} and {other:g} ohm are one path"
    if rig.lead_ohm:
        told = f"{one:g} and {other:g} ohm are one path beside leads of {rig.lead_ohm:.10g} ohm " \
            f"({low:.10g} and {high:.10g} ohm)"  # fmt: skip
    meant = _meant(document, rig, values)
    if meant is None:
        return where, f"{told}: take one of them out"
    listed = ", ".join(f"{value:.10g}" for value in meant)
    written = f"write {place(rig)[-1]}: [{listed}]"
    if len(meant) < len(values):
        return where, f"{told}: a decimal comma makes two values of one, {written}"
    return where, f"{told}: take one of them out, or if kilo-ohms were meant {written}"


def _not_made(rig: Rig, value: float) -> str:
    """Say that channels make no such value, and which is nearest."""
    if not value:
        return "no channel of series_ohm is 0 ohm: take it out"
    nearest = nearest_ohm(rig.series_ohm, value)
    return (
        f"no channels of series_ohm make {value:.10g} ohm, alone or side by side: the nearest is "
        f"{nearest:.0f} ohm"
    )


def _one_path(rig: Rig, values: list[float]) -> tuple[float, float] | None:
    """Give two values whose paths are one, the lowest first."""
    ordered = sorted(values)
    for low, high in itertools.pairwise(ordered):
        if path_ohm(rig, high) < path_ohm(rig, low) * (1 + ONE_PATH):
            return low, high
    return None


def _meant(document: Document, rig: Rig, values: list[float]) -> list[float] | None:
    """Give the values as they were probably meant, where that makes a ladder."""
    readings = [values]
    parted = slips.parted_numbers(document, place(rig))
    if parted:
        readings.insert(0, [float(piece) for piece in parted])
    for reading in readings:
        for factor in (1000.0, 1.0):
            meant = [value * factor for value in reading]
            if factor > 1 and max(reading) >= _IN_KILO_OHMS:
                continue
            if _one_path(rig, meant) is None:
                return meant
    return None


def cautions(rig: Rig) -> list[str]:
    """Give what is likely a slip but may be wanted, one line each."""
    name = place(rig)[-1]
    lowest = path_ohm(rig, min(rig.swept_ohm))
    found = []
    if len(rig.swept_ohm) > 1 and reach(rig) < LEAST_REACH:
        found.append(
            f"the highest path is only {reach(rig):.2g} times the lowest, so that a pair's first "
            f"touch is hardly gentler than its last: give {name} a high value, such as 150000"
        )
    elif len(rig.swept_ohm) == 1 and rig.bench != "by-hand":
        found.append(
            f"there is one path alone, so that no pair is touched gently first: give {name} a "
            "high value, such as 150000"
        )
    if lowest >= HIGH_OHM:
        found.append(
            f"the lowest path is {ohms(lowest)}, over which few pairs do anything: "
            f"{name} is in ohm"
        )
    return found
