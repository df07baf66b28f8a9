"""What any linear network keeps to, whatever its parts: Kirchhoff, superposition, reciprocity.

The theorems are the handbooks' (memory); hypothesis makes the networks.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rig.bench.simulated.circuit import HIGH, LOW, OPEN, Circuit, Drive, Link
from rig.bench.simulated.netlist import Card, operating_point

ohms = st.floats(10.0, 1e6)


@st.composite
def netlists(draw):
    """Make cards of a resistor tree to ground, more resistors, and sources."""
    count = draw(st.integers(2, 7))
    nodes = [f"n{i}" for i in range(count)]
    cards = []
    for i, node in enumerate(nodes):
        other = draw(st.sampled_from(["0", *nodes[:i]]))
        cards.append(Card(f"r{len(cards)}", node, other, draw(ohms)))
    ends = st.lists(st.sampled_from(["0", *nodes]), min_size=2, max_size=2, unique=True)
    for a, b in draw(st.lists(ends, max_size=6)):
        cards.append(Card(f"r{len(cards)}", a, b, draw(ohms)))
    for a, b in draw(st.lists(ends, min_size=1, max_size=3)):
        cards.append(Card(f"i{len(cards)}", a, b, draw(st.floats(-0.01, 0.01))))
    for node in draw(st.lists(st.sampled_from(nodes), max_size=2, unique=True)):
        cards.append(Card(f"v{len(cards)}", node, "0", draw(st.floats(-9, 9))))
    return cards


@given(netlists())
def test_currents_into_every_node_sum_to_nothing(cards):
    volts = {"0": 0.0, **operating_point(cards)}
    amps = dict.fromkeys(volts, 0.0)
    for card in cards:
        across = volts[card.plus] - volts[card.minus]
        if card.name[0] == "v":
            assert across == pytest.approx(card.value, abs=1e-9)
            continue
        flow = across / card.value if card.name[0] == "r" else card.value
        amps[card.plus] -= flow
        amps[card.minus] += flow
    # what a voltage source carries is whatever the others leave
    for node in set(volts) - {"0"} - {c.plus for c in cards if c.name[0] == "v"}:
        assert abs(amps[node]) < 1e-9


@given(netlists())
def test_sources_superpose(cards):
    together = operating_point(cards)
    sum_v = dict.fromkeys(together, 0.0)
    for source in cards:
        if source.name[0] == "r":
            continue
        # the others dead: no volts, no amperes
        alone = [
            c if c is source or c.name[0] == "r" else Card(c.name, c.plus, c.minus, 0.0)
            for c in cards
        ]
        for node, volts in operating_point(alone).items():
            sum_v[node] += volts
    scale = max(1.0, *(abs(volts) for volts in together.values()))
    assert list(sum_v.values()) == pytest.approx(list(together.values()), abs=1e-9 * scale)


@given(netlists(), st.data())
def test_an_ampere_here_gives_there_what_an_ampere_there_gives_here(cards, data):
    quiet = [
        Card(c.name, c.plus, c.minus, 0.0) if c.name[0] == "v" else c
        for c in cards if c.name[0] != "i"
    ]
    nodes = list(operating_point(quiet))
    here, there = (data.draw(st.sampled_from(nodes)) for _ in range(2))
    put_in = [
        operating_point([*quiet, Card("i_in", "0", node, 1e-3)]) for node in (here, there)
    ]
    assert put_in[0][there] == pytest.approx(put_in[1][here], rel=1e-9, abs=1e-12)


@st.composite
def boards(draw):
    """Make a circuit's parts, its driver states, and bridges upon it."""
    count = draw(st.integers(3, 9))
    drive = st.builds(
        Drive, low_ohm=ohms, high_ohm=ohms,
        pull=st.none() | st.tuples(ohms, st.floats(0, 1)),
    ) | st.builds(Drive, pull=st.none() | st.tuples(ohms, st.floats(0, 1)))
    drives = [Drive(), Drive(), *(draw(drive) for _ in range(count - 2))]
    ends = st.lists(st.integers(0, count - 1), min_size=2, max_size=2, unique=True)
    part = st.tuples(ends, ohms).map(lambda p: (*p[0], p[1]))
    resistors = draw(st.lists(part, max_size=6))
    bridges = draw(st.lists(part, min_size=1, max_size=4))
    states = draw(
        st.lists(st.sampled_from((LOW, HIGH, OPEN)), min_size=count, max_size=count)
    )
    return drives, resistors, bridges, states


@given(boards())
def test_a_bridge_is_what_a_part_soldered_in_would_be(board):
    drives, resistors, bridges, states = board
    fixed = {0: 0.0, 1: 1.0}
    bridged = Circuit(drives, resistors, fixed).bridged(bridges, whole=True)
    soldered = Circuit(drives, [*resistors, *bridges], fixed).bridged([], whole=True)
    assert bridged.place == soldered.place
    levels, impedance_ohm = bridged.solved(states)
    expected, expected_ohm = soldered.solved(states)
    assert levels == pytest.approx(expected, abs=1e-6)
    assert impedance_ohm == pytest.approx(expected_ohm, rel=1e-4, abs=1e-3)
    assert impedance_ohm == pytest.approx(impedance_ohm.T, rel=1e-6, abs=1e-3)


@given(boards(), st.data())
def test_a_bridge_is_the_same_in_either_order(board, data):
    drives, resistors, _, states = board
    nets = st.lists(st.integers(0, len(drives) - 1), min_size=2, max_size=4, unique=True)
    pads = [str(net) for net in data.draw(nets)]
    split = data.draw(st.integers(1, len(pads) - 1))
    ohm = data.draw(ohms)
    net_of = {str(net): net for net in range(len(drives))}
    found = []
    for one, two in ((pads[:split], pads[split:]), (pads[split:][::-1], pads[:split][::-1])):
        circuit = Circuit(drives, resistors, {0: 0.0, 1: 1.0})
        link = Link(tuple(one), tuple(two), 1500.0, ohm, 0.1)
        bridged = circuit.bridged(circuit.link_resistors([link], net_of))
        levels, _ = bridged.solved(states)
        found.append([levels[bridged.place[net]] for net in bridged.members])
    assert found[0] == pytest.approx(found[1], rel=1e-9, abs=1e-9)
