"""What the firmware takes and how fast it is, in the emulator's own time.

    python tests/benchmarks/firmware.py [--phases 30]

For each driver: flash, variables, and the stack never touched in a run over much of it. For reed
relays: how long over-current flows until drivers and supply are off, over so many phases of the
sampling, and how long a short does just after switching on; the longest time between two rises of
the heartbeat over every command; from a query's last byte to its reply's first; touches a second,
back to back.
"""

from __future__ import annotations

import argparse
import random
import statistics
import subprocess
import sys
from pathlib import Path

for folder in ("emulated", "fuzz"):
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / folder))

from emulator import CYCLES_PER_MS, CYCLES_PER_US, HOLD_MS, Emulator, Port, build_firmware
from fuzzing import headers

PARAMETERS = ("", " 1", " NONE", " ON", " (@1!3,2!5)", " (@1!1:1!32,2!1:2!32)", " 5,10,10,20,10")
QUERIES = ("*ESE?", "SYST:ERR?", "ROUT:CLOS? (@1!1)", "TOUC:STAT?", "MEAS:CURR?", "MEAS:VOLT?")


def print_sizes(driver: str) -> None:
    """Print flash and variables of one build, and the stack that it leaves."""
    command = ["avr-size", "-A", build_firmware(driver=driver)]
    rows = subprocess.run(command, check=True, capture_output=True, text=True).stdout.split("\n")
    size = {row.split()[0]: int(row.split()[1]) for row in rows if row.startswith(".")}
    variables = size[".data"] + size[".bss"] + size.get(".noinit", 0)
    with Emulator(driver=driver, pads=64) as emulator:
        port = Port(emulator)
        port.write("TOUC:CONN (@1!3,2!64);SER 1;KEYS 1,2;HOLD 1,2;TIM 1,5,3,4,2;INIT;*OPC?")
        port.line()
        port.ask("ROUT:CLOS? (@1!1:1!64,2!1:2!64);:MEAS:VOLT:BUS2?;:TOUC:TIML?;:SYST:CONF:CRC?")
        for wrong in ("ROUT:CLOS (@1!1:1!99)", "TOUC:TIM 1.5E0 MS,#HFF", "X:" * 60, '"' * 190):
            port.write(wrong)
        port.errors()
        untouched = emulator.untouched_stack()
    flash = size[".text"] + size[".data"]
    print(f"{driver:12} flash {flash} B, variables {variables} B, untouched {untouched} B")


def print_shorts(emulator: Emulator, port: Port) -> None:
    """Print how long full scale flows when the toy is switched on into a short."""
    times_ms = []
    for delay_ms in (0, 1, 20, 50, 100, 200, 500):
        port.write(f"SOUR:CURR:PROT:DEL {delay_ms};:OUTP ON")
        on = emulator.wait_for(lambda state: state.supply, 5)
        emulator.current(460)
        off = emulator.wait_for(lambda state: state.is_open_and_off, 5)
        emulator.current(20)
        times_ms.append((off.cycle - on.cycle) / CYCLES_PER_MS)
        port.write("OUTP:PROT:CLE;*CLS")
        emulator.wait_cycles(50 * CYCLES_PER_MS)
    port.write("*RST")
    print(f"switched on into a short, delays of 0 to 500 ms: at most {max(times_ms):.1f} ms")


def print_beats(emulator: Emulator, port: Port) -> None:
    """Print the longest time between two rises of the heartbeat, and in which command it was."""
    worst = (0.0, "")
    for header in headers():
        for parameter in PARAMETERS:
            port.write("OUTP:PROT:CLE;:OUTP ON;:ROUT:SER 1;*CLS")
            emulator.wait_for(lambda state: state.supply, 5)
            emulator.longest_gap_ms()
            port.write(f"{header}{parameter};{header}{parameter}")
            emulator.wait_cycles(30 * CYCLES_PER_MS)
            worst = max(worst, (emulator.longest_gap_ms(), header + parameter))
            port.write("TOUC:ABOR;*RST;*CLS")
            port.replies()
    emulator.wait_cycles(500 * CYCLES_PER_MS)
    print(f"heartbeat: rises at most {worst[0]:.2f} ms apart ({worst[1]}), over {len(headers())} "
          f"headers with {len(PARAMETERS)} parameters each; held for {HOLD_MS['short']} ms at "
          "least")  # fmt: skip


def print_trips(emulator: Emulator, port: Port, phases: int) -> None:
    """Print how long 450 mA flow before everything is open and off."""
    rng, times_us = random.Random(1), []
    for phase in range(phases):
        port.write("OUTP ON;:ROUT:SER 1;CLOS (@1!1,2!2)")
        emulator.wait_for(lambda state: state.supply and state.closures, 5)
        emulator.wait_cycles(110 * CYCLES_PER_MS)
        emulator.current_later(450, rng.randrange(CYCLES_PER_MS))
        emulator.wait_for(lambda state: state.is_open_and_off, 5)
        emulator.current(20)
        emulator.wait_cycles(10 * CYCLES_PER_MS)
        crossed = emulator.injected[phase]
        off = next(s for s in emulator.events() if s.cycle > crossed and s.is_open_and_off)
        times_us.append((off.cycle - crossed) / CYCLES_PER_US)
        port.write("OUTP:PROT:CLE;*CLS")
    print(f"over-current to open and off: worst {max(times_us):.0f} us, median "
          f"{statistics.median(times_us):.0f} us, {phases} phases")  # fmt: skip


def print_latencies(emulator: Emulator, port: Port) -> None:
    """Print how long each query takes, from its last byte in to its reply's first byte out."""
    for query in QUERIES:
        times_us = []
        for _ in range(20):
            port.ask(query)
            times_us.append(emulator.latency_cycles() / CYCLES_PER_US)
        print(f"{query:18} answered after {statistics.median(times_us):5.0f} us, worst "
              f"{max(times_us):5.0f} us of 20")  # fmt: skip


def print_touches(emulator: Emulator, port: Port, touches: int = 20) -> None:
    """Print how many of the shortest touches fit into a second of the emulator's time."""
    port.write("TOUC:CONN (@1!3,2!4);SER 1;KEYS 1;TIM 0,1,0,1,0")
    begun = len(emulator.settled())
    for _ in range(touches):
        port.write("TOUC:INIT;*OPC?")
        port.line()
    marks = [s.cycle for s in emulator.settled()[begun:] if s.closures]
    took_ms = (marks[-1] - marks[0]) / CYCLES_PER_MS / (touches - 1)
    print(f"shortest touches, asked for one by one: {1000 / took_ms:.1f} a second")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--phases", type=int, default=30)
    given = parser.parse_args()
    for driver in ("reed", "crosspoint", "multiplexer"):
        print_sizes(driver)
    with Emulator() as emulator:
        port = Port(emulator)
        port.errors()
        print_trips(emulator, port, given.phases)
        print_shorts(emulator, port)
        print_beats(emulator, port)
        print_latencies(emulator, port)
        print_touches(emulator, port)


if __name__ == "__main__":
    main()
