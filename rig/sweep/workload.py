"""What a sweep has before it: how many touches, how long they take, and how much room."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import dataclass

from rig.project import Project
from rig.project.electrical import touchable

BY_HAND_TOUCH_S = 15.0
"""A careful person does a touch in 10 to 20 s (common practice, no source)."""

TAKE_BYTES_PER_S = 75_000
"""A second of a take as FLAC, on the safe side: simulated takes of 48 kHz need about 50,000."""


@dataclass(frozen=True, kw_only=True)
class Workload:
    """What a sweep has before it: pairs, touches, time and space."""

    pairs: int
    left_out: Counter
    touches: int
    baselines: int
    seconds: float
    take_bytes: float


def workload(project: Project) -> Workload:
    """Count what a sweep of all pairs makes, before any touch is repeated.

    A pair counts when at least one value of the series bank may be put between its pads.
    """
    series = project.rig.series_ohm
    pairs = touches = 0
    left_out: Counter = Counter()
    for one, other in itertools.combinations(project.toy.pads, 2):
        reasons = [touchable(project, (one,), (other,), value) for value in series]
        allowed = reasons.count(None)
        pairs += allowed > 0
        touches += allowed
        if not allowed:
            left_out[str(reasons[0])] += 1
    keys = len(project.sweep_keys)
    baselines = project.rig.sweep.baseline_takes * keys
    touches *= keys
    made = touches + baselines
    taken_s = made * project.rig.timings.touch_s
    return Workload(
        pairs=pairs,
        left_out=left_out,
        touches=touches,
        baselines=baselines,
        seconds=made * touch_s(project),
        take_bytes=taken_s * TAKE_BYTES_PER_S,
    )


def touch_s(project: Project) -> float:
    """Give how long one touch takes with all there is to it, s."""
    return BY_HAND_TOUCH_S if project.rig.bench == "by-hand" else project.rig.timings.touch_s
