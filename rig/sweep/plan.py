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

    A clean press comes first where it must show whether the toy is itself; then clean takes that
    are wanted, and a freeze that must be seen again. Behind a good clean press come the touches that
    confirm what has waited long enough, each followed by another clean press, and clean presses that
    calibrate them; then each pad's lead alone, and the takes of the toy with one on that loads it;
    then a pair. Every so often, and once no pair is left, a clean press begins another such batch.
    Known bends show in between whether their leads still reach their pads. At the very end each key
    with which nothing was touched is pressed once.

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
    confirms = known.confirms
    wanted = confirms.wanted()
    if known.wants_press:
        return _check(known, wanted)
    first = _next_baseline(known) or known.next_loaded() or known.next_freeze()
    if first:
        return first
    pair = choose()
    if pair and known.project.rig.bench == "by-hand" and _is_over_less(pair, wanted):
        pair = None  # the part between the tips is changed once
    lacks = confirms.to_calibrate(
        [step.target.keys for step in wanted] or known.stimuli, at_last=not wanted
    ) if wanted or not pair else None
    if known.is_ready:
        step = lacks or confirms.oldest(
            (one for one in wanted if known.shows_itself(one) == known.pressed), known.touches
        )
        if step:
            return step
    if known.wants_check:
        return _check(known, wanted, pair)
    step = known.known_bend() or pair
    if step:
        return step
    # With nothing left, how the toy is after the last touch shows at one more press.
    if wanted or lacks or known.under_way:
        return _check(known, wanted)
    return known.known_bend(at_last=True) or known.next_other_key()


def _is_over_less(pair: Step, wanted: list[Step]) -> bool:
    return any(step.series_ohm > pair.series_ohm for step in wanted)


def _check(known: Knowledge, wanted: list[Step], pair: Step | None = None) -> Step:
    """Give a clean press with the keys of what it lies behind, or else of what is to follow."""
    step = known.behind or known.confirms.oldest(wanted, known.touches) or pair
    return clean("check", *(known.shows_itself(step) if step else known.stimuli[0]))


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
    confirming = 2 * known.confirms.left() + known.leads.left(known.confirms)
    return len(known.left) + len(known.froze) + confirming + unheard + len(known.other_keys)
