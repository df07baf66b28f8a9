"""Syntax: headers, separators, numbers and units that are understood, and which of the
standard's numbers each kind of bad syntax gets. A refused message does nothing."""

from __future__ import annotations

import re

import pytest


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
    ("ROUTe:SERies 0,2", -222),
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
    ("ROUTe2:CLOSe (@1!1)", -114),
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
    ("TOY:KEY:PRESs 9", -222),
    ("*ESE 256", -222),
    ("STATus:OPERation:ENABle 65536", -222),
    ("OUTPut MAYBE", -224),
    ("SYSTem:DMAN USUal", -224),
    ("TOUCh:KEYS SOME", -224),
    ("TOUCh:CONNections SOME", -224),
    ("*IDN?;*ESE?", -440),
    ("*IDN?;*OPC?", -440),
]


@pytest.mark.parametrize(("message", "error"), BAD_SYNTAX)
def test_refused_messages_give_their_number_and_do_nothing(bench, message, error):
    emulator, port = bench
    before = emulator.settled()
    port.write(message)
    if error == -440:
        assert port.line().startswith("padsweep,")
    assert port.errors() == [error]
    assert port.ask("*ESE?;:ROUT:SER?") == "0;0"
    assert emulator.settled() == before


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
        ("*IDN?;*CLS", "padsweep,controller,0,0.5.0"),
        ("*ESE?;*IDN?", "0;padsweep,controller,0,0.5.0"),
    ],
)
def test_separators_terminators_and_paths(bench, message, reply):
    _, port = bench
    assert port.ask(message) == reply
    assert port.errors() == []


def test_empty_messages_are_nothing_at_all(bench):
    emulator, port = bench
    before = emulator.settled()
    port.write(b"\n\r\n  \n;\n;;\t;\n")
    assert port.errors() == []
    assert emulator.settled() == before
