"""A path with a limit: its place in the circuit against ngspice, its law against transistors.

The transistors' and the coupler's parameters are from memory, no data sheet at hand: two small
N-channel MOSFETs (threshold 0.75 to 1.5 V, some 3 ohm), two BC547B (0.62 to 0.67 V at 0.1 mA), a
photovoltaic coupler (8 V open, 12 to 50 uA short). Nothing of it was built.
"""

import math
import re
from dataclasses import dataclass

import numpy as np
import pytest
from random_boards import EXACT, RAIL_V, as_netlist, random_board
from spice import ngspice, operating_points

from rig.bench.simulated.circuit import HIGH, LOW, Circuit, Drive, Link
from rig.bench.simulated.limiter import Limited


def limited(links: list[Link], rng: np.random.Generator) -> list[Link]:
    return [
        Link(one.pads_1, one.pads_2, 50.0, 65.0, 0.1, float(10 ** rng.uniform(-3.7, -2.3)))
        for one in links
    ]


def as_limited_netlist(circuit: Circuit, states, links: list[Link]) -> str:
    """Write a board out with a controlled source of current for each limiter."""
    kept = []
    for line in as_netlist(circuit, states, links).splitlines():
        words = line.split()
        if len(words) == 4 and re.fullmatch(r"bus\d1", words[1]) and re.fullmatch(r"bus\d2", words[2]):
            # as the circuit has it: a link of two pads is one path, whose leads count as well
            link = links[int(words[1][3:-1])]
            lone = len(link.pads_1) == len(link.pads_2) == 1
            ends = (f"n{link.pads_1[0]}", f"n{link.pads_2[0]}") if lone else (words[1], words[2])
            ohm = 65.0 + (2 * 50.1 if lone else 0.0)
            passed = f"v({ends[0]},{ends[1]})/{ohm!r}"
            most = repr(link.limit_a)
            kept.append(f"B{len(kept)} {ends[0]} {ends[1]} I=max(-{most},min({most},{passed}))")
        elif "bus" not in line or not _is_lone(words, links):
            kept.append(line)
    return "\n".join(kept)


def _is_lone(words: list[str], links: list[Link]) -> bool:
    link = links[int(re.search(r"bus(\d)\d", " ".join(words))[1])]
    return len(link.pads_1) == len(link.pads_2) == 1


def test_limiters_on_random_boards():
    rng = np.random.Generator(np.random.PCG64(0x11417))
    at_limit = 0
    for _ in range(60):
        circuit, states, links = random_board(rng)
        links = limited(links, rng)
        net_of = {str(net): net for net in range(len(circuit.drives))}
        bridges = circuit.link_resistors(links, net_of)
        bridged = circuit.bridged(bridges, whole=True)
        levels, _ = bridged.solved(states)
        nodes = [net for net in range(len(circuit.drives)) if net not in circuit.fixed]
        text = as_limited_netlist(circuit, states, links)
        theirs = operating_points(text, [f"n{net}" for net in nodes], EXACT)
        ours = [levels[bridged.place[net]] * RAIL_V for net in nodes]
        assert ours == pytest.approx(theirs, rel=1e-6, abs=5e-6), text
        volts = {**circuit.fixed, **{node: levels[i] for node, i in bridged.place.items()}}
        at_limit += any(
            abs(volts[a] - volts[b]) * RAIL_V > ohm * ohm.limit_a
            for a, b, ohm in bridges if isinstance(ohm, Limited)
        )
    # the check is of limiters at their limit too, and of some below it
    assert 15 < at_limit < 55


# The law against a circuit of transistors


@dataclass(frozen=True)
class Parts:
    """A limiter's parts, and how warm they are."""

    celsius: float = 25.0
    base_v: float = 0.0
    gate_v: float = 1.1
    coupler_a: float = 24e-6
    sense: float = 1.0


ACROSS_V = (0.1, 0.3, 0.5, 1.0, 3.0, 12.8)


def currents_ma(parts: Parts, sense_ohm: float, sign: int = 1) -> list[float]:
    """Give what a limiter passes at each of `ACROSS_V`, mA."""
    saturation_a = 1.8e-14 * math.exp(-parts.base_v / 0.02585)
    sense_ohm *= parts.sense
    said = ngspice(f"""limiter
.options temp={parts.celsius} gmin=1e-13 reltol=1e-5 itl1=500
VA a 0 0
VB b 0 0
M1 a g s1 s1 nm
M2 b g s2 s2 nm
D1 s1 a body
D2 s2 b body
R1 s1 c {sense_ohm}
R2 c s2 {sense_ohm}
Q1 g q1 s2 npn
RQ1 q1 s1 470
Q2 g q2 s1 npn
RQ2 q2 s2 470
IP c p {parts.coupler_a}
DP p c pv
RP p c 10meg
RG p g 10k
RC c 0 1e9
.model nm NMOS(LEVEL=1 VTO={parts.gate_v} KP=0.1 LAMBDA=0.005)
.model npn NPN(IS={saturation_a} BF=330 VAF=63 RB=50 RE=0.4 IKF=0.08 ISE=5e-15 NE=1.5)
.model body D(IS=1e-12 RS=0.1)
.model pv D(IS=2.7e-14 N=15 EG=16.6 XTI=45)
.control
foreach v {' '.join(str(sign * volts) for volts in ACROSS_V)}
alter VA $v
op
let through = i(VB)
print through
end
.endc
.end
""")
    return [1000 * sign * float(amps) for amps in re.findall(r"^through = (\S+)", said, re.MULTILINE)]


