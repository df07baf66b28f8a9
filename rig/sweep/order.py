"""Which pair to offer next, from what each pad has shown: a smoothed count, nothing more."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass

from rig.sweep.steps import Step

PRIOR_TOUCHES = 3.0
"""What is known of all pads counts as so many touches of each pad."""
PRIOR_HITS, PRIOR_STOPS = 0.05, 0.05
"""Share of touches that change the sound or stop a toy before anything is known (simulated
boards, see the limits of searching)."""
TOUCH_S, RECOVERY_S = 15.0, 45.0
"""By hand a touch takes 10 to 20 s (common practice, no source), batteries out and in longer."""


@dataclass
class Shown:
    """What the touches of one pad have shown so far."""

    touches: int = 0
    hits: int = 0
    stops: int = 0


def shown_by(made: Iterable[tuple[tuple[str, str], bool, bool]]) -> dict[str, Shown]:
    """Count what each pad has shown.

    Parameters
    ----------
    made : iterable of (pads, hit, stopped)
        One entry for each pair that was touched.
    """
    shown: dict[str, Shown] = {}
    for pads, hit, stopped in made:
        for pad in pads:
            one = shown.setdefault(pad, Shown())
            one.touches += 1
            one.hits += hit
            one.stops += stopped
    return shown


def likeliest(
    due: Sequence[Step],
    shown: Mapping[str, Shown],
    held: Collection[str] = (),
    last: Collection[str] = (),
) -> Step:
    """Give the touch that promises most changes of sound for the time it takes.

    A pad's share of hits is drawn towards that of all pads, as if it had been touched
    `PRIOR_TOUCHES` times more (Beta-Bernoulli); a pair's is the product of both pads' shares
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

    Returns
    -------
    Step
        Of those with the first key and path in `due`: the part between the tips is changed
        as seldom as can be.
    """
    first = due[0]
    group = [one for one in due if (one.key, one.series_ohm) == (first.key, first.series_ohm)]
    group = [one for one in group if not set(one.pads) & set(last)] or group
    touches = sum(one.touches for one in shown.values())
    mean_hits = _share(sum(one.hits for one in shown.values()), touches, PRIOR_HITS)
    mean_stops = _share(sum(one.stops for one in shown.values()), touches, PRIOR_STOPS)

    def promise(step: Step) -> tuple[float, int]:
        pads = [shown.get(pad, Shown()) for pad in step.pads]
        hit, stop = mean_hits, mean_stops
        for one in pads:
            hit *= _share(one.hits, one.touches, mean_hits) / mean_hits
            stop *= _share(one.stops, one.touches, mean_stops) / mean_stops
        expected_s = TOUCH_S + min(stop, 1.0) * RECOVERY_S
        return round(hit / expected_s, 12), len(set(step.pads) & set(held))

    return max(group, key=promise)  # the first among equals: the plan's own order


def _share(count: float, of: float, prior: float) -> float:
    return (count + PRIOR_TOUCHES * prior) / (of + PRIOR_TOUCHES)
