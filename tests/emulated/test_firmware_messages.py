"""Messages: what is understood, what is refused with which number, and that a damaged
message never closes anything."""

from __future__ import annotations

import random
import re
import subprocess
import sys

import pytest
from emulator import CYCLES_PER_MS, FIRMWARE, START_CYCLES, Emulator, Port


@pytest.fixture(scope="module")
def shared():
    with Emulator() as emulator, Port(emulator.pty) as port:
        yield emulator, port


def settled(emulator):
    """Give all states so far, once what was just done has had time to show in them."""
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    return emulator.events()


@pytest.fixture
def bench(shared):
    emulator, port = shared
    port.write("*RST;*CLS")
    assert port.errors() == []
    yield emulator, port


def test_close_and_read_back(bench):
    emulator, port = bench
    port.write("ROUTe:SERies 3;CLOSe (@1!3,2!5)")
    assert port.ask("ROUTe:CLOSe? (@1!3,1!5,2!5,2!3)") == "1,0,1,0"
    assert port.ask("ROUTe:SERies?") == "3"
    state = emulator.wait_for(lambda state: state.closures, 5)
    assert (state.closures, state.series) == ({(1, 3), (2, 5)}, {3})
    port.write("ROUTe:OPEN (@1!3)")
    assert port.ask("ROUTe:CLOSe? (@1!3,2!5)") == "0,1"
    port.write("ROUTe:OPEN:ALL")
    assert port.ask("ROUTe:CLOSe:STATe? (@2!5)") == "0"
    assert port.ask("ROUTe:SERies?") == "0"
    assert emulator.wait_for(lambda state: not state.closures, 5).series == frozenset()


@pytest.mark.parametrize("bus", [1, 2])
@pytest.mark.parametrize("pad", [1, 2, 8, 9, 16, 17, 24, 25, 32])
def test_each_pad_has_its_own_relay(bench, bus, pad):
    emulator, port = bench
    port.write(f"ROUTe:CLOSe (@{bus}!{pad})")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(bus, pad)}
    port.write("ROUTe:OPEN:ALL")
    emulator.wait_for(lambda state: not state.closures, 5)


def test_keys_are_pressed_and_released(bench):
    emulator, port = bench
    port.write("INPut:KEY:PRESs 1,8")
    emulator.wait_for(lambda state: state.keys == {1, 8}, 5)
    port.write("INPut:KEY:RELease 8")
    emulator.wait_for(lambda state: state.keys == {1}, 5)
    port.write("INPut:KEY:RELease ALL")
    emulator.wait_for(lambda state: not state.keys, 5)


def test_supply_off_opens_everything(bench):
    emulator, port = bench
    port.write("OUTPut:STATe 1;:INPut:KEY:PRESs 1;:ROUTe:SERies 1;CLOSe (@1!1,2!2)")
    assert port.ask("OUTPut?") == "1"
    emulator.wait_for(lambda state: state.supply and state.keys and state.closures, 5)
    port.write("OUTPut OFF")
    assert port.ask("OUTPut:STATe?") == "0"
    assert emulator.wait_for(lambda state: not state.supply, 5).is_open_and_off


@pytest.mark.parametrize("rail_mv", [0, 150, 3_000, 4_512, 9_000, 12_000])
def test_the_rail_is_measured_within_one_step_of_the_converter(bench, rail_mv):
    emulator, port = bench
    emulator.rail(rail_mv)
    emulator.wait_cycles(10 * CYCLES_PER_MS)
    step_v = 3 * 5.0 / 1024
    assert float(port.ask("MEASure:VOLTage?")) == pytest.approx(rail_mv / 1000, abs=2 * step_v)


@pytest.mark.parametrize(
    "query",
    ["SYSTem:VERSion?", "SYST:VERS?", "syst:vers?", ":SYST:VERSION?", "  system:vers?  "],
)
def test_long_and_short_forms(bench, query):
    _, port = bench
    assert port.ask(query) == "1999.0"


def test_compound_messages_follow_the_path(bench):
    _, port = bench
    reply = port.ask("ROUT:SER 2;CLOS (@1!1);CLOS? (@1!1);SER?;:SYST:VERS?;DMAN?;*ESE?;BOOT?")
    assert re.fullmatch(r"1;2;1999\.0;3000;0;\d+", reply)


