"""A simulated bench without a project, and what its stream gives of a touch."""

from itertools import pairwise
from types import SimpleNamespace

import numpy as np

from rig.bench import Stimulus, Touch
from rig.bench.simulated.bench import SimulatedBench
from rig.project.models import Guard, Room, Simulated


def make(seed: int = 1, room_db: float = 40.0, pads: int = 16, **room) -> SimulatedBench:
    simulated = Simulated(seed=seed, pads=pads, room_db=room_db, room=Room(**room))
    rig = SimpleNamespace(simulated=simulated, lead_ohm=1500.0, switch_ohm=0.1, guard=Guard())
    return SimulatedBench(SimpleNamespace(rig=rig))


def ready(seed: int = 1, room_db: float = 40.0, **options) -> SimulatedBench:
    bench = make(seed, room_db, **options)
    bench.supply(True)
    bench.wait(1.0)
    for key in bench.board.on:
        heard(bench, Touch(stimulus=Stimulus((key,))))
    return bench


def heard(bench, touch, end_after_s=None):
    """Make a touch; gives sound, marker, first sample and timeline."""
    bench.begin(touch)
    chunks = []
    start = None
    for chunk in bench.stream():
        chunks.append(chunk)
        if start is None and np.any(chunk.marker > 0.25):
            start = chunk.first_sample + int(np.argmax(chunk.marker > 0.25))
        ahead = chunk.first_sample + len(chunk.sound)
        if None not in (end_after_s, start) and ahead - start >= end_after_s * bench.rate_hz:
            bench.end_early()
            end_after_s = None
    for before, after in pairwise(chunks):
        assert after.first_sample == before.first_sample + len(before.sound)
        assert len(before.sound) == len(before.marker)
    sound = np.concatenate([c.sound for c in chunks])
    marker = np.concatenate([c.marker for c in chunks])
    return sound, marker, chunks[0].first_sample, bench.timeline()


def pulses(marker: np.ndarray) -> list[tuple[int, int]]:
    high = np.concatenate(([0], (marker > 0.25).astype(int), [0]))
    edges = np.flatnonzero(np.diff(high))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))
