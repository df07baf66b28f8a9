"""Listening: arrays of sound in, judgements out; knows nothing of files, pads or benches."""

from rig.listen.describing.manners.manner import MANNER, MANNER_AMOUNT, MANNER_UNIT
from rig.listen.judgement import (
    AS_FAR,
    AS_WITH_LEAD,
    BESIDE_LEAD,
    CALIBRATING,
    LIKE_KEY,
    Judgement,
)
from rig.listen.judging.anchor import first_begins
from rig.listen.judging.baseline import Baseline, Beginning
from rig.listen.judging.decide import JUDGE, Ear, clean, lost, too_loud, with_lead
from rig.listen.judging.tail import allowed_beyond
from rig.listen.measures.clipping import is_clipped, over_db
from rig.listen.measures.features import HOP_S, Frames, frames
from rig.listen.measures.levels import loud_level_db
from rig.listen.measures.span import Span
from rig.listen.measures.steady import is_silent, tone_hz
from rig.listen.recordings.beginning import onset
from rig.listen.recordings.judge import Judged, Recordings, Unlike
from rig.listen.recordings.recording import common_rate_hz
from rig.listen.thresholds import THRESHOLDS

LEAST_TAKES = THRESHOLDS.judging.least_takes
LEAST_RATE_HZ = THRESHOLDS.recordings.least_rate_hz

__all__ = [
    "AS_FAR",
    "AS_WITH_LEAD",
    "BESIDE_LEAD",
    "CALIBRATING",
    "HOP_S",
    "JUDGE",
    "LEAST_RATE_HZ",
    "LEAST_TAKES",
    "LIKE_KEY",
    "MANNER",
    "MANNER_AMOUNT",
    "MANNER_UNIT",
    "THRESHOLDS",
    "Baseline",
    "Beginning",
    "Ear",
    "Frames",
    "Judged",
    "Judgement",
    "Recordings",
    "Span",
    "Unlike",
    "allowed_beyond",
    "clean",
    "common_rate_hz",
    "first_begins",
    "frames",
    "is_clipped",
    "is_silent",
    "lost",
    "loud_level_db",
    "onset",
    "over_db",
    "tone_hz",
    "too_loud",
    "with_lead",
]
