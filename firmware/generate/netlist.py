"""The parts of the board and what their pins are joined to: the one source of the guide.

Drawings, parts list, budgets and tests are all made from what `build` gives. Ratings are
the least that a part must have; type names in `text` are examples of what has them
(data sheets from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import cache

from firmware.generate import values
from rig.build import line_out

DRIVERS = ("reed", "crosspoint", "multiplexer")
PADS = 24
"""Pads of the documented build; boards of 8 (reed) or 16 (the others) are added up to 64."""

SERIES_OHM = (0, 6_800, 33_000, 150_000, 1_500, 15_000, 470_000, 2_200_000)
"""The series bank in the order of its channels; the first is a wire."""

COIL = {"coil_ohm": 500.0, "coil_least_v": 3.75, "contact_v": 100.0, "contact_a": 0.5}
CHIP_TYPES = ("controller", "amplifier", "power register", "register", "crosspoint",
              "multiplexer", "converter", "regulator")  # fmt: skip


@dataclass(frozen=True)
class Part:
    """One part.

    Parameters
    ----------
    ref : str
        Name on the drawing: letter for the kind, then a number.
    kind : str
        What it is: resistor, capacitor, register ...
    pins : dict of pin name to net
    value : float or None
        Ohms, farads or hertz.
    text : str
        Type in words, in the parts list.
    rating : dict
        Limits of the part, by quantity (`watt`, `volt`, `amp` ...), or its draw (`draw_ma`).
    sheet : str
        Drawing that it is on.
    percent : float or None
        Tolerance of the value.
    """

    ref: str
    kind: str
    pins: dict[str, str]
    value: float | None = None
    text: str = ""
    rating: dict[str, float] = field(default_factory=dict)
    sheet: str = ""
    percent: float | None = None

    @property
    def label(self) -> str:
        """Value as it stands beside the part."""
        unit = {"resistor": "Ω", "capacitor": "F", "crystal": "Hz"}.get(self.kind)
        if unit is None or self.value is None:
            return self.text
        return values.engineering(self.value, unit)


class Netlist:
    """Parts by name, and the nets between them."""

    def __init__(self, driver: str, parts: Iterable[Part]):
        self.driver = driver
        self.parts: dict[str, Part] = {}
        for part in parts:
            if part.ref in self.parts:
                raise ValueError(f"two parts are named {part.ref}")
            self.parts[part.ref] = part

    def __getitem__(self, ref: str) -> Part:
        return self.parts[ref]

    def __iter__(self):
        return iter(self.parts.values())

    def without(self, *refs: str) -> Netlist:
        """Give the same board with some parts taken out."""
        return Netlist(self.driver, (p for p in self if p.ref not in refs))

    def kinds(self, *kinds: str) -> list[Part]:
        """Give the parts of some kinds."""
        return [part for part in self if part.kind in kinds]

    def on(self, net: str) -> list[tuple[Part, str]]:
        """Give every (part, pin) on a net."""
        return [(part, pin) for part in self for pin, at in part.pins.items() if at == net]

    @property
    def nets(self) -> set[str]:
        """Names of all nets."""
        return {net for part in self for net in part.pins.values()}


def resistor(ref, ohm, a, b, watt=0.25, percent=1.0, volt=200.0, text="metal film") -> Part:
    return Part(ref, "resistor", {"1": a, "2": b}, ohm, text, {"watt": watt, "volt": volt},
                percent=percent)  # fmt: skip


def capacitor(ref, farad, a, b, volt=50.0, text="ceramic X7R", percent=10.0) -> Part:
    return Part(ref, "capacitor", {"+": a, "-": b}, farad, text, {"volt": volt}, percent=percent)


def diode(ref, anode, cathode, text) -> Part:
    return Part(ref, "diode", {"A": anode, "K": cathode}, None, text, {"volt": 30, "amp": 0.15})


def transistor(ref, gate, drain, source="GND") -> Part:
    """A small logic-level N-channel transistor."""
    return Part(ref, "transistor", {"G": gate, "D": drain, "S": source}, None,
                "N-channel MOSFET, TO-92, threshold 0.75-1.5 V (ZVNL110A type)",
                {"volt": 60, "gate_v": 15, "amp": 0.3, "watt": 0.6})  # fmt: skip


def relay(ref, register_output, a, b) -> Part:
    return Part(ref, "relay", {"coil+": "+5V", "coil-": register_output, "a": a, "b": b}, None,
                ("reed relay, magnetically shielded, 5 V 500 Ω coil with diode inside, 1 form A, "
                 "SIP"), COIL)  # fmt: skip


def chip(ref, kind, text, pins, **rating) -> Part:
    return Part(ref, kind, pins, None, text, rating)


POWER_REGISTER = "8-bit power shift register, open drain, 50 V 150 mA (TPIC6B595 type)"
REGISTER = "8-bit shift register with storage and enable (74HC595 type)"


def power_register(ref: str, chain: int, outputs: dict[int, str]) -> Part:
    """A register of the chain whose outputs pull coils to ground; the last one feeds PB0."""
    pins = {"SER": chain_net(chain), "SEROUT": chain_net(chain + 1), "SRCK": "SHIFT",
            "RCK": "LATCH", "G": "ENABLE_NOT", "SRCLR": "+5V", "VCC": "+5V",
            "GND": "GND"}  # fmt: skip
    pins |= {f"D{bit}": net for bit, net in outputs.items()}
    return chip(ref, "power register", POWER_REGISTER, pins, draw_ma=1.0, output_a=0.15,
                output_v=50.0, on_ohm=9.5)  # fmt: skip


def logic_register(ref: str, chain: int, outputs: list[str]) -> Part:
    pins = {"SER": chain_net(chain), "SEROUT": chain_net(chain + 1), "SRCK": "SHIFT",
            "RCK": "LATCH", "G": "ENABLE_NOT", "SRCLR": "+5V", "VCC": "+5V",
            "GND": "GND"}  # fmt: skip
    pins |= {f"Q{bit}": net for bit, net in enumerate(outputs)}
    return chip(ref, "register", REGISTER, pins, draw_ma=1.0)


def chain_net(register: int) -> str:
    return f"CHAIN_{register}"


CONTROLLER_NETS = {
    "RESET": "RESET_NOT", "PD0": "RXD", "PD1": "TXD", "PD2": "SUPPLY", "PD3": "MARKER",
    "PD4": "CHAIN_DATA", "PD5": "CHAIN_CLOCK", "PD6": "CHAIN_LATCH", "PD7": "CHAIN_ENABLE_NOT",
    "PB0": "CHAIN_READ", "PB1": "BLEED", "PB2": "HEARTBEAT", "PB3": "STROBE",
    "PB4": "MISO", "PB5": "SCK", "PC0": "RAIL_SENSE", "PC1": "CURRENT_SENSE",
    "PC2": "RESET_LINE", "PC3": "BUS_SENSE", "PC4": "CONTINUITY_SENSE", "PC5": "REFERENCE",
    "VCC": "+5V", "AVCC": "+5V", "AREF": "AREF", "GND": "GND", "AGND": "GND", "XTAL1": "XTAL1",
    "XTAL2": "XTAL2",
}  # fmt: skip


def core() -> list[Part]:
    """Controller, its clock and sockets, and every resistor that holds a pin during reset."""
    return [
        chip("U1", "controller", "ATmega328P, 28-leg DIP", dict(CONTROLLER_NETS), draw_ma=15.0),
        Part("Y1", "crystal", {"1": "XTAL1", "2": "XTAL2"}, 16e6, "crystal, 18 pF load"),
        capacitor("C1", 22e-12, "XTAL1", "GND", text="ceramic NP0", percent=5),
        capacitor("C2", 22e-12, "XTAL2", "GND", text="ceramic NP0", percent=5),
        capacitor("C3", 100e-9, "+5V", "GND"),
        capacitor("C6", 100e-9, "+5V", "GND"),
        capacitor("C4", 100e-9, "AREF", "GND"),
        capacitor("C5", 100e-6, "+5V", "GND", volt=16, text="electrolytic", percent=20),
        resistor("R1", 10e3, "RESET_NOT", "+5V"),
        resistor("R2", 10e3, "SUPPLY", "GND"),
        resistor("R3", 10e3, "MARKER", "GND"),
        resistor("R4", 10e3, "ENABLE_NOT", "+5V"),
        resistor("R5", 10e3, "CHAIN_READ", "GND"),
        resistor("R6", 10e3, "BLEED", "GND"),
        resistor("R7", 10e3, "STROBE", "GND"),
        resistor("R8", 10e3, "RESET_LINE", "GND"),
        resistor("R9", 4.7e3, "FROM_HOST", "RXD"),
        resistor("R10", 4.7e3, "TXD", "TO_HOST"),
        resistor("R24", 100e3, "RXD", "+5V"),
        resistor("R25", 100e3, "TXD", "+5V"),
        resistor("R27", 47, "CHAIN_DATA", chain_net(0)),
        resistor("R28", 47, "CHAIN_CLOCK", "SHIFT"),
        resistor("R29", 47, "CHAIN_LATCH", "LATCH"),
        resistor("R30", 47, "CHAIN_ENABLE_NOT", "ENABLE_NOT"),
        resistor("R26", 1.5e3, "+5V", "REFERENCE"),
        Part("U7", "reference", {"+": "REFERENCE", "-": "GND"}, None,
             "shunt reference 2.500 V, 0.5 %, 1-15 mA, TO-92 (LM4040 type)",
             {"volts": 2.5, "least_ma": 1.0, "most_ma": 15.0, "drift_percent": 0.3}, percent=0.5),
        Part("J1", "connector", {"5V": "+5V", "GND": "GND", "TXD": "FROM_HOST", "RXD": "TO_HOST"},
             text="serial converter with 5 V signals, behind the USB isolator"),
        Part("J2", "connector", {"MISO": "MISO", "5V": "+5V", "SCK": "SCK",
                                 "MOSI": "STROBE", "RST": "RESET_NOT", "GND": "GND"},
             text="programmer's socket, 2 x 3"),
    ]  # fmt: skip


def supply() -> list[Part]:
    """Cells to toy: fuse, cut-off, switch, shunt, bleed; and what measures them."""
    return [
        Part("J3", "connector", {"+": "CELL+", "-": "GND"},
             text="clips to the toy's cells; F1 and F2 are in the plus clip's lead"),
        Part("F1", "fuse", {"1": "CELL+", "2": "FUSED"}, None,
             "resettable fuse, holds 0.5 A, trips at 1 A (20 °C), 60 V 40 A (RXEF050 type)",
             {"volt": 60, "fault_a": 40.0, "hold_a": 0.5, "trip_a": 1.0, "least_ohm": 0.5,
              "let_a2s": 40.0}),
        Part("F2", "cut-off", {"1": "FUSED", "2": "GUARDED"}, None,
             "thermal cut-off, 77 °C, one-shot", {"volt": 24, "hold_a": 5.0, "trip_a": 1e9}),
        Part("J9", "connector", {"lead+": "GUARDED", "lead-": "GND", "+": "GUARDED", "-": "GND"},
             text="socket of the cells' lead, at the board's edge"),
        Part("D2", "rectifier", {"A": "GND", "K": "GUARDED"}, None,
             "Schottky, 45 V 15 A, 300 A for 8.3 ms (15SQ045 type)",
             {"volt": 45, "amp": 15.0, "surge_a2s": 370.0}),
        Part("U2", "switch", {"A": "LED+", "K": "LED-", "D1": "GUARDED", "D2": "RAIL"}, None,
             "photo-relay with MOSFET output, 60 V 4 A, 12 A for 0.1 s, off in 1 ms (TLP3545A type)",
             {"volt": 60, "amp": 4.0, "pulse_a": 12.0, "on_ohm": 0.06, "led_least_ma": 5.0,
              "led_most_ma": 30.0, "led_off_ma": 0.1, "led_v_least": 1.2, "led_v_most": 1.6}),
        resistor("R12", 300, "+5V", "LED+"),
        transistor("Q2", "BEATS", "LED-", "LED_MID"),
        transistor("Q1", "SUPPLY", "LED_MID"),
        resistor("R13", 220, "HEARTBEAT", "PUMP_IN"),
        capacitor("C7", 330e-9, "PUMP_IN", "PUMP", text="film", percent=10),
        resistor("R11", 4.7e3, "PUMP", "GND"),
        diode("D3", "GND", "PUMP", "Schottky BAT85 type"),
        diode("D1", "PUMP", "HOLD", "Schottky BAT85 type"),
        capacitor("C8", 150e-9, "HOLD", "GND", text="film", percent=5),
        resistor("R14", 100e3, "HOLD", "GND"),
        resistor("R66", 20e3, "+5V", "HOLD_LEAST"),
        resistor("R67", 10e3, "HOLD_LEAST", "GND"),
        resistor("R60", 100e3, "BEATS", "GND"),
        Part("J4", "connector", {"+": "RAIL", "-": "TOY-", "reset": "TOY_RESET"},
             text="clips to the toy's board: plus, minus, reset pad"),
        resistor("R15", 0.22, "TOY-", "GND", watt=1.0, text="wire-wound or metal strip"),
        resistor("R16", 1e3, "TOY-", "SHUNT"),
        capacitor("C9", 100e-9, "SHUNT", "GND"),
        resistor("R17", 1.02e3, "GAIN_50", "GND"),
        resistor("R18", 49.9e3, "AMPERES", "GAIN_50"),
        resistor("R19", 1e3, "AMPERES", "CURRENT_SENSE"),
        capacitor("C10", 10e-9, "CURRENT_SENSE", "GND"),
        resistor("R20", 20e3, "RAIL", "RAIL_SENSE"),
        resistor("R21", 10e3, "RAIL_SENSE", "GND"),
        capacitor("C12", 100e-9, "RAIL_SENSE", "GND"),
        resistor("R22", 220, "RAIL", "BLED", watt=2.0, percent=5, text="metal oxide"),
        transistor("Q3", "BLEED", "BLED"),
        resistor("R23", 1e3, "TOY_RESET", "PULLED", watt=0.6),
        transistor("Q4", "RESET_LINE", "PULLED"),
    ]  # fmt: skip


def measuring() -> list[Part]:
    """Series bank, keys, hold channels, and the two senses on the buses."""
    parts = [
        power_register("U4", 0, {bit: f"SERIES_{bit + 1}" for bit in range(8)}),
        power_register("U5", 1, {bit: f"KEY_{bit + 1}" for bit in range(8)}),
        power_register("U6", 2, {0: "SENSE_1", 1: "SENSE_2", 2: "CONTINUITY", 4: "HOLD_1",
                                 5: "HOLD_2"}),
    ]  # fmt: skip
    for channel, ohm in enumerate(SERIES_OHM, 1):
        end = f"BANK_{channel}" if ohm else "BUS2"
        parts.append(relay(f"K{channel}", f"SERIES_{channel}", "BUS1", end))
        if ohm:
            parts.append(resistor(f"R{30 + channel}", ohm, end, "BUS2"))
    for channel in range(1, 9):
        parts += [
            relay(f"K{10 + channel}", f"KEY_{channel}", f"KEY_{channel}A", f"KEY_{channel}R"),
            resistor(f"R{40 + channel}", 470, f"KEY_{channel}R", f"KEY_{channel}B", watt=0.6),
        ]
    parts += [
        relay("K21", "SENSE_1", "SENSE", "BUS1"),
        relay("K22", "SENSE_2", "SENSE", "BUS2"),
        relay("K23", "CONTINUITY", "CONTINUITY_NODE", "BUS1"),
        relay("K24", "CONTINUITY", "GND", "BUS2"),
        relay("K25", "HOLD_1", "HOLD_1A", "HOLD_1B"),
        relay("K26", "HOLD_2", "HOLD_2A", "HOLD_2B"),
        resistor("R51", 2e6, "SENSE", "THIRD"),
        resistor("R52", 1e6, "THIRD", "GND"),
        capacitor("C51", 100e-12, "THIRD", "GND", text="ceramic NP0"),
        resistor("R53", 1e3, "BUS_VOLTS", "BUS_SENSE"),
        capacitor("C52", 10e-9, "BUS_SENSE", "GND"),
        resistor("R54", 280e3, "+5V", "CONTINUITY_NODE"),
        resistor("R55", 10.5e3, "CONTINUITY_NODE", "GND"),
        resistor("R56", 10e3, "CONTINUITY_NODE", "CLAMPED"),
        diode("D51", "CLAMPED", "+5V", "silicon 1N4148 type"),
        diode("D52", "GND", "CLAMPED", "silicon 1N4148 type"),
        capacitor("C53", 10e-9, "CLAMPED", "GND"),
        resistor("R57", 1.05e3, "GAIN_20", "GND"),
        resistor("R58", 20e3, "OHMS", "GAIN_20"),
        resistor("R59", 1e3, "OHMS", "CONTINUITY_SENSE"),
        capacitor("C54", 10e-9, "CONTINUITY_SENSE", "GND"),
        chip("U3", "amplifier",
             "quad amplifier, rail to rail in and out, offset 0.5 mV (MCP6024 type)",
             {"1+": "SHUNT", "1-": "GAIN_50", "1out": "AMPERES",
              "2+": "THIRD", "2-": "BUS_VOLTS", "2out": "BUS_VOLTS",
              "3+": "CLAMPED", "3-": "GAIN_20", "3out": "OHMS",
              "4+": "HOLD", "4-": "HOLD_LEAST", "4out": "BEATS", "VDD": "+5V", "VSS": "GND"},
             draw_ma=6.0, offset_mv=0.5, swing_mv=20.0, bandwidth_hz=10e6),
        Part("J5", "connector", {f"{n}{end}": f"KEY_{n}{end}" for n in range(1, 9) for end in "AB"},
             text="eight pairs of key sockets"),
        Part("J6", "connector", {f"{n}{end}": f"HOLD_{n}{end}" for n in (1, 2) for end in "AB"},
             text="two pairs of hold sockets"),
    ]  # fmt: skip
    return parts


def sound() -> list[Part]:
    """Loudspeaker to line input, marker to line input, dummy load."""
    transformer = line_out.TRANSFORMER
    return [
        Part("J7", "connector", {"1": "SPEAKER_1", "2": "SPEAKER_2", "3": "LOUDSPEAKER"},
             text=("clips: 1 the amplifier's cut wire, 3 its end at the loudspeaker, "
                   "2 the other wire")),
        Part("JP1", "link", {"1": "SPEAKER_1", "3": "LOUDSPEAKER", "R61": "DUMMY"},
             text="three posts, one jumper: loudspeaker or R61", rating={"amp": 2.0}),
        resistor("R61", 8.2, "DUMMY", "SPEAKER_2", watt=10.0, percent=5, text="wire-wound"),
        capacitor("C61", line_out.SERIES_F, "SPEAKER_1", "COUPLED", volt=line_out.SERIES_V,
                  text="film"),
        resistor("R62", line_out.UPPER_OHM, "COUPLED", "TENTH"),
        resistor("R63", line_out.LOWER_OHM, "TENTH", "SPEAKER_2"),
        capacitor("C62", line_out.LOW_PASS_F, "TENTH", "SPEAKER_2", text="film"),
        Part("T1", "transformer", {"1": "TENTH", "2": "SPEAKER_2", "3": "LEFT", "4": "LINE_GND"},
             None, transformer, {"volt": 1.5, "isolation_v": 100, "henry": 1.0, "winding_ohm": 60}),
        capacitor("C63", 47e-6, "MARKER", "MARKED", volt=16, text="electrolytic", percent=20),
        resistor("R64", 820, "MARKED", "MARKER_LOW"),
        resistor("R65", 100, "MARKER_LOW", "GND"),
        Part("T2", "transformer",
             {"1": "MARKER_LOW", "2": "GND", "3": "RIGHT", "4": "LINE_GND"},
             None, transformer, {"volt": 1.5, "isolation_v": 100, "henry": 1.0, "winding_ohm": 60}),
        Part("J8", "connector", {"left": "LEFT", "right": "RIGHT", "sleeve": "LINE_GND"},
             text="stereo plug to the line input"),
    ]  # fmt: skip


def reed(pads: int) -> list[Part]:
    """Per board of 8 pads: two registers and sixteen relays."""
    parts = []
    for pad in range(1, pads + 1):
        board, place = divmod(pad - 1, 8)
        hundred = 100 * (board + 1)
        if place == 0:
            for bus in (1, 2):
                outputs = {bit: f"PAD_{pad + bit}_BUS{bus}" for bit in range(8)}
                parts.append(power_register(f"U{hundred + bus}", 3 + 2 * board + bus - 1, outputs))
        for bus in (1, 2):
            ref = f"K{hundred + 10 * (bus - 1) + place + 1}"
            parts.append(relay(ref, f"PAD_{pad}_BUS{bus}", f"PAD{pad}", f"BUS{bus}"))
    return parts


def _holders(first: int, lines: dict[str, str]) -> list[Part]:
    """Resistors that give each line a level while the registers' outputs float."""
    return [resistor(f"R{first + i}", 10e3, line, to) for i, (line, to) in enumerate(lines.items())]


