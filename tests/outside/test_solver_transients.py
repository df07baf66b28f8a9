"""Nodes with capacitors over time, against ngspice and handbook formulae (memory)."""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import freqz, lfilter
from spice import measured

from rig.bench.simulated.circuit import HIGH, LOW, OPEN, Circuit, Drive
from rig.bench.simulated.nodal import LEAK_SIEMENS

RAIL_V = 5.0


def one_pole(ohm: float, farad: float):
    """Give a driver of `ohm` with a capacitor at its net, in the state HIGH."""
    circuit = Circuit([Drive(), Drive(ohm, ohm)], [], {0: 0.0}, capacitors=[(1, 0, farad)])
    return circuit.bridged([], whole=True).transient([OPEN, HIGH])


def test_charging_rises_as_the_handbook_says():
    # 1 - 1/e after one time constant; 10 % to 90 % takes ln 9 = 2.2 of them
    moving = one_pole(10e3, 100e-9)
    assert moving.tau_s == pytest.approx([1e-3], rel=1e-6)
    assert moving.after(np.zeros(1), 1e-3)[0] == pytest.approx(1 - 1 / math.e, rel=1e-6)
    tenth, most = (
        brentq(lambda t, level=level: moving.after(np.zeros(1), t)[0] - level, 0, 0.01)
        for level in (0.1, 0.9)
    )
    assert most - tenth == pytest.approx(2.2e-3, rel=2e-3)


def test_the_corner_frequency():
    # f = 1 / (2 pi R C), where the gain is 1 / sqrt 2 and the phase -45 degrees
    b, a = one_pole(10e3, 10e-9).filter(0, 0, 10e6)
    _, gain = freqz(b / 10e3, a, [1 / (2 * math.pi * 10e3 * 10e-9)], fs=10e6)
    assert abs(gain[0]) == pytest.approx(1 / math.sqrt(2), rel=1e-3)
    assert np.angle(gain[0], deg=True) == pytest.approx(-45, abs=0.1)


def test_two_equal_sections():
    # the poles of two cascaded RC sections are at RC (3 +- sqrt 5) / 2
    circuit = Circuit(
        [Drive(), Drive(1e4, 1e4), Drive()], [(1, 2, 1e4)], {0: 0.0},
        capacitors=[(1, 0, 1e-8), (2, 0, 1e-8)],
    )
    moving = circuit.bridged([], whole=True).transient([OPEN, HIGH, OPEN])
    expected = [1e-4 * (3 - math.sqrt(5)) / 2, 1e-4 * (3 + math.sqrt(5)) / 2]
    assert moving.tau_s == pytest.approx(expected, rel=1e-6)


def test_two_capacitors_share_their_charge():
    # V = (C1 V1 + C2 V2) / (C1 + C2), through R in R C1 C2 / (C1 + C2)
    circuit = Circuit(
        [Drive(), Drive(), Drive()], [(1, 2, 4.7e3)], {0: 0.0},
        capacitors=[(1, 0, 100e-9), (2, 0, 47e-9)],
    )
    moving = circuit.bridged([], whole=True).transient([OPEN] * 3)
    tau_s = 4.7e3 * 100e-9 * 47e-9 / 147e-9
    assert moving.tau_s[0] == pytest.approx(tau_s, rel=1e-6)
    later = moving.after(np.array([1.0, 0.2]), 30 * tau_s)
    assert later == pytest.approx([(100 + 0.2 * 47) / 147] * 2, rel=1e-5)


def astable_hz(r1: float, r2: float, farad: float, on_ohm: float) -> float:
    """Let a 555's parts charge and discharge between a third and two thirds of the rail."""
    circuit = Circuit(
        [Drive(), Drive(), Drive(low_ohm=on_ohm), Drive()], [(1, 2, r1), (2, 3, r2)],
        {0: 0.0, 1: 1.0}, capacitors=[(3, 0, farad)],
    )
    bridged = circuit.bridged([], whole=True)
    node, period_s = bridged.place[3], 0.0
    for state, start, stop in ((OPEN, 1 / 3, 2 / 3), (LOW, 2 / 3, 1 / 3)):
        moving = bridged.transient([OPEN, OPEN, state, OPEN])
        period_s += brentq(
            lambda t, m=moving, v=start, to=stop: m.after(np.array([v]), t)[node] - to,
            0, 5 * (r1 + r2) * farad, xtol=1e-15,
        )
    return 1 / period_s


