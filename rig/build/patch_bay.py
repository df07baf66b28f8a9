"""A patch bay: a socket for each pad that is kept, with a resistor of its own, and a cord.

The cheapest panel, and often the best liked (common practice, no source). A cord joins any two
sockets, so what it may not join is told beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import scipy

from rig.build.drawer import Drawer
from rig.build.evidence import Trials, stopped_ohm
from rig.build.pieces import Fitted
from rig.build.series import TOLERANCE
from rig.choose.matching import is_same
from rig.pads import letter_order
from rig.project import Project
from rig.words import ohms

FEWEST = 3
"""Picks from which a patch bay is proposed, where two of them share a pad."""
TOO_MUCH = 1.25
"""So far above the highest path of a sound, as a ratio, it isn't counted on any more."""
ROUNDS = 12


@dataclass(frozen=True)
class Patched:
    """A pick on the patch bay: what a cord between its two sockets comes to, ohms."""

    number: int
    pair: str
    ohm: float


@dataclass(frozen=True)
class PatchBay:
    """Sockets, and what a cord between two of them does.

    Parameters
    ----------
    sockets : tuple of (pad, ohm)
        In the letters' order, each with its resistor.
    plays : tuple of Patched
    left_out : tuple of int
        Numbers of picks whose resistance the sockets can't give.
    never : tuple of (pad, pad, why)
        Sockets that no cord may join.
    untried : tuple of (pad, pad)
        Those that were never joined over so little.
    """

    sockets: tuple[tuple[str, float], ...]
    plays: tuple[Patched, ...]
    left_out: tuple[int, ...]
    never: tuple[tuple[str, str, str], ...]
    untried: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Wanted:
    """A pick that is to be patched: the path that was kept, and the range that will do, ohms."""

    built: Fitted
    kept: float
    low: float
    high: float


def patch_bay(
    project: Project, wanted: Sequence[Wanted], trials: Trials, drawer: Drawer, least_path_ohm: float
) -> PatchBay | None:
    """Propose a patch bay; None where too few picks share pads.

    Each resistor is at least half of what the rig ever touched with. Sums of two come as near to the
    kept paths as can be, by least squares over their ratios, and no part of them is below the range of
    a pick's sound.

    Parameters
    ----------
    project : Project
    wanted : sequence of Wanted
    trials : mapping
        What was seen of each pair.
    drawer : Drawer
    least_path_ohm : float
        The least path that the rig makes, ohms.
    """
    uses = Counter(pad for one in wanted for pad in one.built.pick.pads)
    if len(wanted) < FEWEST or max(uses.values()) < 2 or not drawer.allows("patch socket"):
        return None
    pads = sorted(uses, key=letter_order)
    ohm = _solved(pads, wanted, least_path_ohm / 2)
    taken = {pad: drawer.near(ohm[pad], ohm[pad] * (1 - 2 * TOLERANCE)) for pad in pads}
    for _ in range(ROUNDS):
        low = next((one for one in wanted if _least(one, taken) < one.low
                    and _sum(one, taken) < one.high), None)  # fmt: skip
        if low is None:
            break
        # The pad with the fewest picks: the others' sums move the least.
        pad = min(low.built.pick.pads, key=lambda one: (uses[one], -taken[one]))
        taken[pad] = drawer.least(taken[pad] + low.low - _least(low, taken))
    plays = [one for one in wanted if one.low <= _least(one, taken) and _sum(one, taken) <= one.high * TOO_MUCH]
    never, untried = _others(project, pads, taken, {one.built.pick.pair for one in plays}, trials)
    return PatchBay(
        tuple((pad, taken[pad]) for pad in pads),
        tuple(Patched(one.built.number, one.built.pick.pair, _sum(one, taken)) for one in plays),
        tuple(one.built.number for one in wanted if one not in plays), tuple(never), tuple(untried),
    )


def _solved(pads: Sequence[str], wanted: Sequence[Wanted], base_ohm: float) -> dict[str, float]:
    """Give each pad's resistor, no less than the base, so that sums come near the kept paths."""
    rows = np.zeros((len(wanted), len(pads)))
    rest = np.zeros(len(wanted))
    for at, one in enumerate(wanted):
        aim = max(one.kept, one.low / (1 - TOLERANCE))
        for pad in one.built.pick.pads:
            rows[at, pads.index(pad)] = 1 / aim
        rest[at] = max(0.0, 1 - 2 * base_ohm / aim)
    more, _ = scipy.optimize.nnls(rows, rest)
    return {pad: base_ohm + float(ohm) for pad, ohm in zip(pads, more, strict=True)}


def _sum(one: Wanted, taken: dict[str, float]) -> float:
    return sum(taken[pad] for pad in one.built.pick.pads)


def _least(one: Wanted, taken: dict[str, float]) -> float:
    return _sum(one, taken) * (1 - TOLERANCE)


def _others(
    project: Project, pads: Sequence[str], taken: dict[str, float], played: set[str], trials: Trials
) -> tuple[list[tuple[str, str, str]], list[tuple[str, str]]]:
    """Give what a cord may not join, and what nobody knows of."""
    never, untried = [], []
    for one, other in combinations(pads, 2):
        pair, ohm = f"{one}-{other}", (taken[one] + taken[other]) * (1 - TOLERANCE)
        if pair in played:
            continue
        made = trials.get(pair, ())
        stopped = stopped_ohm(made)
        if all(project.toy.pads[pad].kind == "rail" for pad in (one, other)):
            never.append((one, other, "both are supply rails"))
        elif stopped is not None and ohm <= stopped:
            never.append((one, other, f"over {ohms(stopped)} they stopped the toy"))
        elif not any(t.path_ohm <= ohm or is_same(t.path_ohm, ohm) for t in made):
            untried.append((one, other))
    return never, untried
