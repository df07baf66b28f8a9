"""An instrument library that knows nothing of this project drives the controller.

Sources: PyVISA with PyVISA-py as the independent client; SCPI-99 and IEEE 488.2 for the
forms of replies, the status model and the error numbers (memory).
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
import pyvisa

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "emulated"))

from emulator import HANGS_S, Emulator


@pytest.fixture
def instrument():
    with Emulator(paced=True) as emulator:
        manager = pyvisa.ResourceManager("@py")
        instrument = manager.open_resource(
            f"ASRL{emulator.pty}::INSTR",
            baud_rate=250_000,
            read_termination="\n",
            write_termination="\n",
            timeout=HANGS_S * 1000,
        )
        try:
            yield instrument
        finally:
            instrument.close()
            manager.close()


TEXTS = {
    # SCPI-99 volume 2, 21.8 (memory)
    -101: "Invalid character",
    -102: "Syntax error",
    -103: "Invalid separator",
    -108: "Parameter not allowed",
    -109: "Missing parameter",
    -110: "Command header error",
    -111: "Header separator error",
    -112: "Program mnemonic too long",
    -113: "Undefined header",
    -121: "Invalid character in number",
    -123: "Exponent too large",
    -128: "Numeric data not allowed",
    -131: "Invalid suffix",
    -134: "Suffix too long",
    -138: "Suffix not allowed",
    -141: "Invalid character data",
    -144: "Character data too long",
    -148: "Character data not allowed",
    -151: "Invalid string data",
    -158: "String data not allowed",
    -168: "Block data not allowed",
    -171: "Invalid expression",
    -178: "Expression data not allowed",
    -213: "Init ignored",
    -221: "Settings conflict",
    -222: "Data out of range",
    -224: "Illegal parameter value",
    -350: "Queue overflow",
    -363: "Input buffer overrun",
    -440: "Query UNTERMINATED after indefinite response",
}

BAD = [
    # the number that SCPI-99 volume 2, 21.8 describes for each (memory)
    ("SETUP&", -101),  # its own example: an ampersand in a header
    ("*ESE @", -102),
    ("*ESE 1:ROUTe:SERies 1", -103),  # its own example: the semicolon left out
    ("*ESE 1 2", -103),
    ("*RST 1", -108),
    ("ROUTe:OPEN:ALL 1", -108),
    ("*ESE", -109),  # its own example
    ("TOUCh:TIMing 1,2", -109),
    ("ROUTe::CLOSe (@1!1)", -110),
    ('*ESE"1"', -111),  # its own example: *GMC"MACRO"
    ("ROUTe:CLOSe(@1!1)", -111),
    ("THIRTEENCHARS 1", -112),
    ("TWELVECHARAC 1", -113),
    ("*XYZ", -113),  # its own example
    ("XYZ:ABC?", -113),
    ("ROUTe:CLO (@1!1)", -113),  # neither the short nor the long form
    ("*ESE 1.2.3", -121),
    ("*ESE #Q9", -121),  # its own example: a 9 in octal data
    ("*ESE 1E32001", -123),  # larger than 32,000
    ("ROUTe:CLOSe 1", -128),
    ("SYSTem:DMAN 3 V", -131),
    ("SYSTem:DMAN 3 ABCDEFGHIJKLM", -134),  # more than 12 characters
    ("*ESE 3 V", -138),
    ("OUTPut O&N", -141),
    ("OUTPut ABCDEFGHIJKLM", -144),  # more than 12 characters
    ("*ESE ON", -148),
    ('*ESE "1', -151),  # no closing quote
    ('*ESE "1"', -158),
    ("*ESE '1;*ESE 2'", -158),
    ("*ESE #11", -168),
    ("ROUTe:CLOSe (@1!1", -171),  # its own example: unmatched parentheses
    ("*ESE (@1!1)", -178),
    ("TOUCh:TIMeline?", -221),
    ("*ESE 256", -222),
    ("*SRE -1", -222),
    ("ROUTe:CLOSe (@3!1)", -222),
    ("SYSTem:DMAN 1MS", -222),
    ("OUTPut MAYBE", -224),
    ("ROUTe:CLOSe (@1!1);" * 11, -363),
]


def test_each_kind_of_bad_syntax_has_the_standards_number_and_text(instrument):
    instrument.write("*CLS")
    for message, number in BAD:
        instrument.write(message)
        reply = instrument.query("SYSTem:ERRor?")
        assert reply == f'{number},"{TEXTS[number]}"', message
        assert instrument.query("SYSTem:ERRor:NEXT?") == '0,"No error"', message
        kind = {-1: 5, -2: 4, -3: 3}[int(number / 100)]  # CME, EXE, DDE
        assert int(instrument.query("*ESR?")) == 1 << kind, message
    assert instrument.query("ROUTe:CLOSe? (@1!1);SERies?;*ESE?;*SRE?") == "0;0;0;0"


def test_the_queue_keeps_its_first_errors_and_ends_in_overflow(instrument):
    """SCPI-99 volume 2, 21.8.1 (memory): the last place becomes -350."""
    instrument.write("*CLS")
    for _ in range(20):
        instrument.write("*XYZ")
    count = int(instrument.query("SYSTem:ERRor:COUNt?"))
    replies = [instrument.query("SYSTem:ERRor?") for _ in range(count + 1)]
    assert count >= 2  # the least that the standard allows
    assert replies[:-2] == ['-113,"Undefined header"'] * (count - 1)
    assert replies[-2:] == ['-350,"Queue overflow"', '0,"No error"']


def test_identity_must_be_the_last_query(instrument):
    """IEEE 488.2, 6.5.7.5 and 10.14.3 (memory): its response has no end but the message's."""
    instrument.write("*CLS")
    assert instrument.query("*IDN?;*ESE?").startswith("padsweep,")
    assert instrument.query("SYSTem:ERRor?") == f'-440,"{TEXTS[-440]}"'
    assert int(instrument.query("*ESR?")) == 1 << 2  # QYE
    assert instrument.query("*ESE?;*IDN?").startswith("0;padsweep,")
    assert instrument.query("SYSTem:ERRor?") == '0,"No error"'


