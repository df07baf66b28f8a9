"""Which pair next, from what each pad has shown: a smoothed count, nothing more.

A rig begins with each pad's lead alone. It finishes a pair, from its highest resistance down, before
it begins another: the next one is the likeliest. A person changes the part between the tips as
seldom as can be, so by hand all pairs come over one resistance before any comes over the next.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from rig.sweep.known import Knowledge
from rig.sweep.shown import Shown
from rig.sweep.steps import Step
from rig.sweep.workload import BY_HAND_TOUCH_S

PRIOR_TOUCHES = 3.0
"""What is known of all pads counts as so many touches of each pad."""
PRIOR_HITS, PRIOR_STOPS = 0.05, 0.05
"""Share of touches that change the sound or stop a toy before anything is known (simulated
boards; `tests/benchmarks/search_order.py`)."""
RECOVERY_S = 3 * BY_HAND_TOUCH_S
"""By hand batteries out and in take so much longer than a touch; a rig is faster in both by about
as much."""


def next_pair(known: Knowledge, held: Collection[str] = (), *, path_first: bool) -> Step | None:
    """Give the pair's touch to make next; None where none is due.

    Parameters
    ----------
    known : Knowledge
    held : collection of str
        Pads that the tips are on.
    path_first : bool
        Make all pairs over one resistance before any over the next.
    """
    begun = known.due(begun=True)
    lone = next((step for step in begun + known.due(begun=False) if step.is_lone), None)
    if lone is not None:
        return lone
    if path_first:
        due = begun + known.due(begun=False)
        highest_ohm = max((step.series_ohm for step in due), default=0.0)
        due = [step for step in due if step.series_ohm == highest_ohm]
    else:
        due = begun[:1] or known.due(begun=False)
    if not due:
        return None
    due = [step for step in due if step.key == due[0].key]
    pads = known.project.toy.pads
    clocks = [letter for letter, pad in pads.items() if pad.kind == "clock"]
    return likeliest(due, known.shown, held, clocks)


def likeliest(
    due: Sequence[Step],
    shown: Mapping[str, Shown],
    held: Collection[str] = (),
    last: Collection[str] = (),
) -> Step:
    """Give the touch that promises most changes of sound for the time it takes.

    A pad's share of hits is drawn towards that of all pads, as if it had been touched
    `PRIOR_TOUCHES` times more (Beta-Bernoulli); a pair's is the product of its pads' shares
    over that of all. Expected time counts freezes with their recovery.

    Parameters
    ----------
    due : sequence of Step
        Touches of pairs that may be made now; at least one.
    shown : mapping of pad to Shown
    held : collection of str
        Pads that the tips are on: among equals a pair that keeps one of them comes first.
    last : collection of str
        Pads that come last, whatever they promise (a clock crashes a toy most easily).
    """
    group = [one for one in due if not any(pad in last for pad in one.pads)] or due
    touches = sum(one.touches for one in shown.values())
    mean_hits = _share(sum(one.hits for one in shown.values()), touches, PRIOR_HITS)
    mean_stops = _share(sum(one.stops for one in shown.values()), touches, PRIOR_STOPS)

    hit_share: dict[str, float] = {}
    stop_share: dict[str, float] = {}
    for pad in {pad for one in group for pad in one.pads}:
        one = shown.get(pad, Shown())
        hit_share[pad] = _share(one.hits, one.touches, mean_hits) / mean_hits
        stop_share[pad] = _share(one.stops, one.touches, mean_stops) / mean_stops

    def promise(step: Step) -> tuple[float, int]:
        hit, stop = mean_hits, mean_stops
        for pad in step.pads:
            hit *= hit_share[pad]
            stop *= stop_share[pad]
        expected_s = BY_HAND_TOUCH_S + min(stop, 1.0) * RECOVERY_S
        return round(hit / expected_s, 12), sum(pad in held for pad in step.pads)

    return max(group, key=promise)  # the first among equals: the plan's own order


def _share(count: float, of: float, prior: float) -> float:
    return (count + PRIOR_TOUCHES * prior) / (of + PRIOR_TOUCHES)
