"""Touches that close when the host has heard the toy, holds that outlast touches, and touches
with a limit of their own for what they may draw."""

from __future__ import annotations

import random

import pytest
from emulator import CYCLES_PER_MS, CYCLES_PER_US

ARMED = "TOUCh:CONNections (@1!3,2!5);SERies 4;KEYS 2;TIMing 10,30,300,40,20;ARM"


# --- closed when heard


def test_an_armed_touch_that_is_told_nothing_closes_nothing_and_ends_with_its_lead_in(fresh_bench):
    emulator, port = fresh_bench
    port.write(ARMED)
    start, press, close, release, opened, end = port.timeline()
    assert (close, opened) == (-1, -1)
    assert start < press < release < end
    assert (end - press) / 1000 == pytest.approx(300, abs=1)
    events = emulator.events()
    assert any(state.marker for state in events)
    assert not any(state.closures or state.series for state in events)
    assert port.errors() == []


@pytest.mark.parametrize("after_start_ms", [60, 123.4, 250])
def test_it_closes_at_the_told_time_whenever_the_message_comes(fresh_bench, after_start_ms):
    emulator, port = fresh_bench
    rng = random.Random(round(after_start_ms))
    for _ in range(3):
        port.write(ARMED)
        emulator.wait_for(lambda state: state.keys, 5)
        emulator.wait_cycles(rng.randrange(30) * CYCLES_PER_MS)
        port.write(f"TOUCh:CLOSe {after_start_ms * 1000:g}")
        start, _, close, _, opened, _ = port.timeline()
        assert (close - start) / 1000 == pytest.approx(after_start_ms, abs=0.9)
        assert (opened - close) / 1000 == pytest.approx(40, abs=0.7)
        closed = [state for state in emulator.events() if state.closures]
        assert closed[-1].closures == {(1, 3), (2, 5)}
    assert port.errors() == []


def test_without_a_time_it_closes_at_once(fresh_bench):
    emulator, port = fresh_bench
    port.write(ARMED)
    emulator.wait_for(lambda state: state.keys, 5)
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    at = emulator.cycle
    port.write("TOUCh:CLOSe")
    closed = emulator.wait_for(lambda state: state.closures, 5)
    assert (closed.cycle - at) / CYCLES_PER_US < 3_000
    assert port.errors() == []


@pytest.mark.parametrize(
    ("moment", "message", "error"),
    [
        ("before", "TOUCh:CLOSe", -221),
        ("lead", "TOUCh:CLOSe 11000", -222),  # that has passed
        ("lead", "TOUCh:CLOSe 400 MS", -222),  # the lead-in is over by then
        ("lead", "TOUCh:CLOSe;CLOSe", -221),
        ("lead", "TOUCh:ARM", -213),
        ("unarmed", "TOUCh:CLOSe", -221),
        ("idle", "TOUCh:CLOSe", -221),
    ],
)
def test_a_closing_that_comes_too_late_or_was_not_armed_is_refused(fresh_bench, moment, message, error):
    emulator, port = fresh_bench
    if moment == "unarmed":
        port.write(ARMED.replace("ARM", "INITiate"))
    elif moment != "idle":
        port.write(ARMED.replace("TIMing 10", "TIMing 100" if moment == "before" else "TIMing 10"))
    if moment not in ("before", "idle"):
        emulator.wait_for(lambda state: state.keys, 5)
        emulator.wait_cycles(30 * CYCLES_PER_MS)
    port.write(message)
    assert port.errors() == [error]


def test_a_clean_take_goes_through_it_too(fresh_bench):
    emulator, port = fresh_bench
    port.write(ARMED.replace("(@1!3,2!5)", "NONE"))
    emulator.wait_for(lambda state: state.keys, 5)
    port.write("TOUCh:CLOSe 80000")
    start, _, close, _, opened, _ = port.timeline()
    assert (close - start) / 1000 == pytest.approx(80, abs=0.7)
    assert (opened - close) / 1000 == pytest.approx(40, abs=0.7)
    assert not any(state.closures for state in emulator.events())


