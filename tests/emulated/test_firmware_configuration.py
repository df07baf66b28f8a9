"""The stored configuration: its layout and CRC, what spoils it, what it forbids and when it may
be changed."""

from __future__ import annotations

import binascii

import pytest
from emulator import (
    CYCLES_PER_MS,
    EEPROM_CONFIGURATION,
    Emulator,
    Port,
    configuration,
)

LENGTH = 68
SETTINGS = {
    "SYST:CONF:PADS": "16",
    "SYST:CONF:CLOS": "5",
    "SYST:CONF:FORB": "(@2,9:12,16)",
    "SYST:CONF:RAIL": "(@1,8)",
    "SYST:CONF:RSER": "1,8",
    "SYST:DMAN": "1500",
    "SYST:CLOS:TIME": "2500",
    "SYST:HOLD:TIME": "90",
    "SYST:CONF:LEAD": "2700",
    "SYST:CONF:SUPP": "9600",
    "SYST:CONF:LIM": "1950",
    "SYST:CONF:BANK": "0,6800,33000,150000,1500,15000,470000,2200000",
    "SYST:CONF:LOW:LIM": "1",
    "SYST:CONF:LOW:PADS": "(@3,5:7)",
    "SYST:CONF:LOW:LEAD": "47",
    "SYST:CONF:LOW:TIME": "250",
    "SOUR:CURR:PROT:LEV": "250",
    "SOUR:CURR:PROT:AVER": "90",
    "SOUR:CURR:PROT:DEL": "40",
}
AS_STORED = configuration(
    pads=16,
    closures=5,
    forbidden=[2, 9, 10, 11, 12, 16],
    rails=[1, 8],
    rail_series=[1, 8],
    deadman_ms=1500,
    closure_ms=2500,
    peak_ma=250,
    average_ma=90,
    blanking_ms=40,
    hold_s=90,
    lead_ohm=2_700,
    supply_mv=9_600,
    pad_ua=1_950,
    bank_ohm=[0, 6_800, 33_000, 150_000, 1_500, 15_000, 470_000, 2_200_000],
    low=[3, 5, 6, 7],
    low_ms=250,
    low_lead_ohm=47,
)


def stored(emulator: Emulator) -> bytes:
    return emulator.eeprom()[EEPROM_CONFIGURATION:][:LENGTH]


def test_everything_set_is_told_saved_byte_by_byte_and_there_after_a_restart(fresh_bench):
    emulator, port = fresh_bench
    for header, value in SETTINGS.items():
        port.write(f"{header} {value}")
        assert port.ask(f"{header}?") == value
    assert port.ask("SYST:CONF:STOR?") == "0"
    assert port.ask("SYST:CONF:SAVE;*OPC?;:SYST:CONF:STOR?") == "1;1"
    assert stored(emulator) == AS_STORED
    emulator.restart()
    assert port.errors() == [-500, -330]  # the rig still has more boards than were set
    for header, value in SETTINGS.items():
        assert port.ask(f"{header}?") == value


def test_the_crc_is_that_of_an_independent_implementation(fresh_bench):
    """CRC-16 of 0x1021 from 0xffff; Python's binascii.crc_hqx is the outside reference."""
    _, port = fresh_bench
    assert binascii.crc_hqx(b"123456789", 0xFFFF) == 0x29B1  # the usual check value (memory)
    for header, value in SETTINGS.items():
        port.write(f"{header} {value}")
    crc = int(port.ask("SYST:CONF:CRC?"))
    assert crc == binascii.crc_hqx(AS_STORED[:-2], 0xFFFF)
    assert crc == int.from_bytes(AS_STORED[-2:], "little")