@pytest.mark.parametrize("r1, r2, farad", [
    (1e3, 10e3, 10e-9), (6.8e3, 33e3, 10e-9), (47e3, 47e3, 1e-9), (2.2e3, 100e3, 100e-9),
])
def test_a_555_in_astable_mode(r1, r2, farad):
    # NE555 data sheet (memory): f = 1.44 / ((R1 + 2 R2) C)
    hz = astable_hz(r1, r2, farad, 0.1)
    assert hz == pytest.approx(1.44 / ((r1 + 2 * r2) * farad), rel=3e-3)
    # a switch that closes above two thirds and opens below one third is the chip's inside
    (period_s,) = measured(
        f"555\nV1 vcc 0 {RAIL_V}\nR1 vcc dis {r1}\nR2 dis cap {r2}\nC1 cap 0 {farad} IC=0\n"
        f"S1 dis 0 cap 0 sw OFF\n.model sw SW(VT={RAIL_V / 2} VH={RAIL_V / 6} RON=0.1 ROFF=1e12)\n"
        f".tran {0.002 / hz} {4 / hz} 0 {0.002 / hz} UIC\n"
        f".meas tran period TRIG v(cap) VAL=2.5 RISE=2 TARG v(cap) VAL=2.5 RISE=3\n.end\n",
        ["period"],
    )
    assert hz == pytest.approx(1 / period_s, rel=5e-3)


def random_rc(rng: np.random.Generator) -> tuple[Circuit, list[int], list[int]]:
    """Make a board of driven lines with capacitors, and two states of its drivers."""
    count = int(rng.integers(4, 11))

    def ohm() -> float:
        return float(10 ** rng.uniform(2.5, 5))

    drives = [Drive()]
    for _ in range(1, count):
        pull = (ohm(), float(rng.uniform(0, 1))) if rng.random() < 0.5 else None
        drives.append(Drive(ohm(), ohm(), pull))
    resistors, capacitors = [], []
    for _ in range(count):
        a, b = (int(n) for n in rng.choice(count, 2, replace=False))
        resistors.append((a, b, ohm()))
    for _ in range(int(rng.integers(1, 6))):
        # to ground mostly, sometimes between two lines
        a = int(rng.integers(1, count))
        b = 0 if rng.random() < 0.6 else int(rng.choice([n for n in range(count) if n != a]))
        capacitors.append((a, b, float(10 ** rng.uniform(-10, -6))))
    circuit = Circuit(drives, resistors, {0: 0.0}, capacitors=capacitors)
    states = [[int(s) for s in rng.choice((LOW, HIGH), count)] for _ in range(2)]
    return circuit, *states


def rc_netlist(circuit: Circuit, states: list[int], charged: np.ndarray) -> list[str]:
    lines = ["capacitors"]
    for a, b, ohm in circuit.resistors:
        lines.append(f"R{len(lines)} n{a} n{b} {ohm!r}")
    for net, drive in enumerate(circuit.drives[1:], start=1):
        lines.append(f"R{len(lines)} n{net} 0 {1 / LEAK_SIEMENS}")
        for ohm, fraction in drive.sources(states[net]):
            lines.append(f"V{len(lines)} s{len(lines)} 0 {fraction * RAIL_V!r}")
            lines.append(f"R{len(lines)} s{len(lines) - 1} n{net} {ohm!r}")
    for (a, b, farad), volts in zip(circuit.capacitors, charged.tolist(), strict=True):
        lines.append(f"C{len(lines)} n{a} n{b} {farad!r} IC={volts * RAIL_V!r}")
    return [line.replace(" n0 ", " 0 ") for line in lines]