def trimmed_ohm(parts: Parts) -> float:
    """Choose the sense resistor as a person would at the bench: 8 to 9 mA at 22 degrees."""
    warm = Parts(22.0, parts.base_v, parts.gate_v, parts.coupler_a, parts.sense)
    return min((27.0, 30.0, 33.0), key=lambda ohm: abs(currents_ma(warm, ohm)[-1] - 8.5))


CORNERS = [
    Parts(celsius, base_v, gate_v, coupler_a, sense)
    for celsius in (0.0, 50.0)
    for base_v in (-0.025, 0.025)
    for gate_v, coupler_a in ((0.75, 50e-6), (1.5, 12e-6))
    for sense in (0.99, 1.01)
]


@pytest.mark.parametrize("parts", [Parts(), *CORNERS], ids=str)
def test_two_lines_are_what_two_transistors_make(parts):
    sense_ohm = trimmed_ohm(parts)
    found_ma = currents_ma(parts, sense_ohm)
    assert found_ma == pytest.approx(currents_ma(parts, sense_ohm, -1), rel=0.02)
    # least and most of such a limiter over 0 to 50 degrees and its parts' spread
    assert 1.4 <= found_ma[0] <= 1.9
    assert 6.7 <= min(found_ma[3:]) <= max(found_ma[3:]) <= 10.2
    law = Limited(0.1 / found_ma[0] * 1000, found_ma[-1] / 1000)
    assert 54 < law < 72
    for volts, ma in zip(ACROSS_V, found_ma, strict=True):
        assert 1000 * law.passed_a(volts) == pytest.approx(ma, rel=0.05)


# Two outputs against each other


def test_what_a_path_turns_over_by_the_dividers_formula():
    """Outputs of 40 to 500 ohm at 4.8 V, high sides up to half weaker: two states of each pair.

    Handbook: I = V / (R_low + R + R_high) or the limit, and the levels are I R_low and V - I R_high.
    How much is turned over hangs on where inputs turn: HC's may at 0.3 to 0.7 of the supply (data
    sheet, memory), typical ones do at 0.36 to 0.58.
    """
    rng = np.random.Generator(np.random.PCG64(0x0E4))
    paths = {"wire": 1.0, "100": 100.0, "limited": Limited(136.0, 0.009), "510": 510.0, "3000": 3000.0}
    shares = {}
    for thresholds in ((0.3, 0.7), (0.36, 0.58)):
        turned = dict.fromkeys(paths, 0)
        for _ in range(200):
            low = np.exp(rng.uniform(math.log(40), math.log(500), 2))
            high = low * rng.uniform(1.0, 1.5, 2)
            inputs = rng.uniform(*thresholds, 2)
            circuit = Circuit(
                [Drive(float(one), float(two)) for one, two in zip(low, high, strict=True)], [], {},
                rail_v=4.8,
            )  # fmt: skip
            seen = {}
            for name, ohm in paths.items():
                seen[name] = False
                for down, up in ((0, 1), (1, 0)):
                    states = [LOW, HIGH] if up == 1 else [HIGH, LOW]
                    levels, _ = circuit.bridged([(0, 1, ohm)]).solved(states)
                    share = 1 / (low[down] + ohm + high[up])
                    if isinstance(ohm, Limited):
                        share = min(share, ohm.limit_a / 4.8)
                    wanted = (share * low[down], 1 - share * high[up])
                    assert (levels[down], levels[up]) == pytest.approx(wanted, abs=1e-6)
                    seen[name] |= levels[down] > inputs[down] or levels[up] < inputs[up]
            for name in paths:
                turned[name] += seen[name] and seen["wire"]
        shares[thresholds] = {name: count / turned["wire"] for name, count in turned.items()}
    wide, typical = shares.values()
    assert wide["100"] == pytest.approx(0.84, abs=0.06)
    assert wide["limited"] == pytest.approx(0.61, abs=0.08)
    assert typical["100"] == pytest.approx(0.74, abs=0.07)
    assert typical["limited"] == pytest.approx(0.53, abs=0.08)
    assert wide["3000"] == typical["3000"] == 0
    assert 0.02 < typical["510"] < wide["510"] < 0.3