def test_a_message_stops_at_its_first_error(bench):
    emulator, port = bench
    port.write("ROUT:CLOS (@1!1);NONSENSE;CLOS (@1!2)")
    assert port.errors() == [-113]
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 1)}


BAD_SYNTAX = [
    # numbers of SCPI-99 volume 2 and IEEE 488.2, from memory
    ("ROUTe$CLOSe (@1!1)", -101),
    ("ROUTe:CLOSe& (@1!1)", -101),
    ("*ESE @1", -102),
    ("*ESE #X1", -102),
    ("ROUTe:CLOSe (@1!1)x", -103),
    ("ROUTe:SERies 1 2", -103),
    ("ROUTe:SERies 1:CLOSe (@1!1)", -103),
    ("OUTPut ON OFF", -103),
    ("*IDN? 1", -108),
    ("*RST 1", -108),
    ("ROUTe:SERies 1,2", -108),
    ("ROUTe:CLOSe (@1!1),2", -108),
    ("OUTPut ON,OFF", -108),
    ("ROUTe:CLOSe", -109),
    ("ROUTe:SERies", -109),
    ("TOUCh:TIMing 1,2,3,4", -109),
    ("TOUCh:TIMing 1,,3,4,5", -109),
    ("TOUCh:TIMing 1,2,3,4,", -109),
    ("*ESE ,1", -109),
    (":", -110),
    ("*", -110),
    ("?", -110),
    ("ROUTe::SERies 1", -110),
    ("ROUTe:", -110),
    ("*:IDN?", -110),
    (":*IDN?", -110),
    ("2ROUTe:SERies 1", -110),
    ("_ROUTe:SERies 1", -110),
    ("(@1!1)", -110),
    ('*ESE"1"', -111),
    ("ROUTe:CLOSe(@1!1)", -111),
    ("ROUTe:CLOSe,(@1!1)", -111),
    ("*ESE-1", -111),
    ("*IDN??", -111),
    ("SYSTem:ERRor?:NEXT", -111),
    ("ROUTe:" + "X" * 13, -112),
    ("ROUTe:" + "X" * 60, -112),
    ("X" * 13 + ":CLOSe (@1!1)", -112),
    ("ROUTe:" + "X" * 12, -113),
    ("X:" * 60 + "X", -113),
    ("ROUTe:NOSUCH", -113),
    ("ROUT:CLOSE:STAT:X?", -113),
    ("ROU:CLOS (@1!1)", -113),
    ("ROUTeX:CLOS (@1!1)", -113),
    ("ROUTE:CLOSEE (@1!1)", -113),
    ("CLOSe (@1!1)", -113),
    ("ROUTe2:CLOSe (@1!1)", -113),
    ("*RST?", -113),
    ("*IDN", -113),
    ("STATus:OPERation:CONDition 1", -113),
    ("ROUTe:SERies 1.2.3", -121),
    ("ROUTe:SERies --1", -121),
    ("ROUTe:SERies +", -121),
    ("ROUTe:SERies .", -121),
    ("ROUTe:SERies 1$", -121),
    ("ROUTe:SERies 1E+", -121),
    ("*ESE #Q8", -121),
    ("*ESE #B102", -121),
    ("*ESE #H", -121),
    ("*ESE #HFG", -121),
    ("ROUTe:SERies 1E32001", -123),
    ("ROUTe:SERies 1E-99999", -123),
    ("ROUTe:CLOSe 3", -128),
    ("ROUTe:CLOSe -3", -128),
    ("ROUTe:CLOSe #H3", -128),
    ("SYSTem:DMAN 3000V", -131),
    ("SYSTem:DMAN 3KS", -131),
    ("SYSTem:DMAN 3 SM", -131),
    ("SYSTem:DMAN 3/S", -131),
    ("SYSTem:DMAN 3 MILLISECONDSX", -134),
    ("ROUTe:SERies 3 V", -138),
    ("*ESE 32mA", -138),
    ("OUTPut O$N", -141),
    ("SYSTem:DMAN MIN(1)", -141),
    ("OUTPut ABCDEFGHIJKLM", -144),
    ("ROUTe:SERies A", -148),
    ("ROUTe:SERies MAX", -148),
    ("ROUTe:CLOSe ALL", -148),
    ('ROUTe:CLOSe "@1!1', -151),
    ("ROUTe:SERies '1;:ROUTe:CLOSe (@1!1)", -151),
    ('ROUTe:CLOSe "(@1!1)"', -158),
    ("ROUTe:SERies '1;:ROUTe:CLOSe (@1!1)'", -158),
    ('ROUTe:SERies "it\'s 1;2"', -158),
    ('ROUTe:SERies "a ""b;"" c"', -158),
    ("ROUTe:SERies #11", -168),
    ("ROUTe:CLOSe #0(@1!1)", -168),
    ("ROUTe:CLOSe (@1!1", -171),
    ("ROUTe:CLOSe (@1!1,2!", -171),
    ("ROUTe:CLOSe (@1!1,)", -171),
    ("ROUTe:CLOSe (@1,2)", -171),
    ("ROUTe:CLOSe (1!1)", -171),
    ("ROUTe:CLOSe (@)", -171),
    ("ROUTe:SERies (@1!1)", -178),
    ("TOUCh:TIMeline?", -221),
    ("TOUCh:END", -221),
    ("ROUTe:SERies 9", -222),
    ("ROUTe:SERies -1", -222),
    ("ROUTe:SERies 1E9", -222),
    ("ROUTe:SERies 1E32000", -222),
    ("ROUTe:SERies 99999999999999999999", -222),
    ("*ESE #H100", -222),
    ("*ESE #HFFFFFFFFFFFFFFFF", -222),
    ("SYSTem:DMAN 3", -222),
    ("SYSTem:DMAN 11S", -222),
    ("ROUTe:CLOSe (@3!1)", -222),
    ("ROUTe:CLOSe (@1!0)", -222),
    ("ROUTe:CLOSe (@1!257)", -222),
    ("ROUTe:CLOSe (@1!1:2!3)", -222),
    ("ROUTe:CLOSe (@1!5:1!3)", -222),
    ("INPut:KEY:PRESs 9", -222),
    ("*ESE 256", -222),
    ("STATus:OPERation:ENABle 65536", -222),
    ("OUTPut MAYBE", -224),
    ("SYSTem:DMAN DEFault", -224),
    ("TOUCh:KEYS SOME", -224),
    ("TOUCh:CONNections SOME", -224),
    ("*IDN?;*ESE?", -440),
    ("*IDN?;*OPC?", -440),
]


