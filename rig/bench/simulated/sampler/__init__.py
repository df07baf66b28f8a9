"""The sampler: a counter reads a memory of sounds into a ladder of resistors."""

from rig.bench.simulated.sampler.board import make_sampler
from rig.bench.simulated.sampler.chips import SamplerChips

__all__ = ["SamplerChips", "make_sampler"]
