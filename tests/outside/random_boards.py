"""Boards at random, and how SPICE reads them."""

import numpy as np

from rig.bench.simulated.circuit import HIGH, LOW, OPEN, Circuit, Drive, Link
from rig.bench.simulated.diodes import Diode, protection
from rig.bench.simulated.nodal import LEAK_SIEMENS

RAIL_V = 6.0

EXACT = ".options reltol=1e-9 vntol=1e-10 abstol=1e-16 gmin=1e-18 itl1=2000"
"""Options with which ngspice is as exact as it can be."""

def random_board(rng: np.random.Generator) -> tuple[Circuit, list[int], list[Link]]:
    """Make a board with a lower rail, resistors, diodes, and a few pads closed."""
    count = int(rng.integers(6, 16))
    fixed = {0: 0.0, 1: 1.0, 2: 0.55}

    def ohm() -> float:
        return float(10 ** rng.uniform(2, 5.5))

    def drive() -> Drive:
        pull = (ohm(), float(rng.uniform(0, 1))) if rng.random() < 0.6 else None
        high = float(rng.choice((0.55, 1.0)))
        return Drive(ohm(), ohm(), pull, high=high) if rng.random() < 0.6 else Drive(pull=pull)

    drives = [Drive() if net in fixed else drive() for net in range(count)]
    resistors, diodes = [], []
    for _ in range(count // 2):
        a, b = (int(n) for n in rng.choice(count, 2, replace=False))
        resistors.append((a, b, ohm()))
    for net in range(3, count):
        if rng.random() < 0.4:
            diodes += protection(net, 0, 2)
    for _ in range(2):
        a, b = (int(n) for n in rng.choice(np.arange(3, count), 2, replace=False))
        diodes.append(Diode(a, b, float(10 ** rng.uniform(-15, -9)), float(rng.uniform(1, 2))))
    circuit = Circuit(drives, resistors, fixed, diodes=diodes, rail_v=RAIL_V)
    states = [int(rng.choice((LOW, HIGH, OPEN))) for _ in drives]
    pads = [str(n) for n in rng.choice(count, 5, replace=False)]
    links = [Link((pads[0],), (pads[1],), 1500.0, ohm(), 0.1)]
    if rng.random() < 0.5:
        links.append(Link((pads[1], pads[2]), (pads[3], pads[4]), 1000.0, ohm(), 10.0))
    return circuit, states, links


def as_netlist(circuit: Circuit, states: list[int], links: list[Link]) -> str:
    """Write a board out for SPICE as its documentation describes it."""
    lines = ["random board"]

    def add(letter: str, *words) -> None:
        lines.append(" ".join([f"{letter}{len(lines)}", *(str(word) for word in words)]))

    for net, fraction in circuit.fixed.items():
        add("V", f"n{net}", 0, fraction * RAIL_V)
    for a, b, ohm in circuit.resistors:
        add("R", f"n{a}", f"n{b}", ohm)
    for net, drive in enumerate(circuit.drives):
        if net not in circuit.fixed:
            add("R", f"n{net}", 0, 1 / LEAK_SIEMENS)
        held = {LOW: (drive.low_ohm, drive.low), HIGH: (drive.high_ohm, drive.high)}
        for ohm, fraction in (held.get(states[net], (None, 0)), drive.pull or (None, 0)):
            if ohm is not None:
                add("V", f"s{len(lines)}", 0, fraction * RAIL_V)
                add("R", f"s{len(lines) - 1}", f"n{net}", ohm)
    for i, diode in enumerate(circuit.diodes):
        add("D", f"n{diode.anode}", f"n{diode.cathode}", f"mod{i}")
        lines.append(f".model mod{i} D(IS={diode.saturation_a!r} N={diode.emission!r})")
    for i, link in enumerate(links):
        for side, pads in ((1, link.pads_1), (2, link.pads_2)):
            for pad in pads:
                add("R", f"n{pad}", f"bus{i}{side}", link.lead_ohm + link.switch_ohm)
        add("R", f"bus{i}1", f"bus{i}2", link.series_ohm)
    return "\n".join(lines)
