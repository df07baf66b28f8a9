"""Boards whose lines are driven as strongly as chips drive them, some with chips on a rail below."""

import dataclasses
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from rig.bench.simulated.board import KINDS, Board, load_board, make_board
from rig.bench.simulated.circuit import BIAS, HIGH, LOW, OPEN, Circuit, Drive, Link
from rig.bench.simulated.diodes import protection
from rig.bench.simulated.drivers import REAL, REGULATED, with_drivers
from rig.bench.simulated.folder import (
    new_simulated_project,
    project_board,
    simulated_files,
)
from rig.bench.simulated.sound import RATE_HZ
from rig.bench.simulated.toy import SimulatedToy, switch_on
from rig.cli.main import app
from rig.errors import ConfigError
from rig.project import load_project

BOARDS = Path(__file__).parents[2] / "configs" / "boards"
LINES = {"talker": ("a", "d", "stb", "out"), "keyboard": ("q", "vib", "led"),
         "sampler": ("a", "d", "b", "led")}  # fmt: skip
JUNCTION_V = 0.8
"""More than a junction of 1e-14 A has at 100 mA."""


def bare(role: str) -> str:
    return role.rstrip("0123456789")


def boards(kind: str, seeds=range(40)) -> list[Board]:
    return [with_drivers(make_board(seed, 24, kind), REAL) for seed in seeds]


def below(kind: str) -> Board:
    """Give a board with its chips on a rail of their own."""
    return next(board for board in boards(kind) if board.chip_rail < 1)


