"""The sheets of the schematic: where each part stands."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from schemdraw import elements as elm

from firmware.generate import groups
from firmware.generate.drawing import Sheet
from firmware.generate.netlist import DRIVERS, PADS, Netlist, build

FOLDER = Path(__file__).parents[1] / "drawings"


def core() -> str:
    """Controller, clock, sockets, holding resistors."""
    sheet = Sheet(build("reed"), "core")
    left = ["RESET", None, "XTAL1", "XTAL2", None, "PD0", "PD1", None, "PB4", "PB5", None,
            "VCC", "AVCC", "AREF", "GND", "AGND"]  # fmt: skip
    right = ["PD2", "PD3", "PD4", "PD5", "PD6", "PD7", None, "PB0", "PB1", "PB2", "PB3", None,
             "PC0", "PC1", "PC2", "PC3", "PC4", "PC5"]  # fmt: skip
    sheet.box("U1", (0, 0), left, right, width=4.6, pitch=0.62)
    sheet.two("Y1", (-5.6, -1.0), "down", 1.5, side="left")
    for cap, pin, y in (("C1", "1", -1.0), ("C2", "2", -2.5)):
        sheet.two(cap, (-7.6, y), "left", 1.2, side="top")
        sheet.wire((cap, "+"), ("Y1", pin))
        sheet.name_net((cap, "-"), "left", 0.2)
        sheet.name_net(("Y1", pin), "right", 0.3)
    sheet.name_rest("U1")
    sheet.box("J1", (14.4, 0), ["5V", "GND", "TXD", "RXD"], width=1.6, pitch=0.95,
              title="J1  serial converter, 5 V,\nbehind the USB isolator")  # fmt: skip
    for ref, pins, end in (("R9", ("1", "2"), "TXD"), ("R10", ("2", "1"), "RXD")):
        x, y = sheet.at["J1", end]
        sheet.two(ref, (x - 0.4, y), "left", 1.7, pins=pins)
        sheet.wire(("J1", end), (ref, pins[0]))
        sheet.name_net((ref, pins[1]), "left", 0.15)
    sheet.name_rest("J1")
    sheet.box("J2", (14.4, -6.0), ["MISO", "5V", "SCK", "MOSI", "RST", "GND"], width=1.6,
              title="J2  programmer")  # fmt: skip
    sheet.name_rest("J2")
    for i, ref in enumerate(["R27", "R28", "R29", "R30"]):
        sheet.two(ref, (-7.4, -6.4 - 1.15 * i), "right", 1.7)
        sheet.name_net((ref, "1"), "left", 0.15)
        sheet.name_net((ref, "2"), "right", 0.15)
    y = -13.9
    sheet.text((-6.4, y + 1.4), "These hold the board while the controller's pins float:", "left")
    for i, ref in enumerate(["R2", "R3", "R5", "R6", "R7", "R8"]):
        sheet.column(ref, (-5.4 + 3.0 * i, y))
    y -= 4.0
    for i, ref in enumerate(["R4", "R1", "R24", "R25"]):
        sheet.column(ref, (-5.4 + 3.0 * i, y), pins=("2", "1"))
    sheet.two("R26", (9.6, y), "down", 1.6)
    sheet.name_net(("R26", "1"), "up")
    sheet.two("U7", (9.6, y - 3.8), "up", 1.6, pins=("-", "+"), symbol=elm.Zener)
    sheet.wire(("R26", "2"), ("U7", "+"), dot=True)
    sheet.name_net(("U7", "+"), "right", 0.6)
    sheet.name_net(("U7", "-"), "down")
    y -= 4.2
    for i, (ref, place) in enumerate(
        {"C3": "VCC, leg 7", "C6": "AVCC, leg 20", "C4": "AREF, leg 21", "C5": "5 V"}.items()
    ):
        sheet.column(ref, (-5.4 + 3.0 * i, y))
        sheet.text((-5.4 + 3.0 * i, y - 2.8), f"at {place}", "center", size=8)
    return sheet.finish()


def supply() -> str:
    """Cells to toy, the heartbeat's pump, current and rail, bleed and reset."""
    s = Sheet(build("reed"), "supply")
    s.box("J3", (-9.6, 0), (), ["+", "-"], width=1.4, pitch=1.0, title="J3  toy's cells")
    s.two("F1", (-7.2, -0.7), "right", 2.2, label="F1  holds 0.5 A")
    s.two("F2", (-4.4, -0.7), "right", 2.2, label="F2  77 °C")
    s.wire(("J3", "+"), ("F1", "1"))
    s.wire(("F1", "2"), ("F2", "1"))
    s.frame((-10.4, 1.0), (-1.8, -2.8),
            "at the cells, off the board: F1 and F2 within 5 cm of plus")  # fmt: skip
    s.box("J9", (0, 0), ["lead+", "lead-"], ["+", "-"], width=1.4, pitch=1.0,
          title="J9  cells' lead", show={"lead+": "+", "lead-": "-"})  # fmt: skip
    s.wire(("F2", "2"), ("J9", "lead+"))
    s.wire(("J3", "-"), ("J9", "lead-"))
    s.name_net(("J9", "-"), "down", 0.2)
    s.box("U2", (13.8, 0.0), ["D1", None, None, "A", "K"], ["D2"], width=3.4, pitch=1.0,
          title="U2  photo-relay, TLP3545A type",
          show={"A": "lamp +", "K": "lamp −", "D1": "output", "D2": "output"})  # fmt: skip
    s.two("D2", (4.4, -3.2), "up", 2.5, side="right", label="D2\nreversed cells")
    s.name_net(("D2", "A"), "down")
    s.wire(("J9", "+"), ("D2", "K"), dot=True)
    s.wire(("D2", "K"), ("U2", "D1"))
    s.box("J4", (21.6, 0.0), ["+", "-", "reset"], width=1.5, pitch=1.0, title="J4  toy's board")
    s.wire(("U2", "D2"), ("J4", "+"))
    s.text((19.4, -0.55), "RAIL", "center", "bottom", 8, "blue")
    s.name_net(("J4", "-"), "left", 0.15)
    s.name_net(("J4", "reset"), "left", 0.15)
    # lamp and heartbeat
    y = -6.3
    s.two("R12", (10.4, -3.7), "right", 1.8)
    s.name_net(("R12", "1"), "left", 0.15)
    s.wire(("R12", "2"), ("U2", "A"))
    s.two("R13", (-8.4, y), "right", 1.6)
    s.name_net(("R13", "1"), "left", 0.15)
    s.two("C7", (-6.4, y), "right", 1.4)
    s.wire(("R13", "2"), ("C7", "+"))
    s.two("R11", (-4.6, y), "down", 1.8)
    s.wire(("C7", "-"), ("R11", "1"), dot=True)
    s.two("D3", (-2.6, y - 1.8), "up", 1.8, side="right")
    s.wire(("R11", "1"), ("D3", "K"), dot=True)
    s.two("D1", (-2.0, y), "right", 1.2)
    s.wire(("D3", "K"), ("D1", "A"))
    s.two("C8", (0.0, y), "down", 1.8)
    s.two("R14", (1.9, y), "down", 1.8)
    s.wire(("D1", "K"), ("C8", "+"), ("R14", "1"), dot=True)
    s.amplifier("U3", 4, (6.2, y))
    s.wire(("R14", "1"), ("U3", "4+"))
    s.name_net(("U3", "4-"), "left", 0.4)
    out = s.at["U3", "4out"]
    s.two("R60", (out[0] + 0.9, out[1]), "down", 1.8)
    s.wire(("U3", "4out"), ("R60", "1"), dot=True)
    s.transistor("Q2", (12.2, out[1]))
    s.wire(("R60", "1"), ("Q2", "G"))
    s.wire(("U2", "K"), ("Q2", "D"), shape="-|")
    s.transistor("Q1", (12.2, out[1] - 3.1))
    s.wire(("Q2", "S"), ("Q1", "D"))
    s.name_net(("Q1", "S"), "down")
    s.name_net(("Q1", "G"), "left", 0.2)
    for pin in (("R11", "2"), ("D3", "A"), ("C8", "-"), ("R14", "2"), ("R60", "2")):
        s.name_net(pin, "down")
    s.text((-9.8, -4.6), "Heartbeat: silent for 20 ms, the toy is off", "left")
    s.text((4.2, y + 0.1), "HOLD", "center", "bottom", 8, "blue")
    s.text((11.0, out[1] + 0.1), "BEATS", "center", "bottom", 8, "blue")
    s.two("R66", (-7.6, -10.0), "down", 1.6)
    s.name_net(("R66", "1"), "up")
    s.two("R67", (-7.6, -12.0), "down", 1.6)
    s.wire(("R66", "2"), ("R67", "1"), dot=True)
    s.name_net(("R67", "1"), "right", 0.5)
    s.name_net(("R67", "2"), "down")
    # bleed, rail sense, reset line
    for ref, transistor, x in (("R22", "Q3", 19.4), ("R23", "Q4", 24.6)):
        s.two(ref, (x, -5.0), "down", 1.7)
        s.name_net((ref, "1"), "up")
        s.transistor(transistor, (x - 0.9, -7.6))
        s.wire((ref, "2"), (transistor, "D"), shape="|-")
        s.name_net((transistor, "G"), "left", 0.15)
        s.name_net((transistor, "S"), "down")
    y = -11.6
    s.two("R20", (19.4, y), "down", 1.7)
    s.name_net(("R20", "1"), "up")
    s.two("R21", (19.4, y - 2.2), "down", 1.7)
    s.wire(("R20", "2"), ("R21", "1"), dot=True)
    s.two("C12", (21.6, y - 2.2), "down", 1.7)
    s.wire(("R21", "1"), ("C12", "+"), dot=True)
    s.name_net(("C12", "+"), "right", 0.2)
    s.name_net(("R21", "2"), "down")
    s.name_net(("C12", "-"), "down")
    # shunt and amplifier
    x, y = -1.8, -12.2
    s.two("R15", (x, y), "down", 1.9)
    s.name_net(("R15", "1"), "up", 0.3)
    s.name_net(("R15", "2"), "down")
    s.two("R16", (x + 1.2, y), "right", 1.8)
    s.wire(("R15", "1"), ("R16", "1"))
    s.two("C9", (x + 3.6, y), "down", 1.9)
    s.wire(("R16", "2"), ("C9", "+"), dot=True)
    s.name_net(("C9", "-"), "down")
    groups.amplifier(s, 1, (x + 6.4, y), ("C9", "+"), "R17", "R18", "R19", "C10")
    return s.finish()