def crosspoint(pads: int) -> list[Part]:
    """Chips of 16 pads by 8 lines, of which two are the buses, on a rail of their own."""
    chips = -(-pads // 16)
    word = ["AX0", "AX1", "AX2", "AX3", "AY0", "AY1", "AY2", "DATA"]
    selects = [f"CS{n}" for n in range(1, chips + 1)]
    parts = [logic_register("U41", 3, word), logic_register("U42", 4, selects)]
    parts += _holders(71, dict.fromkeys(word + selects, "GND"))
    for n in range(1, chips + 1):
        pins = {name: name for name in word}
        pins |= {"CS": f"CS{n}", "STROBE": "STROBE", "RESET": "ENABLE_NOT",
                 "Y0": "BUS1", "Y1": "BUS2", "VDD": "+12V", "VEE": "GND", "VSS": "GND"}  # fmt: skip
        pins |= {f"X{x}": f"PAD{16 * (n - 1) + x + 1}" for x in range(16) if 16 * (n - 1) + x < pads}
        parts.append(chip(f"U{50 + n}", "crosspoint",
                          "8 x 16 analog crosspoint, 4.5-13.2 V (MT8816 type)", pins, most_v=13.2,
                          signal_a=0.015, on_ohm=75.0, high_least_v=3.3))  # fmt: skip
    # 1.4 mA from 12 V for each input at 5 V (data sheet, memory: 15 mA with all eleven at
    # 3.4 V): address and data on every chip, one select; 5 mA of the regulator's own. The
    # converter has 15 V from 5 V at three quarters.
    rail_ma = 1.4 * (len(word) * chips + 1) + 5.0
    return [
        *parts,
        chip("U43", "converter", "converter 5 V to 15 V, 1 W, not regulated",
             {"VIN": "+5V", "GND": "GND", "VOUT": "+15V"}, draw_ma=rail_ma * 3 / 0.75,
             out_ma=rail_ma, most_ma=66.0),
        chip("U44", "regulator", "regulator 12 V 0.1 A (78L12 type)",
             {"IN": "+15V", "GND": "GND", "OUT": "+12V"}, most_v=35.0),
        capacitor("C71", 10e-6, "+15V", "GND", volt=35, text="electrolytic", percent=20),
        capacitor("C72", 10e-6, "+12V", "GND", volt=25, text="electrolytic", percent=20),
    ]  # fmt: skip


def multiplexer(pads: int) -> list[Part]:
    """One 16:1 multiplexer for each 16 pads on each bus, between ground and +5 V."""
    chips = -(-pads // 16)
    parts = []
    for bus in (1, 2):
        address = [f"B{bus}_S{n}" for n in range(4)]
        enables = [f"B{bus}_E{n}" for n in range(1, chips + 1)]
        parts.append(logic_register(f"U{40 + bus}", 2 + bus, address + enables))
        parts += _holders(60 + 10 * bus + 1, dict.fromkeys(address, "GND"))
        parts += _holders(60 + 10 * bus + 5, dict.fromkeys(enables, "+5V"))
        for n in range(1, chips + 1):
            pins = {f"S{i}": line for i, line in enumerate(address)}
            pins |= {"E": enables[n - 1], "Z": f"BUS{bus}", "VCC": "+5V", "GND": "GND"}
            pins |= {f"I{x}": f"PAD{16 * (n - 1) + x + 1}" for x in range(16)
                     if 16 * (n - 1) + x < pads}  # fmt: skip
            parts.append(chip(f"U{50 + 4 * (bus - 1) + n}", "multiplexer",
                              "16:1 analog multiplexer (74HC4067 type)", pins, most_v=6.0,
                              signal_a=0.025, on_ohm=225.0))  # fmt: skip
    return parts


def leads(pads: int) -> list[Part]:
    return [resistor(f"RL{n}", 1500, f"PAD{n}", f"TOY{n}", text="at the pad's end of the lead")
            for n in range(1, pads + 1)]  # fmt: skip


@cache
def build(driver: str = "reed", pads: int = PADS) -> Netlist:
    """Give the whole board with one driver type.

    Parameters
    ----------
    driver : {'reed', 'crosspoint', 'multiplexer'}
    pads : int
        Number of pads, a multiple of 8, at most 64.
    """
    sheets = {"core": core(), "supply": supply(), "measuring": measuring(), "sound": sound()}
    maker = {"reed": reed, "crosspoint": crosspoint, "multiplexer": multiplexer}[driver]
    sheets[driver] = maker(pads) + leads(pads)
    parts = [replace(part, sheet=sheet) for sheet, some in sheets.items() for part in some]
    # The last register's serial output goes back to the controller.
    last = max(int(p.pins["SEROUT"].split("_")[1]) for p in parts if "SEROUT" in p.pins)
    for i, part in enumerate(parts):
        if part.pins.get("SEROUT") == f"CHAIN_{last}":
            parts[i] = replace(part, pins=part.pins | {"SEROUT": "CHAIN_READ"})
    for part in list(parts):
        supplies = [net for pin, net in part.pins.items() if pin in ("VCC", "VDD")]
        if part.kind in CHIP_TYPES and supplies and part.ref != "U1":
            parts.append(replace(capacitor(f"C{part.ref}", 100e-9, supplies[0], "GND"),
                                 sheet=part.sheet))  # fmt: skip
    return Netlist(driver, parts)
