"""The talker: a sequencer reads words from a speech memory and hands frames to a voice."""

from rig.bench.simulated.talker.board import CHIP_HZ, inside, make_talker, pins
from rig.bench.simulated.talker.chips import TalkerChips

__all__ = ["CHIP_HZ", "TalkerChips", "inside", "make_talker", "pins"]
