"""The resistances that a person can step through: all that the bank makes, as a decade box would."""

from __future__ import annotations

from collections.abc import Sequence

from rig.project import Rig, path_ohm
from rig.project.ladder import ONE_PATH
from rig.project.side_by_side import made_ohm


def rungs(rig: Rig) -> list[float]:
    """Give the series values to step through, from the least up, ohms.

    What is swept comes first, then what the fewest channels make; of paths less than 5 % apart one
    stays.

    Parameters
    ----------
    rig : Rig
        Its bank, leads and switch.
    """
    kept: list[float] = []
    for series_ohm in (*rig.swept_ohm, *made_ohm(rig.series_ohm)):
        path = path_ohm(rig, series_ohm)
        if all(apart(path, path_ohm(rig, other)) >= 1 + ONE_PATH for other in kept):
            kept.append(series_ohm)
    return sorted(kept)


def nearest(rig: Rig, values: Sequence[float], wanted_ohm: float) -> float:
    """Give the series value whose path is nearest to one that is wanted, by ratio, ohms.

    Parameters
    ----------
    rig : Rig
    values : sequence of float
        Series values to choose from, ohms.
    wanted_ohm : float
        The path, ohms.
    """
    return min(values, key=lambda series_ohm: apart(path_ohm(rig, series_ohm), wanted_ohm))


def apart(one_ohm: float, other_ohm: float) -> float:
    """Give how far apart two paths are, as a ratio, >= 1."""
    low, high = sorted((max(one_ohm, 1.0), max(other_ohm, 1.0)))
    return high / low