def test_random_boards_after_a_switching():
    rng = np.random.Generator(np.random.PCG64(0xC4A6))
    moved = 0
    for _ in range(40):
        circuit, before, now = random_rc(rng)
        bridged = circuit.bridged([], whole=True)
        first = bridged.transient(before)
        charged = first.charges(np.array(bridged.solved(before)[0]))
        moving = bridged.transient(now)
        slowest_s = float(moving.tau_s[-1])
        step_s = slowest_s / 400
        times_s = [slowest_s * part for part in (0.1, 0.4, 1.0, 2.0)]
        lines = rc_netlist(circuit, now, charged)
        lines += [".options method=gear reltol=1e-5 gmin=1e-15",
                  f".tran {step_s} {2.1 * slowest_s} 0 {step_s} UIC"]
        names = []
        for net in range(1, len(circuit.drives)):
            for i, at in enumerate(times_s):
                names.append(f"m{net}_{i}")
                lines.append(f".meas tran {names[-1]} FIND v(n{net}) AT={at}")
        theirs = measured("\n".join([*lines, ".end", ""]), names)
        ours = [
            moving.after(charged, at)[bridged.place[net]] * RAIL_V
            for net in range(1, len(circuit.drives)) for at in times_s
        ]
        # 1 % of what a line can swing
        assert ours == pytest.approx(theirs, abs=0.01 * RAIL_V), "\n".join(lines)
        at_rest = np.array(bridged.solved(now)[0])
        moved += np.max(np.abs(moving.after(charged, times_s[0]) - at_rest)) > 0.05
    assert moved > 20


def test_a_dac_ladder_through_its_filter_against_ngspice():
    # 4 bits of R-2R, code held for 1/8000 s, 12 kohm into 4.7 nF
    r, rate_hz = 10e3, 8000.0
    codes = np.random.Generator(np.random.PCG64(4)).integers(0, 16, 12)
    bits = range(1, 5)
    drives = [Drive(), *[Drive(2 * r, 2 * r)] * 4, Drive()]
    resistors = [(1, 0, 2 * r), (1, 2, r), (2, 3, r), (3, 4, r), (4, 5, 12e3)]
    circuit = Circuit(drives, resistors, {0: 0.0}, capacitors=[(5, 0, 4.7e-9)])
    bridged = circuit.bridged([], whole=True)
    place = bridged.place
    out = np.zeros(len(codes))
    moving = bridged.transient([OPEN, *[LOW] * 4, OPEN])
    for i, bit in enumerate(bits):
        b, a = moving.filter(place[bit], place[5], rate_hz)
        out += lfilter(b / (2 * r), a, (codes >> i & 1).astype(float))
    lines = ["ladder"]
    for i, bit in enumerate(bits):
        points = []
        for k, code in enumerate(codes):
            volts = RAIL_V * (code >> i & 1)
            points += [f"{max(k / rate_hz, 1e-9)!r} {volts}",
                       f"{(k + 1) / rate_hz - 1e-8!r} {volts}"]
        lines += [f"V{bit} b{bit} 0 PWL(0 0 {' '.join(points)})", f"RB{bit} b{bit} n{bit} {2 * r}"]
    lines += [f"R{i} {'0' if b == 0 else f'n{b}'} n{a} {ohm}"
              for i, (a, b, ohm) in enumerate(resistors)]
    lines += ["C1 n5 0 4.7n IC=0", f".tran 1u {len(codes) / rate_hz} 0 0.5u UIC"]
    names = [f"m{k}" for k in range(1, len(codes))]
    lines += [f".meas tran {name} FIND v(n5) AT={k / rate_hz - 2e-8}"
              for k, name in enumerate(names, start=1)]
    theirs = measured("\n".join([*lines, ".end", ""]), names)
    assert out[1:] * RAIL_V == pytest.approx(theirs, abs=0.002 * RAIL_V)
