"""The controller's own 5 V, and the fuse bits that reset it where they sag."""

from __future__ import annotations

from collections.abc import Iterator

from rig.bench.controller import Controller

LEAST_SUPPLY_V = 4.7
"""What firmware/README.md asks for at each chip's supply legs."""

BROWN_OUT_BITS = 7
BROWN_OUT = {7: "off", 6: "at 1.8 V", 5: "at 2.7 V", 4: "at 4.3 V"}
"""Brown-out detection by the lowest bits of the extended fuse (ATmega328P data sheet, memory)."""

BROWN_OUT_WANTED = 4
"""At 16 MHz the chip is specified from 4.5 V up (data sheet, from memory)."""


def power_told(controller: Controller) -> list[tuple[str, str]]:
    """Give what there is to say of the controller's own power: each a label and a line.

    Raises
    ------
    LinkLost
        A reply is missing, or isn't what was asked for.
    """
    return [*_supply_told(controller), *_brown_out_told(controller)]


def _supply_told(controller: Controller) -> Iterator[tuple[str, str]]:
    volts = controller.decimal("MEASure:VOLTage:SUPPly?")
    yield "5 V", f"the controller's own supply is at {volts:.2f} V"
    if volts < LEAST_SUPPLY_V:
        yield "caution", (
            f"the controller's own supply should be {LEAST_SUPPLY_V:g} V or more: use a shorter "
            "cable, another USB port, or a supply of its own"
        )


def _brown_out_told(controller: Controller) -> Iterator[tuple[str, str]]:
    _, _, extended, _ = controller.numbers("SYSTem:FUSes?", 4)
    bits = extended & BROWN_OUT_BITS
    if bits != BROWN_OUT_WANTED:
        yield "caution", (
            f"the controller's brown-out detection is {BROWN_OUT.get(bits, 'undefined')} "
            f"(extended fuse 0x{extended:02X}), at 16 MHz the chip needs 4.3 V: set the fuse with a "
            "programmer, `avrdude -p m328p -c PROGRAMMER -U efuse:w:0xFC:m`"
        )
