"""A patch bay: a socket for each pad that is kept, with a resistor of its own, and a cord.

The cheapest panel, and often the best liked (common practice, no source). A cord joins any two
sockets, so what it may not join is told beside it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise
from math import log

import numpy as np
import scipy

from rig.build.controls import course_of
from rig.build.drawer import Drawer
from rig.build.evidence import Evidence, Trials, amounts, stopped_ohm
from rig.build.fitting import Control
from rig.build.pieces import Fitted, fitted
from rig.build.series import TOLERANCE
from rig.build.several import Kept
from rig.choose.matching import is_same
from rig.outcomes import sound_words, unit_of
from rig.pads import letter_order
from rig.project import Project, path_ohm
from rig.words import ohms

FEWEST = 3
"""Picks from which a patch bay is proposed, where two of them share a pad."""
TOO_MUCH = 1.25
"""So far above the highest path of a sound, as a ratio, it isn't counted on any more."""
ROUNDS = 12
ELSEWHERE = 1.1
"""A cord that is so far from the kept path, as a ratio, plays the sound elsewhere in its range."""


@dataclass(frozen=True)
class Patched:
    """A pick on the patch bay: what a cord between its two sockets comes to, ohms, and what it plays.

    `plays` is the kept sound in words, or what it is elsewhere in its range; "" where that isn't known.
    """

    number: int
    pair: str
    ohm: float
    plays: str = ""


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
    """A pick that is to be patched: the path that was kept, and the range that will do, ohms; what was heard
    of it, and whether that was measured to move smoothly."""

    built: Fitted
    kept: float
    low: float
    high: float
    evidence: Evidence = field(default_factory=Evidence)
    is_smooth: bool = False


def bay_of(
    project: Project, kept: Sequence[Kept], controls: Sequence[Control], trials: Trials
) -> PatchBay | None:
    """Propose a patch bay for all that the sheet fits; see `patch_bay`.

    What stops the toy is none of it: a cord stays, and would leave the toy stuck.

    Parameters
    ----------
    project : Project
    kept, controls : sequences of Kept and Control
        As the sheet has them, of one length.
    trials : mapping
        What was seen of each pair.
    """
    built = [one for one in fitted([one.pick for one in kept], controls)
             if one.pick.is_single_pair and not one.control.stops]  # fmt: skip
    rig = project.rig
    return patch_bay(project, [_wanted(one, kept[one.number - 1]) for one in built], trials,
                     Drawer.of(rig.parts), path_ohm(rig, min(rig.swept_ohm)))  # fmt: skip


def _wanted(built: Fitted, kept: Kept) -> Wanted:
    """Give the range that will do for a pair on a patch bay: that of its first sound that is known."""
    for pick, evidence in zip(kept.picks, kept.evidence, strict=True):
        ohm = evidence.kept_ohm(pick)
        if ohm is None:
            continue
        along = course_of(pick, evidence)
        heard = [one.path_ohm for one in along.run] if along else evidence.heard_ohm
        below = [one for one in heard if one < ohm and not is_same(one, ohm)]
        return Wanted(built, ohm, max(below, default=min(ohm, built.ohm)), max([*heard, ohm]), evidence,
                      along is not None and along.is_measured and along.is_smooth)  # fmt: skip
    return Wanted(built, built.ohm, built.ohm, built.ohm)


def patch_bay(
    project: Project, wanted: Sequence[Wanted], trials: Trials, drawer: Drawer, least_path_ohm: float
) -> PatchBay | None:
    """Propose a patch bay; None where too few picks share pads, or no two can be played.

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
    rest = list(wanted)
    taken, plays = best = _sockets(rest, drawer, least_path_ohm)
    while len(plays) < len(rest):
        # One that doesn't fit the others pulls at their resistors: out goes that without which most play.
        each = [[other for other in rest if other is not one] for one in rest]
        rest, (taken, plays) = max(
            ((without, _sockets(without, drawer, least_path_ohm)) for without in each), key=lambda one: len(one[1][1])
        )
        best = max(best, (taken, plays), key=lambda one: len(one[1]))
    taken, plays = best
    if len(plays) < 2:
        return None
    used = {pad for one in plays for pad in one.built.pick.pads}
    taken = {pad: ohm for pad, ohm in taken.items() if pad in used}
    pads = list(taken)
    never, untried = _others(project, pads, taken, {one.built.pick.pair for one in plays}, trials)
    return PatchBay(
        tuple(taken.items()),
        tuple(Patched(one.built.number, one.built.pick.pair, _sum(one, taken), _plays(one, _sum(one, taken)))
              for one in plays),
        tuple(one.built.number for one in wanted if one not in plays), tuple(never), tuple(untried),
    )


def _sockets(
    wanted: Sequence[Wanted], drawer: Drawer, least_path_ohm: float
) -> tuple[dict[str, float], list[Wanted]]:
    """Give the resistor of each pad that some picks use, ohms, and those of them that a cord plays then."""
    uses = Counter(pad for one in wanted for pad in one.built.pick.pads)
    pads = sorted(uses, key=letter_order)
    ohm = _solved(pads, wanted, least_path_ohm / 2)
    taken = {pad: drawer.near(ohm[pad], ohm[pad] * (1 - 2 * TOLERANCE)) for pad in pads}
    for _ in range(ROUNDS):
        low = next((one for one in wanted if _least(one, taken) < one.low
                    and _sum(one, taken) < one.high * TOO_MUCH), None)  # fmt: skip
        if low is None:
            break
        # The pad with the fewest picks: the others' sums move the least.
        pad = min(low.built.pick.pads, key=lambda one: (uses[one], -taken[one]))
        taken[pad] = drawer.least(taken[pad] + low.low - _least(low, taken))
    return taken, [
        one for one in wanted if one.low <= _least(one, taken) and _sum(one, taken) <= one.high * TOO_MUCH
    ]


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


def _plays(one: Wanted, ohm: float) -> str:
    """Say what a cord of so many ohms plays: what was kept, or what that is elsewhere in its range."""
    find = one.evidence.find
    if find is None or find.sound == "none":
        return ""
    if max(ohm / one.kept, one.kept / ohm) <= ELSEWHERE:
        return find.words
    at = f" at about {ohms(ohm)}"
    heard = [trial for trial in one.evidence.trials if trial.heard and trial.key == find.key]
    along = [spot for spot in amounts(heard, find.sound, find.unit) if spot[0] in one.evidence.heard_ohm]
    beside = next(((a, b) for a, b in pairwise(along) if a[0] <= ohm <= b[0]), None)
    if beside is None or find.unit == "dB":
        return f"about what was kept over {ohms(one.kept)}: {find.words}"
    (low, low_amount), (high, high_amount) = beside
    if abs(low_amount - high_amount) > 2 * unit_of(find.unit).alike and not one.is_smooth:
        ends = (sound_words(find.sound, amount, find.unit) for amount in (low_amount, high_amount))
        return f"between {' and '.join(ends)},{at}"
    part = log(ohm / low) / log(high / low)
    return sound_words(find.sound, low_amount + part * (high_amount - low_amount), find.unit) + at


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