def measuring() -> str:
    """Series bank, keys, hold channels, sense and continuity."""
    n = build("reed")
    s = Sheet(n, "measuring")
    groups.coils(s, "U4", (0, 0), {f"D{b}": [f"K{b + 1}"] for b in range(8)},
           "U4  register 0: series bank\nTPIC6B595 type")  # fmt: skip
    for channel in range(1, 9):
        y = s.at[f"K{channel}", "coil-"][1]
        ref = f"R{30 + channel}"
        groups.contact(s, f"K{channel}", (9.0, y))
        s.name_net((f"K{channel}", "a"), "left", 0.1)
        if ref in n.parts:
            s.two(ref, (11.0, y), "right", 1.6)
            s.wire((f"K{channel}", "b"), (ref, "1"))
            s.name_net((ref, "2"), "right", 0.1)
        else:
            s.name_net((f"K{channel}", "b"), "right", 2.2)
    groups.coils(s, "U5", (19.6, 0), {f"D{b}": [f"K{b + 11}"] for b in range(8)},
           "U5  register 1: keys\nTPIC6B595 type")  # fmt: skip
    s.box("J5", (36.6, 0.1), [f"{i}{end}" for i in range(1, 9) for end in "AB"], width=1.3,
          pitch=0.6, title="J5  to the keys")  # fmt: skip
    for channel in range(1, 9):
        y = s.at[f"K{10 + channel}", "coil-"][1]
        ref, key = f"R{40 + channel}", f"K{10 + channel}"
        groups.contact(s, key, (28.8, y))
        s.two(ref, (30.6, y), "right", 1.6)
        s.wire((key, "b"), (ref, "1"))
        s.name_net((key, "a"), "left", 0.05)
        s.name_net((ref, "2"), "right", 0.05)
    s.name_rest("J5", 0.05)
    y = -12.6
    groups.coils(s, "U6", (0, y), {"D0": ["K21"], "D1": ["K22"], "D2": ["K23", "K24"],
                                   "D4": ["K25"], "D5": ["K26"]},
           "U6  register 2: senses, hold\nTPIC6B595 type")  # fmt: skip
    for i, ref in enumerate(["K21", "K22", "K23", "K24", "K25", "K26"]):
        groups.contact(s, ref, (21.0, y - 0.8 - 1.15 * i))
        s.name_net((ref, "a"), "left", 0.1)
        s.name_net((ref, "b"), "right", 0.1)
    s.box("J6", (27.4, y), ["1A", "1B", "2A", "2B"], width=1.4, title="J6  hold sockets")
    s.name_rest("J6", 0.1)
    s.box("U3", (32.6, y), ["VDD"], ["VSS"], width=2.8, title="U3  supply\nMCP6024 type")
    s.name_rest("U3")
    for i, ref in enumerate(["CU3", "CU4", "CU5", "CU6"]):
        s.column(ref, (26.4 + 2.8 * i, y - 4.6), 1.4)
    # voltage of a bus
    y = -25.0
    s.two("R51", (0.6, y), "right", 1.7)
    s.name_net(("R51", "1"), "left", 0.1)
    s.two("R52", (3.0, y), "down", 1.8)
    s.two("C51", (5.0, y), "down", 1.8)
    s.wire(("R51", "2"), ("R52", "1"), ("C51", "+"), dot=True)
    s.name_net(("R52", "2"), "down")
    s.name_net(("C51", "-"), "down")
    s.amplifier("U3", 2, (7.6, y))
    s.wire(("C51", "+"), ("U3", "2+"))
    groups.follower(s, 2)
    groups.filtered(s, 2, "R53", "C52")
    # continuity
    y = -32.0
    s.two("R54", (0.6, y + 2.0), "down", 1.6)
    s.name_net(("R54", "1"), "up")
    s.two("R55", (0.6, y), "down", 1.8)
    s.wire(("R54", "2"), ("R55", "1"), dot=True)
    s.name_net(("R55", "2"), "down")
    s.name_net(("R55", "1"), "left", 0.3)
    s.two("R56", (2.4, y), "right", 1.7)
    s.wire(("R55", "1"), ("R56", "1"))
    s.two("D51", (5.0, y), "up", 1.5, side="left")
    s.name_net(("D51", "K"), "up")
    s.two("D52", (5.0, y - 1.6), "up", 1.6, side="left")
    s.name_net(("D52", "A"), "down")
    s.two("C53", (6.4, y), "down", 1.6)
    s.name_net(("C53", "-"), "down")
    s.wire(("R56", "2"), ("D51", "A"), ("C53", "+"), dot=True)
    s.wire(("D51", "A"), ("D52", "K"))
    groups.amplifier(s, 3, (9.6, y), ("C53", "+"), "R57", "R58", "R59", "C54")
    return s.finish()


