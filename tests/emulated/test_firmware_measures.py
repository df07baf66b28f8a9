"""What the controller measures, the toy's reset line, and the hold channels."""

from __future__ import annotations

from math import exp

import pytest
from emulator import CYCLES_PER_MS, Emulator

CONTINUITY_CHANNEL, BUS_CHANNEL = 4, 3
SOURCE_V, SOURCE_OHM, GAIN = 0.18, 10_000, 20


def settle(emulator: Emulator) -> None:
    emulator.wait_cycles(10 * CYCLES_PER_MS)


@pytest.mark.parametrize("bus", [1, 2])
def test_a_buss_voltage_is_measured_with_its_sense_relay_closed_only_meanwhile(fresh_bench, bus):
    emulator, port = fresh_bench
    port.write("ROUT:SER 2;CLOS (@1!3,2!5)")
    emulator.wait_for(lambda state: state.closures, 5)
    emulator.adc(BUS_CHANNEL, 1_500)
    settle(emulator)
    volts = float(port.ask(f"MEAS:VOLT:BUS{bus}?"))
    assert volts == pytest.approx(4.5, abs=2 * 3 * 5 / 1024)
    settle(emulator)
    sensed = [state.sensed for state in emulator.events() if state.sensed]
    assert set(sensed) == {frozenset({bus})}
    assert not emulator.state.sensed
    assert emulator.state.closures == {(1, 3), (2, 5)}
    closed = [s for s in emulator.events() if s.closures]
    assert all(s.series == {2} and len(s.closures) == 2 for s in closed)


def test_the_bus_is_1_when_no_number_is_given_and_3_is_none(fresh_bench):
    emulator, port = fresh_bench
    port.ask("MEASure:VOLTage:BUS?")
    settle(emulator)
    assert {s.sensed for s in emulator.events() if s.sensed} == {frozenset({1})}
    port.write("MEASure:VOLTage:BUS3?")
    assert port.errors() == [-114]


@pytest.mark.parametrize("ohm", [0, 100, 1_000, 10_000, 100_000])
def test_resistance_between_the_buses(fresh_bench, ohm):
    emulator, port = fresh_bench
    divided_v = SOURCE_V * ohm / (SOURCE_OHM + ohm)
    emulator.adc(CONTINUITY_CHANNEL, round(divided_v * GAIN * 1000))
    port.write("ROUT:CLOS (@1!3,2!5)")
    settle(emulator)
    step = 5 / 1024 / GAIN / SOURCE_V * (SOURCE_OHM + ohm) ** 2 / SOURCE_OHM
    assert float(port.ask("MEAS:RES?")) == pytest.approx(ohm, abs=2 * step)
    settle(emulator)
    source = [s for s in emulator.events() if s.continuity]
    assert source and all(s.sensed == {1} and not s.gate for s in source)
    assert not emulator.state.continuity


def test_nothing_between_the_buses_reads_as_infinity(fresh_bench):
    emulator, port = fresh_bench
    emulator.adc(CONTINUITY_CHANNEL, round(SOURCE_V * GAIN * 1000))
    settle(emulator)
    assert port.ask("MEAS:RES?") == "9.9E37"


