"""The sampler: a counter reads a memory of sounds into a ladder of resistors."""

from rig.bench.simulated.sampler.board import CHIP_HZ, inside, make_sampler, pins
from rig.bench.simulated.sampler.chips import SamplerChips

__all__ = ["CHIP_HZ", "SamplerChips", "inside", "make_sampler", "pins"]