def sound() -> str:
    """Loudspeaker and marker to the line input, each through its transformer."""
    s = Sheet(build("reed"), "sound")
    s.box("J7", (0, 0.7), (), ["1", None, "3", "2"], width=2.6, pitch=0.9,
          title="J7  loudspeaker wires",
          show={"1": "amplifier 1", "2": "both 2", "3": "loudspeaker 3"})  # fmt: skip
    top, low = s.at["J7", "1"], s.at["J7", "2"]
    s.name_net(("J7", "3"), "right", 0.1)
    s.text((3.2, top[1] + 0.12), "SPEAKER_1", "left", "bottom", 8, "blue")
    s.text((3.2, low[1] - 0.12), "SPEAKER_2", "left", "top", 8, "blue")
    s.box("JP1", (2.4, -7.6), ["1"], ["3", "R61"], width=1.4, pitch=0.9,
          title="JP1  one jumper: 1 to 3, the loudspeaker sounds;\n1 to R61, the dummy load",
          show={"1": "1", "3": "3"})  # fmt: skip
    s.name_net(("JP1", "1"), "left", 0.1)
    s.name_net(("JP1", "3"), "right", 0.1)
    s.two("R61", (4.8, s.at["JP1", "R61"][1]), "right", 1.8, side="bottom")
    s.wire(("JP1", "R61"), ("R61", "1"))
    s.name_net(("R61", "2"), "right", 0.1)
    s.two("C61", (5.4, top[1]), "right", 1.5)
    s.wire(("J7", "1"), ("C61", "+"))
    s.two("R62", (7.3, top[1]), "right", 1.7)
    s.wire(("C61", "-"), ("R62", "1"))
    s.two("R63", (9.9, top[1] - 0.5), "down", 1.7)
    s.two("C62", (12.0, top[1] - 0.5), "down", 1.6)
    s.wire(("R62", "2"), ("R63", "1"), shape="-|")
    s.wire(("R62", "2"), ("C62", "+"), shape="-|")
    s.dot((9.9, top[1]))
    for ref, pin in (("R63", "2"), ("C62", "-")):
        s.wire(("J7", "2"), (ref, pin), shape="-|")
    s.dot((9.9, low[1]))
    s.transformer("T1", (14.6, top[1] - 0.5))
    s.wire(("C62", "+"), ("T1", "1"), dot=False)
    s.wire(("C62", "-"), ("T1", "2"), shape="-|")
    s.dot(s.at["C62", "+"])
    s.dot(s.at["C62", "-"])
    y = -5.2
    s.two("C63", (3.0, y), "right", 1.5)
    s.name_net(("C63", "+"), "left", 0.3)
    s.two("R64", (5.4, y), "right", 1.7)
    s.wire(("C63", "-"), ("R64", "1"))
    s.two("R65", (9.9, y), "down", 1.7)
    s.wire(("R64", "2"), ("R65", "1"), dot=True)
    s.name_net(("R65", "2"), "down")
    s.transformer("T2", (14.6, y))
    s.wire(("R65", "1"), ("T2", "1"))
    s.name_net(("T2", "2"), "left", 0.15)
    s.box("J8", (19.6, s.at["T1", "3"][1] + 0.7), ["left", None, "sleeve", None, "right"],
          width=1.8, pitch=1.0,
          title="J8  line input")  # fmt: skip
    s.wire(("T1", "3"), ("J8", "left"), shape="-|-")
    for pin in (("T1", "4"), ("T2", "4"), ("J8", "sleeve")):
        s.name_net(pin, "left" if pin[0] == "J8" else "right", 0.15)
    s.wire(("T2", "3"), ("J8", "right"), shape="-|-")
    x = sum(s.at["T1", pin][0] for pin in "13") / 2
    s.line((x, 1.6), (x, 1.1), dashed=True)
    s.line((x, -2.0), (x, -4.2), dashed=True)
    s.line((x, y - 2.0), (x, y - 3.4), dashed=True)
    s.text((x - 0.3, y - 3.0), "toy and controller", "right")
    s.text((x + 0.3, y - 3.0), "computer", "left")
    return s.finish()


