"""What the board's senses read, and how far off they may be: computed from the netlist."""

from __future__ import annotations

from itertools import combinations, pairwise, product

from firmware.generate.limits import LOGIC_LEAST_V
from firmware.generate.netlist import SERIES_OHM, Netlist

REFERENCE_V = 5.0
STEPS = 1024
STEPS_OFF = 2
"""Error of the converter, steps (ATmega328P data sheet, memory: 2 LSB absolute accuracy)."""

CONTINUITY_V, CONTINUITY_OHM, CONTINUITY_GAIN = 0.18, 10_000.0, 20.0
"""What the firmware counts with for the continuity source and its amplifier."""

LEAST_SUPPLY_V = 4.6
"""Below this reading of its own 5 V the firmware doesn't switch a toy on."""

OPEN_FROM = 0.98
"""From this fraction of the source's voltage up the firmware says that nothing is joined."""

SHUNT_MV_PER_MA = 11.0
"""What the firmware counts with for the supply current."""

PLUG_OHM = (1_000, 1_500, 2_200, 3_300, 4_700, 6_800, 10_000, 15_000)
"""The self-test plug: from each of a board's eight pad sockets to one common point, 1 %."""


def ratio(netlist: Netlist, upper: str, lower: str, off: tuple[float, float] = (0, 0)) -> float:
    """Give what a divider divides by; `off` is where each lies in its tolerance, -1 to 1."""
    top, bottom = (_ohm(netlist, ref, where) for ref, where in zip((upper, lower), off, strict=True))
    return (top + bottom) / bottom


def gain(netlist: Netlist, feedback: str, foot: str, off: tuple[float, float] = (0, 0)) -> float:
    """Give the gain of a not inverting amplifier."""
    return ratio(netlist, feedback, foot, off)


def _ohm(netlist: Netlist, ref: str, where: float = 0.0) -> float:
    part = netlist[ref]
    return part.value * (1 + where * part.percent / 100)


def current_mv_per_ma(netlist: Netlist) -> float:
    """Give the supply current's scale at the converter, mV per mA."""
    return _ohm(netlist, "R15") * gain(netlist, "R18", "R17")


def current_full_scale_ma(netlist: Netlist) -> float:
    """Give the largest supply current that can be told, mA, at 5 V."""
    swing = REFERENCE_V * 1000 - netlist["U3"].rating["swing_mv"]
    return swing / current_mv_per_ma(netlist)


def current_reading_ma(netlist: Netlist, milliamp: float) -> tuple[float, float]:
    """Give the least and most that `MEASure:CURRent?` reads at a current, mA."""
    found = []
    offset_mv, floor_mv = netlist["U3"].rating["offset_mv"], netlist["U3"].rating["swing_mv"]
    for shunt, top, foot, side in product((-1, 1), repeat=4):
        scale = gain(netlist, "R18", "R17", (top, foot))
        mv = (milliamp * _ohm(netlist, "R15", shunt) + side * offset_mv) * scale
        mv = max(mv, 0.0 if side < 0 else floor_mv)
        mv += side * STEPS_OFF * REFERENCE_V * 1000 / STEPS
        found.append(max(mv, 0.0) / SHUNT_MV_PER_MA)
    return min(found), max(found)


def rail_reading_v(netlist: Netlist, volts: float) -> tuple[float, float]:
    """Give the least and most that `MEASure:VOLTage?` reads, V, with exactly 5 V at the chip."""
    found = []
    for top, bottom, side in product((-1, 1), repeat=3):
        pin_v = volts / ratio(netlist, "R20", "R21", (top, bottom))
        found.append(3 * max(pin_v + side * STEPS_OFF * REFERENCE_V / STEPS, 0.0))
    return min(found), max(found)


def supply_reading_v(netlist: Netlist, volts: float) -> tuple[float, float]:
    """Give the least and most that the controller tells of its own 5 V, V."""
    part = netlist["U7"]
    told_v, off = part.rating["volts"], (part.percent + part.rating["drift_percent"]) / 100
    found = []
    for side in (-1, 1):
        steps = told_v * (1 - side * off) / volts * STEPS - side * STEPS_OFF
        found.append(told_v * STEPS / steps)
    return min(found), max(found)


