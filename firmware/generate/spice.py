"""Parts of the netlist as ngspice sees them (Debian's package `ngspice`).

Models of the semiconductors are from memory of their data sheets.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterable

from firmware.generate.netlist import Part

MODELS = """
.model SCHOTTKY D(IS=2e-7 N=1.04 RS=2.3 EG=0.69 XTI=2 CJO=11p BV=36 IBV=1e-5)
.model SILICON D(IS=4.35e-9 N=1.906 RS=0.65 CJO=0.7p BV=110 IBV=1e-4)
* 0.55 V at 15 A, 0.31 V at 70 mA, 25 °C
.model POWER D(IS=6.4e-7 N=1.05 RS=6m EG=0.69 XTI=2 CJO=1n BV=45 IBV=5e-4)
"""


def run(deck: Iterable[str]) -> dict[str, float]:
    """Run the lines of a deck; give what its `.meas` and `print` lines said.

    Raises
    ------
    RuntimeError
        ngspice is missing, or it refused the deck.
    """
    if not shutil.which("ngspice"):
        raise RuntimeError("ngspice is missing: apt-get install ngspice")
    done = subprocess.run(
        ["ngspice", "-b"], input="\n".join(deck) + "\n", capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip
    said = done.stdout + done.stderr
    if "Error" in said:
        raise RuntimeError(said)
    found = re.findall(r"^(\S+)\s*=\s*([-+.\deE]+)", said, re.MULTILINE)
    return {name.lower(): float(value) for name, value in found}


def node(net: str) -> str:
    """Give a net's name as ngspice takes it."""
    return "0" if net == "GND" else net.replace("+", "p").replace("-", "m").lower()


def line(part: Part, off: float = 0.0, threshold_v: float = 1.1) -> str:
    """Write a part; `off` is where in its tolerance it lies, -1 to 1."""
    nets = [node(net) for net in part.pins.values()]
    if part.kind in ("resistor", "capacitor"):
        value = part.value * (1 + off * (part.percent or 0) / 100)
        return f"{part.ref} {nets[0]} {nets[1]} {value!r}"
    if part.kind in ("diode", "rectifier"):
        model = "SCHOTTKY" if "Schottky" in part.text else "SILICON"
        return f"{part.ref} {nets[0]} {nets[1]} {'POWER' if part.kind == 'rectifier' else model}"
    if part.kind == "transistor":
        # The threshold is given at 1 mA: 0.07 V above where this square law begins. 0.4 A/V^2
        # is 2.5 ohm of channel at 1 V above the threshold; 75 pF of gate.
        gate, drain, source = (node(part.pins[pin]) for pin in "GDS")
        return (
            f"M{part.ref} {drain} {gate} {source} {source} N{part.ref}\n"
            f"C{part.ref}G {gate} {source} 75p\n"
            f".model N{part.ref} NMOS(VTO={threshold_v - 0.07!r} KP=0.4 LAMBDA=0.01)"
        )
    if part.kind == "transformer":
        a, b, c, d = (node(part.pins[pin]) for pin in "1234")
        ohm, henry = part.rating["winding_ohm"], part.rating["henry"]
        return (
            f"R{part.ref}A {a} {part.ref}a {ohm}\nL{part.ref}A {part.ref}a {b} {henry}\n"
            f"R{part.ref}B {c} {part.ref}b {ohm}\nL{part.ref}B {part.ref}b {d} {henry}\n"
            f"K{part.ref} L{part.ref}A L{part.ref}B 0.999"
        )
    raise ValueError(part.kind)