def alike(netlist: Netlist, boards: int) -> set[str]:
    """Give the parts of boards 2, 3 ... once found to be the first board's, counted on.

    Raises
    ------
    ValueError
        A board differs.
    """
    def moved(name: str, board: int) -> str:
        for head, step in (("PAD_", 8), ("PAD", 8), ("TOY", 8), ("CHAIN_", 2)):
            digits = name[len(head):].split("_", maxsplit=1)[0]
            if name.startswith(head) and digits.isdigit():
                return head + str(int(digits) + step * board) + name[len(head) + len(digits):]
        return name

    last = sum(part.kind.endswith("register") for part in netlist)
    found = set()
    for part in netlist:
        number = int("".join(c for c in part.ref if c.isdigit()) or 0)
        if part.sheet != netlist.driver or not 100 < number < 200:
            continue
        letters = part.ref.rstrip("0123456789")
        for board in range(1, boards):
            other = netlist[f"{letters}{number + 100 * board}"]
            nets = {pin: moved(net, board) for pin, net in part.pins.items()}
            nets = {pin: "CHAIN_READ" if net == f"CHAIN_{last}" else net
                    for pin, net in nets.items()}  # fmt: skip
            if nets != other.pins or part.rating != other.rating:
                raise ValueError(f"{other.ref} isn't {part.ref} counted on: {nets} {other.pins}")
            found.add(other.ref)
    return found


