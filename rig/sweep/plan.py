"""Which touches to make: a generator that asks what is known and yields the next one."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from rig.sweep.known import Knowledge
from rig.sweep.order import next_pair
from rig.sweep.steps import Step, clean

Chooser = Callable[[], Step | None]
"""Picks one of the pairs' touches that are due, if there is one."""


def plan(known: Knowledge, choose: Chooser | None = None) -> Iterator[Step]:
    """Yield the next touch for as long as there is one; asks `known` afresh each time.

    Clean takes that are wanted come first, then hits that must be heard again, then a clean press
    where one must show that the baseline still holds, then a pair.

    Parameters
    ----------
    known : Knowledge
    choose : callable, optional
        Picks the next pair's touch; without it `next_pair` does, for a rig.
    """
    choose = choose or partial(next_pair, known, path_first=False)
    while step := _next(known, choose):
        known.under_way.append(step)
        yield step


def _next(known: Knowledge, choose: Chooser) -> Step | None:
    first = _next_baseline(known) or known.next_confirm()
    if first:
        return first
    pair = choose()
    check = clean("check", *((pair and pair.target.keys) or known.stimuli[0]))
    if known.wants_check or known.check_lost:
        return check
    # With nothing left, how the toy is after the last touch shows at one more press.
    return pair or (check if known.under_way else None)


def _next_baseline(known: Knowledge) -> Step | None:
    """Give a clean press while more of them are wanted."""
    steps = (clean("baseline", *keys) for keys in known.stimuli)
    return next((step for step in steps if _is_wanted(known, step)), None)


def _is_wanted(known: Knowledge, step: Step) -> bool:
    """More clean takes while there are too few, or some phrase was heard only once."""
    key = step.key
    usual = known.project.rig.sweep.baseline_takes
    enough = usual + known.more_takes[key]
    made = known.clean_takes[key] + known.under_way.count(step)
    return made < enough or (known.heard_once[key] > 0 and made < 2 * usual)


def touches_left(known: Knowledge) -> int:
    """Count the touches that are known to be due; hits to come will add to them."""
    takes = known.project.rig.sweep.baseline_takes
    unheard = sum(
        max(0, takes - known.clean_takes[clean("baseline", *keys).key]) for keys in known.stimuli
    )
    return len(known.left) + len(known.confirms) + unheard
