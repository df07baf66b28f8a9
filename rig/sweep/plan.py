"""Which touches to make: a generator that asks what is known and yields the next one."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from rig.sweep.known import Knowledge
from rig.sweep.steps import Step

Chooser = Callable[[Sequence[Step]], Step]
"""Picks one of the pairs' touches that are due."""


def plan(known: Knowledge, choose: Chooser | None = None) -> Iterator[Step]:
    """Yield the next touch for as long as there is one; asks `known` afresh each time.

    Parameters
    ----------
    known : Knowledge
    choose : callable, optional
        Picks the next pair's touch; without it they come in the order of `known.steps`.
    """
    for step in _plan(known, choose):
        known.under_way.append(step)
        yield step


def _plan(known: Knowledge, choose: Chooser | None) -> Iterator[Step]:
    yield from baselines(known)
    while True:
        for step in _pairs(known, choose):
            yield from baselines(known)
            while again := known.next_confirm():
                yield again
            if known.wants_check:
                yield Step("check", step.key)
            while known.check_lost:
                yield Step("check", step.key)
            yield step
        while again := known.next_confirm():
            yield again
        if not known.under_way and not known.check_lost:
            return
        # How the toy is after the last touch shows at one more press.
        yield Step("check", known.project.sweep_keys[0])


def _pairs(known: Knowledge, choose: Chooser | None) -> Iterator[Step]:
    """Yield the pairs' touches that are due, until there is none."""
    if choose is None:
        for step in known.steps:
            while known.is_due(step):
                yield step
        return
    while due := [step for step in known.left if known.is_due(step)]:
        yield choose(due)


def baselines(known: Knowledge) -> Iterator[Step]:
    """Yield clean presses while more of them are wanted."""
    for key in known.project.sweep_keys:
        while _wants_baseline(known, key):
            yield Step("baseline", key)


def _wants_baseline(known: Knowledge, key: str) -> bool:
    """More clean takes while there are too few, or some phrase was heard only once."""
    usual = known.project.rig.sweep.baseline_takes
    enough = usual + known.more_takes[key]
    made = known.clean_takes[key] + known.under_way.count(Step("baseline", key))
    return made < enough or (known.heard_once[key] > 0 and made < 2 * usual)


def touches_left(known: Knowledge) -> int:
    """Count the touches that are known to be due; hits to come will add to them."""
    clean = sum(
        max(0, known.project.rig.sweep.baseline_takes - known.clean_takes[key])
        for key in known.project.sweep_keys
    )
    return len(known.left) + len(known.confirms) + clean
