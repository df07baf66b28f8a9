"""Whatever starts the controller anew, everything is open and off from its first instruction."""

from __future__ import annotations

import pytest
from emulator import (
    CYCLES_PER_MS,
    CYCLES_PER_US,
    START_CYCLES,
    Emulator,
    Port,
    configuration,
)

ALL_ON = (
    "OUTPut ON;:TOY:KEY:PRESs 2;:ROUTe:SERies 3;CLOSe (@1!3,2!5);:TOUCh:HOLD NONE;:SYSTem:VERSion?"
)
"""The toy supplied, a key down, a path closed; the answer comes when all of it is done."""

DRIVERS = ("reed", "crosspoint", "multiplexer")


def all_on(emulator: Emulator, port: Port) -> None:
    port.write("*CLS")
    assert port.ask(ALL_ON) == "1999.0"
    emulator.wait_for(lambda state: state.closures and state.keys and state.supply, 5)
    assert port.errors() == []


def assert_safe_from(emulator: Emulator, cycle: int, within_us: float) -> None:
    """Everything is open and off at most so long after a cycle, and stays so."""
    emulator.wait_cycles(300 * CYCLES_PER_MS)
    states = emulator.events()
    after = [state for state in states if state.cycle >= cycle]
    first = next(n for n, state in enumerate(after) if state.is_open_and_off)
    assert (after[first].cycle - cycle) / CYCLES_PER_US <= within_us
    assert all(state.is_open_and_off for state in after[first:])


@pytest.mark.parametrize("driver", DRIVERS)
def test_from_power_up_nothing_is_closed_on_or_marked(driver):
    with Emulator(driver=driver) as emulator:
        emulator.wait_cycles(300 * CYCLES_PER_MS)
        states = emulator.events()
        assert states[0].cycle < CYCLES_PER_MS
        assert all(state.is_open_and_off and not state.marker for state in states)
        assert states[-1].bleed


@pytest.mark.parametrize("driver", DRIVERS)
def test_a_common_reset_command_leaves_nothing_closed_or_on(driver):
    with Emulator(driver=driver) as emulator:
        port = Port(emulator)
        all_on(emulator, port)
        cycle = emulator.cycle
        port.write("*RST")
        emulator.wait_for(lambda state: state.is_open_and_off, 5)
        emulator.wait_cycles(300 * CYCLES_PER_MS)
        states = [state for state in emulator.events() if state.cycle > cycle]
        first = next(n for n, state in enumerate(states) if state.is_open_and_off)
        assert all(state.is_open_and_off for state in states[first:])
        assert port.errors() == []


@pytest.mark.parametrize("driver", DRIVERS)
@pytest.mark.parametrize(("cause", "error"), [("reset", -500), ("brown_out", 104)])
def test_a_reset_leaves_nothing_closed_or_on_and_tells_its_cause(driver, cause, error):
    with Emulator(driver=driver) as emulator:
        port = Port(emulator)
        all_on(emulator, port)
        emulator.restart(brown_out=cause == "brown_out")
        assert_safe_from(emulator, emulator.resets[0], within_us=1)
        assert port.errors() == [error]


@pytest.mark.parametrize("driver", DRIVERS)
def test_a_hung_program_loses_the_supply_in_50_ms_and_all_at_the_watchdogs_reset(driver):
    """The interrupt beats for 30 ms without the main loop, a beat holds for 20 ms at most."""
    with Emulator(driver=driver) as emulator:
        port = Port(emulator)
        emulator.hold("long")
        all_on(emulator, port)
        hung = emulator.cycle
        emulator.jam()
        off = emulator.wait_for(lambda state: not state.supply, 5)
        assert off.gate, "only the heartbeat's silence can have done it"
        assert (off.cycle - hung) / CYCLES_PER_MS <= 50
        emulator.wait_for(lambda state: state.is_open_and_off, 5)
        [reset] = emulator.resets
        assert (reset - hung) / CYCLES_PER_MS < 145
        emulator.wait_cycles(START_CYCLES)
        assert_safe_from(emulator, reset, within_us=1)
        assert port.errors() == [103]


def test_the_heartbeat_holds_the_supply_through_everything_the_main_loop_does():
    """A beat holds for 6 ms in the worst corner, and comes every 2 ms."""
    with Emulator() as emulator:
        port = Port(emulator)
        port.write("*CLS;:OUTPut ON")
        on = emulator.wait_for(lambda state: state.supply, 5)
        port.write("TOUCh:CONNections (@1!3,2!5);SERies 1;KEYS 1;TIMing 5,20,5,30,5")
        for _ in range(4):
            port.write("TOUCh:INITiate")
            port.ask(";".join([":MEAS:VOLT?"] * 16))
            port.timeline()
            port.ask(";".join([":MEAS:VOLT:BUS1?"] * 11))
            port.ask("ROUT:CLOS (@1!1);" + ";".join([":ROUT:SER 1;SER 2"] * 8) + ";OPEN:ALL;*TST?")
            port.ask("ROUT:CLOS:STAT? (@1!1:1!32,2!1:2!32)")
        assert port.errors() == []
        assert all(s.supply for s in emulator.events() if s.cycle >= on.cycle)
        assert emulator.longest_gap_ms() < 2.2


def test_the_first_start_with_a_blank_memory_takes_safe_defaults_and_says_so():
    with Emulator(eeprom=b"", pads=24) as emulator:
        port = Port(emulator)
        assert port.errors() == [-500, -315]
        assert port.ask("SYST:CONF:PADS?;CLOS?;FORB?;RAIL?;RSER?;STOR?") == "24;8;NONE;NONE;NONE;0"
        assert port.ask("SYST:DMAN?;CLOS:TIME?;:SOUR:CURR:PROT:LEV?;AVER?;DEL?") == (
            "3000;10000;300;150;100"
        )
        assert port.ask("SYST:HOLD:TIME?;:SYST:CONF:LEAD?;SUPP?;LIM?;BANK?") == (
            "60;1500;4800;2000;0,0,0,0,0,0,0,0"
        )
        port.write("*RST")
        assert port.errors() == []


def test_a_key_pressed_before_a_reset_stays_up_after_it_with_another_configuration():
    stored = configuration(closures=2, deadman_ms=700, forbidden=[7])
    with Emulator(eeprom=stored) as emulator:
        port = Port(emulator)
        all_on(emulator, port)
        emulator.restart()
        assert emulator.state.is_open_and_off
        assert port.errors() == [-500]
        assert port.ask("SYST:DMAN?;CONF:CLOS?;FORB?") == "700;2;(@7)"
