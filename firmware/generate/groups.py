"""Groups of parts that several sheets have alike."""

from __future__ import annotations

from schemdraw import elements as elm

from firmware.generate.drawing import Sheet


def amplifier(s: Sheet, unit: int, at, source, foot: str, feedback: str, series: str, cap: str):
    """Draw a not inverting amplifier: its two gain resistors and the filter behind it."""
    x, y = at
    s.amplifier("U3", unit, at)
    s.wire(source, ("U3", f"{unit}+"))
    s.two(foot, (x - 0.8, y - 2.8), "down", 1.6)
    s.name_net((foot, "2"), "down")
    s.wire(("U3", f"{unit}-"), (foot, "1"), shape="-|")
    out = s.at["U3", f"{unit}out"]
    s.two(feedback, (out[0], y - 2.8), "left", 1.9, side="top")
    s.wire((feedback, "2"), (foot, "1"), dot=True)
    s.wire((feedback, "1"), ("U3", f"{unit}out"), shape="|-")
    filtered(s, unit, series, cap)


def filtered(s: Sheet, unit: int, series: str, cap: str):
    """Draw what lies between an amplifier and its pin of the controller."""
    x, y = s.at["U3", f"{unit}out"]
    s.two(series, (x + 1.0, y), "right", 1.8)
    s.wire(("U3", f"{unit}out"), (series, "1"), dot=False)
    s.dot((x, y))
    s.two(cap, (x + 3.6, y), "down", 1.7)
    s.wire((series, "2"), (cap, "+"), dot=True)
    s.name_net((cap, "+"), "right", 0.3)
    s.name_net((cap, "-"), "down")


def coils(s: Sheet, ref: str, at, relays: dict[str, list[str]], title: str | None = None):
    """Draw a power register with the coils at its outputs; two on one output share its name."""
    outputs = [pin for pin in s.netlist[ref].pins if pin in relays]
    s.box(ref, at, ["SER", "SRCK", "RCK", "G", "SRCLR", "VCC", "GND", "SEROUT"], outputs,
          width=3.9, pitch=1.15, title=title)  # fmt: skip
    for pin in outputs:
        x, y = s.at[ref, pin]
        together = len(relays[pin]) > 1
        if together:
            s.name_net((ref, pin), "right", 0.1)
        for i, relay in enumerate(relays[pin]):
            s.two(relay, (x + 0.2 + 5.0 * (i + together), y), "right", 1.2,
                  pins=("coil-", "coil+"), symbol=elm.RBox)  # fmt: skip
            if together:
                s.name_net((relay, "coil-"), "left", 0.05)
            else:
                s.wire((ref, pin), (relay, "coil-"))
            s.name_net((relay, "coil+"), "right", 0.05)
    s.name_rest(ref)


def contact(s: Sheet, ref: str, at, length: float = 1.5):
    s.two(ref, at, "right", length, pins=("a", "b"), side="bottom")


def follower(s: Sheet, unit: int):
    """Join an amplifier's output to its inverting input, below it."""
    s.wire(("U3", f"{unit}out"), ("U3", f"{unit}-"), shape="under")


def leads(s: Sheet, pads: range, at, pitch: float):
    """Draw the leads: socket, wire, resistor at the pad's end."""
    x, y = at
    if pads.start == 1:
        s.text((x - 0.8, y + 0.3), "leads: the resistor is at the pad's end", "left")
    for i, pad in enumerate(pads):
        s.two(f"RL{pad}", (x, y - 0.7 - pitch * i), "right", 2.0)
        s.name_net((f"RL{pad}", "1"), "left", 0.1)
        s.name_net((f"RL{pad}", "2"), "right", 0.1)


def register(s: Sheet, ref: str, at, outputs: int, title: str):
    s.box(ref, at, ["SER", "SRCK", "RCK", "G", "SRCLR", "VCC", "GND", "SEROUT"],
          [f"Q{bit}" for bit in range(outputs)], width=3.2, pitch=0.62, title=title)  # fmt: skip
    s.name_rest(ref)
