"""The keyboard: an RC clock divided down to notes, a mixer, and an envelope on a capacitor."""

from rig.bench.simulated.keyboard.board import CHIP_HZ, inside, make_keyboard, pins
from rig.bench.simulated.keyboard.chips import KeyboardChips

__all__ = ["CHIP_HZ", "KeyboardChips", "inside", "make_keyboard", "pins"]
