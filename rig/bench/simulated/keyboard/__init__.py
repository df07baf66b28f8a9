"""The keyboard: an RC clock divided down to notes, a mixer, and an envelope on a capacitor."""

from rig.bench.simulated.keyboard.board import make_keyboard
from rig.bench.simulated.keyboard.chips import KeyboardChips

__all__ = ["KeyboardChips", "make_keyboard"]
