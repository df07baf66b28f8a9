"""One touch on any bench: run it, watch its stream, and cut its take out of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from rig.bench import Bench, Timeline, Touch
from rig.bench.marker import find_pulses, tie
from rig.errors import CaptureLost

Watcher = Callable[[np.ndarray], bool]


@dataclass(frozen=True)
class Heard:
    """What came back of one touch.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        The take, from the start marker to the end marker; empty when it was lost.
    offsets : dict of str to int
        Sample of the take at which each step happened (those that did).
    timeline : Timeline or None
        The controller's own stamps.
    fault : str or None
        Why the take can't be judged.
    ended_early : bool
        True when the watcher ended the touch.
    """

    samples: np.ndarray
    offsets: dict[str, int] = field(default_factory=dict)
    timeline: Timeline | None = None
    fault: str | None = None
    ended_early: bool = False

    def seconds(self, step: str, rate_hz: int) -> float:
        """Give the time of a step since the start of the take."""
        return self.offsets[step] / rate_hz


def hear(
    bench: Bench,
    touch: Touch,
    watch: Watcher | None = None,
    meanwhile: Callable[[], None] | None = None,
) -> Heard:
    """Make one touch and give its take.

    Parameters
    ----------
    bench : Bench
    touch : Touch
    watch : callable, optional
        Is given all sound since the start marker whenever more has come; once it returns
        True the touch is ended early.
    meanwhile : callable, optional
        Work done right after the touch has begun, while the bench is busy with it.

    Raises
    ------
    BenchError
        When the bench itself fails; a take that is merely lost is returned with its fault.
    """
    bench.begin(touch)
    if meanwhile:
        meanwhile()
    sounds: list[np.ndarray] = []
    markers: list[np.ndarray] = []
    first: int | None = None
    start: int | None = None
    is_lost = False
    ended = False
    for chunk in bench.stream():
        if first is None:
            first = chunk.first_sample
        sounds.append(chunk.sound)
        markers.append(chunk.marker)
        is_lost = is_lost or chunk.lost
        if watch is None or ended:
            continue
        if start is None:
            pulses = find_pulses(np.concatenate(markers), bench.rate_hz, first)
            start = pulses[0] if pulses else None
        if start is not None:
            ended = watch(np.concatenate(sounds)[start - first :])
            if ended:
                bench.end_early()
    timeline = bench.timeline()
    empty = np.zeros(0, dtype=np.float32)
    if is_lost:
        return Heard(empty, {}, timeline, "sound samples were lost", ended)
    if first is None:
        return Heard(empty, {}, timeline, "no sound arrived", ended)
    pulses = find_pulses(np.concatenate(markers), bench.rate_hz, first)
    if len(pulses) != 2:
        return Heard(empty, {}, timeline, f"{len(pulses)} marker pulses instead of 2", ended)
    try:
        tied = tie(timeline, pulses[0], pulses[1], bench.rate_hz)
    except CaptureLost as fault:
        return Heard(empty, {}, timeline, str(fault), ended)
    sound = np.concatenate(sounds)
    take = sound[tied.start - first : tied.end - first]
    offsets = {
        name: at - tied.start
        for name in ("start", "press", "close", "release", "open", "end")
        if (at := getattr(tied, name)) is not None
    }
    return Heard(take, offsets, timeline, None, ended)
