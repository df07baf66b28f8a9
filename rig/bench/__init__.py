"""Benches: they make touches, safely, and give their sound and timeline as one stream."""

from rig.bench.base import Bench, BenchState, Chunk, Connection, Stimulus, Timeline, Touch

__all__ = ["Bench", "BenchState", "Chunk", "Connection", "Stimulus", "Timeline", "Touch"]
