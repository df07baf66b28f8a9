"""Listening: arrays of sound in, judgements out; knows nothing of files, pads or benches."""

from rig.listen.baseline import LEAST_TAKES, Baseline, Span
from rig.listen.beginning import onset
from rig.listen.clipping import is_clipped, over_db
from rig.listen.decide import JUDGE, Ear, clean, lost, too_loud
from rig.listen.features import HOP_S, Frames, frames
from rig.listen.judgement import Judgement
from rig.listen.loose import LEAST_RATE_HZ, Judged, Recordings, Unlike, common_rate_hz
from rig.listen.steady import is_silent, tone_hz

__all__ = [
    "HOP_S",
    "JUDGE",
    "LEAST_RATE_HZ",
    "LEAST_TAKES",
    "Baseline",
    "Ear",
    "Frames",
    "Judged",
    "Judgement",
    "Recordings",
    "Span",
    "Unlike",
    "clean",
    "common_rate_hz",
    "frames",
    "is_clipped",
    "is_silent",
    "lost",
    "onset",
    "over_db",
    "tone_hz",
    "too_loud",
]
