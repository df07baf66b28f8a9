"""A path that passes no more than a current, and how strongly nets are held."""

import pytest

from rig.bench.simulated.board import make_board
from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN, Circuit, Drive, Link
from rig.bench.simulated.diodes import Diode
from rig.bench.simulated.drive_class import (
    MIDDLE,
    RAIL,
    STRONG,
    WEAK,
    drive_class,
    pair_class,
    worst_ma,
)
from rig.bench.simulated.drivers import REAL, with_drivers
from rig.bench.simulated.folder import new_simulated_project
from rig.bench.simulated.limiter import Limited
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.bench.simulated.truth import Truth

STRONG_LINE, WEAK_LINE = Drive(100.0, 100.0), Drive(400.0, 400.0)


def two_lines(**more) -> Circuit:
    return Circuit([Drive(), STRONG_LINE, WEAK_LINE], [], {0: 0.0}, rail_v=5.0, **more)


def test_below_its_limit_it_is_a_resistor_and_beyond_it_a_source():
    circuit = two_lines()
    plain, _ = circuit.bridged([(1, 2, 100.0)]).solved([OPEN, LOW, HIGH])
    # 5 V over 600 ohm: 8.3 mA
    wide, ohms = circuit.bridged([(1, 2, Limited(100.0, 0.0084))]).solved([OPEN, LOW, HIGH])
    assert wide == pytest.approx(plain)
    assert ohms[0, 0] == pytest.approx(100 * 500 / 600)
    tight, ohms = circuit.bridged([(1, 2, Limited(100.0, 0.005))]).solved([OPEN, LOW, HIGH])
    assert [5 * level for level in tight] == pytest.approx([0.5, 3.0])
    # a source of current lets nothing through of what changes
    assert ohms.ravel() == pytest.approx([100, 0, 0, 400], abs=1e-5)


def test_either_way_and_at_rails():
    circuit = two_lines()
    path = Limited(10.0, 0.005)
    for states, wanted_v in (([OPEN, HIGH, LOW], [4.5, 2.0]), ([OPEN, LOW, LOW], [0.0, 0.0])):
        levels, _ = circuit.bridged([(2, 1, path)]).solved(states)
        assert [5 * level for level in levels] == pytest.approx(wanted_v, abs=1e-6)
    levels, _ = circuit.bridged([(0, 1, path)]).solved([OPEN, HIGH, OPEN])
    assert 5 * levels[0] == pytest.approx(4.5)


def test_a_diode_beside_it_takes_what_the_limit_lets_through():
    circuit = Circuit(
        [Drive(), Drive(), Drive(pull=(1e6, 0.0)), Drive()], [], {0: 0.0, 1: 0.5, 3: 1.0},
        diodes=[Diode(2, 1)], rail_v=10.0,
    )  # fmt: skip
    levels, _ = circuit.bridged([(3, 2, Limited(65.0, 0.009))]).solved([OPEN] * 4)
    # 9 mA through a junction of 1e-14 A: 25.9 mV ln(9e11)
    assert 10 * levels[0] == pytest.approx(5.0 + 0.712, abs=0.002)


def test_limits_are_told_apart_and_need_volts():
    assert Limited(65.0, 0.009) == Limited(65.0, 0.009) != Limited(65.0, 0.01)
    assert Limited(65.0, 0.009) != 65.0
    assert len({Limited(65.0, 0.009), Limited(65.0, 0.009), 65.0}) == 2
    circuit = two_lines()
    assert circuit.bridged([(1, 2, Limited(65.0, 0.01))]) is not circuit.bridged([(1, 2, 65.0)])
    with pytest.raises(ValueError, match="must be above 0"):
        Limited(65.0, 0.0)
    bare = Circuit([STRONG_LINE, WEAK_LINE], [], {})
    with pytest.raises(ValueError, match="give rail_v"):
        bare.bridged([(0, 1, Limited(65.0, 0.01))])


