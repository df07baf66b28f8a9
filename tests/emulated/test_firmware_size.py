"""What the firmware takes of the chip: flash, variables, and a stack that never comes near."""

from __future__ import annotations

import subprocess

import pytest
from emulator import CYCLES_PER_MS, Emulator, Port, build_firmware

FLASH_MOST, VARIABLES_MOST, UNTOUCHED_LEAST = 28 * 1024, 1228, 256
DRIVERS = ("reed", "crosspoint", "multiplexer")


@pytest.mark.parametrize("driver", DRIVERS)
def test_flash_and_variables_keep_to_their_budgets(driver):
    lines = subprocess.run(
        ["avr-size", "-A", build_firmware(driver=driver)],
        check=True,
        capture_output=True,
        text=True,
    ).stdout.splitlines()
    rows = [line.split() for line in lines]
    size = {row[0]: int(row[1]) for row in rows if len(row) == 3 and row[1].isdigit()}
    assert size[".text"] + size[".data"] <= FLASH_MOST
    assert size[".data"] + size[".bss"] + size.get(".noinit", 0) <= VARIABLES_MOST


@pytest.mark.parametrize("driver", DRIVERS)
def test_the_deepest_stack_leaves_room(driver):
    """The emulator paints the memory before the first instruction; this is what stays."""
    with Emulator(driver=driver, pads=64) as emulator:
        port = Port(emulator)
        emulator.wait_cycles(10 * CYCLES_PER_MS)
        start = emulator.untouched_stack()
        port.write("*CLS;:OUTP ON")
        port.write("TOUC:CONN (@1!3,2!64);SER 1;KEYS 1,2;HOLD 1,2;TIM 1,5,3,4,2;INIT;*OPC?")
        assert port.line() == "1"
        port.ask("ROUT:CLOS? (@1!1:1!64,2!1:2!64);:MEAS:VOLT:BUS2?;:TOUC:TIM?;:MEAS:CURR?;PEAK?")
        port.ask("SYST:CONF:FORB?;RAIL?;:SYST:DRIV?;:SYST:ERR?;:STAT:OPER?;QUES?;:*IDN?")
        emulator.read_back("high")
        emulator.wait_cycles(10 * CYCLES_PER_MS)
        for pad in range(1, 65, 9):
            port.ask(f"ROUT:CLOS (@1!{pad});:OUTP:PROT:CLE;*ESE?")
        emulator.read_back("ok")
        emulator.wait_cycles(10 * CYCLES_PER_MS)
        port.ask("*TST?;:OUTP:PROT:CLE;:OUTP ON;:ROUT:SER 1;CLOS (@1!60);SER 2;CLOS (@2!61);*ESE?")
        emulator.current(450)
        emulator.wait_for(lambda state: not state.gate, 5)
        emulator.current(0)
        port.ask("OUTP:PROT:CLE;:SYST:CONF:FORB (@5:9);RAIL (@1,2);SAVE;CRC?;STOR?;FORB?")
        for wrong in ("ROUT:CLOS (@1!1:1!99)", "TOUC:TIM 1.5E0 MS,#HFF", "X:" * 60, '"' * 190):
            port.write(wrong)
        port.errors()
        port.write("x" * 5000 + "\n")
        port.errors()
        assert start > emulator.untouched_stack() >= UNTOUCHED_LEAST
