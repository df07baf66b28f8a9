"""Status: error queue, event registers, OPERation and QUEStionable, the status byte."""

from __future__ import annotations

import pytest


def test_the_error_queue_keeps_the_oldest_and_says_that_it_overflowed(bench):
    _, port = bench
    for _ in range(15):
        port.write("NONSENSE")
    assert port.ask("SYSTem:ERRor:COUNt?") == "10"
    assert port.errors() == [-113] * 9 + [-350]


def test_rst_leaves_the_error_queue_and_the_enables_alone(bench):
    _, port = bench
    port.write("*ESE 32;*SRE 4;NONSENSE")
    port.write("*RST")
    assert port.ask("*ESE?;*SRE?") == "32;4"
    assert port.errors() == [-113]


@pytest.mark.parametrize(
    ("message", "bit"), [("NONSENSE", 5), ("ROUTe:SERies 9", 4), ("x" * 300, 3)]
)
def test_each_kind_of_error_sets_its_bit(bench, message, bit):
    _, port = bench
    port.write(message)
    assert port.ask("*ESR?") == str(1 << bit)
    assert port.ask("*ESR?") == "0"
    port.errors()


def test_status_byte_sums_up(bench):
    _, port = bench
    port.write("*ESE 32;*SRE 32")
    assert port.ask("*STB?") == "0"
    port.write("NONSENSE")
    assert int(port.ask("*STB?")) == 0x04 | 0x20 | 0x40
    port.write("*CLS;*ESE 0;*SRE 0")
    assert port.ask("*STB?") == "0"


TOUCH = "TOUC:CONN NONE;KEYS NONE;TIM 0,1,0,30,0;INIT"


def touch_once(port):
    assert port.ask(f"{TOUCH};:STAT:OPER:COND?;*OPC?;COND?") == "16;1;0"


def test_a_touch_is_a_condition_of_operation_and_its_start_an_event(bench):
    _, port = bench
    touch_once(port)
    assert port.ask("STAT:OPER?;OPER?") == "16;0"


def test_transition_filters_choose_the_edge(bench):
    _, port = bench
    port.write("STAT:OPER:PTR 0;NTR 16")
    assert port.ask("STAT:OPER:PTR?;NTR?") == "0;16"
    assert port.ask(f"{TOUCH};:STAT:OPER?;*OPC?;OPER?") == "0;1;16"
    port.write("STAT:PRES")
    assert port.ask("STAT:OPER:PTR?;NTR?") == "32767;0"


def test_operation_events_reach_the_status_byte_only_when_enabled(bench):
    _, port = bench
    touch_once(port)
    assert port.ask("*STB?") == "0"
    port.write("STAT:OPER:ENAB 16;*SRE 128")
    assert int(port.ask("*STB?")) == 0x80 | 0x40
    assert port.ask("STAT:OPER?") == "16"
    assert port.ask("*STB?") == "0"


def test_a_latched_guard_is_questionable_until_it_is_cleared(bench):
    emulator, port = bench
    port.write("STAT:QUES:ENAB 512")
    emulator.read_back("low")
    port.write("ROUT:SER 1")
    assert port.errors() == [-240]
    emulator.read_back("ok")
    assert port.ask("STAT:QUES:COND?") == "512"
    assert int(port.ask("*STB?")) == 0x08
    assert port.ask("STAT:QUES?;QUES?") == "512;0"
    port.write("OUTP:PROT:CLE")
    assert port.ask("STAT:QUES:COND?;EVEN?") == "0;0"


def test_cls_rst_and_preset_each_clear_what_the_standard_says(bench):
    """SCPI-99 volume 1, 4.1.3 and volume 2, STATus (memory): *CLS events and the queue,
    PRESet the enables and filters of OPERation and QUEStionable, *RST none of them."""
    _, port = bench
    enables = "*ESE?;*SRE?;:STAT:OPER:ENAB?;:STAT:QUES:ENAB?"
    port.write("*ESE 1;*SRE 4;:STAT:OPER:ENAB 16;:STAT:QUES:ENAB 65535")
    assert port.ask(enables) == "1;4;16;32767"
    touch_once(port)
    port.write("NOSUCH")
    port.write("*RST")
    assert port.ask("SYST:ERR:COUN?") == "1"
    assert port.ask(enables) == "1;4;16;32767"
    port.write("STAT:PRES")
    assert port.ask(enables) == "1;4;0;0"
    assert port.ask("STAT:OPER?;:SYST:ERR:COUN?") == "16;1"
    touch_once(port)
    port.write("*CLS")
    assert port.ask("STAT:OPER?;*ESR?;:SYST:ERR:COUN?") == "0;0;0"
    assert port.ask(enables) == "1;4;0;0"


def test_operation_complete_is_an_event_at_the_touchs_end_and_forgotten_by_cls(bench):
    _, port = bench
    assert port.ask(f"{TOUCH};*OPC;*ESR?;*WAI;*ESR?") == "0;1"
    assert port.ask(f"{TOUCH};*OPC;*CLS;*WAI;*ESR?") == "0"


def test_mav_tells_of_a_reply_that_is_under_way_in_the_same_message(bench):
    _, port = bench
    assert port.ask("*STB?") == "0"
    assert port.ask("*ESE?;*STB?") == "0;16"
