"""How a sweep stands, in sentences: is it done, does the toy live, what is doubtful or untouched."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import combinations
from typing import Any

from rig.choose.summary import tally_words, unsure_of
from rig.choose.tally import tally
from rig.events import (
    BaselineDoubted,
    BendSeen,
    Event,
    FreezeSeen,
    Noticed,
    Progress,
    Recovered,
    Retried,
    SetAside,
    StillSupplied,
    SweepDone,
    SweepLeft,
    SweepPaused,
    SweepStarted,
    TakeLost,
    ToyGone,
)
from rig.outcomes import sound_words
from rig.page.night import Seen
from rig.project import Project
from rig.project.electrical import touchable
from rig.words import duration, over_path

QUIET_S = 180.0
"""A sweep that has told nothing for so long was most likely ended from outside."""
PACE = 200
"""Touches by which the pace is told."""
ENDS = (SweepDone, SweepLeft, SweepPaused)
Told = dict[str, Any]


def standing(
    project: Project, name: str, seen: Seen, events: Sequence[Event], now: datetime | None = None
) -> Told:
    """Say how a sweep stands.

    Parameters
    ----------
    project : Project
    name : str
        The sweep's.
    seen : Seen
    events : sequence of Event
        All of them, in order.
    now : datetime, optional
        The time of now, UTC.

    Returns
    -------
    dict
        `state` ("none", "running", "quiet", "done", "left", "paused"), `said`, `alive` (is the toy,
        with `well`), `tally`, `doubts` and `untouched` (sentences), `progress`.
    """
    now = now or datetime.now(UTC)
    state, said = _state(project, name, events, now)
    alive, well = _alive(events, state)
    return {
        "state": state, "said": said, "alive": alive, "well": well,
        "tally": _tally(project, seen, events), "doubts": _doubts(project, seen, events),
        "untouched": _untouched(project, seen), "progress": progress(events, now),
    }  # fmt: skip


def _state(
    project: Project, name: str, events: Sequence[Event], now: datetime
) -> tuple[str, str]:
    last = next((one for one in reversed(events) if isinstance(one, (SweepStarted, *ENDS))), None)
    again = f"padsweep sweep --project {project.folder}" + ("" if name == "main" else f" --name {name}")
    if last is None:
        return "none", f"Nothing was swept yet. `{again}` begins."
    if isinstance(last, SweepDone):
        begun = next(one for one in events if one.at)
        over = duration(max(0.0, (_time(last) - _time(begun)).total_seconds()))
        return "done", f"The sweep is done: {last.touches:,} touches, {over} from first to last."
    if isinstance(last, SweepLeft):
        return "left", f"It was left after {last.touches:,} touches. `{again}` goes on."
    if isinstance(last, SweepPaused):
        return "paused", f"It is paused: {last.why}. `{again}` goes on."
    quiet_s = (now - _time(events[-1])).total_seconds()
    if quiet_s > QUIET_S:
        return "quiet", (f"It has told nothing for {duration(quiet_s)}, and not that it ended. "
                         f"`{again}` goes on, if nothing else runs it.")
    return "running", "The sweep is running."


def _alive(events: Sequence[Event], state: str) -> tuple[str, bool]:
    """Say whether the toy lives, and whether that is well."""
    supplied: StillSupplied | None = None
    gone: ToyGone | None = None
    frozen: FreezeSeen | None = None
    for one in events:
        if isinstance(one, SweepStarted):
            supplied = gone = frozen = None
        elif isinstance(one, StillSupplied):
            supplied = one
        elif isinstance(one, ToyGone):
            gone = one
        elif isinstance(one, FreezeSeen):
            frozen = one
        elif isinstance(one, (Recovered, SweepDone)):
            gone = frozen = None
    if supplied is not None:
        return f"The toy may still be supplied: {supplied.why}", False
    if gone is not None:
        return f"The toy no longer answers {gone.key or 'its keys'}.", False
    if frozen is not None and state == "running":
        return f"{frozen.name} froze the toy; it is being brought back.", True
    if state == "none":
        return "", True
    return "The toy answers." if state == "running" else "The toy answered to the last.", True


def _tally(project: Project, seen: Seen, events: Sequence[Event]) -> str:
    if not seen.records:
        return ""
    back = {one.touch for one in events if isinstance(one, Recovered) and one.touch is not None}
    told = tally(seen.records, seen.found, back)
    return tally_words(told, project.rig.sweep.false_discovery)


def _doubts(project: Project, seen: Seen, events: Sequence[Event]) -> list[str]:
    """Tell what is doubtful: what the sweep noticed, what was set aside, what can't be told."""
    told = []
    unsure = unsure_of(seen.p_values, project.rig.sweep.false_discovery)
    if unsure:
        told.append(f"{unsure}.")
    retried = max((one.id for one in events if isinstance(one, Retried)), default=0)
    aside = {one.plan_key: one for one in events if isinstance(one, SetAside) and one.id > retried}
    told += [f"Set aside: {one.what}: {one.why}" for one in aside.values()]
    begun = max((one.id for one in events if isinstance(one, SweepStarted)), default=0)
    told += dict.fromkeys(
        one.text for one in events if isinstance(one, Noticed) and one.id > begun)
    lost = sum(isinstance(one, TakeLost) for one in events)
    if lost:
        told.append(_count(lost, "take was", "takes were") + " lost and made again.")
    odd = sum(isinstance(one, BaselineDoubted) for one in events)
    if odd:
        told.append("The toy didn't sound like itself in "
                    + _count(odd, "press", "presses") + " with nothing bridged.")
    return told