@pytest.mark.parametrize(("message", "error"), BAD_SYNTAX)
def test_refused_messages_give_their_number_and_do_nothing(bench, message, error):
    emulator, port = bench
    before = settled(emulator)
    port.write(message)
    if error == -440:
        assert port.serial.readline().startswith(b"padsweep,")
    assert port.errors() == [error]
    assert port.ask("*ESE?;:ROUT:SER?") == "0;0"
    assert settled(emulator) == before


@pytest.mark.parametrize(
    ("number", "channel"),
    [
        ("3", 3),
        ("+3", 3),
        ("3.0", 3),
        ("2.6", 3),
        ("0.3E1", 3),
        ("300e-2", 3),
        (".3E1", 3),
        ("2.4999", 2),
        ("0000000000000003", 3),
        ("3 E 0", 3),
        ("30 e -1", 3),
        ("3E+0", 3),
        ("300000000000000000000E-20", 3),
        ("2.5", 3),
        ("-0.4", 0),
        ("1E-32000", 0),
        ("#H3", 3),
        ("#h03", 3),
        ("#Q3", 3),
        ("#B011", 3),
        ("3.00000000000000000", 3),
    ],
)
def test_decimal_numbers_in_all_their_forms(bench, number, channel):
    _, port = bench
    port.write(f"ROUTe:SERies {number}")
    assert port.errors() == []
    assert port.ask("ROUTe:SERies?") == str(channel)


@pytest.mark.parametrize(
    ("quantity", "ms"),
    [
        ("2500", 2500),
        ("2500ms", 2500),
        ("2500 MS", 2500),
        ("2.5s", 2500),
        (".25E1 S", 2500),
        ("2500000us", 2500),
        ("2499.6", 2500),
        ("MIN", 500),
        ("minimum", 500),
        ("MAX", 10000),
        ("MAXimum", 10000),
    ],
)
def test_quantities_take_the_standards_suffixes(bench, quantity, ms):
    _, port = bench
    port.write(f"SYSTem:DMAN {quantity}")
    assert port.errors() == []
    assert port.ask("SYSTem:DMAN?") == str(ms)


def test_queries_of_quantities_tell_their_limits(bench):
    _, port = bench
    assert port.ask("SYST:DMAN? MIN;DMAN? MAX;DMAN?") == "500;10000;3000"


