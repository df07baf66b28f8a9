"""Picks that share a pad: what else their controls join when both are on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from rig.build.trials import PadPair, Trial
from rig.choose.picks import Pick
from rig.listen import STOPS
from rig.words import ohms


@dataclass(frozen=True)
class Joint:
    """Two picks (numbered from 1) whose controls, both on, join two other pads.

    `ohm` is the least resistance through both controls; `tried` says what the sweep knows.
    """

    first: int
    second: int
    pad: str
    joins: tuple[str, str]
    ohm: float
    tried: str


def joints(
    picks: Sequence[Pick],
    fixed_ohm: Sequence[float],
    trials: Mapping[PadPair, Sequence[Trial]] | None,
) -> list[Joint]:
    """Give every two picks with a common pad.

    Parameters
    ----------
    picks : sequence of Pick
    fixed_ohm : sequence of float
        Resistor in series with each pick's control, ohms.
    trials : mapping or None
        What the sweep saw on each pair; None where there is no log.
    """
    found = []
    for (i, one), (j, other) in combinations(enumerate(picks), 2):
        common = set(one.pads) & set(other.pads)
        if len(common) != 1:
            continue
        pad = common.pop()
        joins = tuple(sorted((set(one.pads) | set(other.pads)) - {pad}, key=lambda p: (len(p), p)))
        ohm = fixed_ohm[i] + fixed_ohm[j]
        found.append(Joint(i + 1, j + 1, pad, joins, ohm, _tried(joins, ohm, trials)))
    return found


def crowded(picks: Sequence[Pick]) -> dict[str, list[int]]:
    """Give the pads with three or more picks on them, and these picks' numbers from 1."""
    by_pad: dict[str, list[int]] = defaultdict(list)
    for number, pick in enumerate(picks, 1):
        for pad in pick.pads:
            by_pad[pad].append(number)
    return {pad: numbers for pad, numbers in by_pad.items() if len(numbers) >= 3}


def clusters(picks: Sequence[Pick]) -> list[tuple[list[int], list[str]]]:
    """Give the groups of three or more picks linked by shared pads, with all their pads."""
    groups: list[tuple[list[int], set[str]]] = []
    for number, pick in enumerate(picks, 1):
        numbers, pads = [number], set(pick.pads)
        rest = []
        for group in groups:
            if group[1] & pads:
                numbers, pads = group[0] + numbers, group[1] | pads
            else:
                rest.append(group)
        groups = [*rest, (numbers, pads)]
    return [
        (sorted(numbers), sorted(pads, key=lambda p: (len(p), p)))
        for numbers, pads in groups
        if len(numbers) >= 3
    ]


def _tried(joins, ohm, trials) -> str:
    if trials is None:
        return "not known here"
    made = trials.get(PadPair(joins), ())
    if not made:
        return "never touched"
    stopped = [t for t in made if t.after in STOPS]
    if stopped:
        return f"stopped the toy over {ohms(max(t.path_ohm for t in stopped))}"
    low = min(t.path_ohm for t in made)
    heard = sorted({t.sound for t in made if t.sound != "none"})
    what = ", ".join(heard) if heard else "no change"
    lower = "; never over so little" if low > ohm * 1.05 else ""
    return f"{what}, down to {ohms(low)}{lower}"
