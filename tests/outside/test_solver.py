"""The nodal solver and the RC clock against ngspice and against handbook formulae.

ngspice is Debian's package (`ngspice -b`), an independent circuit simulator. Handbook
formulae are from memory, each named beside its number.
"""

import math
import re
import shutil
import subprocess

import numpy as np
import pytest

from rig.bench.simulated.circuit import GROUND, solve
from rig.bench.simulated.clock import RcClock, charge_s
from rig.bench.simulated.supply import BLEED_OHM, RAIL_FARAD, Supply


def ngspice(netlist: str) -> str:
    assert shutil.which("ngspice"), "ngspice is missing: apt-get install ngspice"
    run = subprocess.run(
        ["ngspice", "-b"], input=netlist, capture_output=True, text=True, check=False, timeout=60
    )
    assert "Error" not in run.stdout + run.stderr, run.stdout + run.stderr
    return run.stdout


def spice_operating_point(nodes, resistors, sources) -> list[float]:
    def name(node):
        return "0" if node == GROUND else f"n{node}"

    lines = ["random network"]
    for i, (a, b, ohm) in enumerate(resistors):
        lines.append(f"R{i} {name(a)} {name(b)} {ohm!r}")
    for i, (node, volts, ohm) in enumerate(sources):
        lines += [f"V{i} s{i} 0 {volts!r}", f"RS{i} s{i} {name(node)} {ohm!r}"]
    # the same leakage from every node as the solver has
    lines += [f"RL{node} n{node} 0 1e11" for node in range(nodes)]
    prints = "\n".join(f"print v(n{node})" for node in range(nodes))
    lines += [".options gmin=1e-15", ".control", "set numdgt=10", "op", prints, ".endc", ".end"]
    said = ngspice("\n".join(lines) + "\n")
    found = dict(re.findall(r"v\(n(\d+)\) = (\S+)", said))
    return [float(found[str(node)]) for node in range(nodes)]


@pytest.mark.parametrize("seed", range(12))
def test_random_networks_against_ngspice(seed):
    rng = np.random.Generator(np.random.PCG64(seed))
    nodes = int(rng.integers(2, 14))
    resistors, sources = [], []
    for node in range(nodes):
        other = int(rng.integers(-1, nodes))
        if other != node:
            resistors.append((node, other, float(10 ** rng.uniform(1, 6))))
    for _ in range(nodes):
        a, b = (int(n) for n in rng.integers(-1, nodes, 2))
        if a != b:
            resistors.append((a, b, float(10 ** rng.uniform(1, 6))))
    for _ in range(int(rng.integers(1, 5))):
        node = int(rng.integers(nodes))
        sources.append((node, float(rng.uniform(-6, 6)), float(10 ** rng.uniform(1, 5))))
    volts, _ = solve(nodes, resistors, sources)
    assert volts == pytest.approx(
        spice_operating_point(nodes, resistors, sources), rel=1e-5, abs=1e-6
    )


def test_divider():
    # handbook: V R2 / (R1 + R2); seen from the tap, R1 parallel to R2
    volts, impedance_ohm = solve(1, [(0, GROUND, 2200.0)], [(0, 4.5, 6800.0)])
    assert volts[0] == pytest.approx(4.5 * 2200 / 9000, rel=1e-6)
    assert impedance_ohm[0, 0] == pytest.approx(2200 * 6800 / 9000, rel=1e-6)


def test_wheatstone_bridge():
    # handbook: V (R2 / (R1 + R2) - R4 / (R3 + R4)) with nothing between; balanced: no current
    r1, r2, r3, r4 = 1000.0, 1200.0, 3300.0, 1500.0
    sources = [(0, 5.0, r1), (1, 5.0, r3)]
    volts, _ = solve(2, [(0, GROUND, r2), (1, GROUND, r4)], sources)
    assert volts[0] - volts[1] == pytest.approx(5 * (r2 / (r1 + r2) - r4 / (r3 + r4)), rel=1e-6)
    r4 = r2 * r3 / r1
    resistors = [(0, GROUND, r2), (1, GROUND, r4), (0, 1, 47.0)]
    volts, _ = solve(2, resistors, sources)
    assert volts[0] - volts[1] == pytest.approx(0.0, abs=1e-7)


@pytest.mark.parametrize("code", [0, 1, 5, 10, 15])
def test_r_2r_ladder(code):
    # handbook: a 4-bit R-2R ladder gives V code / 16 from an output resistance of R
    r = 10e3
    resistors = [(0, GROUND, 2 * r), *[(i, i + 1, r) for i in range(3)]]
    sources = [(i, 5.0 * (code >> i & 1), 2 * r) for i in range(4)]
    volts, impedance_ohm = solve(4, resistors, sources)
    assert volts[3] == pytest.approx(5.0 * code / 16, abs=1e-6)
    assert impedance_ohm[3, 3] == pytest.approx(r, rel=1e-5)


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
    volts, impedance_ohm = solve(1, [(0, GROUND, bridge_ohm)], [(0, 1.0, r)])
    ours_s = charge_s(float(impedance_ohm[0, 0]), c, float(volts[0]), 1 / 3, 2 / 3)
    said = ngspice(
        "bridged clock\n"
        "VCC vcc 0 1\n"
        f"R1 vcc osc {r}\nRB osc 0 {bridge_ohm}\nC1 osc 0 {c} IC=0.3\n"
        ".tran 2n 20u 0 2n UIC\n"
        f".meas tran t TRIG v(osc) VAL={1 / 3!r} RISE=1 TARG v(osc) VAL={2 / 3!r} RISE=1\n"
        ".end\n"
    )
    theirs_s = float(re.search(r"^t\s*=\s*(\S+)", said, re.MULTILINE)[1])
    assert ours_s == pytest.approx(theirs_s, rel=1e-3)


def test_the_rail_bleeds_as_an_rc_does():
    # handbook: v = V e^(-t / RC)
    supply = Supply(4.5, on=False, rail_v=4.5)
    for _ in range(10):
        supply.advance(0.01)
    assert supply.rail_v == pytest.approx(4.5 * math.exp(-0.1 / (BLEED_OHM * RAIL_FARAD)), rel=1e-9)