@pytest.mark.parametrize(("word", "reply"), [("ON", "1"), ("on", "1"), ("1", "1"), ("-7", "1"),
    ("OFF", "0"), ("0", "0"), ("0.4", "0"), ("0.5", "1")])  # fmt: skip
def test_booleans(bench, word, reply):
    _, port = bench
    port.write(f"OUTPut {word}")
    assert port.ask("OUTPut?") == reply


@pytest.mark.parametrize(
    ("query", "reply"),
    [
        ("SYST:ERR?", '0,"No error"'),
        ("SYSTem:ERRor:NEXT?", '0,"No error"'),
        ("system:error:next?", '0,"No error"'),
        ("SYST:ERR:NEXT?;COUN?", '0,"No error";0'),
        ("SYST:ERR?;ERR:COUN?", '0,"No error";0'),
        ("OUTP?;:OUTP:STAT?;STATE?", "0;0;0"),
        ("STAT:OPER?;OPER:EVEN?;:STAT:QUES:EVENT?", "0;0;0"),
    ],
)
def test_optional_nodes_may_be_left_out_or_given(bench, query, reply):
    _, port = bench
    assert port.ask(query) == reply


@pytest.mark.parametrize(
    ("message", "reply"),
    [
        (";;*ESE?;", "0"),
        (" ; *ESE? ; ; *SRE? ", "0;0"),
        ("*ESE? ;*CLS;*SRE?", "0;0"),
        ("ROUT:SER 2;*CLS;SER?;*ESE?;CLOS? (@1!1)", "2;0;0"),
        ("STAT:OPER:ENAB 5;ENAB?;*CLS;*ESE?;COND?;:SYST:VERS?", "5;0;0;1999.0"),
        ("*ESE?\r", "0"),
        ("\t*ESE?\t;\t*SRE?", "0;0"),
        ("*SRE 255;*SRE?;*SRE 0", "191"),
        ("*IDN?;*CLS", "padsweep,controller,0,0.2.0"),
        ("*ESE?;*IDN?", "0;padsweep,controller,0,0.2.0"),
    ],
)
def test_separators_terminators_and_paths(bench, message, reply):
    _, port = bench
    assert port.ask(message) == reply
    assert port.errors() == []
    port.write("STAT:PRES")


def test_empty_messages_are_nothing_at_all(bench):
    emulator, port = bench
    before = settled(emulator)
    port.write(b"\n\r\n  \n;\n;;\t;\n")
    assert port.errors() == []
    assert settled(emulator) == before


@pytest.mark.parametrize("bad", [b"\x00", b"\x02", b"\x1b", b"\x7f", b"\x80", b"\xff"])
@pytest.mark.parametrize("place", [0, 5, 15, 19])
def test_a_bad_byte_spoils_its_whole_message(bench, bad, place):
    emulator, port = bench
    before = settled(emulator)
    message = b"ROUTe:CLOSe (@1!1)\n"
    port.write(message[:place] + bad + message[place:])
    if place == len(message):
        port.write(b"\n")
        assert port.errors() == [-101]
        emulator.wait_for(lambda state: state.closures == {(1, 1)}, 5)
        return
    assert port.errors() == [-101]
    assert settled(emulator) == before


@pytest.mark.parametrize("length", [201, 255, 256, 257, 300, 1000, 5000])
def test_an_overlong_line_closes_nothing_whatever_is_in_it(bench, length):
    emulator, port = bench
    before = settled(emulator)
    filler = "ROUTe:CLOSe (@1!1);:" * (length // 20 + 1)
    port.write(filler[:length])
    assert port.errors() == [-363]
    assert settled(emulator) == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 2)}


def test_messages_behind_a_long_wait_run_whole_or_not_at_all(bench):
    """While *OPC? waits, input piles up until the ring overflows: what was lost is reported,
    and nothing is closed that no message asked for."""
    emulator, port = bench
    port.write("TOUCh:CONNections NONE;KEYS NONE;TIMing 0,1,0,1000,0;INITiate;*OPC?")
    start = len(emulator.events())
    for pad in range(1, 33):
        port.write(f"ROUTe:CLOSe (@1!{pad});OPEN:ALL")
    assert port.serial.readline() == b"1\n"
    port.write("")  # ends whatever is left over of the loss
    emulator.wait_cycles(200 * CYCLES_PER_MS)
    assert set(port.errors()) == {-363}
    asked_for = {frozenset({(1, pad)}) for pad in range(1, 33)} | {frozenset()}
    seen = {state.closures for state in emulator.events()[start:]}
    assert frozenset({(1, 1)}) in seen <= asked_for


