"""D.c. points of netlists, of whole boards and of handbook networks, against ngspice."""

import json
import math
from dataclasses import dataclass

import numpy as np
import pytest
from random_boards import EXACT, RAIL_V, as_netlist, random_board
from spice import operating_points

from rig.bench.simulated.circuit import Circuit, main
from rig.bench.simulated.netlist import operating_point, read

SUFFIXES = {"": 1.0, "k": 1e3, "K": 1e3, "kohm": 1e3, "meg": 1e6, "MEG": 1e6, "Megohm": 1e6}


def random_netlist(rng: np.random.Generator) -> tuple[str, list[str]]:
    """Make a solvable netlist: a tree of R and V cards to ground, and more parts on it."""
    nodes = [str(rng.choice([f"n{i}", f"N{i}", f"{i}"])) for i in range(1, rng.integers(3, 16))]
    lines = ["random network", "* a comment"]

    def ohms() -> str:
        suffix = str(rng.choice(list(SUFFIXES)))
        return f"{10 ** rng.uniform(0.5, 6.5) / SUFFIXES[suffix]:.6g}{suffix}"

    def add(letter: str, a: str, b: str, value: str) -> None:
        note = str(rng.choice(["", "", " ; note", " $ note"]))
        lines.append(f"{letter}{len(lines)} {a} {b} {value}{note}")

    def volts() -> str:
        return str(rng.choice(["", "DC "])) + f"{rng.uniform(-9, 9):.5g}"

    for i, node in enumerate(nodes):
        other = "0" if i == 0 else str(rng.choice(["0", "gnd", *nodes[:i]]))
        ends = (node, other) if rng.random() < 0.5 else (other, node)
        if i == 0 or rng.random() < 0.2:
            add("V", *ends, volts())
        else:
            add("R", *ends, ohms())
    for _ in range(rng.integers(1, 2 * len(nodes))):
        a, b = (str(n) for n in rng.choice(["0", *nodes], 2, replace=False))
        if rng.random() < 0.15:
            add("I", a, b, f"{rng.uniform(-3, 3):.4g}mA")
        else:
            add("R", a, b, ohms())
    return "\n".join(lines), nodes


@pytest.mark.parametrize("seed", range(20))
def test_random_netlists(seed, tmp_path, capsys):
    rng = np.random.Generator(np.random.PCG64([seed, 0x51CE]))
    for _ in range(10):
        text, nodes = random_netlist(rng)
        file = tmp_path / "random.cir"
        file.write_text(text + "\n.end\n")
        assert main([str(file)]) == 0
        ours = json.loads(capsys.readouterr().out)
        theirs = operating_points(text, nodes)
        assert [ours[n.lower()] for n in nodes] == pytest.approx(theirs, rel=1e-6, abs=1e-9), text


@dataclass(frozen=True)
class Network:
    """A handbook network, the node asked for, and its voltage by the formula (memory)."""

    cards: str
    node: str
    volts: float


