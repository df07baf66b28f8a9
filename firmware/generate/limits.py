"""What every part has to stand at worst, beside what it is rated for."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from firmware.generate.netlist import Netlist, Part
from rig.project.electrical import FRESH_CELL, MAX_SUPPLY_V, REFUSE_ABOVE_MA

TOY_V = MAX_SUPPLY_V * FRESH_CELL
"""Eight fresh cells, V: the most that any node of a toy has."""

LOGIC_LEAST_V, LOGIC_MOST_V = 4.54, 5.25
"""The least 5 V with which the firmware switches a toy on: what it reads as 4.6 V in the worst
corner; and the most that USB gives."""

CELL_LEAST_OHM = 0.1
"""Inner resistance of one large fresh alkaline cell (common practice, no source)."""

FUSE_WARM, FUSE_COLD = 0.82, 1.2
"""Of its name, what a resettable fuse still holds at 40 °C and needs to trip at 0 °C (data
sheets, memory)."""

PEAK_LIMIT_A = 0.45
"""Largest peak limit of the supply current that can be set."""

COIL_WARM = 1.08
"""Copper at 40 °C: a coil pulls in at 8 % more than its data sheet says for 20 °C."""

PACKED = 1.2
"""What relays without a magnetic shield need more, packed side by side (common practice: the
neighbours' fields take 10 to 20 % away)."""

COIL_SPREAD = 0.9
"""Least coil resistance, as a fraction of its name."""

WATT_SHARE, CAPACITOR_SHARE, OTHER_SHARE = 0.6, 0.8, 0.8
"""Most of a rating that may be used: power, capacitors' voltage, anything else."""

_SPANS = {
    "GND": (0.0, 0.0), "+5V": (0.0, LOGIC_MOST_V), "+12V": (0.0, 12.6), "+15V": (0.0, 22.0),
    "CELL+": (0.0, TOY_V), "FUSED": (0.0, TOY_V), "GUARDED": (0.0, TOY_V), "RAIL": (0.0, TOY_V),
    "BLED": (0.0, TOY_V), "TOY_RESET": (0.0, TOY_V), "PULLED": (0.0, TOY_V),
    "BUS1": (0.0, TOY_V), "BUS2": (0.0, TOY_V), "SENSE": (0.0, TOY_V),
    "SPEAKER_1": (0.0, TOY_V), "SPEAKER_2": (0.0, TOY_V), "DUMMY": (0.0, TOY_V),
    "COUPLED": (0.0, TOY_V),
    "TENTH": (0.0, TOY_V), "TOY-": (0.0, 0.22), "SHUNT": (0.0, 0.22),
    "PUMP": (-LOGIC_MOST_V, LOGIC_MOST_V), "LEFT": (0.0, 2.0), "RIGHT": (0.0, 2.0), "LINE_GND": (0.0, 0.0),
    "CONTINUITY_NODE": (0.0, TOY_V),
}  # fmt: skip
_TOY_NETS = ("PAD", "TOY", "BANK_", "HOLD_", "KEY_")


@dataclass(frozen=True)
class Stress:
    """One limit of one part.

    Parameters
    ----------
    ref, quantity : str
    worst, rating : float
        In the same unit, W, V, A or mA; `worst` may be `share` of `rating`.
    share : float
    """

    ref: str
    quantity: str
    worst: float
    rating: float
    share: float

    @property
    def holds(self) -> bool:
        return self.worst <= self.rating * self.share * (1 + 1e-9)


def span(net: str) -> tuple[float, float]:
    """Give the least and most that a net can have, V."""
    if net in _SPANS:
        return _SPANS[net]
    if net.startswith(_TOY_NETS) and not net.endswith(("_BUS1", "_BUS2")):
        return (0.0, TOY_V)
    return (0.0, LOGIC_MOST_V)


def across(a: str, b: str) -> float:
    """Give the most between two nets, V."""
    if a == b:
        return 0.0
    (a_low, a_high), (b_low, b_high) = span(a), span(b)
    return max(a_high - b_low, b_high - a_low)


def _divided(netlist: Netlist, upper: str, lower: str, volts: float) -> dict[str, float]:
    """Give the drop over each of two resistors in a row, V."""
    top, bottom = netlist[upper].value, netlist[lower].value
    return {upper: volts * top / (top + bottom), lower: volts * bottom / (top + bottom)}


def drops(netlist: Netlist) -> dict[str, float]:
    """Give the drop over resistors whose nets alone don't tell it, V."""
    found = _divided(netlist, "R62", "R63", TOY_V) | _divided(netlist, "R64", "R65", LOGIC_MOST_V)
    found |= _divided(netlist, "R51", "R52", TOY_V) | _divided(netlist, "R20", "R21", TOY_V)
    # Lines of the chain: the current through R4 is the most that stands.
    holder_a = LOGIC_MOST_V / netlist["R4"].value
    found |= {ref: holder_a * netlist[ref].value for ref in ("R27", "R28", "R29", "R30")}
    # A dummy load gets at most what the supply gives before its peak limit cuts it.
    dummy = netlist["R61"]
    found["R61"] = (TOY_V * PEAK_LIMIT_A * dummy.value * (1 - dummy.percent / 100)) ** 0.5
    return found


def led_ma(netlist: Netlist) -> tuple[float, float]:
    """Give the least and most current of the supply switch's lamp, mA."""
    ohm, rating = netlist["R12"].value, netlist["U2"].rating
    least = (LOGIC_LEAST_V - rating["led_v_most"] - 0.1) / (ohm * 1.01)
    most = (LOGIC_MOST_V - rating["led_v_least"]) / (ohm * 0.99)
    return least * 1000, most * 1000


def short_a(netlist: Netlist) -> float:
    """Give the current of eight large cells through a short at the toy, A, before anything trips."""
    loop = (8 * CELL_LEAST_OHM + netlist["F1"].rating["least_ohm"]
            + netlist["U2"].rating["on_ohm"] + netlist["R15"].value)  # fmt: skip
    return TOY_V / loop


def coil_v(netlist: Netlist, relay: Part) -> float:
    """Give the least voltage over a coil, V: lowest supply, warm register."""
    register, coils = _driver_of(netlist, relay)
    ohm = relay.rating["coil_ohm"] / coils
    return LOGIC_LEAST_V * ohm / (ohm + register.rating["on_ohm"])


def pull_in_v(relay: Part, shielded: bool) -> float:
    """Give the voltage that a coil needs at most among others that are on, warm, V."""
    return relay.rating["coil_least_v"] * COIL_WARM * (1 if shielded else PACKED)


def coil_most_ma(relay: Part) -> float:
    """Give the most current of one coil, mA."""
    return LOGIC_MOST_V / (relay.rating["coil_ohm"] * COIL_SPREAD) * 1000


def _driver_of(netlist: Netlist, relay: Part) -> tuple[Part, int]:
    on_net = netlist.on(relay.pins["coil-"])
    register = next(part for part, _ in on_net if part.kind == "power register")
    return register, sum(part.kind == "relay" for part, _ in on_net)


_CURRENTS_A = {"Q3": ("RAIL", "R22"), "Q4": ("TOY_RESET", "R23")}


def stresses(netlist: Netlist) -> Iterator[Stress]:
    """Give every limit of every part that has one."""
    drop_v = drops(netlist)
    led_least, led_most = led_ma(netlist)
    for part in netlist:
        ref, rating, nets = part.ref, part.rating, list(part.pins.values())
        if part.kind == "resistor":
            volts = drop_v.get(ref, across(*nets))
            ohm = part.value * (1 - part.percent / 100)
            yield Stress(ref, "watt", volts**2 / ohm, rating["watt"], WATT_SHARE)
            yield Stress(ref, "volt", volts, rating["volt"], OTHER_SHARE)
        elif part.kind == "capacitor":
            yield Stress(ref, "volt", across(*nets), rating["volt"], CAPACITOR_SHARE)
        elif part.kind == "diode":
            yield Stress(ref, "volt", across(*nets), rating["volt"], OTHER_SHARE)
            clamp_a = (TOY_V - LOGIC_LEAST_V) / netlist["R56"].value
            pump_a = 2 * LOGIC_MOST_V / netlist["R13"].value
            yield Stress(ref, "amp", max(clamp_a, pump_a), rating["amp"], OTHER_SHARE)
        elif part.kind == "rectifier":
            fuse = netlist["F1"].rating
            yield Stress(ref, "volt", across(*nets), rating["volt"], OTHER_SHARE)
            yield Stress(ref, "amp", fuse["trip_a"] * FUSE_COLD, rating["amp"], OTHER_SHARE)
            yield Stress(ref, "surge_a2s", fuse["let_a2s"], rating["surge_a2s"], OTHER_SHARE)
        elif part.kind == "transistor":
            yield Stress(ref, "volt", across(part.pins["D"], part.pins["S"]), rating["volt"],
                         OTHER_SHARE)  # fmt: skip
            yield Stress(ref, "gate_v", across(part.pins["G"], "GND"), rating["gate_v"],
                         OTHER_SHARE)  # fmt: skip
            amp = led_most / 1000
            if ref in _CURRENTS_A:
                net, through = _CURRENTS_A[ref]
                limiter = netlist[through]
                amp = span(net)[1] / (limiter.value * (1 - limiter.percent / 100))
            yield Stress(ref, "amp", amp, rating["amp"], OTHER_SHARE)
        elif part.kind == "relay":
            key = part.pins["a"].startswith("KEY")
            yield Stress(ref, "contact_v", TOY_V, rating["contact_v"], OTHER_SHARE)
            amp = TOY_V / netlist["R41"].value if key else REFUSE_ABOVE_MA / 1000
            yield Stress(ref, "contact_a", amp, rating["contact_a"], OTHER_SHARE)
            # turned round: what the coil needs must be below what it gets
            needs_v = pull_in_v(part, "magnetically shielded" in part.text)
            yield Stress(ref, "coil_least_v", needs_v, coil_v(netlist, part), 1.0)
        elif part.kind == "power register":
            most = max((sum(p.kind == "relay" for p, _ in netlist.on(net))
                        for pin, net in part.pins.items() if pin in _OUTPUTS), default=0)  # fmt: skip
            relays = netlist.kinds("relay")
            yield Stress(ref, "output_a", most * coil_most_ma(relays[0]) / 1000,
                         rating["output_a"], OTHER_SHARE)  # fmt: skip
            yield Stress(ref, "output_v", LOGIC_MOST_V, rating["output_v"], OTHER_SHARE)
        elif part.kind in ("crosspoint", "multiplexer"):
            rail = part.pins["VDD" if part.kind == "crosspoint" else "VCC"]
            yield Stress(ref, "rail", span(rail)[1], rating["most_v"], 1.0)
            yield Stress(ref, "signal_a", REFUSE_ABOVE_MA / 1000, rating["signal_a"], OTHER_SHARE)
        elif part.kind == "regulator":
            yield Stress(ref, "input", span(part.pins["IN"])[1], rating["most_v"], OTHER_SHARE)
        elif part.kind in ("fuse", "cut-off"):
            yield Stress(ref, "volt", TOY_V, rating["volt"], OTHER_SHARE)
            yield Stress(ref, "hold_a", 0.4, rating["hold_a"] * FUSE_WARM, 1.0)
            if part.kind == "fuse":  # cells without any resistance
                yield Stress(ref, "fault_a", TOY_V / rating["least_ohm"], rating["fault_a"],
                             OTHER_SHARE)  # fmt: skip
        elif part.kind == "switch":
            yield Stress(ref, "volt", TOY_V, rating["volt"], OTHER_SHARE)
            yield Stress(ref, "amp", netlist["F1"].rating["trip_a"], rating["amp"], OTHER_SHARE)
            yield Stress(ref, "pulse_a", short_a(netlist), rating["pulse_a"], OTHER_SHARE)
            yield Stress(ref, "led_most_ma", led_most, rating["led_most_ma"], OTHER_SHARE)
            yield Stress(ref, "led_least_ma", rating["led_least_ma"], led_least, 1.0)
        elif part.kind == "link":
            yield Stress(ref, "amp", drop_v["R61"] / netlist["R61"].value, rating["amp"],
                         OTHER_SHARE)  # fmt: skip
        elif part.kind == "converter":
            yield Stress(ref, "most_ma", rating["out_ma"], rating["most_ma"], OTHER_SHARE)
        elif part.kind == "reference":
            ohm = netlist["R26"].value
            least_ma = (LOGIC_LEAST_V - rating["volts"]) / (ohm * 1.01) * 1000
            most_ma = (LOGIC_MOST_V - rating["volts"]) / (ohm * 0.99) * 1000
            yield Stress(ref, "least_ma", rating["least_ma"], least_ma, 1.0)
            yield Stress(ref, "most_ma", most_ma, rating["most_ma"], OTHER_SHARE)
        elif part.kind == "transformer":
            volts = {"T1": drop_v["R63"], "T2": drop_v["R65"]}[ref] / 2**0.5
            yield Stress(ref, "volt", volts, rating["volt"], OTHER_SHARE)


_OUTPUTS = {f"D{bit}" for bit in range(8)}


@dataclass(frozen=True)
class BudgetLine:
    """One consumer of the controller's 5 V, mA at worst."""

    what: str
    milliamp: float


USB_MA = 500.0
ISOLATOR_MA = 400.0
"""What a USB port gives, and what the isolator must give."""


BUDGET_SHARE = 0.9
"""Most of what the isolator gives that may be used, with everything at its worst at once."""


def budget(netlist: Netlist, closures: int = 8, series: int = 3) -> list[BudgetLine]:
    """Give what the board draws from its 5 V at worst: everything closed that may be at once.

    Parameters
    ----------
    closures : int
        Pads closed at once; with them series channels, all keys, both hold channels and
        either sense relay. Continuity is measured with nothing else of that closed.
    series : int
        Series channels closed side by side.
    """
    reeds = {part.ref: part for part in netlist.kinds("relay")}
    one = coil_most_ma(next(iter(reeds.values())))
    lines = []
    if netlist.driver == "reed":
        lines.append(BudgetLine(f"{closures} pads, coils", closures * one))
    lines += [
        BudgetLine(f"{series} series channels, coils", series * one),
        BudgetLine("8 keys, coils", 8 * one),
        BudgetLine("2 hold channels, coils", 2 * one),
        BudgetLine("1 sense relay, coil", one),
        BudgetLine("lamp of the supply switch", led_ma(netlist)[1]),
        BudgetLine("chips", sum(part.rating.get("draw_ma", 0.0) for part in netlist)),
        BudgetLine("marker, holding resistors", LOGIC_MOST_V / (netlist["R64"].value
                   + netlist["R65"].value) * 1000
                   + sum(LOGIC_MOST_V / p.value * 1000 for p in netlist.kinds("resistor")
                         if p.value == 10e3 and set(p.pins.values()) & {"+5V", "GND"})),
    ]  # fmt: skip
    return lines
