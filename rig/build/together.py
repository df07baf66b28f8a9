"""Two picks on at once: what is known of that, and a wiring that keeps apart what stops the toy."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from rig.build.evidence import Trials, stopped_ohm
from rig.build.pieces import Fitted
from rig.build.series import TOLERANCE
from rig.log import Record
from rig.pads import in_order, letter_order, name_of
from rig.project import Project, path_ohm
from rig.project.closing import Closing, refusal
from rig.words import ohms

Verdict = Literal["safe", "freezes", "not known"]
TRIES = 2
"""So often two picks must have been on together before they are called safe."""
AS_HARD = 1.15
"""A try counts where its paths are no more than this above those that are fitted, as a ratio."""
FAR_BELOW = 0.85
"""And a stop, where they are no less than this of them."""

Spans = dict[frozenset[str], float]
"""Path by the pads of a connection, ohms."""
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
        The touch that tries them: "A-B / C-D", or "F+G-C" for two that share C. There the one resistance
        between the buses is that of the lower path, and F and G are joined by their leads alone, which
        is less than the controls let them be.
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

    @property
    def joint(self) -> str:
        """Name the touch that tries them, in the letters' order."""
        return _joint(self.closed)


@dataclass(frozen=True)
class Try:
    """Pads that were joined at once, over which paths, and whether that stopped the toy."""

    spans: Spans
    stopped: bool


def tries_by_name(records: Iterable[Record], project: Project) -> dict[str, list[Try]]:
    """Gather the touches of several pads at once that count, by their name in the letters' order."""
    found: dict[str, list[Try]] = {}
    for one in records:
        target = one.target
        if not one.counts or target.is_clean or target.is_lone or len(target.pads) == 2:
            continue
        spans = {
            frozenset(c.pads_1 + c.pads_2): path_ohm(project.rig, c.series_ohm)
            for c in target.connections
        }
        found.setdefault(target.in_order().name, []).append(Try(spans, one.stops))
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
    tries = tries_by_name(records, project)
    found = []
    for (one, mine), (other, theirs) in combinations(zip(built, keys, strict=True), 2):
        common = set(one.pick.pads) & set(other.pick.pads)
        if len(common) == 2:
            continue
        both = dict.fromkeys((*mine, *theirs))
        found.append(_judged(project, one, other, tuple(both), trials, tries))
    return found


def _judged(
    project: Project, one: Fitted, other: Fitted, keys: tuple[str, ...], trials: Trials,
    tries: dict[str, list[Try]],
) -> Combination:
    pairs, paths = (one.pick.pair, other.pick.pair), (one.ohm, other.ohm)
    common = next(iter(set(one.pick.pads) & set(other.pick.pads)), "")
    joins: tuple[str, str] | None = None
    closed: tuple[Closed, ...]
    if common:
        pad_1, pad_2 = sorted({*one.pick.pads, *other.pick.pads} - {common}, key=letter_order)
        joins, closed = (pad_1, pad_2), (((pad_1, pad_2), (common,), min(paths)),)
    else:
        closed = tuple(((f.pick.pads[0],), (f.pick.pads[1],), f.ohm) for f in (one, other))
    made = tries.get(_joint(closed), [])
    verdict, told = _verdict(made, {frozenset(a + b): ohm for a, b, ohm in closed})
    if joins and (stop := _joined_stop(trials, joins, sum(paths))):
        verdict, told = "freezes", stop
    if verdict == "not known" and not made and (why := cannot(project, closed)):
        told = f"this bench can't try it: {why}"
    return Combination(
        first=one.number, second=other.number, pairs=pairs, keys=keys, paths_ohm=paths, closed=closed,
        joins=joins, verdict=verdict, told=told, wiring=_wiring(verdict, pairs, common),
    )


def _joint(closed: Sequence[Closed]) -> str:
    return name_of(in_order(tuple((one, other) for one, other, _ in closed)))


def _verdict(made: Sequence[Try], asked: Spans) -> tuple[Verdict, str]:
    """Say what the tries show of some paths, ohms."""
    stops = [one for one in made if one.stopped
             and all(one.spans.get(pads, 0.0) >= FAR_BELOW * ohm for pads, ohm in asked.items())]  # fmt: skip
    if stops:
        return "freezes", f"it stopped the toy when it was tried, over {_spans(stops[0].spans)}"
    alive = [one for one in made if not one.stopped
             and all(one.spans.get(pads, ohm * 9) <= AS_HARD * ohm for pads, ohm in asked.items())]  # fmt: skip
    if len(alive) >= TRIES:
        return "safe", f"tried {len(alive)} times over {_spans(alive[0].spans)}"
    if made:
        return "not known", f"tried, but not over so little: {_spans(made[0].spans)}"
    return "not known", "never tried"


def _spans(spans: Spans) -> str:
    return " and ".join(ohms(ohm) for ohm in spans.values())


def _joined_stop(trials: Trials, joins: tuple[str, str], ohm: float) -> str:
    """Say that two pads that are joined stop the toy, joined through so much; "" where they don't."""
    stopped = stopped_ohm(trials.get("-".join(joins), ()))
    if stopped is None or ohm * (1 - TOLERANCE) > stopped:
        return ""
    return f"it joins {joins[0]} and {joins[1]} over {ohms(ohm)}, and over {ohms(stopped)} they stopped the toy"


def cannot(project: Project, closed: Sequence[Closed]) -> str:
    """Say why a bench can't join pads so, over any value; "" where it can."""
    whys = [
        refusal(project, [Closing(one, other, ohm) for one, other, _ in closed])
        for ohm in project.rig.swept_ohm
    ]
    return "" if None in whys else whys[0] or ""


def _wiring(verdict: Verdict, pairs: tuple[str, str], common: str) -> str:
    if verdict != "freezes":
        return ""
    if common:
        return (f"Fit both as one changeover switch with off in the middle, {common} on its middle lug, "
                "so that only one can be on.")  # fmt: skip
    return (f"Take a changeover switch with two poles, off in the middle: {pairs[0]} through one pole, to "
            f"one side, {pairs[1]} through the other, to the other side, so that only one can be on.")  # fmt: skip
