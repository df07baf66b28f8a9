"""The controller protects the toy by itself: start, dead-man, longest closure, watchdog."""

from __future__ import annotations

import pytest
from emulator import CYCLES_PER_MS, CYCLES_PER_US, START_CYCLES, Emulator, Port, build_firmware


def last_change(emulator):
    return emulator.events()[-1].cycle


def test_nothing_is_ever_closed_or_on_from_the_first_instruction():
    with Emulator() as emulator:
        emulator.wait_cycles(300 * CYCLES_PER_MS)
        states = emulator.events()
        assert states, "the record must hold the start"
        assert states[0].cycle < CYCLES_PER_MS
        assert all(state.is_open_and_off and not state.marker for state in states)
        assert states[-1].bleed


def test_dead_man_opens_all_and_cuts_the_supply_after_its_time(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYSTem:DMAN 500;:OUTPut ON;:TOY:KEY:PRESs 3;:ROUTe:SERies 2;CLOSe (@1!3,2!5)")
    emulator.wait_for(lambda state: state.closures and state.supply and state.keys, 5)
    closed, heard = last_change(emulator), emulator.heard
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    opened, off = [
        next(state.cycle for state in emulator.events() if state.cycle > closed and done(state))
        for done in (lambda state: not state.closures, lambda state: not state.supply)
    ]
    for cycle in (opened, off):
        assert 499 < (cycle - heard) / CYCLES_PER_MS < 503
    assert port.errors() == [101]


def test_the_default_dead_man_time_is_3_s(fresh_bench):
    emulator, port = fresh_bench
    assert port.ask("SYSTem:DMAN?") == "3000"
    port.write("ROUTe:CLOSe (@2!32)")
    emulator.wait_for(lambda state: state.closures, 5)
    closed = last_change(emulator)
    emulator.wait_for(lambda state: state.is_open_and_off, 10)
    assert (last_change(emulator) - closed) / CYCLES_PER_MS == pytest.approx(3000, abs=3)


@pytest.mark.parametrize(
    "noise", [b"x", b"\n", b" ;;\n", b"no such thing\n", b"ROUT:CLOS (@1!999)\n", b"\xff\n", b"*RST 1\n"]
)
def test_commands_that_are_carried_out_feed_the_dead_man_and_nothing_else_does(fresh_bench, noise):
    emulator, port = fresh_bench
    port.write("SYSTem:DMAN 500;:ROUTe:CLOSe (@1!1)")
    emulator.wait_for(lambda state: state.closures, 5)
    for _ in range(4):
        emulator.wait_cycles(300 * CYCLES_PER_MS)
        port.write("*CLS")
    assert emulator.state.closures
    while emulator.state.closures:
        port.write(noise)
        emulator.wait_cycles(50 * CYCLES_PER_MS)
        assert emulator.cycle - last_change(emulator) < 3_000 * CYCLES_PER_MS


@pytest.mark.parametrize("value", ["0", "499", "10001", "-1"])
def test_the_dead_man_can_not_be_switched_off(fresh_bench, value):
    _, port = fresh_bench
    port.write(f"SYSTem:DMAN {value}")
    assert port.errors() == [-222]
    assert port.ask("SYSTem:DMAN?") == "3000"


def test_dead_man_ends_a_running_touch(fresh_bench):
    emulator, port = fresh_bench
    port.write(
        "SYSTem:DMAN 500;:OUTPut ON;:TOUCh:CONNections (@1!3,2!5);SERies 1;KEYS 1;"
        "TIMing 10,5000,10,9000,10;INITiate"
    )
    emulator.wait_for(lambda state: state.closures, 5)
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.errors() == [101]
    assert port.ask("TOUCh:STATe?") == "IDLE"


def test_an_idle_controller_never_complains(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYSTem:DMAN 500")
    emulator.wait_cycles(1_500 * CYCLES_PER_MS)
    assert port.errors() == []


def test_no_closure_outlasts_10_s_while_the_host_keeps_talking():
    with Emulator() as emulator:
        port = Port(emulator)
        port.write("*CLS;:SYSTem:DMAN 10000;:OUTPut ON;:ROUTe:CLOSe (@1!1)")
        emulator.wait_for(lambda state: state.closures, 10)
        first = last_change(emulator)
        emulator.wait_cycles(3_000 * CYCLES_PER_MS)
        port.write("ROUTe:CLOSe (@1!2)")
        while emulator.state.closures:
            port.ask("*STB?")
            assert emulator.cycle - first < 12_000 * CYCLES_PER_MS
        opened = next(s.cycle for s in emulator.events() if s.cycle > first and not s.closures)
        assert (opened - first) / CYCLES_PER_MS == pytest.approx(10_000, abs=3)
        assert port.errors() == [102]


def test_eight_closures_at_once_and_not_nine(fresh_bench):
    emulator, port = fresh_bench
    port.write("ROUTe:CLOSe (@1!1:1!4,2!11:2!14)")
    assert port.errors() == []
    eight = {(1, n) for n in range(1, 5)} | {(2, n) for n in range(11, 15)}
    assert emulator.wait_for(lambda state: state.closures, 5).closures == eight
    port.write("ROUTe:CLOSe (@1!5)")
    assert port.errors() == [-221]
    port.write("ROUTe:OPEN:ALL;:ROUTe:CLOSe (@1!1:1!9)")
    assert port.errors() == [-221]
    assert emulator.state.closures == frozenset()
    port.write("TOUCh:CONNections (@1!1:1!9)")
    assert port.errors() == [-221]


def test_a_reset_opens_and_switches_off_at_once_and_shows(fresh_bench):
    emulator, port = fresh_bench
    boots = int(port.ask("SYSTem:BOOTs?"))
    port.write("OUTPut ON;:ROUTe:SERies 1;CLOSe (@1!3,2!5)")
    emulator.wait_for(lambda state: state.closures and state.supply, 5)
    emulator.reset()
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    [reset] = emulator.resets
    assert last_change(emulator) >= reset
    off = next(s.cycle for s in emulator.events() if s.cycle >= reset and s.is_open_and_off)
    assert (off - reset) / CYCLES_PER_US < 1
    emulator.wait_cycles(START_CYCLES)
    assert int(port.ask("*ESR?")) & 0x80
    assert int(port.ask("SYSTem:BOOTs?")) == boots + 1
    assert port.errors() == [-500]


def test_the_watchdog_frees_a_hung_program_and_says_so(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON;:ROUTe:SERies 1;CLOSe (@1!3,2!5)")
    emulator.wait_for(lambda state: state.closures and state.supply, 5)
    hung = emulator.cycle
    emulator.jam()
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert (last_change(emulator) - hung) / CYCLES_PER_MS < 200
    emulator.wait_cycles(START_CYCLES)
    assert port.errors() == [103]


def test_a_chain_that_does_not_read_back_is_never_enabled(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON")
    emulator.wait_for(lambda state: state.supply, 5)
    emulator.read_back("high")
    port.write("ROUTe:CLOSe (@1!3)")
    assert port.errors() == [-240]
    assert not any(state.closures for state in emulator.events())
    assert not emulator.state.supply
    assert port.ask("*TST?") == "1"


def test_a_latched_guard_refuses_all_but_looking_until_it_is_cleared(fresh_bench):
    emulator, port = fresh_bench
    emulator.read_back("low")
    port.write("ROUTe:CLOSe (@1!3)")
    assert port.errors() == [-240]
    emulator.read_back("ok")
    for message in ("ROUTe:CLOSe (@1!3)", "OUTPut ON", "TOY:KEY:PRESs 1", "TOUCh:INITiate"):
        port.write(message)
        assert port.errors() == [105]
    assert port.ask("OUTPut:PROTection:TRIP?") == "1"
    port.write("OUTPut:PROTection:CLEar;:ROUTe:CLOSe (@1!3)")
    assert port.errors() == []
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 3)}


def test_supply_and_bleed_are_never_on_together(fresh_bench):
    emulator, port = fresh_bench
    for switch in ("ON", "OFF", "ON", "OFF"):
        port.write(f"OUTPut {switch}")
        emulator.wait_for(lambda state, on=switch == "ON": state.supply == on != state.bleed, 5)
    assert not any(state.supply and state.bleed for state in emulator.events())


def test_moving_a_closure_breaks_before_it_makes(fresh_bench):
    emulator, port = fresh_bench
    port.write("ROUTe:SERies 1;CLOSe (@1!3,2!5);SERies 2;OPEN (@1!3);CLOSe (@1!4)")
    emulator.wait_for(lambda state: (1, 4) in state.closures, 5)
    states = emulator.events()
    assert all(len(state.series) <= 1 for state in states)
    assert not any({(1, 3), (1, 4)} <= state.closures for state in states)
    first = next(s.cycle for s in states if s.series == {2})
    broken = next(s.cycle for s in states if s.closures and not s.series and s.cycle < first)
    assert (first - broken) / CYCLES_PER_US >= 2_000


def test_guards_work_across_the_wrap_of_the_clock(tmp_path):
    elf = build_firmware(tmp_path / "near-wrap", clock_start_us=2**32 - 1_000_000)
    with Emulator(elf=elf) as emulator:
        port = Port(emulator)
        emulator.wait_cycles(700 * CYCLES_PER_MS - emulator.cycle)
        port.write("*CLS;:SYSTem:DMAN 500;:OUTPut ON")
        emulator.wait_for(lambda state: state.supply, 5)
        on, heard = last_change(emulator), emulator.heard
        assert on < 1_000 * CYCLES_PER_MS  # on before the wrap, off after it
        emulator.wait_for(lambda state: not state.supply, 5)
        off = next(s.cycle for s in emulator.events() if s.cycle > on and not s.supply)
        assert 499 < (off - heard) / CYCLES_PER_MS < 503
        assert port.errors() == [101]