def test_a_group_of_pads_has_its_limit_between_the_buses():
    circuit = Circuit([Drive(), *[Drive(1.0, 1.0)] * 4], [], {0: 0.0}, rail_v=5.0)
    link = Link(("a", "b"), ("c", "d"), 10.0, 65.0, 0.0, 0.009)
    bridges = circuit.link_resistors([link], {"a": 1, "b": 2, "c": 3, "d": 4})
    bridged = circuit.bridged(bridges)
    levels, _ = bridged.solved([OPEN, HIGH, HIGH, LOW, LOW])
    flows = [5 * (1.0 - levels[bridged.place[net]]) / 1.0 for net in (1, 2)]
    assert sum(flows) == pytest.approx(0.009)


def test_what_a_limited_path_draws_from_the_supply():
    board = with_drivers(make_board(3002, 24, "talker"), REAL)
    assert board.chip_rail == 1
    plus = next(pad.letter for pad in board.pads if pad.net == board.roles["vcc"])
    line, net = next(
        (pad.letter, pad.net) for pad in board.pads
        if board.nets[pad.net].role in {f"d{i}" for i in range(8)}
    )
    toy = SimulatedToy(board, 1)
    switch_on(toy)
    drawn = []
    for limit_a in (None, 0.002):
        toy._wiring.connect([Link((plus,), (line,), 0.0, 65.0, 0.0, limit_a)])
        toy._wiring.state[net] = LOW
        drawn.append(toy._wiring.draw_siemens() * board.volts)
    whole_a = board.volts / (65.0 + board.nets[net].drive.low_ohm)
    assert drawn == pytest.approx([whole_a, 0.002], rel=1e-6)


# How strongly nets are held


def test_classes_of_drivers():
    board = with_drivers(make_board(3003, 24, "sampler"), REAL)
    roles = board.roles
    told = {role: drive_class(board, roles[role]) for role in
            ("vcc", "gnd", "b0", "a0", "d0", "led", "osc", "col0", "row0", "loop", "amp", "spk", "l0")}
    assert told == {
        "vcc": RAIL, "gnd": RAIL, "b0": STRONG, "a0": MIDDLE, "d0": MIDDLE, "led": STRONG, "osc": WEAK,
        "col0": WEAK, "row0": WEAK, "loop": WEAK, "amp": WEAK, "spk": WEAK, "l0": WEAK,
    }  # fmt: skip
    assert pair_class(board, roles["a0"], roles["b0"]) == (STRONG, MIDDLE)
    assert pair_class(board, roles["osc"], roles["gnd"]) == (RAIL, WEAK)


def test_the_highest_current_is_that_of_the_worst_states():
    board = with_drivers(make_board(3002, 24, "sampler"), REAL)
    a0, a1 = (board.nets[board.roles[role]].drive for role in ("a0", "a1"))
    share = board.chip_rail * board.volts
    for ohm in (1.0, 3000.0):
        found_ma = worst_ma(board, board.roles["a0"], board.roles["a1"], ohm)
        least_ohm = min(a0.low_ohm + a1.high_ohm, a1.low_ohm + a0.high_ohm)
        assert found_ma == pytest.approx(1000 * share / (least_ohm + ohm), rel=1e-3)
    path = Limited(65.0, 0.0089)
    assert worst_ma(board, board.roles["vcc"], board.roles["a1"], path) == pytest.approx(8.9, rel=1e-6)
    assert board.nets[board.roles["spk"]].idle == BIAS


# What a path of any kind does


def test_what_a_wire_does_and_what_a_limited_path_does_of_it(tmp_path):
    project = new_simulated_project(tmp_path / "toy", 3000, 24, "talker", drivers=REAL)
    truth = Truth(project, states=1)
    net_of = truth.board.net_of

    def pads_of(role):
        return [pad for pad in truth.board.letters if net_of[pad] == truth.board.roles[role]]

    lines = [role for role in truth.board.roles if role[0] in "ad" and role[1:].isdigit() and pads_of(role)]
    plus, line = pads_of("vcc")[0], pads_of(lines[0])[0]

    def differs(*path):
        ohm, limit_a = path
        return [one.differs for one in truth.over(plus, line, [Link((plus,), (line,), 0.0, ohm, 0.0, limit_a)])]

    assert differs(1.0, None) == [1.0]
    assert differs(3000.0, None) == []  # not a sample of it
    assert differs(1.0, 0.001) == []
    assert differs(1.0, 10.0) == [1.0]
