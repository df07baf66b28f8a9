"""The ladder, the RC clock and the rail against ngspice and against handbook formulae.

Formulae are from memory, each named beside its number.
"""

import math

import pytest
from spice import measured

from rig.bench.simulated.circuit import HIGH, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.clock import RcClock, charge_s
from rig.bench.simulated.supply import BLEED_OHM, Power, Supply


@pytest.mark.parametrize("bits", [4, 6, 8])
def test_an_r_2r_ladder_of_drivers(bits):
    # handbook: a ladder gives code / 2^bits of the rail, from an output resistance of R
    r = 10e3
    drives = [Drive(), *[Drive(2 * r, 2 * r)] * bits]
    resistors = [(1, 0, 2 * r), *[(i, i + 1, r) for i in range(1, bits)]]
    ladder = Circuit(drives, resistors, {0: 0.0}).bridged([], whole=True)
    end = ladder.place[bits]
    for code in range(2**bits):
        states = [OPEN, *[HIGH if code >> i & 1 else LOW for i in range(bits)]]
        levels, impedance_ohm = ladder.solved(states)
        assert levels[end] == pytest.approx(code / 2**bits, rel=1e-5)
        assert impedance_ohm[end, end] == pytest.approx(r, rel=1e-5)


def test_the_charging_time_gives_the_555s_formula():
    # NE555 data sheet (memory): f = 1.44 / ((R1 + 2 R2) C), duty (R1 + R2) / (R1 + 2 R2)
    r1, r2, c = 6.8e3, 33e3, 10e-9
    high_s = charge_s(r1 + r2, c, 1.0, 1 / 3, 2 / 3)
    low_s = charge_s(r2, c, 1.0, 1 / 3, 2 / 3)  # emptying from 2/3 to 1/3 is its mirror image
    assert 1 / (high_s + low_s) == pytest.approx(1.44 / ((r1 + 2 * r2) * c), rel=3e-3)
    assert high_s / (high_s + low_s) == pytest.approx((r1 + r2) / (r1 + 2 * r2), rel=1e-9)


def test_a_clock_that_a_bridge_holds_below_its_threshold_stops():
    clock = RcClock(47e3, 30e-12)
    assert clock.hz(0.66, 10e3) == 0.0
    assert clock.hz(1.0, 47e3) == clock.nominal_hz() > 0


@pytest.mark.parametrize("bridge_ohm", [153e3, 330e3, 1e6])
def test_a_bridged_clocks_charging_against_ngspice(bridge_ohm):
    r, c = 47e3, 33e-12
    circuit = Circuit([Drive(), Drive(pull=(r, 1.0))], [], {0: 0.0})
    bridged = circuit.bridged([(0, 1, bridge_ohm)])
    levels, impedance_ohm = bridged.solved([OPEN, OPEN])
    ours_s = charge_s(float(impedance_ohm[0, 0]), c, levels[0], 1 / 3, 2 / 3)
    (theirs_s,) = measured(
        "bridged clock\n"
        "VCC vcc 0 1\n"
        f"R1 vcc osc {r}\nRB osc 0 {bridge_ohm}\nC1 osc 0 {c} IC=0.3\n"
        ".tran 2n 20u 0 2n UIC\n"
        f".meas tran t TRIG v(osc) VAL={1 / 3!r} RISE=1 TARG v(osc) VAL={2 / 3!r} RISE=1\n"
        ".end\n",
        ["t"],
    )
    assert ours_s == pytest.approx(theirs_s, rel=1e-3)


def test_the_rail_bleeds_as_an_rc_does():
    # handbook: v = V e^(-t / RC)
    supply = Supply(4.5, Power(rail_farad=220e-6), on=False, rail_v=4.5)
    for _ in range(10):
        supply.advance(0.01)
    assert supply.rail_v == pytest.approx(4.5 * math.exp(-0.1 / (BLEED_OHM * 220e-6)), rel=1e-9)