def test_every_single_flipped_bit_of_the_stored_configuration_is_found():
    with Emulator(eeprom=configuration(deadman_ms=10_000)) as emulator:
        good = configuration(pads=32, deadman_ms=9_000)
        port = Port(emulator)
        for bit in range(LENGTH * 8):
            bad = bytearray(good)
            bad[bit // 8] ^= 1 << bit % 8
            emulator.set_eeprom(EEPROM_CONFIGURATION, bytes(bad))
            emulator.restart()
            assert port.ask("SYST:ERR?;ERR?;DMAN?;CONF:PADS?;STOR?") == (
                '-500,"Power on";-315,"Configuration memory lost";3000;24;0'
            ), f"bit {bit}"
        emulator.set_eeprom(EEPROM_CONFIGURATION, good)
        emulator.restart()
        assert port.errors() == [-500]
        assert port.ask("SYST:DMAN?;CONF:STOR?") == "9000;1"


def test_a_brown_out_while_it_is_saved_leaves_the_old_the_new_or_the_defaults_never_a_mixture(
    fresh_bench,
):
    emulator, port = fresh_bench
    old, new = configuration(), AS_STORED
    seen = set()
    for after_ms in range(0, 250, 13):
        emulator.set_eeprom(EEPROM_CONFIGURATION, old)
        emulator.restart()
        port.write("*CLS")
        for header, value in SETTINGS.items():
            port.write(f"{header} {value}")
        port.ask("*OPC?")
        port.write("SYST:CONF:SAVE")
        emulator.wait_cycles(after_ms * CYCLES_PER_MS)
        emulator.restart(brown_out=True)
        lost = -315 in port.errors()
        dead_man = port.ask("SYST:DMAN?")
        if lost:
            assert port.ask("SYST:DMAN?;CLOS:TIME?;:SYST:CONF:PADS?;FORB?") == "3000;10000;24;NONE"
            seen.add("lost")
        else:
            assert stored(emulator) in (old, new)
            assert dead_man == ("3000" if stored(emulator) == old else "1500")
            seen.add("whole")
    assert seen == {"lost", "whole"}


def test_sound_bytes_that_this_firmware_must_not_take_are_refused():
    for wrong in ({"pads": 20}, {"pads": 72}, {"closures": 9}, {"deadman_ms": 60_000},
                  {"closure_ms": 0}, {"peak_ma": 451}, {"blanking_ms": 501}, {"layout": 1},
                  {"hold_s": 0}, {"hold_s": 3_601}, {"supply_mv": 12_801},
                  {"supply_mv": 0}, {"pad_ua": 10_001}, {"layout": 2}, {"low_ms": 9},
                  {"low_ms": 2_001}, {"low": [3], "limiter": 0}, {"low": [3], "limiter": 2},
                  {"low": [3], "rails": [2, 3]}, {"low": [24], "forbidden": [24]}):  # fmt: skip
        data = configuration(**{"pads": 24} | wrong)
        with Emulator(eeprom=data, pads=24) as emulator:
            port = Port(emulator)
            assert port.errors() == [-500, -315], wrong


def test_what_firmware_before_low_pads_stored_is_lost_and_nothing_closes():
    older = configuration(pads=24, layout=2)[:54]
    older += binascii.crc_hqx(older, 0xFFFF).to_bytes(2, "little")
    with Emulator(eeprom=older, pads=24) as emulator:
        port = Port(emulator)
        port.write("ROUT:CLOS (@1!1)")
        assert port.errors() == [-500, -315, -315]
        assert port.ask("SYST:CONF:LOW:PADS?;LIM?") == "NONE;0"
        assert not any(state.is_anything_closed for state in emulator.events())


def test_without_its_configuration_nothing_closes_until_one_is_saved():
    with Emulator(eeprom=b"", pads=24) as emulator:
        port = Port(emulator)
        assert port.errors() == [-500, -315]
        closing = ("ROUT:CLOS (@1!1)", "ROUT:SER 1", "ROUT:HOLD 1", "TOY:KEY:PRES 1",
                   "TOUC:KEYS 1;INIT", "MEAS:VOLT:BUS1?", "MEAS:RES?")  # fmt: skip
        for message in closing:
            port.write(message)
            assert port.errors() == [-315], message
        port.write("SYST:CONF:PADS 24")
        port.write("ROUT:CLOS (@1!1)")
        assert port.errors() == [-315]
        assert not any(state.is_anything_closed for state in emulator.events())
        port.write("*RST;:SYST:CONF:SAVE;:ROUT:CLOS (@1!1)")
        emulator.wait_for(lambda state: state.closures == {(1, 1)}, 5)
        assert port.errors() == []


def test_the_common_reset_brings_back_what_is_stored(fresh_bench):
    _, port = fresh_bench
    for header, value in SETTINGS.items():
        port.write(f"{header} {value}")
    assert port.ask("*RST;:SYST:CONF:STOR?;CRC?") == (
        f"1;{int.from_bytes(configuration()[-2:], 'little')}"
    )
    port.write("SYST:CONF:DEF")
    assert port.ask("SYST:CONF:PADS?;STOR?") == "24;0"


@pytest.mark.parametrize(
    "what", ["OUTPut ON", "ROUTe:CLOSe (@1!1)", "ROUTe:SERies 1", "TOY:KEY:PRESs 1",
             "TOY:RESet 2000", "TOUCh:KEYS NONE;INITiate"]
)  # fmt: skip
def test_nothing_of_it_changes_while_anything_is_on(fresh_bench, what):
    emulator, port = fresh_bench
    port.write(what)
    before = port.ask("SYST:CONF:CRC?")
    changes = [f"{header} {value}" for header, value in SETTINGS.items()]
    for message in [*changes, "SYST:CONF:SAVE", "SYST:CONF:DEF"]:
        port.write(message)
        assert port.errors() == [-221], message
    assert port.ask("SYST:CONF:CRC?") == before
    assert stored(emulator) == configuration()


def test_forbidden_pads_never_close_alone_in_lists_or_in_touches(fresh_bench):
    emulator, port = fresh_bench
    port.write("TOUCh:CONNections (@1!7,2!8);SERies 1")
    port.write("SYST:CONF:FORB (@7)")
    for message in ("ROUT:CLOS (@1!7)", "ROUT:CLOS (@2!6:2!8)", "TOUC:CONN (@1!7,2!8)"):
        port.write(message)
        assert port.errors() == [108]
    port.write("TOUCh:INITiate")  # its connections were set before they were forbidden
    assert port.errors() == [108]
    assert port.ask("TOUC:STAT?") == "IDLE"
    port.write("ROUT:CLOS (@1!8)")
    assert port.errors() == []
    emulator.wait_for(lambda state: state.closures == {(1, 8)}, 5)
    assert not any(pad == 7 for state in emulator.events() for _, pad in state.closures)


@pytest.mark.parametrize(
    ("message", "error"),
    [
        ("ROUT:CLOS (@1!1,1!2)", 109),
        ("ROUT:CLOS (@2!1,2!2)", 109),
        ("ROUT:CLOS (@1!1,2!2)", 0),  # nothing joins the buses
        ("ROUT:SER 3;CLOS (@1!1,2!2)", 109),
        ("ROUT:CLOS (@1!1,2!2);SER 3", 109),
        ("ROUT:SER 4;CLOS (@1!1,2!2)", 0),
        ("ROUT:SER 3;CLOS (@1!1,2!9)", 0),
        ("ROUT:CLOS (@1!1,2!2,1!9,2!9)", 109),  # pad 9 on both buses is a wire between them
        ("ROUT:CLOS (@1!1,2!1)", 0),  # the same pad twice joins no two rails
        ("TOUC:CONN (@1!1,2!2);SER 3;INIT", 109),
        ("TOUC:CONN (@1!1,2!2);SER 4;INIT", 0),
        ("TOUC:CONN (@1!1,1!2)", 109),
    ],
)
def test_rail_pads_meet_only_over_a_series_channel_that_may_join_them(fresh_bench, message, error):
    emulator, port = fresh_bench
    port.write("SYST:CONF:RAIL (@1,2);RSER 4")
    port.write(message)
    assert port.errors() == ([error] if error else [])
    emulator.wait_cycles(20 * CYCLES_PER_MS)
    for state in emulator.events():
        rails = [{pad for bus, pad in state.closures if bus == n and pad < 3} for n in (1, 2)]
        assert all(len(pads) < 2 for pads in rails)
        assert not (rails[0] and rails[1] and rails[0] != rails[1] and state.series - {4})


def test_the_configured_number_of_closures_and_their_longest_time_hold(fresh_bench):
    emulator, port = fresh_bench
    port.write("SYST:CONF:CLOS 2;:SYST:CLOS:TIME 300")
    port.write("ROUT:CLOS (@1!1:1!3)")
    assert port.errors() == [-221]
    port.write("TOUC:CONN (@1!1);SER 0;TIM 0,1,0,301,0;INIT")
    assert port.errors() == [-221]
    port.write("ROUT:CLOS (@1!1,2!3)")
    emulator.wait_for(lambda state: state.closures, 5)
    closed = next(state.cycle for state in emulator.events() if state.closures)
    opened = emulator.wait_for(lambda state: not state.closures, 5).cycle
    assert (opened - closed) / CYCLES_PER_MS == pytest.approx(300, abs=3)
    assert port.errors() == [102]


def test_pads_beyond_the_configured_are_out_of_range(fresh_bench):
    _, port = fresh_bench
    port.write("SYST:CONF:PADS 16")
    for message in ("ROUT:CLOS (@1!17)", "ROUT:CLOS? (@2!15:2!17)", "SYST:CONF:FORB (@17)"):
        port.write(message)
        assert port.errors() == [-222]
    for message in ("SYST:CONF:PADS 12", "SYST:CONF:PADS 0", "SYST:CONF:PADS 72"):
        port.write(message)
        assert port.errors() == [-222]