def test_no_resistance_is_measured_on_a_live_toy(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON")
    port.write("MEAS:RES?")
    assert port.errors() == [-221]
    port.write("OUTPut OFF")
    emulator.rail(300)
    settle(emulator)
    port.write("MEAS:RES?")
    assert port.errors() == [-221]
    emulator.rail(100)
    settle(emulator)
    assert port.ask("MEAS:RES?") == "0"
    assert not any(s.continuity and s.gate for s in emulator.events())


@pytest.mark.parametrize("query", ["MEAS:VOLT:BUS1?", "MEAS:RES?"])
def test_relays_of_measuring_stay_still_in_a_touch_and_while_latched(fresh_bench, query):
    emulator, port = fresh_bench
    port.write("TOUC:CONN NONE;TIM 0,1,0,400,0;INIT")
    port.write(query)
    assert port.errors() == [-221]
    port.write("TOUC:ABOR")
    emulator.read_back("low")
    settle(emulator)
    port.write("ROUT:CLOS (@1!1)")
    assert port.errors() == [-240]
    emulator.read_back("ok")
    port.write(query)
    assert port.errors() == [105]


def test_the_rails_fall_is_timed_in_the_background(fresh_bench):
    emulator, port = fresh_bench
    assert port.ask("MEAS:FTIM?") == "9.91E37"
    port.write("OUTPut ON")
    emulator.wait_for(lambda state: state.supply, 5)
    settle(emulator)
    emulator.rail(4_500)
    port.write("OUTPut OFF")
    emulator.wait_for(lambda state: not state.gate, 5)
    off = next(s.cycle for s in reversed(emulator.events()) if not s.gate and not s.bleed)
    assert port.ask("MEAS:FTIM?") == "9.91E37"
    for step in range(12):
        emulator.rail(round(4_500 * exp(-step / 3)))
        emulator.wait_cycles(5 * CYCLES_PER_MS)
    took_s = float(port.ask("MEAS:FTIM?"))
    assert 0 < took_s < (emulator.cycle - off) / CYCLES_PER_MS / 1000
    assert port.ask("*RST;:MEAS:FTIM?") == f"{took_s:.3f}"


def test_the_reset_line_is_pulled_so_long_and_nothing_closes_meanwhile(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON;:ROUTe:SERies 1;CLOSe (@1!3)")
    port.write("TOY:RESet 200")
    emulator.wait_for(lambda state: state.reset_line, 5)
    for message in ("ROUT:CLOS (@2!4)", "ROUT:SER 2", "TOY:KEY:PRES 1", "TOUC:INIT"):
        port.write(message)
        assert port.errors() == [-221], message
    port.write("ROUT:OPEN (@1!3)")
    assert port.errors() == []
    emulator.wait_for(lambda state: not state.reset_line, 5)
    states = emulator.events()
    [rise, *_] = [s.cycle for s in states if s.reset_line]
    fall = next(s.cycle for s in states if s.cycle > rise and not s.reset_line)
    assert (fall - rise) / CYCLES_PER_MS == pytest.approx(200, abs=2)
    assert emulator.state.supply


@pytest.mark.parametrize(("what", "error"), [("0", -222), ("2001", -222), ("2001 MS", -222)])
def test_the_reset_line_is_never_pulled_for_longer_than_2_s(fresh_bench, what, error):
    _, port = fresh_bench
    port.write(f"TOY:RESet {what}")
    assert port.errors() == [error]


def test_the_dead_man_lets_the_reset_line_go(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:DMAN 500;:TOY:RESet 2000")
    emulator.wait_for(lambda state: state.reset_line, 5)
    released = emulator.wait_for(lambda state: not state.reset_line, 5)
    pulled = next(s.cycle for s in emulator.events() if s.reset_line)
    assert (released.cycle - pulled) / CYCLES_PER_MS < 505
    assert port.errors() == [101]


def test_hold_channels_close_with_the_press_and_open_at_the_touchs_end(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUC:CONN (@1!3,2!5);SER 1;KEYS 2;HOLD 1,2;TIM 10,20,30,40,25")
    timeline = port.touch()
    states = emulator.events()
    held = [state for state in states if state.holds]
    assert all(state.holds == {1, 2} for state in held)
    start = next(state.cycle for state in states if state.marker)
    opened = next(state.cycle for state in states if state.cycle > held[-1].cycle)
    for cycle, stamp in ((held[0].cycle, timeline[1]), (opened, timeline[5])):
        since_us = (cycle - start) / 16
        assert since_us == pytest.approx((stamp - timeline[0]) % 2**32, abs=900)
    pressed = next(state for state in states if state.keys)
    assert pressed.cycle == held[0].cycle
    assert port.errors() == []


def test_holds_alone_and_the_dead_host_and_a_touch_too_long_for_them(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUC:CONN NONE;KEYS NONE;HOLD 2;TIM 0,1,10,20,10")
    timeline = port.touch()
    assert timeline[1] == timeline[3] == -1
    assert {state.holds for state in emulator.events()} == {frozenset(), frozenset({2})}
    port.write("SYST:HOLD:TIME 10;:TOUC:TIM 0,1,4950,5000,1;INIT")
    assert port.errors() == [-221]
    port.write("SYST:DMAN 500;:TOUC:TIM 0,1,1000,5000,1;INIT")
    emulator.wait_for(lambda state: state.holds, 5)
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.errors() == [101]
