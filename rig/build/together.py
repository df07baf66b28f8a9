"""Two picks on at once: what is known of that, and a wiring that keeps apart what stops the toy."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from math import log
from typing import Literal

import numpy as np

from rig.build.evidence import Trials, stop_over, stopped_ohm
from rig.build.pieces import Fitted
from rig.build.series import TOLERANCE
from rig.log import Record
from rig.pads import letter_order
from rig.project import Project, path_ohm
from rig.project.closing import Closing, refusal
from rig.words import ohms

Verdict = Literal["safe", "freezes", "not known"]
TRIES = 2
"""So often two picks must have been on together before they are called safe."""
AS_HARD = 1.15
"""A try shows that they are safe where each two pads were joined over no more than this of what the
controls come to, as a ratio."""
NOT_HARDER = 0.85
"""And that they stop the toy where over no less than this of it."""

NEARLY_NOTHING_OHM = 1e-3
Spans = dict[frozenset[str], float]
"""The resistance between two pads that are joined, by these, ohms."""
Closed = tuple[tuple[str, ...], tuple[str, ...], float]
"""Pads that a touch joins to pads, and over which path, ohms."""


@dataclass(frozen=True, kw_only=True)
class Combination:
    """Two picks whose controls are on at once.

    Parameters
    ----------
    first, second : int
        Their numbers, from 1.
    pairs : (str, str)
    keys : tuple of str
        Of both.
    paths_ohm : (float, float)
        The least resistance through each control, ohms.
    closed : tuple of Closed
        The touch that would try them: "A-B / C-D", or of three pads two on one bus and one on the
        other; empty where this bench can't.
    joins : (str, str) or None
        Pads that they join through one that they share.
    verdict : str
    told : str
        What that rests on.
    wiring : str
        How to wire them so that only one can be on, where they stop the toy; else "".
    """

    first: int
    second: int
    pairs: tuple[str, str]
    keys: tuple[str, ...]
    paths_ohm: tuple[float, float]
    closed: tuple[Closed, ...]
    joins: tuple[str, str] | None
    verdict: Verdict
    told: str
    wiring: str = ""


@dataclass(frozen=True)
class Try:
    """Which pads a touch joined, two by two, over which paths; and whether it stopped the toy."""

    spans: Spans
    stopped: bool


def spans_of(project: Project, closed: Iterable[Closed]) -> Spans:
    """Give what resistors between each two pads would do the same as a touch, ohms.

    Pads on one bus share what is between the buses, so each is joined over more than its path; the
    buses are taken out of the network as a star is turned into a triangle (Kron reduction).
    """
    lead = path_ohm(project.rig, 0.0) / 2
    found: Spans = {}
    for pads_1, pads_2, ohm in closed:
        pads = (*pads_1, *pads_2)
        buses = len(pads), len(pads) + 1
        joined = [(n, buses[n >= len(pads_1)], lead) for n in range(len(pads))]
        joined.append((*buses, max(ohm - 2 * lead, NEARLY_NOTHING_OHM)))
        nodes = np.zeros((len(pads) + 2, len(pads) + 2))
        for one, other, between in joined:
            nodes[one, other] = nodes[other, one] = -1 / max(between, NEARLY_NOTHING_OHM)
        np.fill_diagonal(nodes, -nodes.sum(axis=1))
        ours, theirs = slice(None, len(pads)), slice(len(pads), None)
        left = nodes[ours, ours] - nodes[ours, theirs] @ np.linalg.solve(
            nodes[theirs, theirs], nodes[theirs, ours])  # fmt: skip
        found |= {frozenset((pads[a], pads[b])): float(-1 / left[a, b])
                  for a, b in combinations(range(len(pads)), 2)}  # fmt: skip
    return found


def tries_of(records: Iterable[Record], project: Project) -> list[Try]:
    """Gather the touches of three pads and more that count."""
    found = []
    for one in records:
        target = one.target
        if one.counts and len(target.pads) > 2:
            closed = [(c.pads_1, c.pads_2, path_ohm(project.rig, c.series_ohm)) for c in target.connections]
            found.append(Try(spans_of(project, closed), one.stops))
    return found


def combine(
    project: Project, built: Sequence[Fitted], keys: Sequence[Sequence[str]], trials: Trials,
    records: Iterable[Record],
) -> list[Combination]:
    """Give every two picks that get a control, with what is known of both on at once.

    Parameters
    ----------
    project : Project
    built : sequence of Fitted
    keys : sequence of sequence of str
        The keys whose sounds count, of each.
    trials : mapping
        What was seen of each pair.
    records : iterable of Record
        Of the whole sweep.
    """
    tries = tries_of(records, project)
    return [
        _judged(project, (one, other), tuple(dict.fromkeys((*mine, *theirs))), trials, tries)
        for (one, mine), (other, theirs) in combinations(zip(built, keys, strict=True), 2)
        if one.pick.pair != other.pick.pair
    ]


@dataclass(frozen=True)
class Known:
    """What tries have shown of two controls on at once.

    Parameters
    ----------
    verdict : str
    told : str
        What that rests on.
    wiring : str
        As of a `Combination`.
    """

    verdict: Verdict
    told: str
    wiring: str


def known_of(one: Fitted, other: Fitted, tries: Sequence[Try]) -> Known:
    """Say what tries of just their pads have shown of two controls on at once."""
    both = one, other
    asked, _, common = _asked(both)
    verdict, told = _verdict(tries, asked)
    return Known(verdict, told, _wiring(verdict, both, common))


def _asked(both: tuple[Fitted, Fitted]) -> tuple[Spans, tuple[str, str] | None, str]:
    """Give over what two controls join which pads, what they join through a pad of both, and that pad."""
    one, other = both
    common = next(iter(set(one.pick.pads) & set(other.pick.pads)), "")
    asked = {frozenset(each.pick.pads): each.ohm for each in both}
    joins: tuple[str, str] | None = None
    if common:
        pad_1, pad_2 = sorted({*one.pick.pads, *other.pick.pads} - {common}, key=letter_order)
        joins = pad_1, pad_2
        asked[frozenset(joins)] = one.ohm + other.ohm
    return asked, joins, common


def _judged(
    project: Project, both: tuple[Fitted, Fitted], keys: tuple[str, ...], trials: Trials,
    tries: Sequence[Try],
) -> Combination:
    one, other = both
    asked, joins, common = _asked(both)
    verdict, told = _verdict(tries, asked)
    if joins and (stop := _stop_of(trials, joins, one.ohm + other.ohm)):
        verdict = "freezes"
        told = (f"it joins {joins[0]} and {joins[1]} over {ohms(one.ohm + other.ohm)}, and over "
                f"{ohms(stop)} they stopped the toy")  # fmt: skip
    if verdict == "not known" and joins and (lived := _lived_alone(trials, both, joins, asked)):
        verdict, told = "safe", lived
    closed, why = _touch(project, both, asked, trials)
    if verdict == "not known" and why:
        told = f"this bench can't try it, {why}"
    return Combination(
        first=one.number, second=other.number, pairs=(one.pick.pair, other.pick.pair), keys=keys,
        paths_ohm=(one.ohm, other.ohm), closed=closed, joins=joins, verdict=verdict, told=told, wiring=_wiring(verdict, both, common),
    )


def _verdict(tries: Sequence[Try], asked: Spans) -> tuple[Verdict, str]:
    """Say what those of some tries that are of the same pads show of some paths, ohms."""
    made = [one for one in tries if one.spans.keys() == asked.keys()]
    stops = [one for one in made if one.stopped]
    if any(all(one.spans[two] >= NOT_HARDER * ohm for two, ohm in asked.items()) for one in stops):
        return "freezes", "it stopped the toy when it was tried"
    alive = [one for one in made if not one.stopped
             and all(one.spans[two] <= AS_HARD * ohm for two, ohm in asked.items())]  # fmt: skip
    if stops:
        return "not known", "it stopped the toy where the rig joined the pads harder than they would be"
    if len(alive) >= TRIES:
        return "safe", f"tried {len(alive)} times"
    return "not known", "tried, but not over so little" if made else "never tried"


def _stop_of(trials: Trials, pads: Iterable[str], ohm: float) -> float | None:
    """Give over how much two pads stopped the toy, where so much or less would do it too, ohms."""
    return stop_over(trials.get("-".join(sorted(pads, key=letter_order)), ()), ohm)


def _lived_alone(
    trials: Trials, both: tuple[Fitted, Fitted], joins: tuple[str, str], asked: Spans
) -> str:
    """Say that each two of three pads lived over as little as both controls come to; "" where not.

    Two that pull at one pad pull at it no harder than either would with both resistances side by side.
    """
    one, other = both
    side_by_side = 1 / (1 / one.ohm + 1 / other.ohm)
    needed = {one.pick.pair: side_by_side, other.pick.pair: side_by_side,
              "-".join(joins): asked[frozenset(joins)]}  # fmt: skip
    for pair, ohm in needed.items():
        made = trials.get(pair, ())
        stop = stopped_ohm(made) or 0.0
        if not any(stop < t.path_ohm <= ohm * (1 - TOLERANCE) for t in made):
            return ""
    return f"never tried as one, but each two of the three lived over {ohms(side_by_side)}, as little as both"


def _touch(
    project: Project, both: tuple[Fitted, Fitted], asked: Spans, trials: Trials
) -> tuple[tuple[Closed, ...], str]:
    """Give the touch that comes nearest to two controls at once, or why there is none.

    Two that share no pad are two connections. Of three pads two are on one bus, joined by their leads
    alone, and the third is on the other: whichever joins all as hard as the controls do, and comes
    nearest to the three paths. None joins two so that they stop the toy by themselves.
    """
    rig = project.rig
    if rig.bench == "by-hand":
        return (), "two tips bridge two pads"
    pads = sorted(set().union(*asked), key=letter_order)
    options: list[list[Closed]] = []
    if len(asked) == 2:
        near = [min(rig.tried_ohm, key=lambda ohm: _apart(path_ohm(rig, ohm), one.ohm)) for one in both]
        options.append([((p,), (q,), path_ohm(rig, ohm))
                        for ohm, (p, q) in zip(near, (one.pick.pads for one in both), strict=True)])  # fmt: skip
    else:
        options += [
            [(tuple(pad for pad in pads if pad != lone), (lone,), path_ohm(rig, ohm))]
            for lone, ohm in product(pads, rig.tried_ohm)
        ]
    least = path_ohm(rig, 0.0)
    why = ""
    best: tuple[bool, float, tuple[Closed, ...]] | None = None
    for option in options:
        spans = spans_of(project, option)
        refused = refusal(project, [Closing(one, other, ohm - least) for one, other, ohm in option])
        if refused:
            why = why or refused
        elif any(_stop_of(trials, two, ohm) for two, ohm in spans.items()):
            why = "since two of the pads stop the toy by themselves over what it can join them with"
        else:
            is_softer = any(spans[two] > AS_HARD * ohm for two, ohm in asked.items())
            apart = sum(_apart(spans[two], ohm) for two, ohm in asked.items())
            mine = is_softer, apart, tuple(option)
            best = min(best or mine, mine)
    return ((), why) if best is None else (best[2], "")


def _apart(one_ohm: float, other_ohm: float) -> float:
    return abs(log(max(one_ohm, 1.0) / max(other_ohm, 1.0)))


def _wiring(verdict: Verdict, both: tuple[Fitted, Fitted], common: str) -> str:
    if verdict != "freezes":
        return ""
    if common:
        return (f"Fit both as one changeover switch with off in the middle, {common} on its middle lug, "
                "so that only one can be on.")  # fmt: skip
    one, other = (each.pick.pair for each in both)
    return (f"Take a changeover switch with two poles, off in the middle: {one} through one pole, to one "
            f"side, {other} through the other, to the other side, so that only one can be on.")  # fmt: skip