def press(toy: SimulatedToy) -> np.ndarray:
    toy.keys({toy.board.keys[0]})
    first = toy.run(toy.board.press_ms * RATE_HZ // 1000)
    toy.keys(set())
    return np.concatenate((first, toy.run(RATE_HZ)))


@pytest.mark.parametrize("kind", KINDS)
def test_every_line_of_a_chip_is_as_strong_as_chips_are(kind):
    seen = []
    for board in boards(kind):
        lines = [net.drive for net in board.nets if bare(net.role) in LINES[kind]]
        ohms = [ohm for one in lines for ohm in (one.low_ohm, one.high_ohm) if ohm is not None]
        # 4000 series at 4.5 V or more at the weak end, 74HC at 6 V at the strong one, 10 % apart
        assert 25 < min(ohms) < max(ohms) < 600
        seen += ohms
    assert min(seen) < 60
    assert max(seen) > 250


@pytest.mark.parametrize("kind", KINDS)
def test_only_the_drive_differs_from_the_seeds_own_board(kind):
    for seed in range(6):
        plain = make_board(seed, 24, kind)
        board = with_drivers(plain, REAL)
        assert board.pads == plain.pads
        assert board.clock == plain.clock
        assert with_drivers(plain, REAL).nets == board.nets
        sounds = []
        for one in (plain, board):
            toy = SimulatedToy(one, 5)
            switch_on(toy)
            sounds.append(press(toy).astype(float))
        levels = [np.sqrt(np.mean(sound**2)) for sound in sounds]
        assert levels[1] == pytest.approx(levels[0], rel=0.02)


def test_weak_lines_are_those_that_a_part_makes_weak():
    weak = {
        bare(net.role)
        for board in boards("talker") for net in board.nets
        if net.drive.low_ohm is not None and net.drive.high_ohm is None
    }
    assert weak == {"row", "busy"}
    drained = [
        board.nets[board.roles["busy"]].drive.high_ohm is None for board in boards("talker")
    ]
    assert {True, False} == set(drained)


@pytest.mark.parametrize("kind", KINDS)
def test_some_boards_have_their_chips_on_a_rail_below(kind):
    shares = [board.chip_rail for board in boards(kind)]
    assert 0.1 < np.mean(np.array(shares) < 1) < 0.7
    board = below(kind)
    levels = dict(zip(board.roles, SimulatedToy(board, 1)._wiring.reads(), strict=True))
    assert levels[REGULATED] == board.chip_rail
    assert levels["col0"] == pytest.approx(board.chip_rail, rel=1e-3)


@pytest.mark.parametrize("kind", KINDS)
def test_a_pin_over_a_wire_to_the_battery_is_held_by_its_diode(kind):
    board = below(kind)
    net = board.roles["row0"]
    levels, _ = (wire := board.circuit.bridged([(board.roles["vcc"], net, 100.0)])).solved(
        [drive_state(one.drive) for one in board.nets]
    )
    over_v = (levels[wire.place[net]] - board.chip_rail) * board.volts
    assert 0.6 < over_v < JUNCTION_V


def drive_state(drive: Drive) -> int:
    return OPEN if drive.bias is None else BIAS


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("has_own_rail", [False, True])
def test_diodes_that_are_left_out_would_never_conduct(kind, has_own_rail):
    """All that the board leaves out is fitted: to ground, and the amplifier's to the battery."""
    board = next(one for one in boards(kind) if (one.chip_rail < 1) == has_own_rail)
    circuit, roles = board.circuit, board.roles
    rail = roles.get(REGULATED, roles["vcc"])
    more = list(circuit.diodes)
    for number, net in enumerate(board.nets):
        if number not in circuit.fixed:
            its_rail = roles["vcc"] if net.role in ("amp", "spk", "mute") else rail
            more += [one for one in protection(number, roles["gnd"], its_rail)
                     if one not in circuit.diodes and bare(net.role) not in ("l", "filt", "nc")]
    assert len(more) > len(circuit.diodes)
    fitted = Circuit(circuit.drives, circuit.resistors, circuit.fixed, diodes=more,
                     rail_v=board.volts)
    chance = np.random.default_rng(4)
    for _ in range(20):
        state = [int(chance.choice([LOW, HIGH, OPEN])) for _ in board.nets]
        a, b = (int(net) for net in chance.choice([pad.net for pad in board.pads], 2))
        bridge = [(a, b, float(chance.choice([1.0, 100.0, 3000.0])))] if a != b else []
        levels, _ = circuit.bridged(bridge, whole=True).solved(state)
        with_all, _ = fitted.bridged(bridge, whole=True).solved(state)
        # a junction's reverse current moves a net that nothing holds by a millivolt
        assert with_all == pytest.approx(levels, abs=1e-3)


def test_each_code_is_solved_by_itself_where_levels_do_not_superpose():
    board = next(board for board in boards("sampler") if board.chip_rail == 1)
    toy = SimulatedToy(board, 1)
    toy._wiring.connect([Link(("A",), (pad,), 0.0, 100.0, 0.0) for pad in board.letters[1:]])
    toy._chips.rewired()
    chips = toy._chips
    assert chips._mask_c
    codes = range(1 << chips._bits)
    summed = [chips._level_with(chips._amp, code) for code in codes]
    chips._wiring.superposes = lambda net: False
    assert [chips._level_with(chips._amp, code) for code in codes] == pytest.approx(summed, abs=1e-9)


@pytest.mark.parametrize("kind", KINDS)
def test_every_pair_can_be_bridged_by_a_wire(kind):
    board = below(kind)
    toy = SimulatedToy(board, 3)
    switch_on(toy)
    toy.keys({board.keys[0]})
    toy.run(RATE_HZ // 10)
    for pair in list(combinations(board.letters, 2))[::7]:
        copy = toy.fork()
        copy.connect([Link(pair[:1], pair[1:], 0.0, 1.0, 0.0)])
        assert np.isfinite(copy.run(RATE_HZ // 5)).all()


@given(st.integers(0, 10**6), st.sampled_from(list(KINDS)))
def test_any_seed_gives_drivers(seed, kind):
    board = with_drivers(make_board(seed, 24, kind), REAL)
    assert 0.4 < board.chip_rail <= 1


def test_no_others_have_a_name():
    with pytest.raises(ValueError, match="no drivers 'strong'"):
        with_drivers(make_board(1, 24), "strong")


# In a project folder


def test_a_project_says_it_and_without_it_nothing_is_said(tmp_path):
    assert "drivers" not in "".join(simulated_files(5, 24).values())
    project = new_simulated_project(tmp_path / "toy", 5, 24, drivers=REAL)
    assert project.rig.simulated.drivers == REAL
    assert project_board(project).nets == with_drivers(make_board(5, 24), REAL).nets


def padsweep(*arguments: str):
    return CliRunner().invoke(app, [str(a) for a in arguments], catch_exceptions=False)


def test_the_command_line_takes_it_and_refuses_others(tmp_path):
    folder = tmp_path / "toy"
    made = padsweep("new", folder, "--simulated", "--drivers", "real", "--pads", "12")
    assert made.exit_code == 0
    assert "12 pads, drivers: real;" in padsweep("check", "--project", folder).output
    with pytest.raises(ConfigError, match="no drivers 'reel'"):
        padsweep("new", tmp_path / "other", "--simulated", "--drivers", "reel")
    with pytest.raises(ConfigError, match="--drivers is about an invented toy"):
        padsweep("new", tmp_path / "other", "--drivers", "real")


def test_a_board_file_says_it_by_itself(tmp_path):
    project = new_simulated_project(tmp_path / "toy", board=BOARDS / "talker.yaml")
    rig = project.folder / "rig.yaml"
    rig.write_text(rig.read_text("utf-8") + "  drivers: real\n", "utf-8")
    with pytest.raises(ConfigError, match=r"rig.yaml:16: a board file says by itself"):
        project_board(load_project(project.folder))


def written(tmp_path: Path, kind: str, *changes: tuple[str, str]) -> Path:
    text = (BOARDS / f"{kind}.yaml").read_text("utf-8")
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    (tmp_path / "b.yaml").write_text(text, "utf-8")
    return tmp_path / "b.yaml"


def test_a_board_file_may_have_real_drivers_and_a_regulator(tmp_path):
    plain = load_board(BOARDS / "sampler.yaml")
    file = written(
        tmp_path, "sampler", ("volts: 3\n", "volts: 6\nchips_v: 3\ndrivers: real\n"),
        ("R1: {between: [plus, osc]", "R1: {between: [chips, osc]"),
        ("a9: {drive_ohm: 18000}", "a9: {drive_ohm: [90, 240]}"),
    )  # fmt: skip
    board = load_board(file)
    drive = board.nets[board.roles["a9"]].drive
    assert (drive.low_ohm, drive.high_ohm, drive.high) == (90.0, 240.0, 0.5)
    assert board.nets[board.roles["a9"]].threshold == pytest.approx(
        plain.nets[plain.roles["a9"]].threshold / 2
    )
    assert board.nets[board.roles["a0"]].drive.low_ohm < 500
    assert board.clock == plain.clock
    toy = SimulatedToy(board, 1)
    switch_on(toy)
    assert np.sqrt(np.mean(press(toy).astype(float) ** 2)) > 0.02
    assert board.circuit.diodes


def test_an_open_drain_needs_its_pull(tmp_path):
    plain = load_board(BOARDS / "talker.yaml")
    (tmp_path / "b.yaml").write_text(
        (BOARDS / "talker.yaml").read_text("utf-8").replace(
            "pins:\n", "pins:\n  busy: {drive_ohm: 80, pull_ohm: 10000}\n", 1), "utf-8")
    board = load_board(tmp_path / "b.yaml")
    drive = board.nets[board.roles["busy"]].drive
    assert drive == dataclasses.replace(
        plain.nets[plain.roles["busy"]].drive, low_ohm=80.0, high_ohm=None, pull=(10e3, 1.0)
    )


@pytest.mark.parametrize("change, said", [
    (("a9: {drive_ohm: 18000}", "b0: {drive_ohm: [90, 240]}"), "feeds the ladder"),
    (("a9: {drive_ohm: 18000}", "b0: {pull_ohm: 1000}"), "can't be an open drain"),
    (("a9: {drive_ohm: 18000}", "a9: {drive_ohm: [90, 240, 3]}"), "drive_ohm must have at most 2"),
    (("volts: 3\n", "volts: 3\nchips_v: 3\n"), "a regulator gives less than the 3 V"),
    (("volts: 3\n", "volts: 4.5\nchips_v: 3\n"), "a resistor from osc to chips"),
    (("volts: 3\n", "volts: 3\ndrivers: strong\n"), "b.yaml:6: drivers"),
])
def test_what_cannot_be_is_refused_by_its_line(tmp_path, change, said):
    with pytest.raises(ConfigError, match=said):
        load_board(written(tmp_path, "sampler", change))
