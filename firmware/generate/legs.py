"""Leg numbers of the types that the parts list names (data sheets, from memory)."""

from __future__ import annotations

from collections.abc import Mapping

from firmware.generate.netlist import Part

CONTROLLER_PINS = {
    "RESET": 1, "PD0": 2, "PD1": 3, "PD2": 4, "PD3": 5, "PD4": 6, "VCC": 7, "GND": 8,
    "XTAL1": 9, "XTAL2": 10, "PD5": 11, "PD6": 12, "PD7": 13, "PB0": 14, "PB1": 15, "PB2": 16,
    "PB3": 17, "PB4": 18, "PB5": 19, "AVCC": 20, "AREF": 21, "AGND": 22, "PC0": 23, "PC1": 24,
    "PC2": 25, "PC3": 26, "PC4": 27, "PC5": 28,
}  # fmt: skip
"""Leg numbers of the ATmega328P in its 28-leg case."""

_ADDRESSES = (33, 32, 31, 30, 29, 28, 27, 26, 8, 9, 10, 11, 12, 13, 6, 7)
"""Of the MT8816's X lines by their address; it calls addresses 6 and 7 X12 and X13."""

_BY_KIND: dict[str, Mapping[str, int | str]] = {
    "controller": CONTROLLER_PINS,
    "power register": {
        "VCC": 2, "SER": 3, "D0": 4, "D1": 5, "D2": 6, "D3": 7, "SRCLR": 8, "G": 9,
        "GND": "10,11,19", "RCK": 12, "SRCK": 13, "D4": 14, "D5": 15, "D6": 16, "D7": 17,
        "SEROUT": 18,
    },
    "register": {
        **{f"Q{bit}": bit or 15 for bit in range(8)}, "GND": 8, "SEROUT": 9, "SRCLR": 10,
        "SRCK": 11, "RCK": 12, "G": 13, "SER": 14, "VCC": 16,
    },
    "amplifier": {
        "1out": 1, "1-": 2, "1+": 3, "VDD": 4, "2+": 5, "2-": 6, "2out": 7, "3out": 8, "3-": 9,
        "3+": 10, "VSS": 11, "4+": 12, "4-": 13, "4out": 14,
    },
    "crosspoint": {
        **{f"X{address}": leg for address, leg in enumerate(_ADDRESSES)}, "Y0": 35, "Y1": 37,
        "AY2": 2, "RESET": 3, "AX3": 4, "AX0": 5, "VSS": 16, "STROBE": 18, "VEE": 20, "AX1": 22,
        "AX2": 23, "AY0": 24, "AY1": 25, "CS": 36, "DATA": 38, "VDD": 40,
    },
    "multiplexer": {
        "Z": 1, **{f"I{x}": 9 - x if x < 8 else 31 - x for x in range(16)}, "S0": 10, "S1": 11,
        "GND": 12, "S3": 13, "S2": 14, "E": 15, "VCC": 24,
    },
    "switch": {"A": 1, "K": 2, "D1": 6, "D2": 4},
    "regulator": {"OUT": 1, "GND": 2, "IN": 3},
}  # fmt: skip
_BY_REF: dict[str, Mapping[str, int | str]] = {
    "J2": {"MISO": 1, "5V": 2, "SCK": 3, "MOSI": 4, "RST": 5, "GND": 6},
}


def leg(part: Part, pin: str) -> str:
    """Give the number of a pin's leg, or nothing where makers differ."""
    numbers = _BY_REF.get(part.ref) or _BY_KIND.get(part.kind, {})
    return str(numbers.get(pin, ""))