def reed() -> str:
    """One board of eight pads on reed relays; the others are the same."""
    n = build("reed")
    s = Sheet(n, "reed")
    for bus in (1, 2):
        y = -12.0 * (bus - 1)
        relays = {f"D{b}": [f"K{101 + 10 * (bus - 1) + b}"] for b in range(8)}
        groups.coils(s, f"U10{bus}", (0, y), relays,
               f"U10{bus}  register {2 + bus}: pads on bus {bus}\nTPIC6B595 type")  # fmt: skip
        for b in range(8):
            relay = f"K{101 + 10 * (bus - 1) + b}"
            groups.contact(s, relay, (9.6, s.at[relay, "coil-"][1]))
            s.name_net((relay, "a"), "left", 0.1)
            s.name_net((relay, "b"), "right", 0.1)
    groups.leads(s, range(1, 9), (16.0, 0), 1.15)
    for i, ref in enumerate(["CU101", "CU102"]):
        s.column(ref, (16.2 + 3.0 * i, -10.6), 1.4)
    s.text((15.2, -15.0), "Boards 2 and 3 are the same:\nU201, U202, K201 ... for pads 9-16,\n"
           "U301, U302, K301 ... for pads 17-24.\nThe last register's SEROUT\n"
           "goes to CHAIN_READ.", "left")  # fmt: skip
    rest = alike(n, PADS // 8) | {f"RL{pad}" for pad in range(9, PADS + 1)}
    return s.finish(rest)


def crosspoint() -> str:
    """Address registers, two chips of sixteen pads, their own rail."""
    s = Sheet(build("crosspoint"), "crosspoint")
    groups.register(s, "U41", (0, 0), 8, "U41  register 3\n74HC595 type")
    groups.register(s, "U42", (0, -8.0), 2, "U42  register 4\n74HC595 type")
    for n in (1, 2):
        left = ["AX0", "AX1", "AX2", "AX3", "AY0", "AY1", "AY2", "DATA", "CS", "STROBE", "RESET",
                None, "VDD", "VEE", "VSS"]  # fmt: skip
        right = [f"X{x}" for x in range(16 if n == 1 else 8)] + [None] + ["Y0", "Y1"]
        s.box(f"U5{n}", (9.6 + 9.8 * (n - 1), 0), left, right, width=3.4, pitch=0.62,
              title=f"U5{n}  pads {16 * n - 15}-{min(16 * n, PADS)}\nMT8816 type")  # fmt: skip
        s.name_rest(f"U5{n}")
    s.box("U43", (0, -16.4), ["VIN", "GND"], ["VOUT"], width=2.6, title="U43  5 V to 15 V")
    s.name_rest("U43")
    s.box("U44", (6.4, -16.4), ["IN", "GND"], ["OUT"], width=2.6, title="U44  78L12 type")
    s.name_rest("U44")
    for i, ref in enumerate(["C71", "C72", "CU41", "CU42", "CU51", "CU52"]):
        s.column(ref, (13.0 + 2.8 * i, -15.8), 1.5)
    for i in range(10):
        s.column(f"R{71 + i}", (0.2 + 2.8 * i, -21.0), 1.5)
    groups.leads(s, range(1, 13), (29.8, 0), 1.05)
    groups.leads(s, range(13, PADS + 1), (36.2, 0), 1.05)
    s.text((-0.8, -19.8), "These hold the lines while the registers' outputs float:", "left")
    return s.finish()


def multiplexer() -> str:
    """A register and two multiplexers for each bus."""
    s = Sheet(build("multiplexer"), "multiplexer")
    for bus in (1, 2):
        y = -13.6 * (bus - 1)
        groups.register(s, f"U4{bus}", (0, y), 6, f"U4{bus}  register {2 + bus}\n74HC595 type")
        for n in (1, 2):
            ref = f"U5{4 * (bus - 1) + n}"
            s.box(ref, (9.2 + 9.0 * (n - 1), y), ["S0", "S1", "S2", "S3", "E", None, "Z", None,
                                                 "VCC", "GND"],
                  [f"I{x}" for x in range(16 if n == 1 else 8)], width=3.2, pitch=0.62,
                  title=f"{ref}  pads {16 * n - 15}-{min(16 * n, PADS)}, bus {bus}\n"
                        "74HC4067 type")  # fmt: skip
            s.name_rest(ref)
        for i in range(6):
            ref = f"R{60 + 10 * bus + 1 + i}"
            s.column(ref, (0.2 + 2.8 * i, -26.2 - 4.4 * (bus - 1)), 1.5,
                     pins=("2", "1") if i > 3 else None)  # fmt: skip
    s.text((-0.8, -25.0), "These hold the lines while the registers' outputs float:", "left")
    for i, ref in enumerate(["CU41", "CU42", "CU51", "CU52", "CU55", "CU56"]):
        s.column(ref, (19.6 + 2.6 * i, -26.2), 1.5)
    groups.leads(s, range(1, 13), (27.8, 0), 1.05)
    groups.leads(s, range(13, PADS + 1), (34.2, 0), 1.05)
    return s.finish()


SHEETS: dict[str, Callable[[], str]] = {
    "core": core, "supply": supply, "measuring": measuring, "sound": sound,
    **dict(zip(DRIVERS, (reed, crosspoint, multiplexer), strict=True)),
}  # fmt: skip


def main() -> None:
    """Write every sheet."""
    FOLDER.mkdir(exist_ok=True)
    for name, make in SHEETS.items():
        (FOLDER / f"{name}.svg").write_text(make(), "utf-8", newline="\n")


if __name__ == "__main__":
    main()
