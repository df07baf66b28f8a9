"""The toy's supply: each half of its switch is proved before it goes on, its rail is watched
while it is on and after it went off, and the relays' own 5 V is looked at first."""

from __future__ import annotations

from itertools import pairwise

import pytest
from emulator import CYCLES_PER_MS, Emulator, Port, configuration

REFERENCE_CHANNEL = 5
BLANKING_MS = 100


def switch_on(emulator: Emulator, port: Port):
    port.write("OUTPut ON")
    return emulator.wait_for(lambda state: state.supply, 5)


def test_before_the_supply_goes_on_line_and_beats_are_tried_alone(fresh_bench):
    emulator, port = fresh_bench
    on = switch_on(emulator, port)
    line_alone = [s for s in emulator.events() if s.gate and not s.supply and s.cycle < on.cycle]
    assert line_alone, "the line was never up without the supply"
    assert not any(s.supply for s in emulator.events() if s.cycle < on.cycle)
    assert port.errors() == []


@pytest.mark.parametrize("corner", ["short", "long"])
@pytest.mark.parametrize("fault", ["closed by its line alone", "closed by beats alone"])
def test_a_switch_half_of_which_is_shorted_never_stays_on(fresh_bench, fault, corner):
    emulator, port = fresh_bench
    emulator.hold(corner)
    emulator.switch(fault)
    port.write("OUTPut ON")
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    assert port.errors() == [111]
    assert emulator.state.is_open_and_off
    lit = [s for s in emulator.events() if s.supply]
    dark = next(s for s in emulator.events() if s.cycle > lit[-1].cycle and not s.supply)
    assert (dark.cycle - lit[0].cycle) / CYCLES_PER_MS <= 35, "the proof alone had it on"
    port.write("OUTPut ON")
    assert port.errors() == [105]


@pytest.mark.parametrize("corner", ["short", "long"])
def test_a_sound_switch_is_not_blamed_when_it_goes_on_right_after_off(fresh_bench, corner):
    emulator, port = fresh_bench
    emulator.hold(corner)
    for _ in range(4):
        switch_on(emulator, port)
        port.write("OUTPut OFF")
    assert port.errors() == []


def test_a_rail_that_is_still_up_is_waited_for_by_the_host(fresh_bench):
    emulator, port = fresh_bench
    emulator.rail(300)
    port.write("OUTPut ON")
    assert port.errors() == [112]
    assert not any(state.gate for state in emulator.events())
    emulator.cells(4_500)
    switch_on(emulator, port)
    assert port.errors() == []


@pytest.mark.parametrize("rail_mv", [4_480, 500, 250])
def test_a_rail_that_does_not_fall_after_off_latches(fresh_bench, rail_mv):
    emulator, port = fresh_bench
    switch_on(emulator, port)
    emulator.rail(rail_mv)
    port.write("OUTPut OFF")
    emulator.wait_for(lambda state: state.bleed, 5)
    emulator.wait_cycles(5_900 * CYCLES_PER_MS)
    assert port.errors() == []
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    assert port.errors() == [111]
    assert port.ask("OUTP:PROT:TRIP?") == "1"


def test_a_switch_welded_before_the_start_is_told_without_being_asked(fresh_bench):
    emulator, port = fresh_bench
    emulator.switch("welded")
    emulator.reset()
    emulator.wait_cycles(6_200 * CYCLES_PER_MS)
    assert port.errors() == [-500, 111]
    port.write("OUTP:PROT:CLE;:OUTP ON")
    assert port.errors() == [112]


def test_a_trip_over_a_welded_switch_is_told_as_that_too(fresh_bench):
    emulator, port = fresh_bench
    switch_on(emulator, port)
    emulator.wait_cycles(150 * CYCLES_PER_MS)
    emulator.switch("welded")
    emulator.current(400)
    emulator.wait_cycles(6_200 * CYCLES_PER_MS)
    assert port.errors() == [106, 111]


def test_reversed_or_absent_cells_latch_after_the_blanking(fresh_bench):
    emulator, port = fresh_bench
    emulator.cells(0)
    on = switch_on(emulator, port)
    off = emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert BLANKING_MS < (off.cycle - on.cycle) / CYCLES_PER_MS < BLANKING_MS + 35
    assert port.errors() == [110]
    assert port.ask("OUTP:PROT:TRIP?;:SOUR:CURR:PROT:TRIP?;:STAT:QUES?") == "1;0;513"


@pytest.mark.parametrize("rail_mv", [0, 900, 13_500])
def test_a_rail_that_falls_or_is_too_high_opens_everything(fresh_bench, rail_mv):
    emulator, port = fresh_bench
    switch_on(emulator, port)
    emulator.wait_cycles(300 * CYCLES_PER_MS)
    port.write("ROUT:SER 1;CLOS (@1!3,2!5);:TOY:KEY:PRES 1")
    emulator.wait_for(lambda state: state.closures and state.keys, 5)
    emulator.rail(rail_mv)
    fell = emulator.cycle
    off = emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert (off.cycle - fell) / CYCLES_PER_MS < 15
    assert port.errors() == [110]