GOLDEN = (1 + math.sqrt(5)) / 2
HANDBOOK = {
    # V R2 / (R1 + R2)
    "divider": Network("V1 1 0 9\nR1 1 2 4.7k\nR2 2 0 2.2k", "2", 9 * 2.2 / 6.9),
    # balanced where R1/R2 = R3/R4: no volts across the detector
    "wheatstone": Network(
        "V1 1 0 5\nR1 1 a 1k\nR2 a 0 1.2k\nR3 1 b 3.3k\nR4 b 0 3.96k\nRd a m 50\nRe m b 50",
        "m", 5 * 1.2 / 2.2,
    ),
    # Millman: sum(V/R) / sum(1/R)
    "millman": Network(
        "V1 1 0 3\nV2 2 0 -4.5\nV3 3 0 6\nR1 1 x 1k\nR2 2 x 2k\nR3 3 x 3k\nR4 x 0 10k",
        "x", (3 / 1 - 4.5 / 2 + 6 / 3) / (1 + 1 / 2 + 1 / 3 + 1 / 10),
    ),
    # a cube of equal resistors between opposite corners is 5/6 R
    "cube": Network(
        "I1 0 g 6m\n" + "\n".join(
            f"R{i} {a} {b} 1k" for i, (a, b) in enumerate(
                ["0a", "0b", "0c", "ad", "ae", "bd", "bf", "ce", "cf", "dg", "eg", "fg"]
            )
        ), "g", 5.0,
    ),
    # a ladder of R in series and R across, so long that it never ends: R (1 + sqrt 5) / 2
    "endless ladder": Network(
        "I1 0 1 1m\n" + "\n".join(
            f"Rs{i} {i} {i + 1} 1k\nRp{i} {i + 1} 0 1k" for i in range(1, 31)
        ), "1", GOLDEN,
    ),
    # three equal R in a delta are three of R/3 in a star: two of these to the corner fed
    "delta and star": Network("I1 0 a 1m\nR1 a b 3k\nR2 b 0 3k\nR3 a 0 3k", "a", 2.0),
    # a T pad of 10 dB between 600 ohm: R1 = 600 (K-1)/(K+1), R2 = 600 2K/(K^2-1), K = 10^(1/2)
    "10 dB attenuator": Network(
        f"V1 1 0 2\nRs 1 i 600\nR1 i m {600 * (10**.5 - 1) / (10**.5 + 1)!r}\n"
        f"R2 m 0 {600 * 2 * 10**.5 / 9!r}\nR3 m o {600 * (10**.5 - 1) / (10**.5 + 1)!r}\n"
        "Rl o 0 600", "o", 10**-0.5,
    ),
    # Norton: a current into two parallel resistors divides inversely to them
    "current divider": Network(
        "I1 0 1 3m\nR1 1 0 1k\nR2 1 s 1.5k\nRm s 0 500", "s", 3 * 1 / (1 + 2) * 0.5
    ),
    # 8 bits of R-2R, code 0xA6: V code / 256
    "r-2r ladder": Network(
        "".join(f"V{i} b{i} 0 {5 * (0xA6 >> i & 1)}\nRb{i} b{i} n{i} 20k\n" for i in range(8))
        + "".join(f"Rn{i} n{i} n{i + 1} 10k\n" for i in range(7)) + "Rt n0 0 20k",
        "n7", 5 * 0xA6 / 256,
    ),
}


@pytest.mark.parametrize("name", HANDBOOK)
def test_handbook_networks(name):
    network = HANDBOOK[name]
    text = f"{name}\n{network.cards}"
    volts = operating_point(read(text))
    assert volts[network.node] == pytest.approx(network.volts, rel=1e-9)
    theirs = operating_points(text, list(volts))
    assert list(volts.values()) == pytest.approx(theirs, rel=1e-6, abs=1e-12)


def test_random_boards_with_drivers_diodes_and_closures():
    rng = np.random.Generator(np.random.PCG64(0xB0A2D))
    conducting = 0
    for _ in range(60):
        circuit, states, links = random_board(rng)
        net_of = {str(net): net for net in range(len(circuit.drives))}
        bridged = circuit.bridged(circuit.link_resistors(links, net_of), whole=True)
        levels, _ = bridged.solved(states)
        nodes = [net for net in range(len(circuit.drives)) if net not in circuit.fixed]
        theirs = operating_points(
            as_netlist(circuit, states, links), [f"n{net}" for net in nodes], EXACT
        )
        ours = [levels[bridged.place[net]] * RAIL_V for net in nodes]
        assert ours == pytest.approx(theirs, rel=1e-6, abs=2e-6), as_netlist(
            circuit, states, links
        )
        bare = Circuit(circuit.drives, circuit.resistors, circuit.fixed).bridged(
            circuit.link_resistors(links, net_of), whole=True
        )
        conducting += not np.allclose(bare.solved(states)[0], levels, atol=1e-3)
    # the check is of clamping boards too
    assert conducting > 20