def test_bytes_lost_by_a_blind_receiver_are_reported_and_close_nothing(bench):
    """The chip holds two bytes and a third on its way; the rest of 20 ms is overwritten."""
    emulator, port = bench
    before = settled(emulator)
    emulator.blind(20)
    port.write("ROUTe:CLOSe (@1!1)")
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    port.write("")  # the loss may have eaten the line's end too
    assert port.errors() == [-363]
    assert settled(emulator) == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert emulator.wait_for(lambda state: state.closures, 5).closures == {(1, 2)}


@pytest.mark.parametrize(("rest", "errors"), [(b" 7\n", []), (b" 17\n", [-363])])
def test_the_receiver_holds_three_bytes_and_no_more(bench, rest, errors):
    """ATmega328P data sheet, "Data OverRun": two buffered and one in the shift register."""
    emulator, port = bench
    port.write(b"*ESE")
    emulator.wait_cycles(20 * CYCLES_PER_MS)
    emulator.blind(20)
    port.write(rest)
    emulator.wait_cycles(50 * CYCLES_PER_MS)
    assert port.errors() == errors
    assert port.ask("*ESE?") == ("0" if errors else "7")
    port.write("*ESE 0")


def test_the_tail_of_a_message_cut_by_a_reset_is_not_run():
    with Emulator() as emulator, Port(emulator.pty) as port:
        port.write("*ESE?" + ";:ROUTe:CLOSe (@1!1)" * 9)
        emulator.reset()
        emulator.wait_cycles(START_CYCLES)
        resumed = emulator.resets[0]
        assert not any(state.closures for state in emulator.events() if state.cycle > resumed)
        port.serial.reset_input_buffer()
        assert set(port.errors()) == {-500, -363}


def test_half_a_command_waits_and_joined_to_another_is_refused(bench):
    emulator, port = bench
    before = settled(emulator)
    port.write(b"ROUTe:CLOSe (@1!1,2!")
    emulator.wait_cycles(100 * CYCLES_PER_MS)
    assert settled(emulator) == before
    port.write("ROUTe:CLOSe (@1!2)")
    assert port.errors() == [-171]
    assert settled(emulator) == before


def test_random_damage_never_closes_what_was_not_asked_for(bench):
    emulator, port = bench
    start = len(emulator.events())
    rng = random.Random(7)
    message = b"ROUTe:SERies 1;CLOSe (@1!11,2!11);OPEN:ALL\n"
    for _ in range(150):
        damaged = bytearray(message)
        for _ in range(rng.randint(1, 4)):
            damaged[rng.randrange(len(damaged) - 1)] = rng.choice(b"\x00\xff\x80;:,")
        port.write(bytes(damaged))
    port.write("*RST")
    port.ask("*IDN?")
    emulator.wait_cycles(20 * CYCLES_PER_MS)
    allowed = {(bus, pad) for bus in (1, 2) for pad in (1, 11)}
    for state in emulator.events()[start:]:
        assert state.closures <= allowed


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
    port.write("*ESE 0;*SRE 0")


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


def test_the_longest_reply_is_whole_and_does_not_starve_the_watchdog(bench):
    emulator, port = bench
    resets = len(emulator.resets)
    query = "CLOS? (@1!1:1!32,2!1:2!32)"
    reply = port.ask("ROUT:" + ";".join([query] * 7))
    assert reply == ";".join([",".join("0" * 64)] * 7)
    assert len(emulator.resets) == resets


def touch_once(port):
    port.write("TOUC:CONN NONE;KEYS NONE;TIM 0,1,0,30,0;INIT")
    assert port.ask("STAT:OPER:COND?") == "16"
    assert port.ask("*OPC?") == "1"
    assert port.ask("STAT:OPER:COND?") == "0"


def test_a_touch_is_a_condition_of_operation_and_its_start_an_event(bench):
    _, port = bench
    touch_once(port)
    assert port.ask("STAT:OPER?;OPER?") == "16;0"


