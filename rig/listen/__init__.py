"""Listening: arrays of sound in, judgements out; knows nothing of files, pads or benches."""

from rig.listen.baseline import LEAST_TAKES, Baseline, Span
from rig.listen.beginning import onset
from rig.listen.decide import JUDGE, Ear, clean, lost
from rig.listen.features import HOP_S, Frames, frames
from rig.listen.judgement import AFTERS, SOUNDS, Judgement

__all__ = [
    "AFTERS",
    "HOP_S",
    "JUDGE",
    "LEAST_TAKES",
    "SOUNDS",
    "Baseline",
    "Ear",
    "Frames",
    "Judgement",
    "Span",
    "clean",
    "frames",
    "lost",
    "onset",
]