def test_a_silent_host_leaves_an_armed_touch_to_end_or_the_dead_man(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:DMAN 500;:" + ARMED.replace("10,30,300", "10,5000,9000"))
    emulator.wait_for(lambda state: state.keys, 5)
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    assert port.errors() == [101]
    assert not any(state.closures for state in emulator.events())


# --- held across touches


def test_a_hold_stays_closed_over_touches_and_is_told(fresh_bench):
    emulator, port = fresh_bench
    port.write("ROUTe:HOLD 2")
    emulator.wait_for(lambda state: state.holds == {2}, 5)
    assert port.ask("ROUTe:HOLD?") == "2"
    for holds in ("NONE", "1", "NONE"):
        port.write(f"TOUCh:CONN (@1!3,2!5);SER 1;KEYS 1;HOLD {holds};TIM 5,10,10,20,10")
        assert -1 not in port.touch()
    states = [s for s in emulator.events() if s.closures]
    assert len(states) >= 3
    assert all(2 in state.holds for state in states)
    assert any(state.holds == {1, 2} for state in emulator.events())
    assert emulator.state.holds == {2}
    port.write("TOUCh:HOLD 2;INITiate")
    assert port.errors() == [-221], "it would be opened at the touch's end"
    port.write("ROUTe:HOLD NONE")
    emulator.wait_for(lambda state: not state.holds, 5)
    assert port.errors() == []


@pytest.mark.parametrize(
    "message", ["ROUTe:OPEN:ALL", "OUTPut OFF", "*RST", "TOUCh:ABORt"]
)
def test_whatever_opens_all_opens_holds(fresh_bench, message):
    emulator, port = fresh_bench
    port.write("ROUTe:HOLD 1,2")
    emulator.wait_for(lambda state: state.holds, 5)
    port.write(message)
    emulator.wait_for(lambda state: not state.holds, 5)
    assert port.ask("ROUTe:HOLD?") == "NONE"


def test_a_hold_has_its_own_longest_time(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:HOLD:TIME 2;:SYST:CLOS:TIME 500;:ROUTe:HOLD 1")
    closed = emulator.wait_for(lambda state: state.holds, 5).cycle
    while emulator.state.holds:
        port.ask("*STB?")
        emulator.wait_cycles(100 * CYCLES_PER_MS)
        assert emulator.cycle - closed < 5_000 * CYCLES_PER_MS
    opened = next(s.cycle for s in emulator.events() if s.cycle > closed and not s.holds)
    assert (opened - closed) / CYCLES_PER_MS == pytest.approx(2_000, abs=3)
    assert port.errors() == [102]


def opened_after_ms(emulator, port, since, seconds=8):
    """Keep asking until no pad is closed; gives how long after a cycle the last one opened, ms."""
    while emulator.state.closures:
        port.ask("*STB?")
        emulator.wait_cycles(50 * CYCLES_PER_MS)
        assert emulator.cycle - since < seconds * 1000 * CYCLES_PER_MS
    opened = next(s.cycle for s in emulator.events() if s.cycle > since and not s.closures)
    return (opened - since) / CYCLES_PER_MS


def test_pads_that_are_kept_have_a_hold_s_time_from_the_latest_keeping_on(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:HOLD:TIME 2;:SYST:CLOS:TIME 500;:ROUT:SER 1;CLOS (@1!3,2!5);CLOS:KEEP")
    emulator.wait_for(lambda state: state.closures, 5)
    for _ in range(3):
        emulator.wait_cycles(1500 * CYCLES_PER_MS)
        port.write("ROUTe:SERies 2;:ROUTe:CLOSe:KEEP")
    asked = emulator.cycle
    assert port.errors() == []
    closed = [s.closures for s in emulator.events() if s.cycle < asked and s.series]
    assert set(closed[1:]) == {closed[-1]}, "neither time nor another channel opened them"
    assert opened_after_ms(emulator, port, asked) == pytest.approx(2_000, abs=10)
    assert port.errors() == [102]


@pytest.mark.parametrize("before", ["", "ROUT:CLOS (@1!3);CLOS:KEEP;:ROUT:OPEN:ALL;:"])
def test_nothing_is_closed_by_keeping(fresh_bench, before):
    emulator, port = fresh_bench
    port.write(f"{before}ROUT:CLOS:KEEP")
    assert port.errors() == [-221]
    assert not emulator.state.closures
    port.write("SYST:CLOS:TIME 500;:ROUT:CLOS (@1!3)")
    closed = emulator.wait_for(lambda state: state.closures, 5).cycle
    assert opened_after_ms(emulator, port, closed) == pytest.approx(500, abs=3)


def test_a_pad_closed_behind_a_keeping_and_a_key_have_their_own_time(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:CLOS:TIME 500;:ROUT:CLOS (@1!3);CLOS:KEEP;:ROUT:CLOS (@2!5)")
    closed = emulator.wait_for(lambda state: len(state.closures) == 2, 5).cycle
    assert opened_after_ms(emulator, port, closed) == pytest.approx(500, abs=3)
    port.write("*CLS;:TOY:KEY:PRES 1;:ROUT:CLOS (@1!3);CLOS:KEEP")
    closed = emulator.wait_for(lambda state: state.keys and state.closures, 5).cycle
    assert opened_after_ms(emulator, port, closed) == pytest.approx(500, abs=5)
    assert port.errors() == [102]


def test_the_dead_man_opens_what_is_kept(fresh_bench):
    emulator, port = fresh_bench
    port.write("OUTPut ON;:SYST:HOLD:TIME?")
    assert port.line() == "60"
    port.write("ROUT:SER 1;CLOS (@1!3,2!5);CLOS:KEEP")
    emulator.wait_for(lambda state: state.closures, 5)
    closed = emulator.cycle
    emulator.wait_for(lambda state: state.is_open_and_off, 10)
    assert (emulator.events()[-1].cycle - closed) / CYCLES_PER_MS == pytest.approx(3_000, abs=60)
    assert port.errors() == [101]


def test_a_cut_in_a_touch_opens_the_holds_and_marks_its_end(fresh_bench):
    emulator, port = fresh_bench
    port.write("ROUTe:HOLD 1;:OUTPut ON")
    emulator.wait_for(lambda state: state.supply, 5)
    emulator.wait_cycles(150 * CYCLES_PER_MS)
    port.write("TOUCh:CONN (@1!3,2!5);SER 1;KEYS 1;TIM 5,10,10,2000,10;INIT")
    emulator.wait_for(lambda state: state.closures, 5)
    emulator.current(440)
    emulator.wait_for(lambda state: state.is_open_and_off, 5)
    emulator.current(0)
    assert not emulator.state.holds
    assert port.timeline()[4] > 0
    assert port.errors() == [106]


# --- taps


@pytest.mark.parametrize("tap_ms", [5, 20, 100])
def test_a_tap_that_draws_more_than_its_own_limit_is_opened_within_a_millisecond(fresh_bench, tap_ms):
    emulator, port = fresh_bench
    emulator.current(60)
    port.write("OUTPut ON;:TOUC:CONN (@1!3,2!5);SER 1;KEYS NONE;LIM 20")
    emulator.wait_for(lambda state: state.supply, 5)
    emulator.wait_cycles(700 * CYCLES_PER_MS)  # the mean is what it drew just before
    port.write(f"TOUC:TIM 0,1,10,{tap_ms},20;INIT")
    emulator.current_when_closed(90)
    opened = emulator.wait_for(lambda state: not state.closures and state.supply, 5)
    emulator.wait_for(lambda state: state.closures, 5)
    opened = emulator.wait_for(lambda state: not state.closures, 5)
    closed = next(s for s in emulator.events() if s.closures)
    assert (opened.cycle - closed.cycle) / CYCLES_PER_MS <= 1.0
    emulator.current(60)
    start, _, close, _, stamp, end = port.timeline()
    assert start < close < stamp < end
    assert (stamp - close) / 1000 < 2
    assert port.errors() == [114]
    assert emulator.state.supply, "the toy stays on: nothing is latched"
    assert port.ask("OUTP:PROT:TRIP?") == "0"
    port.write("TOUC:LIM NONE")
    assert -1 not in [*port.touch()[:1], port.touch()[2]]


def test_a_tap_below_its_limit_lasts_as_long_as_was_set(fresh_bench):
    emulator, port = fresh_bench
    emulator.current(60)
    port.write("OUTPut ON;:TOUC:CONN (@1!3,2!5);SER 1;KEYS NONE;LIM 20;TIM 0,1,10,30,20")
    emulator.wait_for(lambda state: state.supply, 5)
    emulator.wait_cycles(700 * CYCLES_PER_MS)
    emulator.current_when_closed(75)
    timeline = port.touch()
    assert (timeline[4] - timeline[2]) / 1000 == pytest.approx(30, abs=0.7)
    assert port.errors() == []


def test_what_the_toy_draws_outside_the_tap_is_not_its_limits_business(fresh_bench):
    emulator, port = fresh_bench
    emulator.current(20)
    port.write("OUTPut ON;:TOUC:CONN (@1!3,2!5);SER 1;KEYS 1;LIM 10;TIM 0,30,60,20,60;INIT")
    emulator.wait_for(lambda state: state.keys, 5)
    emulator.current(120)
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    emulator.current(20)
    port.timeline()
    assert port.errors() == []


# --- and what a touch may not be


def test_a_touch_within_50_ms_of_the_longest_closure_is_refused(fresh_bench):
    _, port = fresh_bench
    port.write("SYST:CLOS:TIME 1000;:TOUC:CONN (@1!3,2!5);SER 1;KEYS NONE;TIM 0,1,0,951,0;INIT")
    assert port.errors() == [-221]
    for _ in range(40):
        port.write("TOUC:TIM 0,1,0,950,0")
        port.touch()
    assert port.errors() == []


def test_a_long_answer_shifts_no_step_of_a_running_touch(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUC:CONN (@1!3,2!5);SER 1;KEYS 1;TIM 10,15,20,25,30")
    alone = port.touch()
    for delay_ms in range(0, 100, 3):
        port.write("TOUC:INIT")
        emulator.wait_cycles(delay_ms * CYCLES_PER_MS)
        for _ in range(3):
            port.write("ROUT:CLOS:STAT? (@1!1:1!32,2!1:2!32);STAT? (@1!1:1!32,2!1:2!32)")
        emulator.wait_cycles(200 * CYCLES_PER_MS)
        assert len(port.replies()) == 3
        steps = port.timeline()
        spans = [(a - steps[0]) / 1000 for a in steps]
        assert spans == pytest.approx([(a - alone[0]) / 1000 for a in alone], abs=1.3), delay_ms


def test_complete_waits_for_the_reset_line_too(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOY:RESet 150;*OPC?")
    emulator.wait_for(lambda state: state.reset_line, 5)
    assert port.line() == "1"
    assert not emulator.state.reset_line
    port.write("*CLS;:TOY:RESet 100;*OPC")
    assert int(port.ask("*ESR?")) & 1 == 0
    emulator.wait_cycles(120 * CYCLES_PER_MS)
    assert int(port.ask("*ESR?")) & 1 == 1


@pytest.mark.parametrize(
    ("message", "reply"),
    [
        ("OUTP1:STAT1 ON;:OUTP1?", "1"),
        ("OUTP01 ON;:OUTPut?", "1"),
        ("SYSTem1:ERRor1:NEXT1?", '0,"No error"'),
        ("TOUC1:STAT?", "IDLE"),
        ("MEAS1:VOLT1:RAIL1?", "0.000"),
        ("SYST:DMAN DEF;DMAN?", "3000"),
        ("SYST:DMAN 700;DMAN? DEF;DMAN?", "3000;700"),
        ("SOUR:CURR:PROT:DEL DEFault;DEL?", "100"),
        ("SYST:CONF:LIM 1.5 MA;LIM?", "1500"),
        ("SYST:HOLD:TIME 90000 MS;TIME?", "90"),
        ("SYST:CONF:SUPP 4.8 V;SUPP?", "4800"),
    ],
)
def test_every_node_may_bear_the_suffix_1_and_quantities_take_their_default(fresh_bench, message, reply):
    _, port = fresh_bench
    assert port.ask(message) == reply
    assert port.errors() == []


@pytest.mark.parametrize(
    ("message", "error"),
    [("OUTP2 ON", -114), ("MEAS0:VOLT:BUS1?", -114), ("MEAS1:VOLT2:BUS2?", -114), ("OUTP0 ON", -114), ("SYST:DMAN2?", -114), ("*ESE1 3", -113),
     ("*IDN1?", -113), ("OUTP ON1", -224), ("SYST1DMAN?", -113), ("SYS1T:DMAN?", -113)],
)  # fmt: skip
def test_other_suffixes_are_refused(fresh_bench, message, error):
    _, port = fresh_bench
    port.write(message)
    errors = port.errors()
    assert errors == [error]


def test_a_loop_of_starts_that_nobody_asks_about_wears_nothing(fresh_bench):
    emulator, port = fresh_bench
    boots = int(port.ask("SYST:BOOT?"))
    worn = emulator.eeprom()
    for _ in range(5):
        emulator.restart()
    assert emulator.eeprom() == worn
    assert int(port.ask("SYST:BOOT?")) == boots + 1
    emulator.restart()
    assert int(port.ask("SYST:BOOT?")) == boots + 2


def test_the_fuses_are_told_low_high_extended_and_lock_bits(fresh_bench):
    """As the guide burns them; the order of the chip's own addresses is another (data sheet)."""
    emulator, port = fresh_bench
    assert port.ask("SYST:FUS?") == f"{0xF7},{0xD1},{0xFC},{0xFF}"
    emulator.brown_out_fuse(0xFD)
    assert port.ask("SYST:FUS?;*IDN?").startswith(f"{0xF7},{0xD1},{0xFD},{0xFF};padsweep")