def test_a_rail_that_dips_for_5_ms_is_let_pass(fresh_bench):
    emulator, port = fresh_bench
    switch_on(emulator, port)
    emulator.wait_cycles(300 * CYCLES_PER_MS)
    for _ in range(5):
        emulator.rail(500)
        emulator.wait_cycles(5 * CYCLES_PER_MS)
        emulator.rail(4_500)
        emulator.wait_cycles(20 * CYCLES_PER_MS)
    assert emulator.state.supply
    assert port.errors() == []


def test_a_toy_of_two_flat_cells_is_no_fault(fresh_bench):
    emulator, port = fresh_bench
    emulator.cells(1_800)
    switch_on(emulator, port)
    emulator.wait_cycles(1_000 * CYCLES_PER_MS)
    assert emulator.state.supply
    assert port.errors() == []


@pytest.mark.parametrize("own_mv", [4_400, 4_590, 4_610, 5_250])
def test_its_own_5_v_is_told_by_the_reference_and_has_to_reach_4_6_v(fresh_bench, own_mv):
    emulator, port = fresh_bench
    emulator.adc(REFERENCE_CHANNEL, round(2_500 * 5_000 / own_mv))
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    assert float(port.ask("MEAS:VOLT:SUPP?")) == pytest.approx(own_mv / 1000, abs=0.012)
    assert port.ask("*TST?") == ("4" if own_mv < 4_600 else "0")
    port.write("OUTPut ON")
    assert port.errors() == ([-330] if own_mv < 4_600 else [])
    port.write("OUTP OFF;:ROUT:CLOS (@1!3)")
    port.write("MEAS:VOLT:SUPP?")
    assert port.errors() == [-221]
    assert port.ask("*TST?") == "0", "with coils on it isn't looked at"


def test_the_supply_does_not_go_on_in_a_touch(fresh_bench):
    _, port = fresh_bench
    port.write("TOUC:CONN NONE;TIM 0,1,0,400,0;INIT;:OUTP ON")
    assert port.errors() == [-221]


def test_a_delay_of_none_leaves_the_rail_20_ms_to_rise():
    with Emulator(eeprom=configuration(blanking_ms=0)) as emulator:
        port = Port(emulator)
        port.write("*CLS")
        switch_on(emulator, port)
        emulator.wait_cycles(200 * CYCLES_PER_MS)
        assert emulator.state.supply
        emulator.cells(0)
        emulator.wait_for(lambda state: state.is_open_and_off, 5)
        assert port.errors() == [110]


def beats_in(emulator: Emulator, ms: int) -> int:
    before = emulator.beats()
    emulator.wait_cycles(ms * CYCLES_PER_MS)
    return emulator.beats() - before


def test_it_beats_while_the_supply_is_on_and_at_no_other_time(fresh_bench):
    emulator, port = fresh_bench
    assert beats_in(emulator, 100) == 0
    switch_on(emulator, port)
    assert beats_in(emulator, 100) in (49, 50, 51)
    port.write("OUTPut OFF")
    emulator.wait_for(lambda state: not state.supply, 5)
    emulator.wait_cycles(2 * CYCLES_PER_MS)
    assert beats_in(emulator, 100) == 0
    switch_on(emulator, port)
    emulator.wait_cycles(150 * CYCLES_PER_MS)
    emulator.read_back("low")
    port.write("ROUT:CLOS (@1!1)")
    emulator.wait_for(lambda state: not state.gate, 5)
    emulator.wait_cycles(2 * CYCLES_PER_MS)
    assert beats_in(emulator, 100) == 0


def test_a_cut_ends_the_beats_even_where_the_program_hangs(fresh_bench):
    emulator, port = fresh_bench
    switch_on(emulator, port)
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    emulator.jam()
    emulator.wait_cycles(CYCLES_PER_MS)
    emulator.current(440)
    emulator.wait_for(lambda state: not state.gate, 5)
    assert not emulator.resets, "the interrupt did it, not the watchdog"
    assert beats_in(emulator, 20) <= 1


def test_switch_and_bleed_change_over_with_both_open_for_a_millisecond(fresh_bench):
    emulator, port = fresh_bench
    for _ in range(3):
        switch_on(emulator, port)
        port.write("OUTPut OFF")
        emulator.wait_for(lambda state: state.bleed, 5)
    open_ms = []
    gate_fell = bleed_fell = None
    for before, state in pairwise(emulator.events()):
        if before.gate and not state.gate and not state.bleed:
            gate_fell = state.cycle
        if before.bleed and not state.bleed:
            bleed_fell = state.cycle
        if state.bleed and not before.bleed and gate_fell:
            open_ms.append((state.cycle - gate_fell) / CYCLES_PER_MS)
        if state.gate and not before.gate and not state.bleed:
            open_ms.append((state.cycle - bleed_fell) / CYCLES_PER_MS)
    assert len(open_ms) == 6
    assert min(open_ms) >= 1.0


def test_a_converter_that_stands_still_reads_as_full_scale(fresh_bench):
    emulator, port = fresh_bench
    emulator.stop_converter()
    emulator.wait_cycles(5 * CYCLES_PER_MS)
    assert float(port.ask("MEAS:VOLT?")) > 14.9
    assert port.ask("*TST?") == "2"
