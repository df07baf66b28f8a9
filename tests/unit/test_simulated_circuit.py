"""The board's circuit: its parts, how links become resistors, and what is refused."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from rig.bench.simulated.board import make_board
from rig.bench.simulated.circuit import HIGH, LOW, OPEN, Circuit, Drive, Link
from rig.bench.simulated.diodes import Diode, protection


def test_a_floating_net_has_a_voltage():
    floating = Circuit([Drive(), Drive()], [(0, 1, 1000.0)], {}).bridged([], whole=True)
    levels, impedance_ohm = floating.solved([OPEN, OPEN])
    assert levels == [0.0, 0.0]
    assert np.isfinite(impedance_ohm).all()


def test_a_bridge_of_nothing_is_refused():
    with pytest.raises(ValueError, match="must be above 0"):
        Circuit([Drive(), Drive()], [], {}).bridged([(0, 1, 0.0)])


def board_of_three() -> Circuit:
    drives = [Drive(), Drive(200.0, 200.0), Drive(20e3, 30e3), Drive()]
    return Circuit(drives, [], {0: 1.0})


NETS = {"A": 0, "B": 1, "C": 2, "D": 3}


def test_a_weak_line_follows_a_strong_one_and_a_bridge_of_megohms_does_nothing():
    circuit = board_of_three()
    state = [OPEN, LOW, HIGH, OPEN]
    for series_ohm, expected in ((0.0, 3200 / 33200), (1e9, 1.0)):
        link = Link(("B",), ("C",), 1500.0, series_ohm, 0.0)
        bridged = circuit.bridged(circuit.link_resistors([link], NETS))
        levels, _ = bridged.solved(state)
        assert levels[bridged.place[2]] == pytest.approx(expected, abs=1e-4)


def test_pads_on_one_bus_join_through_their_leads_alone():
    circuit = board_of_three()
    link = Link(("B", "C"), ("D",), 1000.0, 50e3, 100.0)
    bridged = circuit.bridged(circuit.link_resistors([link], NETS))
    levels, _ = bridged.solved([OPEN, LOW, HIGH, OPEN])
    # 30 kohm to the rail, two reaches of 1.1 kohm, 200 ohm to ground; nothing flows to D
    assert levels[bridged.place[2]] == pytest.approx((2200 + 200) / 32400, rel=1e-6)
    assert levels[bridged.place[3]] == pytest.approx((1100 + 200) / 32400, rel=1e-4)
    assert set(bridged.members) == {1, 2, 3}


def test_rails_do_not_carry_a_bridge_on_to_other_nets():
    circuit = Circuit([Drive(), Drive(), Drive(pull=(1e4, 0.0))], [(0, 2, 1e3)], {0: 1.0})
    assert set(circuit.bridged([(0, 1, 3e3)]).members) == {1}


@given(st.sampled_from(range(6)), st.data())
def test_either_order_of_the_leads_is_the_same_circuit(seed, data):
    board = make_board(seed, 16)
    one, two = data.draw(st.lists(st.sampled_from(board.letters), min_size=2, max_size=2,
                                  unique=True))
    made = [
        board.circuit.bridged(board.circuit.link_resistors([link], board.net_of))
        for link in (Link((one,), (two,), 1500, 6800, 0.1), Link((two,), (one,), 1500, 6800, 0.1))
    ]
    assert made[0] is made[1]


def pin_of_a_3v_chip_beside_6v() -> Circuit:
    return Circuit(
        [Drive(), Drive(), Drive(), Drive()], [], {0: 0.0, 1: 0.5, 3: 1.0},
        diodes=protection(2, 0, 1), rail_v=6.0, names=("gnd", "3v", "pin", "6v"),
    )


def test_a_pin_driven_above_its_rail_is_clamped_and_left_alone_below_it():
    circuit = pin_of_a_3v_chip_beside_6v()
    clamped_v = circuit.bridged([(2, 3, 10e3)]).solved([OPEN] * 4)[0][0] * 6
    # a junction of 1e-14 A at 0.24 mA
    assert clamped_v == pytest.approx(3.0 + 0.0258 * np.log(0.24e-3 / 1e-14), abs=2e-3)
    divided = circuit.bridged([(2, 3, 10e3), (2, 0, 10e3)]).solved([OPEN] * 4)[0][0]
    assert divided == pytest.approx(0.5, rel=1e-6)


def test_currents_through_many_diodes_balance_at_their_net():
    # an OR of three drivers through diodes: what the load takes is what the diodes give
    drives = [Drive(), *[Drive(200.0, 300.0)] * 3, Drive(pull=(10e3, 0.0))]
    circuit = Circuit(drives, [], {0: 0.0}, diodes=[Diode(i, 4) for i in (1, 2, 3)], rail_v=5.0)
    levels, _ = circuit.bridged([], whole=True).solved([OPEN, HIGH, LOW, HIGH, OPEN])
    given = (1.0 - levels[0]) / 300 + (1.0 - levels[2]) / 300
    assert given == pytest.approx(levels[3] / 10e3, rel=1e-6)
    assert levels[1] == pytest.approx(0.0, abs=1e-9)
    assert 5 * (levels[0] - levels[3]) == pytest.approx(0.61, abs=0.03)


def test_a_capacitor_moves_only_as_fast_as_its_resistors_let_it():
    circuit = Circuit([Drive(), Drive(1e3, 1e3), Drive()], [(1, 2, 10e3)], {0: 0.0},
                      capacitors=[(2, 0, 100e-9)])
    bridged = circuit.bridged([], whole=True)
    moving = bridged.transient([OPEN, HIGH, OPEN])
    assert moving.tau_s.tolist() == pytest.approx([1.1e-3], rel=1e-6)
    at_once = moving.after(np.zeros(1), 0.0)
    assert at_once[bridged.place[2]] == pytest.approx(0.0, abs=1e-12)
    assert at_once[bridged.place[1]] == pytest.approx(10 / 11)
    later = moving.after(np.zeros(1), 1.1e-3)
    assert later[bridged.place[2]] == pytest.approx(1 - np.exp(-1), rel=1e-6)
    b, a = moving.filter(bridged.place[1], bridged.place[2], 48000)
    step = lfilter(b / 1e3, a, np.ones(200))
    assert step == pytest.approx(1 - np.exp(-np.arange(200) / 48000 / 1.1e-3), rel=1e-6)


def test_nets_that_nothing_holds_are_named():
    circuit = Circuit([Drive(), Drive(), Drive(200.0, 200.0), Drive()], [(1, 3, 1e3)], {0: 0.0},
                      names=("gnd", "nc0", "line", "nc1"))
    assert circuit.floating([OPEN] * 4) == ("nc0", "line", "nc1")
    assert circuit.floating([OPEN, OPEN, LOW, OPEN]) == ("nc0", "nc1")


@pytest.mark.parametrize("wrong, said", [
    ({"resistors": [(0, 1, 0.0)]}, "resistor between gnd and pin has 0.0 ohm"),
    ({"resistors": [(0, 7, 1.0)]}, "there are 2 nets"),
    ({"capacitors": [(0, 1, -1e-9)]}, "capacitor between gnd and pin has -1e-09 farad"),
    ({"diodes": [Diode(0, 1)]}, "give rail_v"),
    ({"diodes": [Diode(1, 1)], "rail_v": 5.0}, "diode between pin and pin has both ends"),
    ({"diodes": [Diode(0, 1, 0.0)], "rail_v": 5.0}, "diode between gnd and pin has 0.0 A"),
    ({"fixed": {0: 0.0, 1: 1.0}}, "pin is held by the supply and driven as well"),
])
def test_impossible_circuits_are_refused_by_name(wrong, said):
    parts = {"drives": [Drive(), Drive(200.0)], "resistors": [], "fixed": {0: 0.0},
             "names": ("gnd", "pin"), **wrong}
    with pytest.raises(ValueError, match=said):
        Circuit(**parts)


@pytest.mark.parametrize("kind", ["talker", "keyboard", "sampler"])
def test_protection_diodes_would_never_conduct_on_an_invented_board(kind):
    """Every source lies between the rails, so every net does, whatever is bridged."""
    board = make_board(21, 24, kind)
    circuit = board.circuit
    rail = {level: net for net, level in circuit.fixed.items()}
    diodes = [
        diode for net in range(len(board.nets)) if net not in circuit.fixed
        for diode in protection(net, rail[0.0], rail[1.0])
    ]
    fitted = Circuit(circuit.drives, circuit.resistors, circuit.fixed, diodes=diodes,
                     rail_v=board.volts)
    chance = np.random.default_rng(4)
    for _ in range(20):
        state = [
            OPEN if drive == Drive() else int(chance.choice([LOW, HIGH, OPEN]))
            for drive in circuit.drives
        ]
        a, b = chance.choice([pad.net for pad in board.pads], 2)
        bridge = [(int(a), int(b), 1500.0)] if a != b else []
        levels, _ = circuit.bridged(bridge, whole=True).solved(state)
        with_diodes, _ = fitted.bridged(bridge, whole=True).solved(state)
        assert min(levels) > -1e-9
        assert max(levels) < 1 + 1e-9
        # A junction's reverse current moves a net that nothing holds by a millivolt.
        assert with_diodes == pytest.approx(levels, abs=1e-3)
