"""What the host wants the controller to hold, worked out from the project's files."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench.configuration import Configuration, wanted_configuration
from rig.project import load_project

TOY = """\
name: Test toy
supply: {volts: 4.5, source: cells}
pads:
  A: {kind: rail}
  B:
  C: {forbidden: true}
  D: {kind: clock}
  E: {kind: rail}
  F:
  G:
  H:
  I:
keys:
  red:
"""

RIG = """\
bench: hardware
lead_ohm: 1500
switch: SWITCH
switch_ohm: 0.2
series_ohm: [0, 6000, 6600, 33000]
controller: {port: /dev/ttyUSB0, pads: 16}
sound: {device: USB}
guard: {peak_ma: 250, average_ma: 90}
"""


@pytest.fixture
def wanted(tmp_path, request):
    (tmp_path / "toy.yaml").write_text(TOY)
    (tmp_path / "rig.yaml").write_text(RIG.replace("SWITCH", getattr(request, "param", "reed")))
    return wanted_configuration(load_project(tmp_path))


def test_pads_become_channels_and_whole_boards(wanted):
    assert wanted.pads == 16
    assert wanted.forbidden == {3}
    assert wanted.rails == {1, 5}


def test_only_series_values_that_keep_rails_below_half_a_milliampere_may_join_them(wanted):
    # Three fresh cells: 4.8 V / 0.5 mA = 9,600 ohm, of which two leads are 3,000.
    assert wanted.rail_series == {3, 4}


def test_the_guard_s_limits_are_rig_yaml_s(wanted):
    assert (wanted.peak_ma, wanted.average_ma, wanted.inrush_ms) == (250, 90, 100)


def test_what_may_flow_is_told_with_all_that_it_hangs_on(wanted):
    assert (wanted.lead_ohm, wanted.supply_mv) == (1500, 4800)
    assert wanted.bank_ohm == (0, 6_000, 6_600, 33_000)
    assert wanted.pad_ua == 2100  # 2 mA, and 5 % for the bank's whole hundreds


@pytest.mark.parametrize("wanted", ["multiplexer"], indirect=True)
def test_a_multiplexer_closes_one_pad_on_each_bus(wanted):
    assert wanted.closures == 2


def test_every_field_is_sent(wanted):
    sent = wanted.commands()
    assert sent[0] == "SYSTem:CONFigure:DEFaults"
    for message in ("SYSTem:CONFigure:PADS 16", "SYSTem:CONFigure:FORBidden (@3)",
                    "SYSTem:CONFigure:RAILs (@1,5)", "SYSTem:CONFigure:RSERies 3,4",
                    "SOURce:CURRent:PROTection:LEVel 250"):
        assert message in sent


def test_the_bytes_are_laid_out_as_the_firmware_s_header_says():
    made = Configuration(
        pads=24, closures=5, forbidden=frozenset({1, 10}), rails=frozenset({24}),
        rail_series=frozenset({3}), peak_ma=258, average_ma=3, inrush_ms=4,
        deadman_ms=5, closure_ms=6, hold_s=7, lead_ohm=8, supply_mv=9, pad_ua=10,
        bank_ohm=(0, 6_800, 2_200_000), limiter=True, low=frozenset({2, 23}), low_ms=258,
        low_lead_ohm=11,
    )
    assert made.packed().hex(" ") == (
        "03 18 05 01 02 00 00 00 00 00 00 00 00 80 00 00 00 00 00 04 "
        "05 00 06 00 02 01 03 00 04 00 07 00 08 00 09 00 0a 00 "
        "00 00 44 00 f0 55 00 00 00 00 00 00 00 00 00 00 "
        "02 01 0b 01 02 00 40 00 00 00 00 00"
    )


@given(st.integers(1, 64), st.integers(1, 9999), st.integers(0, 65535))
def test_the_checksum_is_the_remainder_of_a_division(pads, peak_ma, supply_mv):
    # CRC-16 with polynomial x^16 + x^12 + x^5 + 1 and start 0xFFFF, bit by bit
    made = Configuration(pads=pads, peak_ma=peak_ma, supply_mv=supply_mv)
    rest = 0xFFFF
    for byte in made.packed():
        for place in range(7, -1, -1):
            out = rest >> 15 ^ byte >> place & 1
            rest = rest << 1 & 0xFFFF ^ (0x1021 if out else 0)
    assert made.crc() == rest