def continuity_source(netlist: Netlist, off: tuple[float, float] = (0, 0)) -> tuple[float, float]:
    """Give the continuity source's voltage and inner resistance, V and ohms."""
    top, bottom = (_ohm(netlist, ref, w) for ref, w in zip(("R54", "R55"), off, strict=True))
    return REFERENCE_V * bottom / (top + bottom), top * bottom / (top + bottom)


def resistance_reading_ohm(netlist: Netlist, ohm: float) -> tuple[float, float]:
    """Give the least and most that `MEASure:RESistance?` reads for a resistance.

    Corners of every tolerance together: resistors, amplifier's offset, converter; infinite
    where the reading can't be told from an open circuit.
    """
    found = []
    offset_v = netlist["U3"].rating["offset_mv"] / 1000
    for top, bottom, feedback, foot, side in product((-1, 1), repeat=5):
        source_v, inner_ohm = continuity_source(netlist, (top, bottom))
        node_v = source_v * ohm / (ohm + inner_ohm)
        scale = gain(netlist, "R58", "R57", (feedback, foot))
        pin_v = (node_v + side * offset_v) * scale + side * STEPS_OFF * REFERENCE_V / STEPS
        told_v = max(pin_v, 0.0) / CONTINUITY_GAIN
        found.append(CONTINUITY_OHM * told_v / (CONTINUITY_V - told_v)
                     if told_v < OPEN_FROM * CONTINUITY_V else float("inf"))  # fmt: skip
    return min(found), max(found)


def plug_readings(netlist: Netlist) -> list[tuple[int, int, float, float, float]]:
    """Give (pad, next pad, ohms of the plug, least and most reading) along the plug.

    The switches' own resistance is in the most: two contacts or two channels.
    """
    switch_ohm = 2 * switch_most_ohm(netlist)
    rows = []
    for pad, (a, b) in enumerate(pairwise(PLUG_OHM), 1):
        low, _ = resistance_reading_ohm(netlist, (a + b) * 0.99)
        _, high = resistance_reading_ohm(netlist, (a + b) * 1.01 + switch_ohm)
        rows.append((pad, pad + 1, float(a + b), low, high))
    return rows


def switch_most_ohm(netlist: Netlist) -> float:
    """Give the most resistance of one closed switch, ohms."""
    for part in netlist.kinds("crosspoint", "multiplexer"):
        return part.rating["on_ohm"]
    return 0.2


def series_readings(netlist: Netlist) -> list[tuple[int, float, float, float]]:
    """Give (channel, ohms, least and most reading) of the series bank with no pad closed."""
    return [
        (channel, float(ohm), *resistance_reading_ohm(netlist, ohm * 1.0))
        for channel, ohm in enumerate(SERIES_OHM, 1)
    ]


APART = 0.15
"""Values that differ by less are one to a toy (our choice)."""


def series_pairs() -> list[tuple[int, int, float]]:
    """Give (channel, channel, ohms) of two side by side, where that is a value of its own.

    Parallel resistors: R1 R2 / (R1 + R2).
    """
    values = list(enumerate(SERIES_OHM, 1))
    known = [float(ohm) for ohm in SERIES_OHM if ohm]
    pairs = sorted(
        (one * other / (one + other), a, b)
        for (a, one), (b, other) in combinations(values, 2)
        if one and other
    )
    found = []
    for ohm, a, b in reversed(pairs):
        if all(max(ohm, other) / min(ohm, other) > 1 + APART for other in known):
            known.append(ohm)
            found.append((a, b, ohm))
    return found


def passes_v(driver: str) -> tuple[float | None, float | None]:
    """Give the highest toy voltage that a driver surely passes, and the most after measuring.

    A crosspoint's rail is 12 V within 5 %, a multiplexer's is the controller's 5 V; None for
    a metal contact.
    """
    return {"reed": (None, None), "crosspoint": (11.4, 12.6),
            "multiplexer": (LOGIC_LEAST_V, 5.25)}[driver]  # fmt: skip