def test_transition_filters_choose_the_edge(bench):
    _, port = bench
    port.write("STAT:OPER:PTR 0;NTR 16")
    assert port.ask("STAT:OPER:PTR?;NTR?") == "0;16"
    port.write("TOUC:CONN NONE;KEYS NONE;TIM 0,1,0,30,0;INIT")
    assert port.ask("STAT:OPER?") == "0"
    assert port.ask("*OPC?") == "1"
    assert port.ask("STAT:OPER?") == "16"
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
    port.write("*SRE 0;:STAT:PRES")


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
    port.write("STAT:PRES")


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
    port.write("*ESE 0;*SRE 0")


def test_operation_complete_is_an_event_at_the_touchs_end_and_forgotten_by_cls(bench):
    _, port = bench
    start = "TOUC:CONN NONE;KEYS NONE;TIM 0,1,0,60,0;INIT;*OPC"
    port.write(start)
    assert port.ask("*ESR?") == "0"
    assert port.ask("*WAI;*ESR?") == "1"
    port.write(start)
    port.write("*CLS")
    assert port.ask("*WAI;*ESR?") == "0"


def test_long_messages_dont_move_the_steps_of_a_touch(bench):
    """Each message takes about 9 ms; a step waits for one command of it at most."""
    _, port = bench
    long = ":STAT:QUES:NTR 0;" * 11 + "*ESE?"
    for _ in range(20):
        port.write("TOUC:CONN (@1!1);KEYS 1;TIM 5,200,7,6,5;INIT")
        for _ in range(6):
            assert port.ask(long) == "0"
        start, press, close, _, opened, end = port.timeline()
        steps = [press - start, close - press, opened - close, end - opened]
        for us, ms in zip(steps, (5, 7, 6, 5), strict=True):
            assert 1000 * ms <= us < 1000 * ms + 1200
    assert port.errors() == []


def test_mav_tells_of_a_reply_that_is_under_way_in_the_same_message(bench):
    _, port = bench
    assert port.ask("*STB?") == "0"
    assert port.ask("*ESE?;*STB?") == "0;16"


def test_self_test_passes_and_moves_nothing(bench):
    emulator, port = bench
    port.write("ROUTe:SERies 1;CLOSe (@1!1,2!2)")
    emulator.wait_for(lambda state: len(state.closures) == 2, 5)
    before = settled(emulator)
    assert port.ask("*TST?") == "0"
    assert settled(emulator) == before


def test_the_table_of_errors_and_the_hosts_copy_are_current():
    """Both are made of errors.def."""
    script = FIRMWARE / "generate" / "errors.py"
    done = subprocess.run(
        [sys.executable, str(script), "--check"], capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_every_error_in_the_sources_has_its_row():
    rows = set(re.findall(r"^ERROR\((-?\d+),", (FIRMWARE / "errors.def").read_text(), re.MULTILINE))
    sources = "".join(path.read_text() for path in sorted(FIRMWARE.glob("*.c")))
    sources = re.sub(r"/\*.*?\*/", "", sources, flags=re.DOTALL)
    used = set(re.findall(r"(?<![\w.])(-[1-5]\d\d|10[1-9])(?![\w.])", sources))
    assert used <= rows


def commands():
    """Give what commands.def declares: header (queries with '?') to its marks."""
    source = (FIRMWARE / "commands.def").read_text().split("*/")[1]
    rows = re.findall(r'^(\w+)\("([^"]+)", .*?(\w+)\)$', source, re.MULTILINE)
    assert len(rows) == source.count('"') / 2
    found = {}
    for kind, pattern, allowed in rows:
        marks = {"0": "", "WHILE_LATCHED": "L", "WHILE_TOUCHING": "T", "ALWAYS": "L T"}[allowed]
        if kind != "QUERY":
            found[pattern] = marks
        if kind != "COMMAND":
            found[pattern + "?"] = "L T" if kind == "BOTH" else marks
    return found


def test_the_protocols_table_and_the_table_of_handlers_agree():
    protocol = (FIRMWARE / "PROTOCOL.md").read_text().split("## Errors")[0]
    documented = {}
    for line in protocol.splitlines():
        if not line.startswith("| `"):
            continue
        names, _, marks = (cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1])
        headers = [name.split()[0] for name in re.findall(r"`([^`]+)`", names)]
        for header in headers:
            if ":" in header or header.startswith("*"):
                beside_command = header.endswith("?") and header[:-1] in headers
                documented[header.replace("\\|", "|")] = "L T" if beside_command else marks
    assert documented == commands()
