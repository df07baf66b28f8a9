"""An instrument library that knows nothing of this project drives the controller.

Sources: PyVISA with PyVISA-py as the independent client; SCPI-99 and IEEE 488.2 for the
forms of replies and the error numbers, from memory.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "emulated"))

from emulator import Emulator

pyvisa = pytest.importorskip("pyvisa", reason="the outside check needs pyvisa and pyvisa-py")


@pytest.fixture
def instrument():
    with Emulator() as emulator:
        manager = pyvisa.ResourceManager("@py")
        instrument = manager.open_resource(
            f"ASRL{emulator.pty}::INSTR",
            baud_rate=250_000,
            read_termination="\n",
            write_termination="\n",
            timeout=5_000,
        )
        try:
            yield instrument
        finally:
            instrument.close()
            manager.close()


def test_identity_has_the_four_fields_of_ieee_488_2(instrument):
    maker, model, serial, version = instrument.query("*IDN?").split(",")
    assert (maker, model, serial) == ("padsweep", "controller", "0")
    assert version


def test_scpi_version_is_year_and_revision(instrument):
    assert instrument.query("SYSTem:VERSion?") == "1999.0"


def test_a_closure_is_read_back(instrument):
    instrument.write("ROUTe:CLOSe (@1!3,2!5)")
    assert instrument.query_ascii_values("ROUTe:CLOSe? (@1!3,2!5,1!5)") == [1, 1, 0]
    instrument.write("ROUTe:OPEN:ALL")
    assert instrument.query_ascii_values("ROUTe:CLOSe? (@1!3,2!5,1!5)") == [0, 0, 0]


def test_bad_syntax_lands_in_the_error_queue(instrument):
    assert instrument.query("SYSTem:ERRor?") == '-500,"Power on"'
    instrument.write("ROUTe:NOSUCH (@1!1)")
    instrument.write("ROUTe:SERies")
    instrument.write("ROUTe:SERies ten")
    instrument.write("ROUTe:SERies 99")
    assert [instrument.query("SYSTem:ERRor?") for _ in range(5)] == [
        '-113,"Undefined header"',
        '-109,"Missing parameter"',
        '-148,"Character data not allowed"',
        '-222,"Data out of range"',
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
