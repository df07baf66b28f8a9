"""Picks that share a pad: what else their controls join when both are on."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import scipy

from rig.build.evidence import Trial, Trials, stop_over, stopped_ohm
from rig.choose.picks import Pick
from rig.pads import letter_order
from rig.words import ohms


@dataclass(frozen=True, kw_only=True)
class Joint:
    """Two picks (numbered from 1) whose controls, both on, join two other pads.

    `ohm` is the least resistance through both controls; `tried` says what the sweep knows, and
    `stops` whether that means that the toy stops.
    """

    first: int
    second: int
    pad: str
    joins: tuple[str, str]
    ohm: float
    tried: str
    stops: bool = False


def joints(
    picks: Sequence[Pick],
    fixed_ohm: Sequence[float],
    trials: Trials | None,
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
        pad_1, pad_2 = sorted((set(one.pads) | set(other.pads)) - {pad}, key=letter_order)
        joins = pad_1, pad_2
        ohm = fixed_ohm[i] + fixed_ohm[j]
        made = (trials or {}).get("-".join(joins), ())
        tried = _tried(made, ohm) if trials is not None else "not known here"
        found.append(Joint(
            first=i + 1, second=j + 1, pad=pad, joins=joins, ohm=ohm, tried=tried,
            stops=stop_over(made, ohm) is not None,
        ))
    return found


def far_stops(
    picks: Sequence[Pick], fixed_ohm: Sequence[float], trials: Trials | None
) -> list[tuple[str, str, str]]:
    """Give the pads that three or more controls join, all on, where that will stop the toy.

    Parameters
    ----------
    picks : sequence of Pick
        Linked by shared pads.
    fixed_ohm, trials
        As for `joints`.

    Returns
    -------
    list of (pad, pad, what is known)
    """
    pads = sorted({pad for pick in picks for pad in pick.pads}, key=letter_order)
    links = np.zeros((len(pads), len(pads)))
    for pick, ohm in zip(picks, fixed_ohm, strict=True):
        one, other = map(pads.index, pick.pads)
        links[one, other] = links[other, one] = ohm
    through = scipy.sparse.csgraph.shortest_path(links, directed=False)
    steps = scipy.sparse.csgraph.shortest_path(links > 0, directed=False, unweighted=True)
    return [
        (pads[a], pads[b], _tried(made, through[a, b]))
        for a, b in combinations(range(len(pads)), 2)
        if steps[a, b] > 2
        and stop_over(made := (trials or {}).get(f"{pads[a]}-{pads[b]}", ()), through[a, b]) is not None
    ]


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
        (sorted(numbers), sorted(pads, key=letter_order))
        for numbers, pads in groups
        if len(numbers) >= 3
    ]


def _tried(made: Sequence[Trial], ohm: float) -> str:
    if not made:
        return "never touched"
    stopped, low = stopped_ohm(made), min(t.path_ohm for t in made)
    lower = "; never over so little" if low > ohm * 1.05 else ""
    if stopped is not None:
        return f"stopped the toy over {ohms(stopped)}"
    heard = sorted({t.sound for t in made if t.heard and t.sound != "none"})
    what = ", ".join(heard) if heard else "no change"
    return f"{what}, down to {ohms(low)}{lower}"
