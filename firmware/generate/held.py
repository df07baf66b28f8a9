"""What holds the board while the controller's pins float: solved from the netlist."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firmware.generate.netlist import Netlist

LEAK_SIEMENS = 1e-11
"""Of every net to ground, so that a loose one has a voltage (100 Gohm)."""

LEAK_A = 2e-6
"""Leakage that a floating pin must be held against, either way: 1 uA of the ATmega328P's pin
at most (data sheet, memory), and as much for everything else on the net."""

OFF_V = 0.65
"""Below this no transistor of the board conducts; logic takes it for low as well."""

ON_V = 4.25
"""Above this every register takes its enable-not for high, at 5 V (85 % of the supply)."""

LOW = ("SUPPLY", "HOLD", "BEATS", "MARKER", "BLEED", "STROBE", "RESET_LINE", "CHAIN_READ")
HIGH = ("ENABLE_NOT", "RESET_NOT", "RXD", "TXD")
_RAILS_V = {"GND": 0.0, "+5V": 5.0, "+12V": 12.0, "+15V": 15.0}


@dataclass(frozen=True)
class Level:
    """A net with nothing driving it: its voltage and the resistance that holds it there."""

    net: str
    volts: float
    ohm: float
    high: bool

    @property
    def holds(self) -> bool:
        """Whether the leakage can't move the net to where something happens."""
        moved_v = self.ohm * LEAK_A
        return self.volts - moved_v >= ON_V if self.high else self.volts + moved_v <= OFF_V


def wanted(netlist: Netlist) -> dict[str, bool]:
    """Give the nets that need a level during reset, and whether it is the high one.

    Beside the controller's pins these are the lines of the crosspoint and the multiplexers:
    their registers' outputs float as long as enable-not is high.
    """
    found = dict.fromkeys(LOW, False) | dict.fromkeys(HIGH, True)
    for part in netlist.kinds("crosspoint"):
        found |= dict.fromkeys((net for pin, net in part.pins.items()
                                if pin.startswith(("AX", "AY", "CS", "DATA"))), False)  # fmt: skip
    for part in netlist.kinds("multiplexer"):
        found |= {net: pin == "E" for pin, net in part.pins.items() if pin[0] in "SE"}
    return found


def levels(netlist: Netlist) -> list[Level]:
    """Solve the board as a d.c. circuit with controller and registers out of their sockets.

    Resistors and windings conduct; capacitors, open contacts, and diodes and gates (which
    would need more than `OFF_V`) don't.
    """
    rails = _RAILS_V
    nets = sorted(netlist.nets - set(rails))
    place = {net: i for i, net in enumerate(nets)}
    siemens = np.eye(len(nets)) * LEAK_SIEMENS
    amps = np.zeros(len(nets))

    def join(a: str, b: str, ohm: float) -> None:
        for net, other in ((a, b), (b, a)):
            if net in rails:
                continue
            siemens[place[net], place[net]] += 1 / ohm
            if other in rails:
                amps[place[net]] += rails[other] / ohm
            else:
                siemens[place[net], place[other]] -= 1 / ohm

    for part in netlist:
        if part.kind == "resistor":
            join(*part.pins.values(), part.value)
        elif part.kind == "transformer":
            for a, b in (("1", "2"), ("3", "4")):
                join(part.pins[a], part.pins[b], part.rating["winding_ohm"])
    impedance_ohm = np.linalg.inv(siemens)
    volts = impedance_ohm @ amps
    return [
        Level(net, float(volts[place[net]]), float(impedance_ohm[place[net], place[net]]), high)
        for net, high in wanted(netlist).items()
    ]


def loose(netlist: Netlist) -> list[str]:
    """Give the nets that would float to where something happens; none on a whole board."""
    return [level.net for level in levels(netlist) if not level.holds]