def _untouched(project: Project, seen: Seen) -> Told:
    """Give the pairs that may be touched and were not, and how many may not."""
    made = set(seen.touched)
    pads = [pad for pad, facts in project.toy.pads.items() if not facts.forbidden]
    pairs, refused = [], 0
    for one, other in combinations(pads, 2):
        if f"{one}-{other}" in made:
            continue
        if all(touchable(project, (one,), (other,), ohm) for ohm in project.rig.swept_ohm):
            refused += 1
        else:
            pairs.append(f"{one}-{other}")
    return {"pairs": pairs, "refused": refused}


def progress(events: Sequence[Event], now: datetime | None = None) -> Told | None:
    """Say how far a sweep is; None before its first touch.

    Returns
    -------
    dict or None
        `done` of `planned` touches, `what` was touched last, and `left_s`: the rest at the pace of
        the last touches, None where that isn't known.
    """
    made: list[Progress] = []
    for one in reversed(events):
        if isinstance(one, SweepStarted) or len(made) == PACE:
            break
        if isinstance(one, Progress):
            made.append(one)
    if not made:
        return None
    last, first = made[0], made[-1]
    taken_s = (_time(last) - _time(first)).total_seconds()
    each_s = taken_s / (last.done - first.done) if last.done > first.done else None
    left_s = None if each_s is None else each_s * max(0, last.planned - last.done)
    return {"done": last.done, "planned": last.planned, "what": last.what, "left_s": left_s,
            "left": "" if left_s is None else duration(left_s)}  # fmt: skip


def news(one: Event) -> Told | None:
    """Give an event as a line of what happens, None where it isn't worth one."""
    kind, text = "note", ""
    if isinstance(one, BendSeen):
        told = sound_words(one.sound, one.amount, one.unit)
        kind, text = "bend", f"{one.name}{over_path(one.path_ohm)}: {told}"
    elif isinstance(one, FreezeSeen):
        kind, text = "stop", f"{one.name}{over_path(one.path_ohm)}: freezes the toy"
    elif isinstance(one, Noticed):
        text = one.text
    elif isinstance(one, SetAside):
        text = f"set aside: {one.what}: {one.why}"
    elif isinstance(one, ToyGone):
        kind, text = "stop", f"the toy no longer answers {one.key or 'its keys'}"
    elif isinstance(one, StillSupplied):
        kind, text = "stop", f"the toy may still be supplied: {one.why}"
    elif isinstance(one, SweepStarted):
        text = "the sweep begins" if not one.done else f"the sweep goes on behind {one.done:,} touches"
    elif isinstance(one, SweepPaused):
        kind, text = "stop", f"paused: {one.why}"
    elif isinstance(one, SweepLeft):
        text = "the sweep was left"
    elif isinstance(one, SweepDone):
        text = "the sweep is done"
    return {"id": one.id, "at": one.at, "kind": kind, "text": text} if text else None


def _time(one: Event) -> datetime:
    return datetime.fromisoformat(one.at)


def _count(number: int, one: str, many: str) -> str:
    return f"{number:,} {one if number == 1 else many}"
