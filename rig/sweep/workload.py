"""What a sweep has before it: how many touches, how long they take, and how much room."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass

from rig.project import Project
from rig.project.electrical import touchable
from rig.sweep.steps import asked_steps, lone_steps
from rig.touches import Target

BY_HAND_TOUCH_S = 15.0
"""A careful person does a touch in 10 to 20 s (common practice, no source)."""

TAKE_BYTES_PER_S = 75_000
"""A second of a take as FLAC, on the safe side: simulated takes of 48 kHz need about 50,000."""


@dataclass(frozen=True, kw_only=True)
class Workload:
    """What a sweep has before it: pairs, touches, time and space.

    `touches` are those of pairs, of what is asked for beside them, and of each pad's lead alone.
    """

    pairs: int
    lone: int
    left_out: Counter
    touches: int
    baselines: int
    seconds: float
    take_bytes: float


def workload(project: Project) -> Workload:
    """Count what a sweep of all leads, all pairs and what is asked for beside them makes at first.

    A pair counts when at least one value of the series bank may be put between its pads.
    """
    series = project.rig.swept_ohm
    pairs = touches = 0
    left_out: Counter = Counter()
    for one, other in itertools.combinations(project.sweep_pads, 2):
        reasons = [touchable(project, (one,), (other,), value) for value in series]
        allowed = reasons.count(None)
        pairs += allowed > 0
        touches += allowed
        if not allowed:
            left_out[str(reasons[0])] += 1
    keys: list[tuple[str, ...]] = [(key,) for key in project.sweep_keys]
    also = {step.target for step in asked_steps(project)}
    stimuli = {*keys, *(target.keys for target in also)}
    baselines = project.rig.sweep.baseline_takes * len(stimuli)
    lone = sum(1 for _ in lone_steps(project))
    touches = touches * len(keys) + sum(not _is_of_a_pair(one, keys) for one in also) + lone
    made = touches + baselines
    taken_s = made * project.rig.timings.touch_s
    return Workload(
        pairs=pairs,
        lone=lone,
        left_out=left_out,
        touches=touches,
        baselines=baselines,
        seconds=made * touch_s(project),
        take_bytes=taken_s * TAKE_BYTES_PER_S,
    )


def _is_of_a_pair(target: Target, keys: list[tuple[str, ...]]) -> bool:
    """Say whether all pairs hold it already."""
    return target.is_single_pair and target.keys in keys


def touch_s(project: Project) -> float:
    """Give how long one touch takes with all there is to it, s."""
    return BY_HAND_TOUCH_S if project.rig.bench == "by-hand" else project.rig.timings.touch_s
