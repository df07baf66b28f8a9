"""The talker: a sequencer reads words from a speech memory and hands frames to a voice."""

from rig.bench.simulated.talker.board import make_talker
from rig.bench.simulated.talker.chips import TalkerChips

__all__ = ["TalkerChips", "make_talker"]