def test_service_request_bits_are_read_with_stb(instrument):
    """IEEE 488.2, 11.2 and SCPI-99 volume 1, 9 (memory): error queue 2, QUEStionable 3,
    MAV 4, ESB 5, MSS 6, OPERation 7. A serial line has no request line: bit 6 is polled."""
    instrument.write("*CLS;*ESE 32;*SRE 0")
    assert int(instrument.query("*STB?")) == 0
    instrument.write("*XYZ")
    assert int(instrument.query("*STB?")) == 1 << 2 | 1 << 5
    instrument.write("*SRE 255")
    assert int(instrument.query("*SRE?")) == 255 - (1 << 6)  # its own bit can't be set
    assert int(instrument.query("*STB?")) == 1 << 2 | 1 << 5 | 1 << 6
    instrument.write("*SRE 4")
    assert instrument.query("SYSTem:ERRor?").startswith("-113,")
    assert int(instrument.query("*STB?")) == 1 << 5  # nothing asks for service any more
    assert int(instrument.query("*ESR?")) == 1 << 5
    assert int(instrument.query("*STB?")) == 0
    assert instrument.query("*ESE?;*STB?") == "32;16"  # MAV: the first reply is under way
    instrument.write("STATus:OPERation:ENABle 16;:TOUCh:KEYS 1;TIMing 0,20,0,50,0;INITiate;*WAI")
    assert int(instrument.query("*STB?")) == 1 << 7
    instrument.write("*SRE 128")
    assert int(instrument.query("*STB?")) == 1 << 7 | 1 << 6
    assert int(instrument.query("STATus:OPERation:EVENt?")) == 1 << 4  # MEASuring
    assert int(instrument.query("*STB?")) == 0


def test_preset_and_power_on_values_of_the_status_registers(instrument):
    """SCPI-99 volume 2, 20.1 to 20.3 (memory)."""
    registers = ["STATus:OPERation", "STATus:QUEStionable"]
    expected = {":CONDition": 0, ":EVENt": 0, "": 0, ":ENABle": 0, ":NTRansition": 0}
    expected[":PTRansition"] = 0x7FFF
    for register in registers:
        for node, value in expected.items():
            assert int(instrument.query(f"{register}{node}?")) == value, node
        instrument.write(f"{register}:ENABle #HFFFF;NTRansition 7;PTRansition 0")
        assert int(instrument.query(f"{register}:ENABle?")) == 0x7FFF  # bit 15 stays 0
    instrument.write("STATus:PRESet")
    for register in registers:
        for node, value in expected.items():
            assert int(instrument.query(f"{register}{node}?")) == value, node


@pytest.mark.parametrize(
    ("quantity", "ms"),
    [("0.6", None), ("600", 600), ("600MS", 600), ("0.6S", 600), ("6E5 us", 600), ("MIN", 500)],
)
def test_suffixes_of_time(instrument, quantity, ms):
    """IEEE 488.2, 7.7.3 (memory): S with the multipliers M and U, any case."""
    instrument.write(f"SYSTem:DMAN {quantity}")
    assert int(instrument.query("SYSTem:DMAN?")) == (ms or 3000)


def test_identity_has_the_four_fields_of_ieee_488_2(instrument):
    maker, model, serial, version = instrument.query("*IDN?").split(",")
    assert (maker, model, serial) == ("padsweep", "controller", "0")
    assert version


def test_scpi_version_is_year_and_revision(instrument):
    assert instrument.query("SYSTem:VERSion?") == "1999.0"


def test_a_closure_is_read_back(instrument):
    # In one message: between two a stopped client would meet the dead-man.
    look = ":ROUTe:CLOSe? (@1!3,2!5,1!5)"
    assert instrument.query_ascii_values(f"ROUTe:CLOSe (@1!3,2!5);{look}") == [1, 1, 0]
    assert instrument.query_ascii_values(f"ROUTe:OPEN:ALL;{look}") == [0, 0, 0]


def test_power_on_and_errors_wait_in_the_queue_oldest_first(instrument):
    assert instrument.query("SYSTem:ERRor?") == '-500,"Power on"'
    instrument.write("ROUTe:NOSUCH (@1!1)")
    instrument.write("ROUTe:SERies")
    assert [instrument.query("SYSTem:ERRor?") for _ in range(3)] == [
        '-113,"Undefined header"',
        '-109,"Missing parameter"',
        '0,"No error"',
    ]


def test_event_register_bits_after_start_and_errors(instrument):
    assert int(instrument.query("*ESR?")) == 1 << 7  # PON
    instrument.write("NOSUCH")
    assert int(instrument.query("*ESR?")) == 1 << 5  # CME
    instrument.write("ROUTe:SERies 99")
    assert int(instrument.query("*ESR?")) == 1 << 4  # EXE
    instrument.write("*OPC")
    assert int(instrument.query("*ESR?")) == 1 << 0  # OPC


def test_operation_complete_query_synchronises(instrument):
    instrument.write("TOUCh:CONNections NONE;KEYS 1;TIMing 0,20,0,50,0;INITiate")
    assert instrument.query("*OPC?") == "1"
    assert instrument.query("TOUCh:STATe?") == "DONE"
