"""Touches that measure what is kept: each pick over all values, down and up again; and several picks
at once.

They are a plan like that of the sweep, made by the same run: a good clean press, a touch, a good
clean press, and so on.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from rig.bench import Connection
from rig.log.records import CONTROL
from rig.project import Project, path_ohm
from rig.project.closing import refusal
from rig.sweep.known import Knowledge
from rig.sweep.steps import Step, clean
from rig.touches import Target

TIMES = 2
"""So often each value is touched on each way."""
TOGETHER_TIMES = 3
"""So often picks are tried together."""
MOST_VALUES = 16
"""Over so many values a pick is measured, at most."""
APART = 1.05
"""Paths closer than this, as a ratio, are one: ordinary resistors are 5 % parts."""
WIDE = 1.5
"""Where neighbouring paths are farther apart, as a ratio, one is sought between them."""


@dataclass(frozen=True)
class Wanted:
    """What is to be measured.

    Parameters
    ----------
    pads : tuple of str
        Two pads.
    keys : tuple of str
        Pressed together.
    """

    pads: tuple[str, str]
    keys: tuple[str, ...]


def measured_ohm(project: Project) -> list[float]:
    """Give the values of the bank that are measured over, ohms, from the highest down.

    Those swept over, the bank's others above the least of them, and what channels make side by side
    where two paths are far apart; by hand those between the tips, and the person's own resistors that
    lie between these.
    """
    rig = project.rig
    swept = rig.swept_ohm
    if rig.bench == "by-hand":
        drawer = rig.parts.resistors_ohm or []
        others = [ohm for ohm in drawer if min(swept) < ohm < max(swept)]
    else:
        others = [ohm for ohm in rig.series_ohm if ohm > min(swept)]
    values = sorted(set(swept))
    for ohm in sorted(others):
        if len(values) < MOST_VALUES and _is_apart(project, ohm, values):
            values.append(ohm)
    _fill(project, values, rig.tried_ohm)
    return sorted(values, reverse=True)


def _is_apart(project: Project, ohm: float, values: Iterable[float]) -> bool:
    return all(_ratio(project, ohm, other) >= APART for other in values)


def _ratio(project: Project, one_ohm: float, other_ohm: float) -> float:
    one, other = path_ohm(project.rig, one_ohm), path_ohm(project.rig, other_ohm)
    return max(one, other) / max(1.0, min(one, other))


def _fill(project: Project, values: list[float], made: Iterable[float]) -> None:
    """Add what channels make, where neighbours are far apart: the nearest to their middle."""
    left = [ohm for ohm in made if _is_apart(project, ohm, values)]
    while len(values) < MOST_VALUES:
        values.sort()
        best: tuple[float, float] | None = None
        for low, high in pairwise(values):
            whole = _ratio(project, low, high)
            for ohm in left if whole > WIDE else ():
                if low < ohm < high and _is_apart(project, ohm, (low, high)):
                    wider = max(_ratio(project, low, ohm), _ratio(project, ohm, high))
                    best = max(best or (0.0, ohm), (whole / wider, ohm))
        if best is None:
            return
        values.append(best[1])
        left.remove(best[1])


def pick_steps(project: Project, wanted: Sequence[Wanted], times: int = TIMES) -> list[Step]:
    """Give the touches that measure some picks, in the order in which they are made.

    A rig goes through one pick after the other, `times` down and up again. By hand all picks come over
    one value before the part between the tips is changed.
    """
    values = measured_ohm(project)
    way = [(ohm, "down") for ohm in values] + [(ohm, "up") for ohm in reversed(values)]
    rounds = [one for _ in range(times) for one in way]
    if project.rig.bench == "by-hand":
        order = [(one, *spot) for spot in rounds for one in wanted]
    else:
        order = [(one, *spot) for one in wanted for spot in rounds]
    steps = [Step(CONTROL, Target.pair(*one.pads, ohm, *one.keys), way) for one, ohm, way in order]
    allowed = {step: refusal(project, step.target.connections) is None for step in dict.fromkeys(steps)}
    return [step for step in steps if allowed[step]]


def together_target(
    project: Project, closed: Sequence[tuple[tuple[str, ...], tuple[str, ...], float]], key: str
) -> Target | None:
    """Give the touch that joins pads over the values nearest to some paths; None where it may not be.

    Parameters
    ----------
    project : Project
    closed : sequence of (pads, pads, path_ohm)
        Pads joined to pads, and over which path, ohms.
    key : str
        "" for none pressed.
    """
    values = project.rig.tried_ohm
    connections = tuple(
        Connection(one, other, min(values, key=lambda ohm: _beside(project, ohm, path)))
        for one, other, path in closed
    )
    if refusal(project, connections) is not None:
        return None
    return Target(connections, tuple(key.split("+")) if key else ())


def _beside(project: Project, series_ohm: float, wanted_ohm: float) -> float:
    path = path_ohm(project.rig, series_ohm)
    return max(path / wanted_ohm, wanted_ohm / max(1.0, path))


def together_steps(targets: Iterable[Target]) -> list[Step]:
    """Give the touches that try picks together, each so often that a freeze by chance shows."""
    return [Step(CONTROL, one) for one in targets for _ in range(TOGETHER_TIMES)]


def measuring(known: Knowledge, steps: Sequence[Step]) -> Iterator[Step]:
    """Yield the next touch for as long as there is one; asks `known` afresh each time."""
    while step := _next(known, steps):
        known.under_way.append(step)
        yield step


def _next(known: Knowledge, steps: Sequence[Step]) -> Step | None:
    between = known.measured.between
    under_way = next((one for one in known.under_way if not one.is_clean), None)
    before = under_way or (between.waiting.step if between.waiting is not None else None)
    if before is not None:
        return clean(CONTROL, *known.shows_itself(before))
    step = next(_due(known, steps), None)
    if step is None:
        return None
    keys = known.shows_itself(step)
    if known.doubts.wanted or not between.ready or known.pressed != keys:
        return clean(CONTROL, *keys)
    return step


def _due(known: Knowledge, steps: Iterable[Step]) -> Iterator[Step]:
    """Give the touches that the log doesn't have yet, above all that stopped the toy."""
    told: Counter[Step] = Counter()
    for step in steps:
        told[step] += 1
        if told[step] > known.measured.made.get(step, 0) and known.measured.may(step):
            yield step


def touches_to_measure(known: Knowledge, steps: Sequence[Step]) -> int:
    """Count the touches that are still to be made, with the clean presses between them."""
    return 2 * sum(1 for _ in _due(known, steps))
